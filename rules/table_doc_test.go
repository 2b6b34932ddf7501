package rules

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write TRANSITIONS.md anew from what the rule does; read the difference before keeping it")

// The transition table for people is written from what Step does in every state of the small worlds, not from the table
// of the tests: for each mode the fewest conditions that tell its outcomes apart are searched for.

// fact is one thing that the decision may hang on, in the order in which the written table asks for it.
type fact struct {
	yes, no string
	of      func(sight) bool
}

var asked = []fact{
	{"power", "no power", func(s sight) bool { return s.power }},
	{"TP runs", "TP not running", func(s sight) bool { return s.running }},
	{"OFF", "ON", func(s sight) bool { return s.off }},
	{"press", "no press", func(s sight) bool { return s.press }},
	{"TON >= D", "TON < D", func(s sight) bool { return s.full }},
	{"latch kept", "no latch", func(s sight) bool { return s.kept }},
	{"profile keeps a trip", "profile keeps no trip", func(s sight) bool { return s.keeps }},
}

// sample is one observed outcome: bits of the facts, what came of it, and what the timers were seen to do.
type sample struct {
	facts   uint
	outcome string
	seen    map[string]map[string]bool // timer -> what it was seen to do
}

// hidden begins the part of an outcome that tells lines apart and is not written.
const hidden = "#"

// leaf is a line of the written table.
type leaf struct{ condition, outcome string }

// tree finds the fewest leaves for samples that share the facts in known; every fact not in it may be asked.
func tree(samples []sample, known uint, memo map[[2]uint][]leaf, values uint, said []string) []leaf {
	var here []sample
	for _, s := range samples {
		if s.facts&known == values {
			here = append(here, s)
		}
	}
	if len(here) == 0 {
		return nil
	}
	if l, ok := memo[[2]uint{known, values}]; ok {
		return l
	}
	var best []leaf
	if one := func(s sample) bool { return s.outcome != here[0].outcome }; !slices.ContainsFunc(here, one) {
		outcome, _, _ := strings.Cut(here[0].outcome, hidden)
		best = []leaf{{strings.Join(said, ", "), outcome + timers(here)}}
	} else {
		for i, f := range asked {
			bit := uint(1) << i
			if known&bit != 0 {
				continue
			}
			yes := tree(samples, known|bit, memo, values|bit, append(slices.Clone(said), f.yes))
			no := tree(samples, known|bit, memo, values, append(slices.Clone(said), f.no))
			if n := len(yes) + len(no); len(yes) > 0 && len(no) > 0 && (best == nil || n < len(best)) {
				best = append(slices.Clone(yes), no...)
			}
		}
	}
	memo[[2]uint{known, values}] = best
	return best
}

// timers says what each timer and the latch were seen to do in all samples of a line.
func timers(here []sample) string {
	did := map[string]map[string]bool{}
	for _, s := range here {
		for timer, list := range s.seen {
			if did[timer] == nil {
				did[timer] = map[string]bool{}
			}
			maps.Copy(did[timer], list)
		}
	}
	var text []string
	for _, timer := range []string{"TON", "TP", "latch"} {
		if list := slices.Sorted(maps.Keys(did[timer])); len(list) > 0 {
			what := strings.Join(list, " or ")
			if len(list) > 1 && timer == "TON" {
				what = "follows the class"
			}
			text = append(text, timer+" "+what)
		}
	}
	return strings.Join(text, "; ")
}

// seenAction tells what a counter was seen to do.
func seenAction(was, now bool, before, after, gap, preset int) string {
	switch {
	case !now:
		return "0"
	case was && after == min(before+gap, preset):
		return "runs on"
	case after == 0:
		return "from 0"
	}
	return "jumps"
}

// did lists what timers and latch did in a passage, as the code keeps them.
func (p *passage) did() map[string]map[string]bool {
	a, b := &p.from.core, &p.to.core
	ticks := func(c *core) (ton, tp int) { return int(c.Delay.ET / unit), int(c.Bypass.ET / unit) }
	ton0, tp0 := ticks(a)
	ton1, tp1 := ticks(b)
	list := map[string]map[string]bool{
		"TON": {seenAction(a.Delay.In, b.Delay.In, ton0, ton1, p.k.gap, p.model.delay): true},
		"TP":  {seenAction(a.Bypass.Running, b.Bypass.Running, tp0, tp1, p.k.gap, p.model.bypass+1): true},
	}
	switch {
	case b.Tripped && !a.Tripped:
		list["latch"] = map[string]bool{"set": true}
	case b.Tripped:
		list["latch"] = map[string]bool{"stays": true}
	case a.Tripped:
		list["latch"] = map[string]bool{"reset": true}
	}
	return list
}

