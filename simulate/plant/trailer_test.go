package plant_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/rules"
	"ionward/rules/signal"
	"ionward/simulate/plant"
)

const minute = time.Minute

// spent makes bank A pass about 1.8 uS/cm.
func spent() plant.Settings {
	set := still()
	bank := &set.Banks[plant.A]
	x := 1.7 / (set.Feed.Conductivity - bank.Base)
	bank.Used = bank.V50(fed300) * (1 + bank.Spread*math.Log(x/(1-x)))
	return set
}

func TestStart(t *testing.T) {
	now := start(t, plant.Defaults()).Truth()
	assert.Equal(t, rules.Service, now.Mode())
	assert.True(t, now.Inlet.Open && now.Relief.Shut && now.Rinse.Shut && now.Outlet.Open)
	assert.InDelta(t, 139, gpm(now.Flow), 1, "one bank, one hose: below 150 gpm")
	assert.True(t, now.OnSpec() && now.Answering)
}

// Off spec for ten minutes without a break stops the water: at the very instant, and the valves travel from there.
func TestTrip(t *testing.T) {
	p := start(t, spent())
	now := p.Truth()
	require.InDelta(t, 1.8, now.Product, 0.01)
	require.Equal(t, rules.Delay, now.Mode())
	p.Step(10*minute - 1)
	require.Equal(t, rules.Delay, p.Truth().Rule.Mode)
	p.Step(1)
	now = p.Truth()
	require.Equal(t, rules.Shut, now.Mode())
	require.Equal(t, 10*minute, now.Rule.Since)
	assert.True(t, now.Inlet.Open && now.Relief.Shut, "driven, not yet moved")
	p.Step(1)
	now = p.Truth()
	assert.False(t, now.Inlet.Open || now.Inlet.Shut || now.Relief.Open || now.Relief.Shut, "in travel no limit switch is made")
	p.Step(4*time.Second - 1)
	assert.True(t, p.Truth().Relief.Open)
	assert.InDelta(t, 0.5, p.Truth().Inlet.Opening, 1e-12)
	p.Step(4*time.Second - 1)
	assert.False(t, p.Truth().Inlet.Shut)
	p.Step(1)
	now = p.Truth()
	assert.True(t, now.Inlet.Shut)
	assert.Zero(t, now.Flow)
	assert.Greater(t, now.ReliefFlow, 0.0)
	assert.Equal(t, signal.Reading{Value: 1, Quality: signal.Good}, now.Signals[signal.InletShut])
}

// A drained cell reads near zero while shut. That is not good water and opens nothing.
func TestDrainedCell(t *testing.T) {
	p := start(t, spent())
	p.Step(11 * minute)
	first := p.Truth()
	require.Equal(t, rules.Shut, first.Mode())
	p.Step(20 * minute)
	now := p.Truth()
	assert.InDelta(t, 0.03, now.Readings.ProductConductivity, 0.001)
	assert.InDelta(t, first.Product, now.Product, 1e-9, "the water in the pipe is as bad as it was")
	assert.Equal(t, rules.Shut, now.Mode())
	assert.True(t, now.OnSpec(), "the panel is deceived about the water, not about the trip")
}

// A press after a stop opens for ten minutes; still off spec, the water stops again.
func TestBypass(t *testing.T) {
	p := start(t, spent())
	p.Step(12 * minute)
	p.PressBypass(2 * time.Second)
	now := p.Truth()
	require.Equal(t, rules.Bypass, now.Mode(), "relays do not wait for a scan")
	assert.True(t, now.Button)
	p.Step(2 * time.Second)
	assert.False(t, p.Truth().Button)
	p.Step(6 * time.Second)
	assert.True(t, p.Truth().Inlet.Open && p.Truth().Relief.Shut)
	p.Step(10*minute - 8*time.Second - 1)
	assert.Equal(t, rules.Bypass, p.Truth().Rule.Mode)
	p.Step(1)
	now = p.Truth()
	assert.NotEqual(t, rules.Bypass, now.Rule.Mode)
	until(t, p, 11*minute, func(now plant.Truth) bool { return now.Rule.Trips == 2 })
	// A second press while the first is held does not let go early.
	p.PressBypass(5 * time.Second)
	p.PressBypass(time.Second)
	p.Step(4 * time.Second)
	assert.True(t, p.Truth().Button)
	assert.Equal(t, 2, p.Truth().Rule.Bypasses)
}

