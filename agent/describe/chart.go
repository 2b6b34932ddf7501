package describe

import (
	"fmt"
	"strings"

	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// Settings say whose chart it is.
type Settings struct {
	Trailer  string          // "" = no trailer: the settings as they come
	Rule     *rules.Settings //
	Wired    uint32          // bit by signal: an instrument reads it
	Language string          // of the words; "" = en
}

// AllWired is every signal read.
const AllWired = uint32(1)<<signal.Count - 1

// Chart is a cause-and-effect chart in words.
type Chart struct {
	Language string
	Title    string
	About    []string // lines above the table
	Columns  []string
	Rows     []Row
	Notes    []string // lines below it
	key      [][2]string
}

// Row is one cause with its effects, a cell for each column.
type Row struct {
	Name   string // C1 to C14
	Unseen bool   // nothing that is wired can see the cause
	Cells  []string
}

// The columns, by the names of the phrase files.
var columns = []string{"row", "cause", "seen_by", "after", "inlet", "relief", "delay", "bypass", "trip", "alarms", "water"}

// cause is one row of the chart.
type cause struct {
	name    string
	seen    []signal.ID           // any of them shows it
	after   func(*draft) string   // how long the cause has to last; nil = at once
	effects func(*draft) effects  // on the rule; nil = none, it only watches
	alarms  []alarm.ID            //
	water   func(*draft) []string // which bucket of the water's account; nil = as before
}

var causes = []cause{
	{name: "C1", seen: product, effects: (*draft).offSpec, alarms: []alarm.ID{alarm.OffSpec}, water: in(rules.ToOffSpecDelay)},
	{name: "C2", seen: product, after: (*draft).delay, effects: (*draft).stopped, alarms: []alarm.ID{alarm.StoppedOffSpec}, water: in(rules.ToInletShut)},
	{name: "C3", seen: product, after: (*draft).clear, effects: (*draft).onSpec, water: in(rules.ToOnSpec)},
	{name: "C4", seen: product, effects: (*draft).badReading, alarms: []alarm.ID{alarm.ProductReadingLost}, water: in(rules.ToUnknown)},
	{name: "C5", seen: button, effects: (*draft).accepted, alarms: []alarm.ID{alarm.BypassOn, alarm.BypassRepeated}, water: in(rules.ToOffSpecBypass)},
	{name: "C6", seen: button, effects: (*draft).refused},
	{name: "C7", seen: power, effects: (*draft).powerLost, alarms: []alarm.ID{alarm.ControlPowerLost}, water: in(rules.ToInletShut)},
	{name: "C8", seen: power, effects: (*draft).powerBack, water: in(rules.ToRinse, rules.ToOffSpecDelay)},
	{name: "C9", seen: inlet, after: (*draft).inletTravel,
		alarms: []alarm.ID{alarm.BypassQuestion, alarm.DidNotShut, alarm.DidNotOpen, alarm.MovedUnasked}},
	{name: "C10", seen: []signal.ID{signal.ReliefOpen}, after: (*draft).reliefTravel, alarms: []alarm.ID{alarm.ReliefOpen, alarm.ReliefDidNotOpen}},
	{name: "C11", seen: []signal.ID{signal.RinseOpen}, effects: (*draft).rinse, water: in(rules.ToRinse)},
	{name: "C12", seen: []signal.ID{signal.Flow}, alarms: []alarm.ID{alarm.FlowTooHigh}},
	{name: "C13", seen: []signal.ID{signal.Flow}, alarms: []alarm.ID{alarm.FlowTooLow}},
	{name: "C14", seen: nil, effects: (*draft).unseen},
}

var (
	product = []signal.ID{signal.ProductConductivity}
	button  = []signal.ID{signal.BypassButton}
	power   = []signal.ID{signal.ControlPower}
	inlet   = []signal.ID{signal.InletOpen, signal.InletShut}
)

func in(buckets ...rules.Bucket) func(*draft) []string {
	return func(d *draft) (list []string) {
		for _, b := range buckets {
			list = append(list, d.file.Water[b.String()])
		}
		return list
	}
}

// draft is a chart in the making.
type draft struct {
	set  *Settings
	rule *rules.Settings
	file *file
}

// New draws up the chart.
func New(set Settings) (*Chart, error) {
	f, err := load(set.Language)
	if err != nil {
		return nil, err
	}
	d := &draft{set: &set, rule: set.Rule, file: f}
	c := &Chart{Language: f.Language, Title: d.fill(f.Title), About: d.about(), Notes: d.notes(), key: f.key()}
	if set.Trailer == "" {
		c.Title = d.fill(f.Plain)
	}
	for _, name := range columns {
		c.Columns = append(c.Columns, f.Columns[name])
	}
	for i := range causes {
		c.Rows = append(c.Rows, d.row(&causes[i]))
	}
	return c, nil
}

func (d *draft) row(c *cause) Row {
	r := Row{Name: c.name, Unseen: len(c.seen) > 0 && !d.wired(c.seen...)}
	after, water, e := d.file.Cells["at_once"], "", effects{}
	if c.after != nil {
		after = c.after(d)
	}
	if c.effects != nil {
		e = c.effects(d)
	}
	if c.water != nil {
		water = strings.Join(c.water(d), " / ")
	}
	r.Cells = []string{c.name, d.fill(d.file.Causes[c.name]), d.seenBy(c), after, e.inlet, e.relief, e.delay, e.bypass, e.trip, d.alarms(c), water}
	return r
}

func (d *draft) wired(ids ...signal.ID) bool {
	for _, id := range ids {
		if d.set.Wired>>id&1 != 0 {
			return true
		}
	}
	return false
}

// seenBy names the signals that show a cause, as far as they are wired.
func (d *draft) seenBy(c *cause) string {
	var names []string
	for _, id := range c.seen {
		if d.wired(id) {
			names = append(names, id.String())
		}
	}
	switch {
	case len(c.seen) == 0:
		return d.file.Cells["agent"]
	case names == nil:
		return d.file.Cells["not_wired"]
	}
	return strings.Join(names, ", ")
}

// alarms names the alarms of a cause with what is set for each.
func (d *draft) alarms(c *cause) string {
	var list []string
	for _, id := range c.alarms {
		a := &d.rule.Alarms[id]
		// Nobody needs to be asked where each press is seen and the timer was measured.
		if id == alarm.BypassQuestion && d.wired(signal.BypassButton) && d.rule.Profile.Timers.Confirmed() {
			continue
		}
		text := a.Name + " " + d.file.Priorities[a.Priority.String()]
		switch {
		case a.Disabled:
			text = a.Name + " " + d.file.Cells["off"]
		case a.On > 0:
			text += " " + strings.ReplaceAll(d.file.Cells["after"], "{time}", d.time(a.On))
		}
		list = append(list, text)
	}
	return strings.Join(list, ", ")
}

func (d *draft) delay() string { return d.time(d.rule.Delay) }

func (d *draft) clear() string {
	if d.rule.ClearDelay == 0 {
		return d.file.Cells["at_once"]
	}
	return d.time(d.rule.ClearDelay)
}

func (d *draft) inletTravel() string { return d.time(d.rule.Profile.Travel.Inlet) }

func (d *draft) reliefTravel() string { return d.time(d.rule.Profile.Travel.Relief) }

// about tells what was agreed.
func (d *draft) about() []string {
	lines := []string{d.fill(d.file.About["agreed"])}
	for _, add := range []struct {
		when bool
		key  string
	}{
		{d.rule.ClearBand > 0, "clear_band"},
		{d.rule.ClearDelay > 0, "clear_delay"},
		{d.rule.KeepTrip, "keep_trip"},
		{!d.rule.KeepTrip, "forget_trip"},
	} {
		if add.when {
			lines = append(lines, d.fill(d.file.About[add.key]))
		}
	}
	return lines
}

// notes tells how far the chart can be trusted on this unit.
func (d *draft) notes() []string {
	p := &d.rule.Profile
	lines := []string{d.fill(d.file.Notes["watches"])}
	if p.Timers.Confirmed() {
		lines = append(lines, d.fill(d.file.Notes["timers_confirmed"]))
	} else {
		lines = append(lines, d.fill(d.file.Notes["timers_assumed"]))
	}
	lines = append(lines, d.fill(d.file.Notes["profile"]))
	for _, add := range []struct {
		when bool
		key  string
	}{
		{!d.wired(button...), "no_button"},
		{!d.wired(power...), "no_power_contact"},
		{!d.wired(inlet...), "no_inlet_switch"},
		{len(d.rule.Differs()) > 0, "differs"},
	} {
		if add.when {
			lines = append(lines, d.fill(d.file.Notes[add.key]))
		}
	}
	for _, f := range d.rule.Differs() {
		lines = append(lines, fmt.Sprintf("%s: %v", f.Path, f.Err))
	}
	return lines
}

// Wired makes the set of signals that are read.
func Wired(ids ...signal.ID) uint32 {
	var w uint32
	for _, id := range ids {
		w |= 1 << id
	}
	return w
}
