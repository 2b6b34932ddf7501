package rules

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// past is all that was seen, one stimulus a tick. What it says about an instant is worked out by looking back over the
// whole of it: nothing is carried along but two answers already given, which presses were accepted and when it was shut.
type past struct {
	m        model
	seen     []stimulus
	accepted []bool
	shut     []bool // the trip latch
}

// contact looks back for the last reading of a contact up to the instant n.
func (p *past) contact(n int, read func(stimulus) contact) contact {
	for ; n >= 0; n-- {
		if c := read(p.seen[n]); p.seen[n].scan && c != unread {
			return c
		}
	}
	return unread
}

func powerOf(k stimulus) contact  { return k.power }
func buttonOf(k stimulus) contact { return k.button }

// powered: a scan was seen, and the last reading of the power contact, if there is one, was not 0.
func (p *past) powered(n int) bool {
	for i := n; i >= 0; i-- {
		if p.seen[i].scan {
			return p.contact(n, powerOf) != reads0
		}
	}
	return false
}

// back is the scan with which the present stretch of power began.
func (p *past) back(n int) int {
	for n > 0 && p.powered(n-1) {
		n--
	}
	return n
}

// offClass looks back for the last reading since power came back that decides; without one it is off spec.
func (p *past) offClass(n int) bool {
	for i, first := n, p.back(n); i >= first; i-- {
		if !p.seen[i].scan {
			continue
		}
		if c := judged(p.m, p.seen[i].water); c != 0 {
			return c > 0
		}
	}
	return true
}

// off: the class is off spec, or was less than the clear delay before the reading that turned it.
func (p *past) off(n int) bool {
	for i, first := n, p.back(n); i >= first; i-- {
		if p.offClass(i) {
			return i == n || n-(i+1) < p.m.clear
		}
	}
	return false
}

// offFor is for how many ticks it has been off spec without a break; below 0 where it is not.
func (p *past) offFor(n int) int {
	i := n
	for first := p.back(n); i >= first && p.off(i); i-- {
	}
	return n - i - 1
}

// running: an accepted press since power came back is less than a bypass old.
func (p *past) running(n int) bool {
	for i, first := n, p.back(n); i >= first && n-i < p.m.bypass; i-- {
		if p.accepted[i] {
			return true
		}
	}
	return false
}

// edge: the button reads 1, and its reading before that was 0.
func (p *past) edge(n int) bool {
	return p.seen[n].scan && p.seen[n].button == reads1 && p.contact(n-1, buttonOf) == reads0
}

// answer works out the newest instant.
func (p *past) answer() (mode Mode, press, accepted bool) {
	n := len(p.seen) - 1
	p.accepted, p.shut = append(p.accepted, false), append(p.shut, false)
	was := n > 0 && p.shut[n-1]
	press = p.edge(n)
	if !p.powered(n) {
		p.shut[n] = was && p.m.keep
		return NoPower, press, false
	}
	off := p.off(n)
	p.accepted[n] = press && !p.running(n) && (off || was)
	running := p.running(n)
	p.shut[n] = !p.accepted[n] && (was || (off && p.offFor(n) >= p.m.delay && !running))
	switch {
	case p.shut[n]:
		mode = Shut
	case running:
		mode = Bypass
	case off:
		mode = Delay
	default:
		mode = Service
	}
	return mode, press, p.accepted[n]
}

// forget takes back the newest instant.
func (p *past) forget() {
	n := len(p.seen) - 1
	p.seen, p.accepted, p.shut = p.seen[:n], p.accepted[:n], p.shut[:n]
}

// compare tries every sequence of the alphabet up to a length, each once, and gives how many there were.
func (p *past) compare(t *testing.T, set *Settings, s *State, alphabet []stimulus, inputs []Input, length int) (sequences int) {
	var out Effects
	for i, k := range alphabet {
		next := *s
		Step(set, &next, &inputs[i], &out)
		p.seen = append(p.seen, k)
		mode, press, accepted := p.answer()
		gotPress, gotAccepted := false, false
		for _, e := range out.Events {
			if e.Kind == Press {
				gotPress, gotAccepted = true, e.Accepted
			}
		}
		if next.Mode != mode || gotPress != press || gotAccepted != accepted {
			t.Fatalf("%v: after %v\nhistory says %v, press %v accepted %v; the rule says %v, press %v accepted %v",
				p.m, p.seen, mode, press, accepted, next.Mode, gotPress, gotAccepted)
		}
		sequences++
		if length > 1 {
			sequences += p.compare(t, set, &next, alphabet, inputs, length-1)
		}
		p.forget()
	}
	return sequences
}

// All short sequences, and not a sample of them: what the rule says after each is what its history says.
func TestEveryShortHistoryAgrees(t *testing.T) {
	scan := func(w water, power, button contact) stimulus { return stimulus{1, true, w, power, button} }
	none := stimulus{gap: 1}
	presses := []stimulus{none, scan(goodOn, reads1, reads0), scan(goodOn, reads1, reads1), scan(goodOff, reads1, reads0), scan(goodOff, reads1, reads1)}
	power := []stimulus{
		none, scan(goodOff, reads1, reads0), scan(goodOff, reads1, reads1), scan(goodOn, reads1, reads0),
		scan(goodOff, reads0, reads0), scan(goodOff, reads0, reads1), scan(noWater, unread, unread),
	}
	readings := []stimulus{none, scan(goodOn, reads0, reads0)}
	for w := range water(waters) {
		readings = append(readings, scan(w, reads1, reads0))
	}
	everything := stimuli(1)
	total := 0
	for _, c := range []struct {
		name     string
		alphabet []stimulus
		length   int
		models   []model
	}{
		{"presses", presses, 7, []model{{2, 3, 0, false, false}, {3, 2, 0, false, false}, {2, 2, 1, false, false}, {1, 3, 2, false, false}}},
		{"power", power, 5, []model{{2, 2, 0, false, false}, {1, 2, 0, false, true}, {1, 2, 1, false, true}}},
		{"readings", readings, 5, []model{{2, 1, 0, false, false}, {1, 1, 1, true, false}, {2, 1, 2, true, false}}},
		{"everything", everything, 3, []model{{1, 1, 1, true, true}}},
	} {
		if *deep && len(c.alphabet) < len(everything) {
			c.length++
		}
		for _, m := range c.models {
			set := m.settings()
			p := past{m: m}
			inputs := make([]Input, len(c.alphabet))
			for i, k := range c.alphabet {
				inputs[i] = k.input()
			}
			n := p.compare(t, &set, &State{}, c.alphabet, inputs, c.length)
			want, all := 0, 1
			for range c.length {
				all *= len(c.alphabet)
				want += all
			}
			require.Equal(t, want, n, "not all sequences were tried")
			t.Logf("%s, %v: all %d sequences of up to %d of %d", c.name, m, n, c.length, len(c.alphabet))
			total += n
		}
	}
	t.Logf("%d sequences in all", total)
}
