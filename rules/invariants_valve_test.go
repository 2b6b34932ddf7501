package rules

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/signal"
)

// The invariants of the shutdown rule, 1 to 13: valves, trips and presses.

func TestInvariant01OpenNeedsPower(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		if l.open() {
			require.True(t, l.watch.power)
		}
		return l.watch.started && !l.watch.power
	})
}

func TestInvariant02PowerLossShutsInTheSameScan(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		if l.watch.lost {
			require.Equal(t, Outputs{Inlet: Closed, Relief: NotDriven}, l.out)
			require.Equal(t, NoPower, l.after.Mode)
			e, ok := l.event(ModeChange)
			require.True(t, ok)
			require.Equal(t, l.watch.now, e.At)
		}
		return l.watch.lost && l.before.Mode.Outputs().Inlet == Open
	})
}

func TestInvariant03ShutWithPowerIffLatched(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		if !l.watch.power {
			return false
		}
		require.Equal(t, l.after.Tripped, !l.open())
		return l.after.Tripped
	})
}

func TestInvariant04ReliefIsOpenIffShut(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		require.Equal(t, l.after.Mode == Shut, l.out.Relief == Open)
		require.Equal(t, l.watch.power, l.out.Relief != NotDriven)
		return l.out.Relief == Open
	})
}

func TestInvariant05ATripNeedsTheDelayOfUnbrokenOff(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		if l.trips() {
			require.True(t, l.watch.off)
			require.GreaterOrEqual(t, l.watch.offFor(), l.set.Delay)
		}
		return l.trips()
	})
}

func TestInvariant06NoTripWhileTheBypassRuns(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		if l.watch.sincePress() < l.set.Bypass {
			require.False(t, l.after.Tripped)
		}
		return l.watch.sincePress() < l.set.Bypass && l.watch.offFor() >= l.set.Delay
	})
}

func TestInvariant07NoMissedTrip(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		due := l.watch.off && l.watch.offFor() >= l.set.Delay && l.watch.sincePress() >= l.set.Bypass
		if due {
			require.Equal(t, Shut, l.after.Mode)
		}
		return due
	})
}

func TestInvariant08NeverFromServiceToShutAtOnce(t *testing.T) {
	// Whole inputs here, gap and scan in one step. A gap holds the inputs, and on spec does not turn off by itself: so
	// this holds even for gaps as long as the delay.
	long := 0
	check(t, func(t *rapid.T) {
		r := drawRun(t)
		var s State
		var out Effects
		for i := range r.inputs {
			was := s.Mode
			Step(&r.set, &s, &r.inputs[i], &out)
			if was == Service {
				require.NotEqual(t, Shut, s.Mode)
			}
			if was == Service && s.Mode == Delay && r.inputs[i].Gap >= r.set.Delay {
				long++
			}
		}
	})
	require.Positive(t, long)
	t.Logf("%d delays began after a gap as long as the delay", long)
}

func TestInvariant09APressNeverShuts(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		if _, pressed := l.event(Press); !pressed {
			return false
		}
		without, in := l.before, *l.in
		in.Readings[signal.BypassButton] = signal.Reading{Cause: signal.TimedOut}
		var out Effects
		Step(l.set, &without, &in, &out)
		if out.Outputs.Inlet == Open {
			require.True(t, l.open(), "the press shut what stays open without it")
		}
		return !l.open() || without.Mode == Shut
	})
}

func TestInvariant10AnAcceptedPressIsARisingEdgeWithPower(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		if l.accepted() {
			require.True(t, l.watch.power)
			require.True(t, l.in.Scan)
			require.Zero(t, l.watch.was, "the reading before it was 0")
			require.InDelta(t, 1, l.watch.button, 0)
		}
		return l.accepted()
	})
}

func TestInvariant11OneAcceptPerHold(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		require.LessOrEqual(t, l.watch.holds, 1)
		// Held beyond the end of its own bypass: the case in which a second accept could come.
		return l.watch.holds == 1 && l.watch.power && l.watch.sincePress() >= l.set.Bypass
	})
}

func TestInvariant12AcceptsAreABypassApart(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		again := l.accepted() && l.watch.gap < -ages
		if again {
			require.GreaterOrEqual(t, l.watch.gap, l.set.Bypass)
		}
		return again
	})
}

func TestInvariant13OpenAfterTheDelayOfOffRestsOnAPress(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		late := l.open() && l.watch.off && l.watch.offFor() >= l.set.Delay
		if late {
			require.Less(t, l.watch.sincePress(), l.set.Bypass)
		}
		return late
	})
}
