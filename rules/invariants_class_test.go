package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/signal"
)

// The invariants of the shutdown rule, 14 to 24: classes, timers and the countdown.

func TestInvariant14BadIsNeverOnSpec(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		if !l.classified() || l.product().Quality != signal.Bad {
			return false
		}
		require.Equal(t, ClassOff, l.after.Class)
		require.Equal(t, BadReading, l.after.Why)
		require.True(t, l.after.Off())
		require.NotEqual(t, Service, l.after.Mode)
		return true
	})
}

func TestInvariant15UncertainAndLowNeverChangesTheClass(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		if r := l.product(); !l.classified() || r.Quality != signal.Uncertain || r.Value >= l.set.Endpoint {
			return false
		}
		if l.watch.back {
			require.Equal(t, ClassOff, l.after.Class, "there is no last class with power just back")
			require.Equal(t, UncertainAtPowerBack, l.after.Why)
			return false
		}
		require.Equal(t, l.before.Class, l.after.Class)
		require.Equal(t, l.before.Why, l.after.Why)
		return true
	})
}

func TestInvariant16GoodIsOffIffAtOrAboveTheEndpoint(t *testing.T) {
	exact := 0
	invariant(t, func(t *rapid.T, l *look) bool {
		r := l.product()
		if !l.classified() || r.Quality != signal.Good {
			return false
		}
		switch {
		case r.Value >= l.set.Endpoint:
			require.True(t, l.after.Off())
			require.Equal(t, ClassOff, l.after.Class)
			require.Equal(t, OffSpec, l.after.Why)
		case signal.Counts(r.Value, 0.001) < signal.Counts(l.set.Endpoint, 0.001)-signal.Counts(l.set.ClearBand, 0.001):
			require.Equal(t, ClassOn, l.after.Class)
			require.Equal(t, OnSpec, l.after.Why)
			require.True(t, l.set.ClearDelay > 0 || !l.after.Off())
		case l.watch.back:
			require.Equal(t, ClassOff, l.after.Class)
			require.Equal(t, EndpointHeld, l.after.Why)
		default:
			require.Equal(t, l.before.Class, l.after.Class, "inside the band the class stands")
		}
		if r.Value == l.set.Endpoint {
			exact++
		}
		return true
	})
	require.Positive(t, exact)
	t.Logf("%d of the special case", exact)
}

func TestInvariant17TimersStayWithinTheirPreset(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		for _, timer := range []struct{ et, pt time.Duration }{
			{l.after.Delay.ET, l.set.Delay}, {l.after.Bypass.ET, l.set.Bypass}, {l.after.Clear.ET, l.set.ClearDelay},
		} {
			require.GreaterOrEqual(t, timer.et, time.Duration(0))
			require.LessOrEqual(t, timer.et, timer.pt)
		}
		return l.after.Delay.ET == l.set.Delay && l.after.Bypass.ET > 0
	})
}

func TestInvariant18TheDelayIsZeroWheneverOn(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		if l.watch.off {
			return false
		}
		require.Equal(t, TON{}, l.after.Delay)
		return l.before.Delay.ET > 0
	})
}

func TestInvariant19TheDelayEqualsAnIndependentCount(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		require.Equal(t, min(l.watch.offFor(), l.set.Delay), l.after.Delay.ET)
		require.Equal(t, l.watch.off, l.after.Off())
		return l.after.Delay.ET > 0
	})
}

func TestInvariant20PowerBackMeansFreshTimersOrShutIfKept(t *testing.T) {
	kept := 0
	invariant(t, func(t *rapid.T, l *look) bool {
		if l.watch.lost {
			require.Equal(t, l.before.Tripped && l.set.KeepTrip, l.after.Tripped)
			require.Equal(t, Unclassified, l.after.Class)
			require.Equal(t, []any{TOF{}, TON{}, TP{}}, []any{l.after.Clear, l.after.Delay, l.after.Bypass})
		}
		if !l.watch.back {
			return false
		}
		require.Zero(t, l.after.Delay.ET)
		require.Zero(t, l.after.Clear.ET)
		require.Zero(t, l.after.Bypass.ET)
		require.Equal(t, l.before.Tripped && !l.accepted(), l.after.Mode == Shut)
		if l.before.Tripped {
			kept++
		}
		return true
	})
	require.Positive(t, kept)
	t.Logf("%d of the special case", kept)
}

func TestInvariant21ShutIsLeftOnlyByAPressOrALossOfPower(t *testing.T) {
	good := 0
	invariant(t, func(t *rapid.T, l *look) bool {
		if l.before.Mode != Shut {
			return false
		}
		if l.after.Mode == Shut {
			if l.classified() && !l.watch.off {
				good++ // good water alone does not open
			}
			return false
		}
		require.True(t, l.accepted() || l.watch.lost)
		return true
	})
	require.Positive(t, good)
	t.Logf("%d of the special case", good)
}

func TestInvariant22ACountdownWhileOpenAndOff(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		if !l.open() || !l.watch.off {
			return false
		}
		left, runs := l.after.TimeLeft(l.set)
		require.True(t, runs)
		require.Positive(t, left)
		require.Equal(t, max(l.set.Delay-l.watch.offFor(), l.set.Bypass-l.watch.sincePress()), left)
		delay, runs := l.after.DelayLeft(l.set)
		require.True(t, runs)
		require.Equal(t, max(l.set.Delay-l.watch.offFor(), 0), delay)
		return true
	})
}

func TestInvariant23NoCountdownWhenShutOrOnSpec(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		if l.open() && l.watch.off {
			return false
		}
		left, runs := l.after.TimeLeft(l.set)
		require.False(t, runs)
		require.Zero(t, left)
		_, runs = l.after.DelayLeft(l.set)
		require.False(t, runs)
		return l.after.Mode == Shut
	})
}

func TestInvariant24TheCountdownIsExact(t *testing.T) {
	invariant(t, func(t *rapid.T, l *look) bool {
		left, runs := l.after.TimeLeft(l.set)
		if !runs {
			return false
		}
		held := l.after
		var out Effects
		off := Input{Scan: true}
		off.Readings[signal.ProductConductivity] = signal.ProductConductivity.Default(2, signal.Good)
		Step(l.set, &held, &off, &out)
		Step(l.set, &held, &Input{Gap: left - 1}, &out)
		require.NotEqual(t, Shut, held.Mode)
		Step(l.set, &held, &Input{Gap: 1}, &out)
		require.Equal(t, Shut, held.Mode)
		require.Equal(t, l.after.Elapsed+left, held.Since)
		return true
	})
}
