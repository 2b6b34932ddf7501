package rules

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// Invariant 25: what must make no difference to the shutdown rule.

// told is what the shutdown rule did in one step.
type told struct {
	Core   core
	Out    Outputs
	Events []Event
}

// tell steps through the inputs and gives what the rule did in each. between is called before each, if at all.
func tell(set *Settings, inputs []Input, between func(i int, s *State)) []told {
	var s State
	var out Effects
	list := make([]told, 0, len(inputs))
	for i := range inputs {
		if between != nil {
			between(i, &s)
		}
		Step(set, &s, &inputs[i], &out)
		list = append(list, told{coreOf(&s), out.Outputs, shutdownEvents(out.Events)})
	}
	return list
}

func TestInvariant25SaveAndRestoreBetweenAnyTwoSteps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRun(t)
		want := tell(&r.set, r.inputs, nil)
		got := tell(&r.set, r.inputs, func(_ int, s *State) {
			text, err := json.Marshal(s)
			require.NoError(t, err)
			var restored State
			require.NoError(t, json.Unmarshal(text, &restored))
			require.Equal(t, *s, restored)
			*s = restored
		})
		require.Equal(t, want, got)
	})
}

func TestInvariant25AConstantAddedToAllTimes(t *testing.T) {
	check(t, func(t *rapid.T) {
		r := drawRun(t)
		want := tell(&r.set, r.inputs, nil)
		shift := time.Duration(rapid.Int64Range(1, int64(10000*time.Hour)).Draw(t, "shift"))
		got := tell(&r.set, r.inputs, func(i int, s *State) {
			if i == 0 {
				s.Elapsed += shift
			}
		})
		for i := range got {
			for j := range got[i].Events {
				got[i].Events[j].At -= shift
			}
		}
		require.Equal(t, want, got)
	})
}

// drawNoise changes everything in an input that is no argument of the rule.
func drawNoise(t *rapid.T, in Input) Input {
	in.At = rapid.Int64().Draw(t, "wall clock")
	in.Estimated = rapid.Bool().Draw(t, "estimated")
	in.Facts = Facts{
		Known: Fact(rapid.IntRange(0, 31).Draw(t, "known")), Set: Fact(rapid.IntRange(0, 31).Draw(t, "facts")),
		Left: time.Duration(rapid.IntRange(0, 99).Draw(t, "left")) * time.Hour,
	}
	if rapid.IntRange(0, 2).Draw(t, "order") == 0 {
		in.Orders = []Order{{
			Who: "at the screen", Verb: Verb(rapid.IntRange(0, Verbs-1).Draw(t, "verb")),
			Alarm: alarm.ID(rapid.IntRange(0, alarm.Count-1).Draw(t, "alarm")), Text: rapid.SampledFrom([]string{"2h valve stuck", "", "8h"}).Draw(t, "text"),
		}}
	}
	if !in.Scan {
		return in
	}
	for id := range signal.ID(signal.Count) {
		switch id {
		case signal.ProductConductivity, signal.ControlPower, signal.BypassButton:
			continue
		}
		q := signal.Quality(rapid.IntRange(0, 3).Draw(t, "quality"))
		v := float64(rapid.IntRange(0, 1).Draw(t, "contact"))
		if !id.Contact() {
			v = float64(rapid.IntRange(0, 60).Draw(t, "value"))
		}
		in.Readings[id] = id.Default(v, q)
	}
	return in
}

// Rinse, banks, flow, limit switches, feed, temperatures, wall clock, orders and the settings of alarms are no arguments
// of the rule: two runs that differ only there do the same, with the same reasons, at the same instants.
func TestInvariant25WhatIsNoArgument(t *testing.T) {
	differed := 0
	check(t, func(t *rapid.T) {
		r := drawRun(t)
		noisy, set := make([]Input, len(r.inputs)), r.set
		for i, in := range r.inputs {
			noisy[i] = drawNoise(t, in)
		}
		for i := range set.Alarms {
			// A window of no length is no setting: Check says so.
			set.Alarms[i].On = time.Duration(rapid.IntRange(1, 9).Draw(t, "on-delay")) * time.Second
		}
		require.Empty(t, set.Check())
		require.Equal(t, tell(&r.set, r.inputs, nil), tell(&set, noisy, nil))
		a, b := State{}, State{}
		var out Effects
		for i := range noisy {
			Step(&r.set, &a, &r.inputs[i], &out)
			Step(&set, &b, &noisy[i], &out)
		}
		if a.Alarms != b.Alarms {
			differed++
		}
	})
	require.Positive(t, differed, "the noise reached nothing at all")
}

