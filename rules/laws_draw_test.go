package rules

import (
	"time"

	"pgregory.net/rapid"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// drawInputs turns a drawn history into steps with gaps that are not whole seconds, every signal, facts and orders, under
// alarms whose delays are short enough to run out.
func drawInputs(t *rapid.T) (Settings, []Input) {
	h := drawHistory(t)
	h.set.Delay += time.Duration(rapid.IntRange(0, 999).Draw(t, "ms")) * time.Millisecond
	hurry(t, &h.set)
	var list []Input
	gap := time.Duration(0)
	total := 0.0
	for n, s := range h.scans {
		if n > 0 {
			gap += time.Second + time.Duration(rapid.IntRange(-300_000_000, 900_000_000).Draw(t, "jitter"))
		}
		if !s.scan {
			continue
		}
		in := Input{Scan: true, Gap: gap}
		in.Readings[signal.ProductConductivity] = s.product
		if rapid.IntRange(0, 15).Draw(t, "dry") == 0 {
			in.Readings[signal.ProductConductivity] = signal.ProductConductivity.Default(0.03, signal.Good)
		}
		in.Readings[signal.ControlPower] = s.power
		in.Readings[signal.BypassButton] = s.button
		if rapid.IntRange(0, 3).Draw(t, "flow read") > 0 {
			in.Readings[signal.Flow] = signal.Flow.Default(rapid.SampledFrom([]float64{0, 5, 22.7, 45.4, 68.1}).Draw(t, "flow"), signal.Good)
		}
		in.Readings[signal.RinseOpen] = signal.RinseOpen.Default(float64(rapid.IntRange(0, 9).Draw(t, "rinse")/9), signal.Good)
		total += float64(rapid.IntRange(0, 3).Draw(t, "counted"))
		if rapid.IntRange(0, 40).Draw(t, "reset") == 0 {
			total = 0
		}
		drawRest(t, &in, total)
		list, gap = append(list, in), 0
	}
	return h.set, list
}

// hurry gives every alarm delays of some seconds, and defines some of the unit file's own.
func hurry(t *rapid.T, set *Settings) {
	seconds := func(low int, name string) time.Duration {
		return time.Duration(rapid.IntRange(low*1000, 15000).Draw(t, name)) * time.Millisecond
	}
	for i := range alarm.Listed {
		d := &set.Alarms[i]
		if d.On > 0 {
			d.On = seconds(1, "on")
		}
		if d.Off > 0 {
			d.Off = seconds(0, "off")
		}
	}
	set.Alarms[alarm.FeedWorse].Limit, set.Alarms[alarm.ExchangeDue].Limit = 300, 48
	set.Alarms[alarm.BypassRepeated].Limit, set.Alarms[alarm.Hovering].Limit = 2, 2
	set.Setup = Setup{
		Hoses: rapid.IntRange(0, 2).Draw(t, "hoses"), NoFlow: 1, Standing: seconds(1, "standing"), RinseUp: seconds(1, "rinse up"),
		TotalizerModulus: 40, TotalizerMost: 4000,
	}
	for n := range rapid.IntRange(0, 3).Draw(t, "user alarms") {
		set.Alarms[alarm.User(n)] = alarm.Definition{Name: "own", On: seconds(0, "for"), Limit: 25, Band: 1}
		set.Users[n] = User{Signal: signal.ID(rapid.IntRange(0, signal.Count-1).Draw(t, "of")), Test: Test(rapid.IntRange(0, 2).Draw(t, "test"))}
	}
}

// drawRest fills in the signals that the shutdown rule does not look at, facts and orders.
func drawRest(t *rapid.T, in *Input, total float64) {
	put := func(id signal.ID, values ...float64) {
		if n := rapid.IntRange(0, len(values)+1).Draw(t, id.String()); n < len(values) {
			in.Readings[id] = id.Default(values[n], signal.Good)
		} else if n == len(values) {
			in.Readings[id] = signal.Reading{Cause: signal.NotPolled}
		}
	}
	put(signal.FeedConductivity, 300, 300.1, 301, 0.5)
	put(signal.FeedTemperature, 20, 20, 4, 1, 41)
	put(signal.ProductTemperature, 20, 20.001, 20.001, 25.5)
	put(signal.Total, total)
	put(signal.DownstreamFlow, 10)
	for _, id := range []signal.ID{signal.BankA, signal.BankB, signal.InletOpen, signal.InletShut, signal.ReliefOpen, signal.ProductOutletOpen} {
		put(id, 0, 1, 1)
	}
	switch rapid.IntRange(0, 12).Draw(t, "fact or order") {
	case 0:
		in.Facts = Facts{Known: Fact(rapid.IntRange(0, 31).Draw(t, "known")), Set: Fact(rapid.IntRange(0, 31).Draw(t, "set")), Left: 40 * time.Hour}
	case 1, 2:
		in.Orders = []Order{{
			Who: "at the screen", Verb: Verb(rapid.IntRange(0, Verbs-1).Draw(t, "verb")),
			Alarm: alarm.ID(rapid.IntRange(0, alarm.Count-1).Draw(t, "alarm")), Text: rapid.SampledFrom([]string{"", "3s", "20s why", "9h"}).Draw(t, "text"),
		}}
	}
}
