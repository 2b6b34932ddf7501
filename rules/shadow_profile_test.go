package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules/signal"
)

// Each answer of the profile changes what can be known of the wired timer.
func TestTheProfileChangesTheShadow(t *testing.T) {
	tried := Trial{Who: "A. Tryer", When: "2026-03-14"}
	bypass := func(c *scene) Span {
		left, _ := c.state.WiredBypass(&c.set)
		return left
	}
	none := Span{}
	fresh := Span{589 * time.Second, 610 * time.Second}

	t.Run("P1 the relay's setpoint", func(t *testing.T) {
		c := watched(true)
		c.set.Profile.Timers.Setpoint = 1.2
		c.product(1.1).run(time.Minute)
		require.True(t, c.state.Shadow.Good, "the rule calls it off spec, the relay does not")
		c.product(1.25).run(time.Minute)
		require.Equal(t, Sure, c.state.Shadow.Off)
	})
	t.Run("P2 a unit that passes over dips", func(t *testing.T) {
		c := watched(true)
		c.set.Profile.ShortDip.Yes = false
		c.product(2).run(time.Minute).product(0.2).run(5 * time.Second)
		elapsed, ok := c.state.WiredDelay(&c.set)
		require.True(t, ok, "five seconds of good water prove nothing")
		require.Equal(t, Span{0, 65 * time.Second}, elapsed)
		c.run(40 * time.Second)
		_, ok = c.state.WiredDelay(&c.set)
		require.False(t, ok)
	})
	t.Run("P4 a press on good water", func(t *testing.T) {
		c := watched(true).press()
		require.Equal(t, none, bypass(c))
		c = watched(true)
		c.set.Profile.PressOnSpec.Yes = true
		require.Equal(t, fresh, bypass(c.product(2).run(time.Second).product(0.2).run(20*time.Minute).press()))
	})
	t.Run("P5 a press in the delay", func(t *testing.T) {
		c := watched(true).product(2).run(time.Minute).press()
		require.Equal(t, fresh, bypass(c))
		c = watched(true).product(2)
		c.set.Profile.PressInDelay.Yes = false
		require.Equal(t, none, bypass(c.run(time.Minute).press()))
	})
	t.Run("P6 a press while the bypass runs", func(t *testing.T) {
		c := watched(true).product(2).run(time.Minute).press().run(time.Minute).press()
		require.Equal(t, Span{528 * time.Second, 549 * time.Second}, bypass(c), "it goes on")
		c = watched(true).product(2).run(time.Minute).press().run(time.Minute)
		c.set.Profile.PressWhileRunning.Yes = true
		require.Equal(t, fresh, bypass(c.press()))
	})
	t.Run("P7 a held button", func(t *testing.T) {
		c := watched(true).product(2).run(time.Minute)
		c.set.Profile.HeldButton.Yes = true
		c.to(signal.BypassButton, 1).run(time.Minute)
		require.Equal(t, 610*time.Second, bypass(c).Hi)
	})
	t.Run("P8 good water while shut", func(t *testing.T) {
		c := watched(true)
		c.stop(t)
		c.product(0.2).run(time.Minute)
		_, sure := c.state.WiredStop()
		require.True(t, sure)
		c.set.Profile.GoodWhileShut.Yes = false
		c.run(time.Second)
		_, sure = c.state.WiredStop()
		require.False(t, sure)
		c.inlet(true).to(signal.ReliefOpen, 0).run(time.Hour)
		c.quiet(t)
	})
	t.Run("P9 power while shut", func(t *testing.T) {
		cycled := func(keeps, known bool) *scene {
			c := watched(true)
			c.stop(t)
			c.set.Profile.PowerWhileShut = Answer{Yes: keeps}
			if known {
				c.set.Profile.PowerWhileShut.Trial = tried
			}
			return c.to(signal.ControlPower, 0).run(time.Minute).to(signal.ControlPower, 1).run(time.Second)
		}
		require.Equal(t, No, cycled(false, true).state.Shadow.Trip)
		require.Equal(t, Sure, cycled(true, true).state.Shadow.Trip)
		for _, keeps := range []bool{false, true} {
			c := cycled(keeps, false)
			require.Equal(t, Maybe, c.state.Shadow.Trip, "nobody tried it")
			c.inlet(true).to(signal.ReliefOpen, 0).product(0.2).run(10 * time.Minute)
			require.Equal(t, No, c.state.Shadow.Trip, "the inlet tells")
			c.quiet(t)
			c = cycled(keeps, false).run(time.Minute)
			require.Equal(t, Sure, c.state.Shadow.Trip, "the inlet tells")
			c.quiet(t)
		}
	})
	t.Run("P12 a bad reading", func(t *testing.T) {
		c := watched(true).quality(signal.ProductConductivity, signal.Bad).run(time.Minute)
		elapsed, _ := c.state.WiredDelay(&c.set)
		require.Equal(t, Span{0, time.Minute}, elapsed, "it may be only how the value was read")
		c = watched(true)
		c.set.Profile.AnalyzerFault.Trial = tried
		c.quality(signal.ProductConductivity, signal.Bad).run(time.Minute)
		elapsed, _ = c.state.WiredDelay(&c.set)
		require.Equal(t, Span{59 * time.Second, time.Minute}, elapsed)
	})
	t.Run("P13 travel", func(t *testing.T) {
		c := watched(true)
		c.set.Profile.Travel.Inlet = 5 * time.Second
		c.stop(t)
		c.press()
		require.Zero(t, c.run(4*time.Second).state.Shadow.Conditions)
		require.NotZero(t, c.run(time.Second).state.Shadow.Conditions)
	})
	t.Run("a clear delay", func(t *testing.T) {
		c := watched(true)
		c.set.ClearDelay = 10 * time.Second
		c.product(2).run(time.Minute).product(0.2).run(10 * time.Second)
		_, ok := c.state.WiredDelay(&c.set)
		require.True(t, ok)
		c.run(time.Second)
		_, ok = c.state.WiredDelay(&c.set)
		require.False(t, ok)
	})
	t.Run("nothing read of a unit that was stopped", func(t *testing.T) {
		c := watched(true)
		c.stop(t)
		c.values = map[signal.ID]signal.Reading{}
		c.run(31 * time.Second)
		_, sure := c.state.WiredStop()
		require.False(t, sure, "power may have gone and come back")
	})
}

