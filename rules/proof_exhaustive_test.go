package rules

import (
	"flag"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules/signal"
)

var deep = flag.Bool("deep", false, "try more worlds and longer histories: a minute or two")

// models are the small worlds: each relation between the delays that can matter, with and without each choice.
func models() (list []model) {
	times := []struct{ delay, bypass, clear int }{
		{3, 2, 1}, {2, 3, 1}, {3, 3, 0}, {3, 2, 0}, {2, 4, 0}, {4, 1, 0}, {1, 3, 0}, {1, 1, 0}, {2, 2, 3}, {3, 5, 2}, {1, 2, 2}, {4, 3, 4}, {5, 4, 3}, {6, 5, 0},
	}
	for i, d := range times {
		for j := range 4 {
			// Band and keeping do not meddle with each other: half of the four pairs do, unless more is asked for.
			if *deep || (i+j)%3 == 0 || (i+j)%3 == 2 && j > 1 {
				list = append(list, model{d.delay, d.bypass, d.clear, j&1 != 0, j&2 != 0})
			}
		}
	}
	return list
}

// place is one reachable state: what the code remembers and what paper remembers of the same past.
type place struct {
	core  core
	paper paper
}

// passage is one transition of the small world.
type passage struct {
	model  model
	set    *Settings
	from   place
	k      stimulus
	to     place
	row    int // of the table; -1 before the first scan
	sight  sight
	events []Event
	state  State // after it
	before State
	out    Outputs
}

// walk visits every state that any sequence of stimuli leads to, and shows each transition once.
func walk(m model, see func(*passage)) (states, transitions int) {
	set, list := m.settings(), append(stimuli(0), stimuli(1)...)
	inputs := make([]Input, len(list))
	for i, k := range list {
		inputs[i] = k.input()
	}
	start := place{paper: blank()}
	seen, queue := map[place]bool{start: true}, []place{start}
	var out Effects
	p := passage{model: m, set: &set}
	for len(queue) > 0 {
		p.from, queue = queue[0], queue[1:]
		p.before = p.from.core.state()
		p.before.Chain = 5 // so that forgetting it can be seen
		for i, k := range list {
			p.k, p.state = k, p.before
			Step(&set, &p.state, &inputs[i], &out)
			p.to.core = coreOf(&p.state)
			p.to.paper, p.row, p.sight = p.from.paper.step(m, k)
			p.events, p.out = out.Events, out.Outputs
			transitions++
			see(&p)
			if !seen[p.to] {
				seen[p.to] = true
				queue = append(queue, p.to)
			}
		}
	}
	return len(seen), transitions
}

// Every state of the small worlds and every transition out of it, against the table, the record and the invariants.
func TestEveryTransitionIsInTheTable(t *testing.T) {
	states, transitions := 0, 0
	rows, modes := make([]int, len(table)), map[Mode]int{}
	var broken int
	for _, m := range models() {
		s, n := walk(m, func(p *passage) {
			if p.row >= 0 {
				rows[p.row]++
				modes[p.to.core.Mode]++
			}
			if fault := p.fault(); fault != "" && broken < 20 {
				broken++
				t.Errorf("%v\nfrom  %+v\nsaw   %v\nto    %+v\npaper %+v\n%s", p.model, p.from.core, p.k, p.to.core, p.to.paper, fault)
			}
		})
		states, transitions = states+s, transitions+n
	}
	for i, n := range rows {
		require.Positive(t, n, "the row %q of %v is never used: the worlds are too small", table[i].condition, table[i].from)
	}
	require.Len(t, modes, Modes)
	t.Logf("%d worlds: %d states and %d transitions checked against %d rows, the record and %d invariants",
		len(models()), states, transitions, len(table), len(smallLaws))
}

