package rules

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/signal"
)

// steps goes through the inputs and gives every event and the end state.
func steps(set *Settings, s State, inputs []Input) ([]Event, State) {
	var out Effects
	var events []Event
	for i := range inputs {
		Step(set, &s, &inputs[i], &out)
		events = append(events, out.Events...)
	}
	return events, s
}

func TestCuttingAGapChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set, whole := drawInputs(t)
		var cut []Input
		for _, in := range whole {
			for in.Gap > 1 && rapid.IntRange(0, 2).Draw(t, "cut") > 0 {
				piece := time.Duration(rapid.Int64Range(1, int64(in.Gap)-1).Draw(t, "piece"))
				cut, in.Gap = append(cut, Input{Gap: piece}), in.Gap-piece
			}
			cut = append(cut, in)
		}
		wantEvents, want := steps(&set, State{}, whole)
		gotEvents, got := steps(&set, State{}, cut)
		require.Equal(t, wantEvents, gotEvents)
		require.Equal(t, want, got)
	})
}

// Deadlines are where a live loop wakes: stepping from one to the next, without a scan, changes nothing either.
func TestWakingAtEveryDeadlineChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set, whole := drawInputs(t)
		wantEvents, want := steps(&set, State{}, whole)
		var s State
		var out Effects
		var events []Event
		for _, in := range whole {
			for {
				d, ok := s.NextDeadline(&set)
				if !ok || d >= in.Gap {
					break
				}
				in.Gap -= d
				Step(&set, &s, &Input{Gap: d}, &out)
				require.NotEmpty(t, deadlineMoved(&s, &set, d))
				events = append(events, out.Events...)
			}
			Step(&set, &s, &in, &out)
			events = append(events, out.Events...)
		}
		require.Equal(t, wantEvents, events)
		require.Equal(t, want, s)
	})
}

// deadlineMoved says in words that a deadline was settled: none is left, or the next one is still to come.
func deadlineMoved(s *State, set *Settings, _ time.Duration) string {
	if d, ok := s.NextDeadline(set); ok && d <= 0 {
		return ""
	}
	return "moved"
}

func TestSavingAndRestoringChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set, list := drawInputs(t)
		at := rapid.IntRange(0, len(list)).Draw(t, "saved after")
		wantEvents, want := steps(&set, State{}, list)
		events, s := steps(&set, State{}, list[:at])
		text, err := json.Marshal(s)
		require.NoError(t, err)
		var restored State
		require.NoError(t, json.Unmarshal(text, &restored))
		require.Equal(t, s, restored)
		more, end := steps(&set, restored, list[at:])
		require.Equal(t, wantEvents, append(events, more...))
		require.Equal(t, want, end)
	})
}

// Adding a constant to all times changes nothing but the times: an idle hour before the first scan, and another wall clock.
func TestShiftingTimeChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set, list := drawInputs(t)
		shift := time.Duration(rapid.Int64Range(0, int64(1000*time.Hour)).Draw(t, "shift"))
		wantEvents, want := steps(&set, State{}, list)
		shifted := append([]Input(nil), list...)
		shifted[0].Gap += shift
		for i := range shifted {
			shifted[i].At = rapid.Int64().Draw(t, "wall clock")
		}
		events, got := steps(&set, State{}, shifted)
		for i := range events {
			events[i].At -= shift
		}
		require.Equal(t, wantEvents, events)
		require.Equal(t, want.Mode, got.Mode)
		require.Equal(t, want.Custody, got.Custody)
		require.Equal(t, want.Delay, got.Delay)
		require.Equal(t, want.Bypass, got.Bypass)
	})
}

// The step reads its arguments only: the input and a copy of the state stay as they were.
func TestStepLeavesItsInputAlone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set, list := drawInputs(t)
		var s State
		var out Effects
		for _, in := range list {
			kept, before := in, s
			next := before
			Step(&set, &next, &in, &out)
			require.Equal(t, kept, in)
			require.Equal(t, s, before)
			again := s
			Step(&set, &again, &in, &out)
			require.Equal(t, next, again, "the same arguments give the same state")
			s = next
		}
	})
}

