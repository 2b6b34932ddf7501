package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/signal"
)

func TestSlowWaterIsMarkedUncertain(t *testing.T) {
	c := newScene().gpm(100).run(time.Hour)
	require.Zero(t, c.state.Custody.UncertainVolume())
	c.gpm(49).run(sec).run(time.Hour - 2*sec).gpm(50).run(time.Hour)
	got := c.state.Custody.UncertainVolume()
	require.InDelta(t, signal.Gallon.Inside(49*60), got, 0.1)
	require.InDelta(t, signal.Gallon.Inside((100+49+50)*60), c.state.Custody.integral(), 0.5)
}

func TestTheOpenStretchCounts(t *testing.T) {
	c := newScene().gpm(20).run(mins)
	require.InDelta(t, signal.Gallon.Inside(20), c.state.Custody.UncertainVolume(), 1e-6)
	require.Zero(t, c.state.Custody.Uncertain, "nothing has changed yet: the stretch is open")
}

func TestReliefIsEstimated(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5)
	c.run(10 * mins).gpm(0).run(30 * mins)
	_, estimated, known := c.state.Custody.ReliefVolume(&c.set)
	require.True(t, estimated)
	require.False(t, known, "no rate was agreed")
	c.set.Setup.ReliefRate = signal.GallonPerMinute.Inside(60)
	v, estimated, known := c.state.Custody.ReliefVolume(&c.set)
	require.True(t, estimated && known)
	require.InDelta(t, signal.Gallon.Inside(30*60), v, 1e-6)
	require.InDelta(t, signal.Gallon.Inside(1000), c.state.Custody.integral(), 2, "no bucket holds it")
}

func TestAContactSaysWhenTheReliefRuns(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5).to(signal.ReliefOpen, 0)
	c.run(20 * mins)
	require.Zero(t, c.state.Custody.ReliefTime, "the rule expects it open, the contact knows better")
	c.to(signal.ReliefOpen, 1).run(5 * mins)
	require.Equal(t, 5*mins-sec, c.state.Custody.ReliefTime)
}

func TestAMeterThatSeesTheReliefMeasuresIt(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5)
	c.set.Profile.ReliefTee.Seen = true
	c.run(20*mins).to(signal.ProductConductivity, 0.5).press().run(5 * mins)
	v, estimated, known := c.state.Custody.ReliefVolume(&c.set)
	require.True(t, known && !estimated)
	require.InDelta(t, signal.Gallon.Inside(1000), v, 5)
	require.InDelta(t, c.state.Custody.Volume(ToInletShut), v, 1e-9)
}

// What is set apart is a part: never more than the whole, whatever happens.
func TestPartsOfTheWater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set, list := drawInputs(t)
		var s State
		var out Effects
		for i := range list {
			Step(&set, &s, &list[i], &out)
			sum := s.Custody.integral()
			require.LessOrEqual(t, s.Custody.UncertainVolume(), sum+1e-9)
			closed := s.Custody
			closed.close()
			require.LessOrEqual(t, closed.Relief, sum+1e-9)
			require.LessOrEqual(t, s.Custody.ReliefTime, s.Elapsed)
			if mean, ok := s.Custody.FlowWeighted(); ok {
				require.True(t, s.Custody.HasMax && mean <= s.Custody.Max+1e-9, "a mean is not above the worst")
			}
		}
	})
}