func TestTheProfileAsItComes(t *testing.T) {
	set := Defaults()
	require.Empty(t, set.Check())
	require.Empty(t, set.Differs(), "what is assumed is what the rule does")
	require.Zero(t, set.Profile.Confirmed())
	require.Equal(t, Span{10 * time.Minute, 10 * time.Minute}, set.DelaySpan())
	require.Equal(t, set.Endpoint, set.Setpoint())
	seen := map[string]bool{}
	for i := range Questions {
		q := Question(i)
		require.False(t, seen[q.String()], q.String())
		seen[q.String()] = true
	}
	require.Equal(t, "?", Question(Questions).String())
	require.Equal(t, Trial{}, set.Profile.Trial(Question(Questions)))
}

func TestEachQuestionHasATrialOfItsOwn(t *testing.T) {
	p := DefaultProfile()
	for i, trial := range []*Trial{
		&p.Timers.Trial, &p.ShortDip.Trial, &p.AtEndpoint.Trial, &p.PressOnSpec.Trial, &p.PressInDelay.Trial, &p.PressWhileRunning.Trial,
		&p.HeldButton.Trial, &p.GoodWhileShut.Trial, &p.PowerWhileShut.Trial, &p.PowerDip.Trial, &p.ReliefWithoutPower.Trial,
		&p.AnalyzerFault.Trial, &p.Travel.Trial, &p.ReliefTee.Trial, &p.AgentSupply.Trial,
	} {
		require.False(t, p.Trial(Question(i)).Confirmed())
		*trial = Trial{Who: "A. Tryer"}
		require.True(t, p.Trial(Question(i)).Confirmed(), Question(i).String())
		require.Equal(t, i+1, p.Confirmed())
	}
}

