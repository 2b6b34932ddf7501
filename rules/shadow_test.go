package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// watched is a trailer in service for two minutes, its valves seen, its timer measured: 9:50 to 10:10, travel 30 s.
func watched(button bool) *scene {
	c := newScene()
	tried := Trial{Who: "A. Tryer", When: "2026-03-14"}
	c.set.Profile.Timers.Delay = Span{590 * time.Second, 610 * time.Second}
	c.set.Profile.Timers.Bypass = Span{590 * time.Second, 610 * time.Second}
	c.set.Profile.Timers.Trial = tried
	c.set.Profile.PowerWhileShut.Trial = tried
	if !button {
		delete(c.values, signal.BypassButton)
	}
	c.inlet(true).to(signal.ReliefOpen, 0).run(20 * time.Minute) // until nothing from before counts any more
	return c
}

// inlet moves both limit switches at once.
func (c *scene) inlet(open bool) *scene {
	v := 0.0
	if open {
		v = 1
	}
	return c.to(signal.InletOpen, v).to(signal.InletShut, 1-v)
}

func (c *scene) product(v float64) *scene { return c.to(signal.ProductConductivity, v) }

// quiet requires that none of the alarms about the valves is active.
func (c *scene) quiet(t *testing.T) {
	t.Helper()
	for _, id := range []alarm.ID{alarm.DidNotShut, alarm.DidNotOpen, alarm.MovedUnasked, alarm.ReliefOpen, alarm.ReliefDidNotOpen, alarm.BypassQuestion} {
		require.Equal(t, "normal", c.phase(id), id.String())
	}
}

// stop lets the unit stop as it should, with the relief open.
func (c *scene) stop(t *testing.T) {
	t.Helper()
	c.product(2).run(10 * time.Minute)
	c.inlet(false).to(signal.ReliefOpen, 1).run(time.Minute)
	_, sure := c.state.WiredStop()
	require.True(t, sure)
	c.quiet(t)
}

func TestTheWindowOfTheStop(t *testing.T) {
	c := watched(true)
	_, ok := c.state.WiredDue(&c.set)
	require.False(t, ok, "on spec")
	c.product(2).run(time.Second)
	due, ok := c.state.WiredDue(&c.set)
	require.True(t, ok)
	require.Equal(t, Span{589 * time.Second, 610 * time.Second}, due)
	elapsed, _ := c.state.WiredDelay(&c.set)
	require.Equal(t, Span{0, time.Second}, elapsed)
	c.run(time.Minute)
	elapsed, _ = c.state.WiredDelay(&c.set)
	require.Equal(t, Span{time.Minute, 61 * time.Second}, elapsed)
	// A reading lost: what was said goes on, up to the bridge.
	c.values[signal.ProductConductivity] = signal.Reading{Cause: signal.TimedOut}
	c.run(30 * time.Second)
	elapsed, _ = c.state.WiredDelay(&c.set)
	require.Equal(t, Span{90 * time.Second, 91 * time.Second}, elapsed)
	c.run(time.Second)
	elapsed, _ = c.state.WiredDelay(&c.set)
	require.Equal(t, Span{0, 92 * time.Second}, elapsed)
	// Near the setpoint nobody can tell either.
	c.product(2).run(10 * time.Second)
	elapsed, _ = c.state.WiredDelay(&c.set)
	require.Equal(t, Span{9 * time.Second, 102 * time.Second}, elapsed)
	c.product(1.01).run(time.Second)
	elapsed, _ = c.state.WiredDelay(&c.set)
	require.Equal(t, Span{0, 103 * time.Second}, elapsed)
	c.product(0.9).run(time.Second)
	_, ok = c.state.WiredDelay(&c.set)
	require.False(t, ok)
}