// sampled collects per mode what was seen of the rule: how it moved, and what a press got.
func sampled() (moves, presses map[Mode]map[uint]sample) {
	moves, presses = map[Mode]map[uint]sample{}, map[Mode]map[uint]sample{}
	keep := func(all map[Mode]map[uint]sample, from Mode, s sample) {
		if all[from] == nil {
			all[from] = map[uint]sample{}
		}
		old, ok := all[from][s.facts]
		if !ok {
			all[from][s.facts] = s
			return
		}
		if old.outcome != s.outcome {
			panic(fmt.Sprintf("from %v the facts %07b do not decide: %s and %s", from, s.facts, old.outcome, s.outcome))
		}
		for timer, list := range s.seen {
			if old.seen[timer] == nil {
				old.seen[timer] = map[string]bool{}
			}
			maps.Copy(old.seen[timer], list)
		}
	}
	for _, m := range models()[:16] { // the small ones: every line comes about in them
		walk(m, func(p *passage) {
			if p.row < 0 {
				return
			}
			facts := uint(0)
			for i, f := range asked {
				if f.of(p.sight) {
					facts |= 1 << i
				}
			}
			from := p.from.core.Mode
			outcome := fmt.Sprintf("%v | %v | %v | %slatch changes: %v", p.to.core.Mode, p.out.Inlet,
				strings.ReplaceAll(p.out.Relief.String(), "_", " "), hidden, p.from.core.Tripped != p.to.core.Tripped)
			keep(moves, from, sample{facts, outcome, p.did()})
			for _, e := range p.events {
				if e.Kind == Press {
					keep(presses, from, sample{facts, fmt.Sprintf("%v | %v", e.Reason.Code, yesNo(e.Accepted)), nil})
				}
			}
		})
	}
	return moves, presses
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// written makes the lines of a table; modes with the same line share it.
func written(all map[Mode]map[uint]sample) (lines []string) {
	modes := map[leaf][]string{}
	var order []leaf
	for from := range Mode(Modes) {
		samples := slices.Collect(maps.Values(all[from]))
		for _, l := range tree(samples, 0, map[[2]uint][]leaf{}, 0, nil) {
			if l.condition == "" {
				l.condition = "always"
			}
			if modes[l] == nil {
				order = append(order, l)
			}
			modes[l] = append(modes[l], from.String())
		}
	}
	for _, l := range order {
		lines = append(lines, fmt.Sprintf("| %s | %s | %s |", strings.Join(modes[l], ", "), l.condition, l.outcome))
	}
	return lines
}

const heading = `# The transitions of the shutdown rule

Written by ` + "`go test ./rules -run TestTransitionsAreWrittenDown -update`" + ` from what the rule does in every state that a model of it in
whole seconds can reach; a test keeps it current. Do not edit it by hand.

TON is the delay D, TP the pulse of the bypass (IEC 61131-3 timers). OFF and ON are the product class after the clear delay, press is a
rising edge of the button, all at the instant that is decided: a scan, or a deadline with the inputs held. The conditions of one mode
exclude each other; what a line does not name makes no difference. no_power is also the state before the first scan.

| from | condition | to | inlet | relief | timers |
|---|---|---|---|---|---|
`

const pressHeading = `
What a press gets, by the mode before it:

| from | condition | recorded as | accepted |
|---|---|---|---|
`

func TestTransitionsAreWrittenDown(t *testing.T) {
	moves, presses := sampled()
	require.Len(t, moves, Modes)
	text := heading + strings.Join(written(moves), "\n") + "\n" + pressHeading + strings.Join(written(presses), "\n") + "\n"
	require.NotContains(t, text, "jumps")
	if *update {
		require.NoError(t, os.WriteFile("TRANSITIONS.md", []byte(text), 0o644))
	}
	kept, err := os.ReadFile("TRANSITIONS.md")
	require.NoError(t, err)
	require.Equal(t, string(kept), text, "the rule moves otherwise than TRANSITIONS.md says: run with -update and read the difference")
}
