package rules

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"ionward/rules/signal"
)

// law is an invariant of the rule that one transition of the small world can break. p.from.paper and p.to.paper count by
// hand, so that "off for D" and "a press within B" are facts of the history and not what the code's timers say.
type law struct {
	name  string
	holds func(p *passage) bool
}

func (p *passage) open() bool { return p.out.Inlet == Open }
func (p *passage) trips() bool {
	return p.to.core.Tripped && !p.from.core.Tripped
}
func (p *passage) accepts() bool {
	for _, e := range p.events {
		if e.Kind == Press && e.Accepted {
			return true
		}
	}
	return false
}

// pressed reports whether the last accepted press was less than a bypass ago.
func (p *passage) pressed() bool { return p.to.paper.tp >= 0 }

var smallLaws = []law{
	{"1 open needs power", func(p *passage) bool { return !p.open() || p.to.paper.power }},
	{"2 a loss of power shuts in the same scan", func(p *passage) bool {
		return !p.sight.lost || p.out == Outputs{Inlet: Closed, Relief: NotDriven}
	}},
	{"3 shut with power iff latched", func(p *passage) bool { return !p.to.paper.power || p.open() != p.to.core.Tripped }},
	{"4 relief open iff shut by the rule", func(p *passage) bool { return (p.out.Relief == Open) == (p.to.core.Mode == Shut) }},
	{"5 a trip needs the delay of unbroken off", func(p *passage) bool { return !p.trips() || p.to.paper.ton >= p.model.delay }},
	{"6 no trip while the bypass runs", func(p *passage) bool { return !p.trips() || !p.pressed() }},
	{"7 off for the delay and no press within the bypass: shut", func(p *passage) bool {
		return p.to.paper.ton < p.model.delay || p.pressed() || !p.open()
	}},
	{"8 never from service to shut at once", func(p *passage) bool {
		return p.from.core.Mode != Service || p.to.core.Mode != Shut || p.k.gap >= p.model.delay
	}},
	{"9 a press never shuts what the same scan without it leaves open", func(p *passage) bool {
		if !p.sight.press || p.open() {
			return true
		}
		without, k := p.before, p.k
		k.button = unread
		in := k.input()
		var out Effects
		Step(p.set, &without, &in, &out)
		return out.Outputs.Inlet != Open
	}},
	{"10 an accepted press is a rising edge with power", func(p *passage) bool {
		return !p.accepts() || (p.to.paper.power && p.from.paper.button == reads0 && p.to.paper.button == reads1)
	}},
	{"12 accepts are a bypass apart", func(p *passage) bool {
		return !p.accepts() || p.from.paper.tp < 0 || p.from.paper.tp+p.k.gap >= p.model.bypass
	}},
	{"13 open after the delay of off: a press within the bypass", func(p *passage) bool {
		return !p.open() || p.to.paper.ton < p.model.delay || p.pressed()
	}},
	{"14 bad is never on spec", func(p *passage) bool {
		return !p.k.scan || p.k.water != badWater || !p.to.paper.power || p.to.core.Class == ClassOff && p.to.core.Mode != Service
	}},
	{"15 uncertain and low keeps the class", func(p *passage) bool {
		return !p.k.scan || p.k.water != uncertainLow || !p.to.paper.power || p.sight.first || p.to.core.Class == p.from.core.Class
	}},
	{"16 good: off iff at or above the endpoint", func(p *passage) bool {
		if !p.k.scan || !p.to.paper.power || p.model.band || p.model.clear > 0 || waterReadings[p.k.water].Quality != signal.Good {
			return true
		}
		return p.to.core.off() == (waterReadings[p.k.water].Value >= 1)
	}},
	{"17 timers within 0 and PT", func(p *passage) bool {
		c := &p.to.core
		return c.Delay.ET >= 0 && c.Delay.ET <= ofTicks(p.model.delay) && c.Bypass.ET >= 0 && c.Bypass.ET <= ofTicks(p.model.bypass) &&
			c.Clear.ET >= 0 && c.Clear.ET <= ofTicks(p.model.clear)
	}},
	{"18 the on-delay is zero whenever on", func(p *passage) bool { return p.to.core.off() || p.to.core.Delay == TON{} }},
	{"19 the on-delay equals a count by hand", func(p *passage) bool { return p.to.core.Delay.ET == ofTicks(max(p.to.paper.ton, 0)) }},
	{"20 power back: fresh timers, or shut if kept", func(p *passage) bool {
		if !p.sight.first {
			return true
		}
		c := &p.to.core
		kept := p.from.core.Tripped && !p.accepts()
		return c.Delay.ET == 0 && c.Bypass.ET == 0 && c.Clear.ET == 0 && (c.Mode == Shut) == kept
	}},
	{"21 shut is left only by a press or a loss of power", func(p *passage) bool {
		return p.from.core.Mode != Shut || p.to.core.Mode == Shut || p.accepts() || p.sight.lost
	}},
	{"22 and 23 a countdown above zero while open and off, else none", func(p *passage) bool {
		left, runs := p.state.TimeLeft(p.set)
		return runs == (p.open() && p.to.core.off()) && runs == (left > 0)
	}},
}