// The alarms look at the readings only where one has left its band, or something else has happened. Looking at every step
// must come to the same.
func TestLookingAtEveryStepChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set, list := drawInputs(t)
		var s, always State
		var out, outAlways Effects
		for i := range list {
			Step(&set, &s, &list[i], &out)
			always.Watch.Touched = true
			Step(&set, &always, &list[i], &outAlways)
			require.Equal(t, outAlways.Events, out.Events, "step %d", i)
			require.Equal(t, always.Alarms, s.Alarms, "step %d", i)
			require.Equal(t, always.Offered, s.Offered, "step %d", i)
		}
	})
}

func TestCustodySumsToTheIntegral(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set, list := drawInputs(t)
		var s State
		var out Effects
		integral, flow, age, known := 0.0, 0.0, time.Duration(0), false
		var total time.Duration
		for i, in := range list {
			if i > 0 {
				total += in.Gap
				if known {
					integral += flow * min(in.Gap, max(0, flowHeld-age)).Hours()
					age += in.Gap
				}
			}
			if r := in.Readings[signal.Flow]; r.Usable() {
				flow, age, known = r.Value, 0, true
			}
			Step(&set, &s, &in, &out)
		}
		sum, spent := 0.0, time.Duration(0)
		for b := range Buckets {
			sum += s.Custody.Volume(Bucket(b))
		}
		for _, d := range s.Custody.In {
			spent += d
		}
		require.InDelta(t, integral, sum, 1e-9*(1+integral))
		require.Equal(t, total, spent)
	})
}

func TestCountdownIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set, list := drawInputs(t)
		var s State
		var out Effects
		for _, in := range list {
			Step(&set, &s, &in, &out)
			left, ok := s.TimeLeft(&set)
			open := s.Powered && !s.Tripped
			require.Equal(t, open && s.Off(), ok, "a countdown while open and off spec, else none")
			if !ok {
				continue
			}
			require.Positive(t, left)
			held := s
			off := Input{Gap: 0, Scan: true}
			off.Readings[signal.ProductConductivity] = signal.ProductConductivity.Default(2, signal.Good)
			Step(&set, &held, &off, &out)
			Step(&set, &held, &Input{Gap: left - 1}, &out)
			require.NotEqual(t, Shut, held.Mode)
			Step(&set, &held, &Input{Gap: 1}, &out)
			require.Equal(t, Shut, held.Mode)
		}
	})
}

// Instruments may be polled at different intervals: a signal that was not due keeps its last reading and its quality.
func TestASignalThatWasNotDueStands(t *testing.T) {
	set := Defaults()
	var s State
	var out Effects
	scan := func(product signal.Reading) {
		in := Input{Scan: true, Gap: time.Second}
		in.Readings[signal.ProductConductivity] = product
		Step(&set, &s, &in, &out)
	}
	held := func() Held { return s.Signals[signal.ProductConductivity] }
	notDue := signal.Reading{Cause: signal.NotPolled}
	scan(notDue)
	require.Equal(t, Delay, s.Mode, "nothing was ever read: no reading in the first scan counts as off spec")
	scan(signal.ProductConductivity.Default(0.4, signal.Good))
	scan(notDue)
	require.Equal(t, signal.Good, held().Quality)
	require.Equal(t, Service, s.Mode)
	age, _ := s.Age(signal.ProductConductivity)
	require.Equal(t, time.Second, age, "it ages all the same")
	scan(signal.Reading{Cause: signal.TimedOut})
	scan(notDue)
	require.Equal(t, signal.None, held().Quality, "a poll that failed stands too")
}

func TestStepAllocatesNothing(t *testing.T) {
	b := newBench(Defaults())
	b.value = 0.4
	second := 0
	next := func() {
		second++
		b.value = 0.4 + float64(second%900/300) // on spec, then off spec long enough to trip
		b.button = float64(second % 97 / 96)
		b.scan(time.Duration(second) * 10 * time.Second)
	}
	for range 2000 {
		next() // the slice of events grows to its size once
	}
	require.Zero(t, testing.AllocsPerRun(5000, next))
	require.Positive(t, b.state.Trips)
}