// fault says what is wrong with a transition; "" = nothing.
func (p *passage) fault() string {
	if got, want := p.to.core, p.to.paper.core(p.model); got != want {
		return "differs from paper"
	}
	if p.row < 0 {
		if len(p.events) > 0 {
			return "an event before the first scan"
		}
		return ""
	}
	r := &table[p.row]
	c, was, now := &p.to.core, &p.from.paper, &p.to.paper
	switch {
	case c.Mode != r.to:
		return "the table leads to " + r.to.String()
	case p.out != valves[r.to]:
		return "not the valves of the table"
	case c.Tripped != r.latch(p.sight):
		return "not the latch of the table"
	case !r.ton.agrees(was.ton, now.ton, p.k.gap, p.model.delay):
		return "not the TON of the table"
	case !r.tp.agrees(was.tp, now.tp, p.k.gap, p.model.bypass):
		return "not the TP of the table"
	}
	if fault := p.recorded(r); fault != "" {
		return fault
	}
	for _, law := range smallLaws {
		if !law.holds(p) {
			return "against invariant: " + law.name
		}
	}
	return ""
}

// recorded compares the events and the counters with what happened.
func (p *passage) recorded(r *row) string {
	var want []Event
	at := time.Duration(p.k.gap) * unit
	value := p.state.Signals[signal.ProductConductivity].Value
	if p.sight.press {
		e := Event{At: at, Kind: Press, Accepted: r.press == PressAccepted, Reason: Reason{Code: r.press, Value: value, Limit: 1}}
		switch r.press {
		case PressAccepted:
			e.Reason.For = ofTicks(p.model.bypass)
		case PressWhileRunning:
			e.Reason.Left = ofTicks(p.model.bypass - p.to.paper.tp)
		}
		want = append(want, e)
	}
	first := !p.from.core.Started
	if first || p.from.core.Mode != r.to {
		e := Event{At: at, Kind: ModeChange, First: first, From: p.from.core.Mode, To: r.to, Reason: p.reason(r)}
		e.Reason.Value, e.Reason.Limit = value, 1
		want = append(want, e)
		if p.state.Reason != e.Reason || p.state.Since != at {
			return "the state keeps another reason or instant of its mode"
		}
	}
	got := shutdownEvents(p.events)
	if len(got) != len(want) {
		return "not the events that happened"
	}
	for i := range got {
		if got[i] != want[i] {
			return "not the event that happened"
		}
	}
	return p.counted(r, first)
}

// reason is why a mode is entered, without the reading and the endpoint.
func (p *passage) reason(r *row) Reason {
	m, from := p.model, p.from.core.Mode
	fromBypass := p.from.core.Started && from == Bypass
	switch {
	case r.to == NoPower && !p.from.core.Started:
		return Reason{Code: NoPowerAtStart}
	case r.to == NoPower:
		return Reason{Code: PowerLost}
	case r.to == Bypass:
		return Reason{Code: PressAccepted, For: ofTicks(m.bypass)}
	case r.to == Shut && from == NoPower:
		return Reason{Code: TripKept}
	case r.to == Shut && fromBypass:
		return Reason{Code: BypassEndedOffSpec, For: ofTicks(m.bypass)}
	case r.to == Shut:
		return Reason{Code: OffSpecForDelay, For: ofTicks(m.delay)}
	case r.to == Delay && fromBypass:
		return Reason{Code: BypassEndedInDelay, Left: ofTicks(m.delay - p.to.paper.ton)}
	case r.to == Delay:
		return Reason{Code: why(m, p.k.water, p.sight.first)}
	case fromBypass:
		return Reason{Code: BypassEndedOnSpec, For: ofTicks(m.bypass)}
	}
	return Reason{Code: OnSpec}
}

// counted compares the counters, which began at zero and the chain at five.
func (p *passage) counted(r *row, first bool) string {
	one := func(b bool) int {
		if b {
			return 1
		}
		return 0
	}
	s := &p.state
	accepted := p.sight.press && r.press == PressAccepted
	chain := 5 + one(accepted)
	if r.to == Service && (first || p.from.core.Mode != Service) {
		chain = 0
	}
	switch {
	case s.Presses != one(p.sight.press):
		return "presses miscounted"
	case s.Bypasses != one(accepted):
		return "bypasses miscounted"
	case s.PowerLosses != one(p.sight.lost):
		return "losses of power miscounted"
	case s.Trips != one(r.to == Shut && !p.sight.kept):
		return "trips miscounted"
	case s.Chain != chain:
		return "the chain of bypasses is miscounted"
	case s.Elapsed != ofTicks(p.k.gap):
		return "time miscounted"
	}
	return ""
}