func TestWhatWasNotMeasuredIsAsSet(t *testing.T) {
	const set = 10 * time.Minute
	for _, c := range []struct{ measured, want Span }{
		{Span{}, Span{set, set}},
		{Span{Lo: 9 * time.Minute}, Span{9 * time.Minute, set}},
		{Span{Lo: 11 * time.Minute}, Span{11 * time.Minute, 11 * time.Minute}},
		{Span{Hi: 11 * time.Minute}, Span{set, 11 * time.Minute}},
		{Span{Hi: 9 * time.Minute}, Span{9 * time.Minute, 9 * time.Minute}},
		{Span{1, 2}, Span{1, 2}},
	} {
		require.Equal(t, c.want, c.measured.around(set), "%v", c.measured)
	}
	require.Equal(t, Span{540 * time.Second, 660 * time.Second}, Span{set, set}.doubt(false))
	require.Equal(t, Span{set, set}, Span{set, set}.doubt(true))
}

// An answer that says another thing than the rule does is named, with the key to look at.
func TestDiffers(t *testing.T) {
	for path, change := range map[string]func(*Settings){
		"profile.timers.delay_min":             func(s *Settings) { s.Profile.Timers.Delay.Lo = 11 * time.Minute },
		"profile.timers.delay_max":             func(s *Settings) { s.Profile.Timers.Delay.Hi = 9 * time.Minute },
		"profile.timers.bypass_min":            func(s *Settings) { s.Profile.Timers.Bypass.Lo = 11 * time.Minute },
		"profile.timers.bypass_max":            func(s *Settings) { s.Profile.Timers.Bypass.Hi = 9 * time.Minute },
		"profile.short_dip.restarts":           func(s *Settings) { s.Profile.ShortDip.Yes = false },
		"profile.at_endpoint.trips":            func(s *Settings) { s.Profile.AtEndpoint.Yes = false },
		"profile.press_on_spec.starts":         func(s *Settings) { s.Profile.PressOnSpec.Yes = true },
		"profile.press_in_delay.accepted":      func(s *Settings) { s.Profile.PressInDelay.Yes = false },
		"profile.press_while_running.restarts": func(s *Settings) { s.Profile.PressWhileRunning.Yes = true },
		"profile.held_button.holds_open":       func(s *Settings) { s.Profile.HeldButton.Yes = true },
		"profile.good_while_shut.stays_shut":   func(s *Settings) { s.Profile.GoodWhileShut.Yes = false },
		"profile.power_while_shut.stays_shut":  func(s *Settings) { s.Profile.PowerWhileShut.Yes = true },
		"profile.power_dip.restarts":           func(s *Settings) { s.Profile.PowerDip.Yes = false },
		"profile.analyzer_fault.counts_as_off": func(s *Settings) { s.Profile.AnalyzerFault.Yes = false },
	} {
		set := Defaults()
		change(&set)
		list := set.Differs()
		require.Len(t, list, 1, path)
		require.Equal(t, path, list[0].Path)
	}
	set := Defaults()
	set.KeepTrip = true
	require.Len(t, set.Differs(), 1, "the rule keeps a stop and the profile says the unit does not")
	set.Profile.PowerWhileShut.Yes = true
	require.Empty(t, set.Differs())
	set.ClearDelay = time.Second
	require.Equal(t, "profile.short_dip.restarts", set.Differs()[0].Path)
}

func TestAProfileThatCannotBe(t *testing.T) {
	for path, change := range map[string]func(*Profile){
		"profile.timers.delay_max":  func(p *Profile) { p.Timers.Delay = Span{2, 1} },
		"profile.timers.bypass_max": func(p *Profile) { p.Timers.Bypass = Span{2, 1} },
		"profile.timers.delay_min":  func(p *Profile) { p.Timers.Delay.Lo = -1 },
		"profile.timers.bypass_min": func(p *Profile) { p.Timers.Bypass.Lo = -1 },
		"profile.timers.setpoint":   func(p *Profile) { p.Timers.Setpoint = -1 },
		"profile.travel.inlet":      func(p *Profile) { p.Travel.Inlet = 0 },
		"profile.travel.relief":     func(p *Profile) { p.Travel.Relief = 0 },
		"profile.margin":            func(p *Profile) { p.Margin = -1 },
		"profile.bridge":            func(p *Profile) { p.Bridge = -1 },
		"profile.press":             func(p *Profile) { p.Press = -1 },
	} {
		set := Defaults()
		change(&set.Profile)
		faults := set.Check()
		require.Len(t, faults, 1, path)
		require.Equal(t, path, faults[0].Path)
	}
}