func TestTheInletDidNotShut(t *testing.T) {
	c := watched(true)
	c.product(2).run(time.Second)
	// The longest delay and the travel time have to pass for certain.
	c.becomes(t, alarm.DidNotShut, 640*time.Second)
	require.Equal(t, "high", c.priority(alarm.DidNotShut))
	require.Equal(t, "normal", c.phase(alarm.BypassQuestion), "every press would have been seen")
	require.Equal(t, "normal", c.phase(alarm.ReliefDidNotOpen), "the relief follows the inlet")
	c.inlet(false).run(time.Second)
	require.Equal(t, "latched-unacknowledged", c.phase(alarm.DidNotShut))
}

func TestSomebodyIsAskedWhereAPressIsNotSeen(t *testing.T) {
	asked := func(t *testing.T) *scene {
		c := watched(false)
		c.product(2).run(time.Second)
		c.becomes(t, alarm.BypassQuestion, 640*time.Second)
		require.Equal(t, "medium", c.priority(alarm.BypassQuestion))
		require.Equal(t, "normal", c.phase(alarm.DidNotShut))
		at, open := c.state.BypassAsked()
		require.True(t, open)
		require.Equal(t, c.state.Elapsed, at)
		return c
	}
	t.Run("no", func(t *testing.T) {
		c := asked(t).order(AnswerNo, alarm.BypassQuestion, "")
		require.True(t, c.state.Alarms[alarm.DidNotShut].Phase.Active())
		require.False(t, c.state.Alarms[alarm.BypassQuestion].Phase.Active())
		_, open := c.state.BypassAsked()
		require.False(t, open)
	})
	t.Run("yes", func(t *testing.T) {
		c := asked(t).order(AnswerYes, alarm.BypassQuestion, "")
		require.False(t, c.state.Alarms[alarm.BypassQuestion].Phase.Active())
		left, ok := c.state.WiredBypass(&c.set)
		require.True(t, ok)
		require.Equal(t, Span{0, 610 * time.Second}, left)
		c.run(639 * time.Second)
		require.False(t, c.state.Alarms[alarm.DidNotShut].Phase.Active())
		c.run(time.Second)
		require.True(t, c.state.Alarms[alarm.DidNotShut].Phase.Active())
	})
	t.Run("nobody answers", func(t *testing.T) {
		c := asked(t)
		// Pressed at the last moment at which the inlet could still turn back, it has to be shut by now.
		c.becomes(t, alarm.DidNotShut, 640*time.Second)
	})
	t.Run("it shuts", func(t *testing.T) {
		c := asked(t).run(5 * time.Minute).inlet(false).run(time.Second)
		require.False(t, c.state.Alarms[alarm.BypassQuestion].Phase.Active())
		_, open := c.state.BypassAsked()
		require.False(t, open)
	})
	t.Run("good water", func(t *testing.T) {
		c := asked(t).product(0.2).run(30 * time.Minute)
		require.False(t, c.state.Alarms[alarm.BypassQuestion].Phase.Active())
		require.Equal(t, "normal", c.phase(alarm.DidNotShut), "somebody pressed, and the water was good when the time ended")
	})
}

func TestAnAnswerNeedsAQuestion(t *testing.T) {
	c := watched(false)
	for _, id := range []alarm.ID{alarm.BypassQuestion, alarm.OffSpec} {
		c.events = nil
		c.order(AnswerYes, id, "")
		require.False(t, c.events[len(c.events)-1].Accepted, id.String())
	}
}

func TestAUnitThatNobodyMeasuredIsNeverSaidToHaveFailed(t *testing.T) {
	c := watched(true)
	c.set.Profile = DefaultProfile()
	c.product(2).run(time.Second)
	// A dial is set by eye: a tenth is allowed for.
	c.becomes(t, alarm.BypassQuestion, 690*time.Second)
	c.order(AnswerNo, alarm.BypassQuestion, "").run(time.Hour)
	require.True(t, c.state.Alarms[alarm.BypassQuestion].Phase.Active())
	require.Equal(t, "normal", c.phase(alarm.DidNotShut))
}

