package rules

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

func TestHealthOfASignal(t *testing.T) {
	const p = signal.ProductConductivity
	for name, x := range map[string]struct {
		do   func(*scene)
		of   signal.ID
		want Health
	}{
		"sound":     {func(c *scene) {}, p, Health{}},
		"not wired": {func(c *scene) {}, signal.DownstreamFlow, Health{}},
		"out of span": {func(c *scene) { c.to(p, 5000) }, p,
			Health{Status: signal.OutOfSpecification, Cause: signal.OutOfSpan}},
		"reported bad": {func(c *scene) { c.quality(p, signal.Bad) }, p, Health{Status: signal.Failure, Cause: signal.Reported}},
		"a short loss": {func(c *scene) { c.run(sec).quality(p, signal.None).run(29 * sec) }, p, Health{}},
		"lost":         {func(c *scene) { c.run(sec).quality(p, signal.None).run(31 * sec) }, p, Health{Status: signal.Failure}},
		"frozen": {func(c *scene) { c.run(31 * mins) }, p, Health{Status: signal.MaintenanceRequired,
			Reason: Reason{Code: ReadingFrozen, Value: 0.2, For: 31*mins + sec}}},
		"too low": {func(c *scene) { c.to(p, 0.01).run(6 * mins) }, p, Health{Status: signal.OutOfSpecification,
			Reason: Reason{Code: ReadingTooLow, Value: 0.01, Limit: 0.05}}},
		"slow flow": {func(c *scene) { c.to(signal.Flow, 5).run(6 * mins) }, signal.Flow, Health{Status: signal.OutOfSpecification,
			Reason: Reason{Code: FlowBelowMeter, Value: 5, Limit: Defaults().Alarms[alarm.FlowTooLow].Limit}}},
		"jumped": {func(c *scene) { c.run(sec).to(p, 1.3).run(sec) }, p,
			Health{Status: signal.OutOfSpecification, Reason: Reason{Code: ReadingJumped}}},
		"jumped a while ago":   {func(c *scene) { c.run(sec).to(p, 1.3).run(62 * sec) }, p, Health{}},
		"a step within reason": {func(c *scene) { c.run(sec).to(p, 1.15).run(sec) }, p, Health{}},
		"being checked, and out of span": {func(c *scene) {
			c.to(p, 5000).step(0, func(in *Input) { in.Facts = Facts{Known: FunctionCheck, Set: FunctionCheck} })
		}, p, Health{Status: signal.CheckFunction, Reason: Reason{Code: InstrumentChecked}}},
		"being checked says nothing of the flow": {func(c *scene) {
			c.step(0, func(in *Input) { in.Facts = Facts{Known: FunctionCheck, Set: FunctionCheck} })
		}, signal.Flow, Health{}},
	} {
		t.Run(name, func(t *testing.T) {
			c := newScene()
			x.do(c)
			c.run(sec)
			require.Equal(t, x.want, c.state.Health(&c.set, x.of))
		})
	}
}

// A jump shows however slowly the reading has moved before it: the band in which nobody looks is narrower than a jump.
func TestAJumpIsSeenAfterADrift(t *testing.T) {
	for _, id := range []signal.ID{signal.FeedConductivity, signal.ProductTemperature, signal.Flow} {
		c := newScene().run(sec)
		v := c.values[id].Value
		for range 300 {
			v *= 1.0005
			c.to(id, v).run(sec)
		}
		require.Zero(t, c.state.Signals[id].Jumped, "%s drifts", id)
		jump := c.state.jump(&c.set, id)
		c.to(id, v-jump*1.01).run(sec)
		require.Equal(t, c.state.Elapsed, c.state.Signals[id].Jumped, "%s", id)
	}
}

func TestAStepAfterAPauseIsNoJump(t *testing.T) {
	c := newScene().run(sec)
	c.to(signal.ProductConductivity, 1.5).step(11 * sec)
	require.Zero(t, c.state.Signals[signal.ProductConductivity].Jumped)
}
