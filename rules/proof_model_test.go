package rules

import (
	"fmt"
	"time"

	"ionward/rules/signal"
)

// The proof runs the rule in a small world: time in whole seconds, delays of a few of them, and per second one of a
// finite list of things to see. All states that can come about in that world can be visited, and are.

// unit is one tick of the small world.
const unit = time.Second

// model is one small world: the settings of the rule in ticks.
type model struct {
	delay, bypass, clear int
	band, keep           bool
}

func (m model) String() string {
	return fmt.Sprintf("delay %d bypass %d clear %d band %v keep %v", m.delay, m.bypass, m.clear, m.band, m.keep)
}

// settings are those of the real rule. The alarms stay as they come: they must have no say in it.
func (m model) settings() Settings {
	set := Defaults()
	set.Delay, set.Bypass = time.Duration(m.delay)*unit, time.Duration(m.bypass)*unit
	set.ClearDelay, set.KeepTrip = time.Duration(m.clear)*unit, m.keep
	if m.band {
		set.ClearBand = 0.05
	}
	return set
}

// water is what the product reading can be. The values lie as near to the limits as the resolution allows.
type water uint8

const (
	goodOn        water = iota // the last count below endpoint - band
	goodInBand                 // endpoint - band itself: inside the band; without a band it is on spec
	goodOff                    // the endpoint itself
	uncertainLow               // the last count below the endpoint
	uncertainHigh              // the endpoint itself
	badWater                   // the instrument says so
	noWater                    // no answer
	waters        = iota
)

var waterReadings = [waters]signal.Reading{
	goodOn:        {Value: 0.949, Quality: signal.Good},
	goodInBand:    {Value: 0.95, Quality: signal.Good},
	goodOff:       {Value: 1, Quality: signal.Good},
	uncertainLow:  {Value: 0.999, Quality: signal.Uncertain, Cause: signal.Reported},
	uncertainHigh: {Value: 1, Quality: signal.Uncertain, Cause: signal.Reported},
	badWater:      {Quality: signal.Bad, Cause: signal.Reported},
	noWater:       {Cause: signal.TimedOut},
}

var waterNames = [waters]string{"good-on", "good-in-band", "good-off", "uncertain-low", "uncertain-high", "bad", "none"}

// contact is what a contact can be in one scan.
type contact uint8

const (
	reads0 contact = iota
	reads1
	unread
	contacts = iota
)

var contactReadings = [contacts]signal.Reading{
	reads0: {Quality: signal.Good},
	reads1: {Value: 1, Quality: signal.Good},
	unread: {Cause: signal.TimedOut},
}

var contactNames = [contacts]string{"0", "1", "unread"}

// stimulus is all that one step of the small world shows the rule.
type stimulus struct {
	gap    int // ticks
	scan   bool
	water  water
	power  contact
	button contact
}

func (k stimulus) String() string {
	if !k.scan {
		return fmt.Sprintf("+%d without a scan", k.gap)
	}
	return fmt.Sprintf("+%d water %s power %s button %s", k.gap, waterNames[k.water], contactNames[k.power], contactNames[k.button])
}

func (k stimulus) input() Input {
	in := Input{Gap: time.Duration(k.gap) * unit, Scan: k.scan}
	if k.scan {
		in.Readings[signal.ProductConductivity] = waterReadings[k.water]
		in.Readings[signal.ControlPower] = contactReadings[k.power]
		in.Readings[signal.BypassButton] = contactReadings[k.button]
		// The other signals are never read here; Present says so and saves looking at them.
		in.Present = 1<<signal.ProductConductivity | 1<<signal.ControlPower | 1<<signal.BypassButton
	}
	return in
}

// stimuli are all things to see after a gap: 63 scans, and none.
func stimuli(gap int) []stimulus {
	list := []stimulus{{gap: gap}}
	for w := range water(waters) {
		for p := range contact(contacts) {
			for b := range contact(contacts) {
				list = append(list, stimulus{gap, true, w, p, b})
			}
		}
	}
	return list
}

// core is the part of State on which the shutdown rests. What is not in it (elapsed time, held readings, alarms, custody,
// counters) grows without end or is for the record; TestTheShutdownRestsOnItsCore shows that it has no say.
type core struct {
	Started, Powered, Tripped bool
	Mode                      Mode
	Class                     Class
	Button                    Button
	Clear                     TOF
	Delay                     TON
	Bypass                    TP
}

func coreOf(s *State) core {
	return core{s.Started, s.Powered, s.Tripped, s.Mode, s.Class, s.Button, s.Clear, s.Delay, s.Bypass}
}

// state is a State with this core and nothing else: no time passed, nothing counted, only the contact of the power read.
func (c core) state() State {
	s := State{
		Started: c.Started, Powered: c.Powered, Tripped: c.Tripped, Mode: c.Mode, Class: c.Class, Button: c.Button,
		Clear: c.Clear, Delay: c.Delay, Bypass: c.Bypass,
	}
	if c.Started {
		p := &s.Signals[signal.ControlPower]
		p.Known, p.Quality = true, signal.Good
		if c.Powered {
			p.Value = 1
		}
	}
	return s
}

// off is the output of the clear delay.
func (c core) off() bool { return c.Clear.Q() }

// shutdownEvents are the events of the rule itself, without those of alarms and orders.
func shutdownEvents(events []Event) []Event {
	var list []Event
	for _, e := range events {
		if e.Kind == Press || e.Kind == ModeChange {
			list = append(list, e)
		}
	}
	return list
}