func TestTheInletDidNotOpen(t *testing.T) {
	c := watched(true)
	c.stop(t)
	c.press()
	c.becomes(t, alarm.DidNotOpen, 30*time.Second)
	c.inlet(true).run(time.Second)
	require.False(t, c.state.Alarms[alarm.DidNotOpen].Phase.Active())
	c.run(5 * time.Minute)
	require.Equal(t, "normal", c.phase(alarm.MovedUnasked))
}

func TestTheInletMovedWithoutAReason(t *testing.T) {
	t.Run("shut in service", func(t *testing.T) {
		c := watched(true)
		c.inlet(false).run(time.Second)
		c.becomes(t, alarm.MovedUnasked, 10*time.Second)
		require.Equal(t, "normal", c.phase(alarm.DidNotOpen))
	})
	t.Run("shut before the delay can have run out", func(t *testing.T) {
		c := watched(true)
		c.product(2).run(588 * time.Second)
		c.inlet(false).run(time.Second)
		require.NotZero(t, c.state.Shadow.Conditions&(1<<alarm.MovedUnasked))
	})
	t.Run("shut when it can have", func(t *testing.T) {
		c := watched(true)
		c.product(2).run(591 * time.Second)
		c.inlet(false).run(5 * time.Second)
		c.quiet(t)
		at, sure := c.state.WiredStop()
		require.True(t, sure)
		require.Equal(t, c.state.Elapsed-4*time.Second, at)
	})
	t.Run("open while shut, the button seen", func(t *testing.T) {
		c := watched(true)
		c.stop(t)
		c.inlet(true).run(time.Second)
		c.becomes(t, alarm.MovedUnasked, 10*time.Second)
	})
	t.Run("open without power", func(t *testing.T) {
		c := watched(true)
		c.to(signal.ControlPower, 0).inlet(false).run(time.Minute)
		c.quiet(t)
		c.inlet(true).run(time.Second)
		c.becomes(t, alarm.MovedUnasked, 10*time.Second)
	})
}

func TestTheInletThatOpensAfterAStopShowsAPress(t *testing.T) {
	c := watched(false)
	c.stop(t)
	c.inlet(true).to(signal.ReliefOpen, 0).run(time.Second)
	left, ok := c.state.WiredBypass(&c.set)
	require.True(t, ok)
	require.Equal(t, Span{589 * time.Second, 610 * time.Second}, left)
	due, _ := c.state.WiredDue(&c.set)
	require.Equal(t, left, due)
	c.run(588 * time.Second)
	c.quiet(t)
	c.inlet(false).to(signal.ReliefOpen, 1).run(time.Minute)
	require.Equal(t, "normal", c.phase(alarm.DidNotOpen))
	require.NotEqual(t, No, c.state.Shadow.Trip)
}

func TestWithoutPowerTheInletShuts(t *testing.T) {
	c := watched(true)
	c.set.Profile.Timers.Trial = Trial{} // the spring needs no measured timer
	c.to(signal.ControlPower, 0).run(time.Second)
	c.becomes(t, alarm.DidNotShut, 30*time.Second)
	c.to(signal.ControlPower, 1).run(time.Second)
	require.False(t, c.state.Alarms[alarm.DidNotShut].Phase.Active())
}