// Loss of control power shuts the inlet by its spring and darkens the instruments; contacts still tell.
func TestPowerLoss(t *testing.T) {
	set := plant.Defaults()
	p := start(t, set)
	p.Step(minute)
	counted := p.Truth().Volumes.Counted
	p.SetPower(false)
	now := p.Truth()
	require.Equal(t, rules.NoPower, now.Mode())
	assert.False(t, now.Answering)
	assert.Equal(t, signal.Reading{}, now.Signals[signal.ProductConductivity])
	assert.Equal(t, signal.Reading{Quality: signal.Good}, now.Signals[signal.ControlPower])
	p.Step(8 * time.Second)
	now = p.Truth()
	assert.True(t, now.Inlet.Shut && now.Relief.Shut, "the relief is not driven, its spring keeps it shut")
	assert.Zero(t, now.Flow)
	assert.Equal(t, counted, now.Volumes.Counted, "a meter without power counts nothing")
	assert.Greater(t, now.Volumes.In, counted)

	p.SetPower(true)
	assert.Equal(t, rules.Delay, p.Truth().Rule.Mode, "no reading in the first scan with power counts as off spec")
	assert.False(t, p.Truth().Answering)
	p.Step(set.WarmUp)
	now = p.Truth()
	assert.True(t, now.Answering)
	assert.Equal(t, rules.Service, now.Mode())

	set.ReliefSpring = true
	p = start(t, set)
	p.SetPower(false)
	p.Step(4 * time.Second)
	assert.True(t, p.Truth().Relief.Open, "on a unit whose relief spring opens")
}

// First water after standing: k = kb + (k0-kb) exp(-V/(N Vvoid)), on the whole plant without pipe.
func TestRinseUp(t *testing.T) {
	set := still()
	bank := &set.Banks[plant.B]
	bank.Standing = 4
	p := start(t, set)
	p.SetOutlet(false)
	p.SetRinse(true)
	p.SelectBanks(false, true)
	for range 20 {
		p.Step(30 * time.Second)
		now := p.Truth()
		v := now.Banks[plant.B].Through
		want := 0.1 + 3.9*math.Exp(-v/(bank.Washes*bank.Void*bank.Resin))
		require.InDelta(t, want, now.Mixed, 1e-6, "after %v m3", v)
		require.InDelta(t, want, now.Product, 0.01, "the cell is a second behind")
	}
	now := p.Truth()
	assert.Greater(t, now.Volumes.Rinsed, 4.0)
	assert.InDelta(t, 1, now.Banks[plant.B].Through/now.Volumes.In, 1e-9)
}

// A bed that stands picks up ions again and rinses up faster than one that stood long.
func TestStanding(t *testing.T) {
	p := start(t, plant.Defaults())
	p.Step(30 * minute)
	running := p.Truth().Banks[plant.A].Product
	p.SelectBanks(false, false)
	p.Step(4 * time.Hour)
	stood := p.Truth()
	assert.Zero(t, stood.Flow)
	assert.InDelta(t, 0.08+(4-0.08)*(1-math.Exp(-1)), stood.Banks[plant.A].Product, 0.01)
	assert.Less(t, running, 0.2)
	assert.Greater(t, stood.ProductTemperature, 20.0, "it takes the temperature of the place")
}