// Cutting a gap changes nothing: from every state, every stimulus after every gap up to the longest that matters is the
// same as the ticks one by one. And the countdown is exact in every state: held off spec without a press, the rule shuts
// in that very tick.
func TestGapsAndCountdownsInEveryState(t *testing.T) {
	gaps, countdowns := 0, 0
	for _, m := range models() {
		set := m.settings()
		longest := m.delay + m.bypass + m.clear + 1
		places := map[core]bool{}
		walk(m, func(p *passage) { places[p.to.core] = true })
		for c := range places {
			gaps += cutGaps(t, &set, c, longest)
			if s := c.state(); s.Powered && !s.Tripped && s.Off() {
				countdowns++
				require.Equal(t, ticksToShut(&set, s), timeLeft(&set, &s), "%v %+v", m, c)
			}
		}
	}
	t.Logf("%d gaps cut, %d countdowns run out", gaps, countdowns)
}

// cutGaps compares each gap in one piece with the same gap tick by tick.
func cutGaps(t *testing.T, set *Settings, c core, longest int) (compared int) {
	t.Helper()
	var out, outs Effects
	ticked := c.state()
	for gap := 1; gap <= longest; gap++ {
		for _, k := range gapStimuli {
			whole, pieces := c.state(), ticked
			k.gap = gap
			in := k.input()
			Step(set, &whole, &in, &out)
			k.gap = 1
			in = k.input()
			Step(set, &pieces, &in, &outs)
			compared++
			if coreOf(&whole) != coreOf(&pieces) || out.Outputs != outs.Outputs || whole.Since != pieces.Since || whole.Reason != pieces.Reason {
				require.Equal(t, coreOf(&pieces), coreOf(&whole), "gap %d of %+v with %v", gap, c, k)
				require.Equal(t, fmt.Sprint(pieces.Since, pieces.Reason), fmt.Sprint(whole.Since, whole.Reason), "gap %d of %+v with %v", gap, c, k)
			}
		}
		Step(set, &ticked, &Input{Gap: unit}, &outs)
	}
	return compared
}

// gapStimuli end a gap: nothing, or a scan that decides a deadline on its instant one way or the other.
var gapStimuli = []stimulus{
	{}, {0, true, goodOn, reads1, reads0}, {0, true, goodOff, reads1, reads1}, {0, true, goodOn, reads1, reads1},
	{0, true, goodOff, reads0, reads0}, {0, true, noWater, unread, unread}, {0, true, uncertainLow, reads1, reads1},
}

func timeLeft(set *Settings, s *State) int {
	left, ok := s.TimeLeft(set)
	if !ok {
		return -1
	}
	return int(left / unit)
}

func ticksToShut(set *Settings, s State) int {
	var out Effects
	in := stimulus{0, true, goodOff, unread, unread}.input()
	Step(set, &s, &in, &out)
	for n := 0; n < 100; n++ {
		if s.Mode == Shut {
			return n
		}
		Step(set, &s, &Input{Gap: unit}, &out)
	}
	return -1
}