func TestTheRelief(t *testing.T) {
	t.Run("open in service", func(t *testing.T) {
		c := watched(true)
		c.to(signal.ReliefOpen, 1).run(time.Second)
		c.becomes(t, alarm.ReliefOpen, 30*time.Second)
		c.to(signal.ReliefOpen, 0).run(time.Second)
		require.False(t, c.state.Alarms[alarm.ReliefOpen].Phase.Active())
	})
	t.Run("did not open", func(t *testing.T) {
		c := watched(true)
		c.product(2).run(10 * time.Minute)
		c.inlet(false).run(time.Second)
		c.becomes(t, alarm.ReliefDidNotOpen, 30*time.Second)
		require.Equal(t, "high", c.priority(alarm.ReliefDidNotOpen))
	})
	t.Run("shut again", func(t *testing.T) {
		c := watched(true)
		c.stop(t)
		c.to(signal.ReliefOpen, 0).run(time.Second)
		c.becomes(t, alarm.ReliefDidNotOpen, 30*time.Second)
	})
	t.Run("no switch at the inlet", func(t *testing.T) {
		c := watched(true)
		delete(c.values, signal.InletOpen)
		delete(c.values, signal.InletShut)
		c.state.Signals[signal.InletOpen], c.state.Signals[signal.InletShut] = Held{}, Held{}
		c.product(2).run(time.Second)
		c.becomes(t, alarm.ReliefDidNotOpen, 640*time.Second)
	})
	t.Run("no switch at all", func(t *testing.T) {
		c := watched(true)
		for _, id := range []signal.ID{signal.InletOpen, signal.InletShut, signal.ReliefOpen} {
			delete(c.values, id)
			c.state.Signals[id] = Held{}
		}
		c.product(2).run(time.Hour)
		c.quiet(t)
	})
	t.Run("no power", func(t *testing.T) {
		c := watched(true)
		c.to(signal.ControlPower, 0).inlet(false).to(signal.ReliefOpen, 1).run(10 * time.Minute)
		c.quiet(t)
	})
}

// Two switches that are both made prove nothing, and a switch that cannot be read proves nothing new.
func TestSwitchesThatProveNothing(t *testing.T) {
	c := watched(true)
	c.to(signal.InletShut, 1).run(time.Hour)
	c.quiet(t)
	c = watched(true)
	c.product(2).run(630 * time.Second)
	for _, id := range []signal.ID{signal.InletOpen, signal.InletShut, signal.ReliefOpen} {
		c.values[id] = signal.Reading{Cause: signal.TimedOut}
	}
	c.run(20 * time.Minute)
	c.quiet(t)
}

// What no reading can show stands beside the alarm, so that somebody looks for it.
func TestSuspects(t *testing.T) {
	suspects := func(c *scene, id alarm.ID) (names []string) {
		for _, x := range c.state.Suspects(&c.set, id) {
			names = append(names, x.String())
		}
		return names
	}
	c := watched(true)
	c.product(2).run(641 * time.Second)
	require.Equal(t, []string{"unseen_dip", "stuck_valve", "false_contact"}, suspects(c, alarm.DidNotShut))
	c = watched(false)
	c.product(2).run(time.Minute)
	c.values[signal.ProductConductivity] = signal.Reading{Cause: signal.TimedOut}
	c.run(5 * time.Second).product(2).run(10 * time.Minute)
	require.Equal(t, []string{"unseen_press", "unseen_dip", "bridged", "stuck_valve", "false_contact"}, suspects(c, alarm.BypassQuestion))
	c.order(AnswerNo, alarm.BypassQuestion, "")
	require.NotContains(t, suspects(c, alarm.DidNotShut), "unseen_press")
	c = watched(true)
	c.set.Profile.Timers.Trial = Trial{}
	c.inlet(false).run(time.Minute)
	require.Equal(t, []string{"unseen_dip", "not_measured", "moved_by_hand", "false_contact"}, suspects(c, alarm.MovedUnasked))
	require.Equal(t, []string{"stuck_valve", "false_contact"}, suspects(c, alarm.DidNotOpen))
	require.Equal(t, []string{"unseen_dip", "moved_by_hand", "stuck_valve", "false_contact"}, suspects(c, alarm.ReliefOpen))
	c.to(signal.ControlPower, 0).inlet(true).run(time.Minute)
	require.Equal(t, []string{"stuck_valve", "false_contact"}, suspects(c, alarm.DidNotShut), "the spring needs neither timer nor button")
	require.Nil(t, suspects(c, alarm.OffSpec))
	require.Equal(t, "?", Suspect(Suspects).String())
}