func TestFlow(t *testing.T) {
	p := start(t, plant.Defaults())
	one := p.Truth().Flow
	p.SelectBanks(true, true)
	both := p.Truth()
	assert.Greater(t, both.Flow, 1.2*one)
	assert.InDelta(t, both.Flow/2, both.Banks[plant.A].Flow, 1e-9)
	p.SetOutlet(false)
	p.Step(5 * time.Second)
	assert.Zero(t, p.Truth().Flow, "all shut")
	p.SetOutlet(true)
	require.NoError(t, p.SetPressure(0.25))
	p.Step(5 * time.Second)
	assert.InDelta(t, both.Flow/2, p.Truth().Flow, 1e-9, "a quarter of the pressure gives half the flow")
	require.Error(t, p.SetPressure(-1))
	require.Error(t, p.SetPressure(math.NaN()))
}

// A paddle wheel is true from 50 gpm, reads low below, and nothing near standstill.
func TestMeter(t *testing.T) {
	set := plant.Defaults()
	set.Noise = 0
	p := start(t, set)
	last := 0.0
	for relative := 0.001; relative < 1; relative *= 1.3 {
		require.NoError(t, p.SetPressure(relative))
		p.Step(time.Second)
		now := p.Truth()
		flow, shown := gpm(now.Flow), gpm(now.Readings.Flow)
		switch {
		case flow >= 50:
			assert.InDelta(t, flow, shown, 1e-9)
		case flow <= 10:
			assert.Zero(t, shown)
		default:
			assert.Less(t, shown, flow)
		}
		assert.GreaterOrEqual(t, shown, last)
		last = shown
	}
	assert.Greater(t, last, 100.0)
}

func TestExchange(t *testing.T) {
	p := start(t, spent())
	p.Step(minute)
	total := p.Truth().Volumes.In
	require.NoError(t, p.Exchange([2]float64{10, 0}))
	now := p.Truth()
	assert.InDelta(t, 10, now.Banks[plant.A].Through, 1e-12)
	assert.Equal(t, total, now.Volumes.In, "the totalizer goes on")
	p.Step(time.Second)
	assert.Equal(t, rules.Service, p.Truth().Rule.Mode)
	require.Error(t, p.Exchange([2]float64{-1, 0}))
}

// A harder feed shortens the run; what the bed already holds stays held.
func TestFeed(t *testing.T) {
	p := start(t, still())
	p.Step(10 * minute)
	before := p.Truth().Banks[plant.A]
	require.NoError(t, p.SetFeed(plant.Feed{Conductivity: 600, Temperature: 10, LoadDivisor: 2.5}))
	after := p.Truth().Banks[plant.A]
	assert.InDelta(t, before.V50/2, after.V50, 1e-9)
	assert.Equal(t, before.Retained, after.Retained)
	require.Error(t, p.SetFeed(plant.Feed{}))
}

func TestCheck(t *testing.T) {
	for name, spoil := range map[string]func(*plant.Settings){
		"endpoint":     func(s *plant.Settings) { s.Rule.Endpoint = 0 },
		"resin":        func(s *plant.Settings) { s.Banks[0].Resin = 0 },
		"void":         func(s *plant.Settings) { s.Banks[1].Void = 0 },
		"use":          func(s *plant.Settings) { s.Banks[1].Used = -1 },
		"standing":     func(s *plant.Settings) { s.Banks[1].Standing = 0 },
		"conductivity": func(s *plant.Settings) { s.Feed.Conductivity = math.NaN() },
		"wander":       func(s *plant.Settings) { s.Feed.Wander = 2 },
		"negative":     func(s *plant.Settings) { s.Relief = -1 },
		"travel":       func(s *plant.Settings) { s.InletTravel = 0 },
		"scan":         func(s *plant.Settings) { s.Scan = 0 },
	} {
		set := plant.Defaults()
		require.NoError(t, set.Check())
		spoil(&set)
		_, err := plant.New(set)
		assert.ErrorContains(t, err, name)
	}
}

// How many simulated seconds a second gives.
func BenchmarkStep(b *testing.B) {
	p := start(b, nearly(1))
	b.ReportAllocs()
	for b.Loop() {
		p.Step(time.Second)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "sim-s/s")
}
