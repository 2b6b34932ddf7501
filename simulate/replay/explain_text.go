package replay

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"ionward/agent/words"
	"ionward/rules"
	"ionward/rules/signal"
)

// text is the explanation for people.
func (x *Explanation) text(set *rules.Settings, phrases *words.Phrases, dated bool) []byte {
	when := func(t seconds) string {
		if dated {
			start, _ := time.Parse(time.RFC3339Nano, x.At) // written by us
			return start.Add(time.Duration(t - x.T)).Format("15:04:05.999Z")
		}
		return clock(time.Duration(t))
	}
	var b []byte
	put := func(format string, args ...any) { b = fmt.Appendf(b, format, args...) }
	if dated {
		put("%s, ", x.At)
	}
	put("%s after the first row; the newest row is number %d, %s old\n", clock(time.Duration(x.T)), x.Row, phrases.Duration(time.Duration(x.RowAge)))

	put("\nwhat the rule saw\n")
	for _, id := range x.signal {
		put("  %-22s %s\n", id, x.saw(id, set, phrases))
	}
	if _, ok := x.Saw[signal.ControlPower.String()]; !ok {
		put("  %-22s no column: counts as powered\n", signal.ControlPower)
	}

	put("\nwhat it decided\n")
	put("  %-22s %s since %s (%s): %s\n", "state", phrases.State(x.state.Mode), when(x.Since), clock(time.Duration(x.T-x.Since)), x.Why)
	put("  %-22s %s\n", "the water counts as", x.counts(set, phrases))
	put("  %-22s inlet %s, relief %s\n", "valves, as driven", strings.ReplaceAll(x.Inlet, "_", " "), strings.ReplaceAll(x.Relief, "_", " "))
	put("  %-22s %s\n", "alarms", x.alarms())
	put("  %-22s stops by the rule %d, presses that gave time %d, losses of control power %d\n", "so far", x.state.Trips, x.state.Bypasses, x.state.PowerLosses)

	put("\nwhat it waits for\n")
	put("  %-22s %s\n", "the delay", x.runs(delayLeft, set.Delay, when))
	put("  %-22s %s\n", "the bypass", x.runs(bypassLeft, set.Bypass, when))
	if set.ClearDelay > 0 {
		put("  %-22s %s\n", "the clear delay", x.runs(clearLeft, set.ClearDelay, when))
	}
	if left, ok := x.Waits[alarmLeft]; ok {
		put("  %-22s %s left, until %s\n", "a timer of an alarm", clock(time.Duration(left)), when(x.T+left))
	}
	put("  %-22s %s\n", "next by itself", x.next(when))
	put("  %-22s %s\n", "time left to a stop", x.left(when))

	if len(x.recent) > 0 {
		put("\nwhat happened last\n")
		for _, text := range x.recent {
			put("  %s", text)
		}
	}
	return b
}

// saw is one signal: value, quality, age.
func (x *Explanation) saw(id signal.ID, set *rules.Settings, phrases *words.Phrases) string {
	h, s := &x.state.Signals[id], x.Saw[id.String()]
	value := "no usable value yet"
	switch {
	case !h.Known:
	case id == signal.ProductConductivity:
		value = phrases.Product(h.Value, set.Endpoint, false)
	case id.Contact():
		value = fmt.Sprintf("%.0f", h.Value)
	default:
		value = fmt.Sprintf("%.3f %s", h.Value, id.Info().Unit.Symbol)
	}
	text := fmt.Sprintf("%-16s %-10s", value, phrases.Quality(h.Quality))
	if s.Age != nil {
		text += " " + phrases.Duration(time.Duration(*s.Age)) + " old"
		if h.Quality != signal.Good && h.Quality != signal.Uncertain {
			text += " (held)"
		}
	}
	if s.Cause != "" {
		text += ", " + phrases.Cause(h.Cause)
	}
	return strings.TrimRight(text, " ")
}

// counts says what the water counts as, and by what the class came about.
func (x *Explanation) counts(set *rules.Settings, phrases *words.Phrases) string {
	if !x.state.Powered {
		return "nothing without control power"
	}
	what := "on spec"
	if x.Off {
		what = "off spec"
	}
	if x.Off && x.state.Class == rules.ClassOn {
		return what + ": good again, and the clear delay has not run out"
	}
	return what + ", endpoint " + phrases.Limit(set.Endpoint)
}

func (x *Explanation) alarms() string {
	if len(x.Alarms) == 0 {
		return "none"
	}
	var list []string
	for _, name := range slices.Sorted(maps.Keys(x.Alarms)) {
		list = append(list, name+" "+x.Alarms[name])
	}
	return strings.Join(list, ", ")
}

func (x *Explanation) runs(name string, whole time.Duration, when func(seconds) string) string {
	left, ok := x.Waits[name]
	switch {
	case ok:
		return fmt.Sprintf("%s left of %s, until %s", clock(time.Duration(left)), clock(whole), when(x.T+left))
	case name == delayLeft && x.Off:
		return "has run out"
	}
	return "does not run"
}

// deadlines are what may end by itself and change the state, in words, in the order in which the rule settles them.
var deadlines = []struct{ name, words string }{{clearLeft, "the clear delay ends"}, {delayLeft, "the delay ends"}, {bypassLeft, "the bypass ends"}}

// next is what changes the state next by itself. The timers of alarms, which are many and change no state, have a line
// of their own.
func (x *Explanation) next(when func(seconds) string) string {
	var what []string
	var first seconds
	for _, d := range deadlines {
		left, runs := x.Waits[d.name]
		switch {
		case !runs:
		case len(what) == 0 || left < first:
			what, first = []string{d.words}, left
		case left == first:
			what = append(what, d.words)
		}
	}
	if len(what) == 0 {
		return "nothing: only a reading, a press or a loss of power changes the state"
	}
	return fmt.Sprintf("%s in %s, at %s, with the readings held", strings.Join(what, " and "), clock(time.Duration(first)), when(x.T+first))
}

func (x *Explanation) left(when func(seconds) string) string {
	switch {
	case x.Left != nil:
		return fmt.Sprintf("%s, at %s, if the reading stays off spec and nobody presses", clock(time.Duration(*x.Left)), when(x.T+*x.Left))
	case x.Stop:
		return "it is stopped; a press of the bypass button or a loss of power ends that"
	}
	return "no stop approaches"
}
