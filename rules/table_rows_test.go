package rules

import "time"

// The transition table of the shutdown rule as data: for each mode the conditions in their order, of which the first
// that is true wins. It is stated here a second time, apart from the code, and every transition is compared with it.

// timing of a timer in a row of the table.
type action uint8

const (
	zero    action = iota // not counting
	fresh                 // counts from 0 at this instant
	onward                // was counting and goes on
	follows               // on-delay only: counts while off spec, 0 while on
)

// row is one line of the table.
type row struct {
	from      Mode
	condition string
	when      func(sight) bool
	to        Mode
	ton, tp   action
	latch     func(sight) bool
	press     Code // what a press in this scan gets
}

func cleared(sight) bool { return false }
func latched(sight) bool { return true }
func always(sight) bool  { return true }

// lost is the first row of every mode.
func lost(from Mode) row {
	return row{
		from, "power lost", func(s sight) bool { return s.lost }, NoPower, zero, zero,
		func(s sight) bool { return s.kept && s.keeps }, PressWithoutPower,
	}
}

var table = []row{
	{NoPower, "no power", func(s sight) bool { return !s.power }, NoPower, zero, zero, func(s sight) bool { return s.kept }, PressWithoutPower},
	{NoPower, "power back and press edge in that scan, and (off or latch kept)", func(s sight) bool { return s.press && (s.off || s.kept) }, Bypass, follows, fresh, cleared, PressAccepted},
	{NoPower, "power back, latch kept", func(s sight) bool { return s.kept }, Shut, follows, zero, latched, NoReason},
	{NoPower, "power back, ON", func(s sight) bool { return !s.off }, Service, zero, zero, cleared, PressOnSpec},
	{NoPower, "power back, OFF", func(s sight) bool { return s.off }, Delay, fresh, zero, cleared, NoReason},

	lost(Service),
	{Service, "OFF and press edge", func(s sight) bool { return s.off && s.press }, Bypass, fresh, fresh, cleared, PressAccepted},
	{Service, "OFF", func(s sight) bool { return s.off }, Delay, fresh, zero, cleared, NoReason},
	{Service, "ON", always, Service, zero, zero, cleared, PressOnSpec},

	lost(Delay),
	{Delay, "ON", func(s sight) bool { return !s.off }, Service, zero, zero, cleared, PressOnSpec},
	{Delay, "OFF, press edge", func(s sight) bool { return s.press }, Bypass, onward, fresh, cleared, PressAccepted},
	{Delay, "OFF, ET >= D", func(s sight) bool { return s.full }, Shut, onward, zero, latched, NoReason},
	{Delay, "OFF, ET < D", always, Delay, onward, zero, cleared, NoReason},

	lost(Bypass),
	{Bypass, "TP running", func(s sight) bool { return s.running }, Bypass, follows, onward, cleared, PressWhileRunning},
	{Bypass, "TP ends, press edge, OFF", func(s sight) bool { return s.press && s.off }, Bypass, follows, fresh, cleared, PressAccepted},
	{Bypass, "TP ends, OFF, TON >= D", func(s sight) bool { return s.full }, Shut, onward, zero, latched, NoReason},
	{Bypass, "TP ends, OFF, TON < D", func(s sight) bool { return s.off }, Delay, follows, zero, cleared, NoReason},
	{Bypass, "TP ends, ON", always, Service, zero, zero, cleared, PressOnSpec},

	lost(Shut),
	{Shut, "press edge", func(s sight) bool { return s.press }, Bypass, follows, fresh, cleared, PressAccepted},
	{Shut, "anything else", always, Shut, follows, zero, latched, NoReason},
}

// valves are the last columns of the table, by the mode that is reached.
var valves = map[Mode]Outputs{
	NoPower: {Inlet: Closed, Relief: NotDriven},
	Service: {Inlet: Open, Relief: Closed},
	Delay:   {Inlet: Open, Relief: Closed},
	Bypass:  {Inlet: Open, Relief: Closed},
	Shut:    {Inlet: Closed, Relief: Open},
}

// find gives the index of the row that holds.
func find(from Mode, seen sight) int {
	for i := range table {
		if table[i].from == from && table[i].when(seen) {
			return i
		}
	}
	return -1
}

// step works one stimulus by hand and tells which row decided it and what was to be seen.
func (p paper) step(m model, k stimulus) (next paper, at int, seen sight) {
	next = p
	seen = next.look(m, k)
	if !k.scan && !p.started {
		return next, -1, seen // before the first scan nothing is decided
	}
	at = find(p.mode, seen)
	r := &table[at]
	next.started, next.mode, next.latch = true, r.to, r.latch(seen)
	switch r.tp {
	case fresh:
		next.tp, next.held = 0, true
	case zero:
		next.tp = -1
	}
	if !next.power {
		next.held = false
	}
	return next, at, seen
}

// agrees reports whether what a timer did is what the row's column says.
func (a action) agrees(was, now, ticks, preset int) bool {
	switch a {
	case zero:
		return now < 0
	case fresh:
		return now == 0
	case onward:
		return was >= 0 && now == min(was+ticks, preset)
	default:
		return now < 0 || now == 0 || now == min(was+ticks, preset)
	}
}

// ofTicks is a number of ticks as time.
func ofTicks(ticks int) time.Duration { return time.Duration(ticks) * unit }