// The exhaustive check rests on this: what a state does next follows from its core, whatever else it remembers.
func TestTheShutdownRestsOnItsCore(t *testing.T) {
	check(t, func(t *rapid.T) {
		r := drawRun(t)
		var s State
		var out, bareOut Effects
		for _, in := range r.inputs {
			in = drawNoise(t, in)
			bare := coreOf(&s).state()
			began := s.Elapsed
			bareIn := in
			bareIn.Orders, bareIn.Facts = nil, Facts{}
			Step(&r.set, &bare, &bareIn, &bareOut)
			Step(&r.set, &s, &in, &out)
			require.Equal(t, coreOf(&s), coreOf(&bare))
			require.Equal(t, out.Outputs, bareOut.Outputs)
			got, want := shutdownEvents(bareOut.Events), shutdownEvents(out.Events)
			require.Len(t, got, len(want))
			for i := range want {
				require.Equal(t, want[i].At, got[i].At+began)
				require.Equal(t, []any{want[i].Kind, want[i].From, want[i].To, want[i].Accepted, want[i].First}, []any{got[i].Kind, got[i].From, got[i].To, got[i].Accepted, got[i].First})
				if want[i].Reason.Code != got[i].Reason.Code {
					require.Equal(t, want[i].Reason, got[i].Reason)
				}
			}
		}
	})
}

func TestInvariant25CuttingAGapChangesNothing(t *testing.T) {
	check(t, func(t *rapid.T) {
		r := drawRun(t)
		var a, b State
		var out Effects
		for _, in := range r.inputs {
			in = drawNoise(t, in)
			Step(&r.set, &a, &in, &out)
			want, wantOut := append([]Event(nil), out.Events...), out.Outputs
			var got []Event
			for in.Gap > 0 && rapid.Bool().Draw(t, "cut") {
				piece := time.Duration(rapid.Int64Range(0, int64(in.Gap)-1).Draw(t, "piece"))
				Step(&r.set, &b, &Input{Gap: piece}, &out)
				got, in.Gap = append(got, out.Events...), in.Gap-piece
			}
			Step(&r.set, &b, &in, &out)
			got = append(got, out.Events...)
			require.Equal(t, want, got)
			require.Equal(t, wantOut, out.Outputs)
			require.Equal(t, a, b)
		}
	})
}

// Present only saves looking: whether it names the readings that are there, or some more and bits beyond the signals,
// or nothing, the step is the same; also after a signal was there and is not any more, or was not due.
func TestPresentIsNoArgumentEither(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRun(t)
		var all, exact, more State
		var out, outs Effects
		for _, in := range r.inputs {
			in = drawNoise(t, in)
			for id := range in.Readings {
				if in.Scan && rapid.IntRange(0, 4).Draw(t, "not due") == 0 {
					in.Readings[id] = signal.Reading{Cause: signal.NotPolled}
				}
			}
			Step(&r.set, &all, &in, &out)
			for id, reading := range in.Readings {
				if reading != (signal.Reading{}) {
					in.Present |= 1 << id
				}
			}
			Step(&r.set, &exact, &in, &outs)
			require.Equal(t, out, outs)
			require.True(t, causeless(all) == causeless(exact), "a reading that is there was not looked at, or one that is gone")
			in.Present |= rapid.Uint32().Draw(t, "more") | 1<<signal.Count
			Step(&r.set, &more, &in, &outs)
			require.True(t, causeless(all) == causeless(more))
		}
	})
}

// causeless forgets why a reading is missing: what was missing before and still is need not be looked at again.
func causeless(s State) State {
	for i := range s.Signals {
		if h := &s.Signals[i]; h.Quality == signal.None {
			h.Cause = signal.NoCause
		}
	}
	return s
}
