package plant_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/rules"
	"ionward/rules/signal"
	"ionward/simulate/plant"
)

// The panel is set as the customer agreed: another endpoint and another delay.
func TestAgreed(t *testing.T) {
	set := spent()
	set.Rule.Endpoint, set.Rule.Delay = 2.5, 5*minute
	p := start(t, set)
	require.Equal(t, rules.Service, p.Truth().Rule.Mode)
	before := until(t, p, 48*time.Hour, func(now plant.Truth) bool { return now.Mode() == rules.Delay })
	assert.GreaterOrEqual(t, before.Readings.ProductConductivity, 2.4995)
	p.Step(5*minute - (p.Now() - before.Rule.Since) - 1)
	assert.Equal(t, rules.Delay, p.Truth().Rule.Mode)
	p.Step(1)
	assert.Equal(t, rules.Shut, p.Truth().Rule.Mode)
}

// Relays have no memory: a dip of control power in the delay gives the whole delay again. A stop is forgotten too,
// unless the panel keeps it.
func TestPowerDip(t *testing.T) {
	p := start(t, spent())
	p.Step(9 * minute)
	p.SetPower(false)
	p.Step(time.Second)
	p.SetPower(true)
	back := p.Now()
	assert.Equal(t, rules.Delay, p.Truth().Rule.Mode)
	p.Step(10*minute - 1)
	assert.Equal(t, rules.Delay, p.Truth().Rule.Mode)
	p.Step(1)
	require.Equal(t, rules.Shut, p.Truth().Rule.Mode)
	assert.Equal(t, back+10*minute, p.Truth().Rule.Since)

	for _, keeps := range []bool{false, true} {
		set := spent()
		set.Rule.KeepTrip = keeps
		p := start(t, set)
		p.Step(11 * minute)
		p.SetPower(false)
		p.Step(minute)
		p.SetPower(true)
		if keeps {
			assert.Equal(t, rules.Shut, p.Truth().Rule.Mode)
		} else {
			assert.Equal(t, rules.Delay, p.Truth().Rule.Mode)
		}
	}
}

// A button held for longer than the bypass is one press: it buys ten minutes, not twelve.
func TestHeld(t *testing.T) {
	p := start(t, spent())
	p.Step(11 * minute)
	p.PressBypass(12 * minute)
	p.Step(10*minute - 1)
	require.Equal(t, rules.Bypass, p.Truth().Rule.Mode)
	assert.True(t, p.Truth().Button)
	p.Step(1)
	assert.NotEqual(t, rules.Bypass, p.Truth().Rule.Mode)
	assert.True(t, p.Truth().Button)
	p.Step(2 * minute)
	assert.False(t, p.Truth().Button)
	assert.Equal(t, 1, p.Truth().Rule.Bypasses)
}

// A press without need is recorded and moves nothing.
func TestNeedlessPress(t *testing.T) {
	p := start(t, still())
	p.Step(minute)
	p.PressBypass(time.Second)
	p.Step(minute)
	now := p.Truth()
	assert.Equal(t, rules.Service, now.Mode())
	assert.Equal(t, 1, now.Rule.Presses)
	assert.Zero(t, now.Rule.Bypasses)
	assert.True(t, now.Inlet.Open)
}

// A valve that is called back in the middle of its travel turns there: it neither jumps nor goes to the end first.
func TestCalledBack(t *testing.T) {
	p := start(t, spent())
	p.Step(10*minute + 3*time.Second)
	require.InDelta(t, 5.0/8, p.Truth().Inlet.Opening, 1e-12)
	p.PressBypass(time.Second)
	assert.InDelta(t, 5.0/8, p.Truth().Inlet.Opening, 1e-12)
	p.Step(3*time.Second - 1)
	assert.False(t, p.Truth().Inlet.Open)
	p.Step(1)
	assert.True(t, p.Truth().Inlet.Open)
	assert.True(t, p.Truth().Relief.Shut)
}

// Hands turn valves in their own time, and each limit switch is made at its end only.
func TestHandValves(t *testing.T) {
	p := start(t, plant.Defaults())
	p.SetRinse(true)
	p.SetOutlet(false)
	p.Step(2500 * time.Millisecond)
	now := p.Truth()
	for _, v := range []plant.Position{now.Rinse, now.Outlet} {
		assert.Equal(t, plant.Position{Opening: 0.5}, v)
	}
	p.Step(2500 * time.Millisecond)
	now = p.Truth()
	assert.Equal(t, plant.Position{Opening: 1, Open: true}, now.Rinse)
	assert.Equal(t, plant.Position{Shut: true}, now.Outlet)
	assert.InDelta(t, 120, gpm(now.Flow), 1, "all of it to drain")
	p.Step(time.Minute)
	assert.Equal(t, now.Volumes.Delivered, p.Truth().Volumes.Delivered)
	assert.Greater(t, p.Truth().Volumes.Rinsed, now.Volumes.Rinsed)
}

// Relief water never entered: it is no part of what the flow meter counts.
func TestRelief(t *testing.T) {
	p := start(t, spent())
	p.Step(10*minute + 8*time.Second)
	from := p.Truth()
	require.True(t, from.Inlet.Shut && from.Relief.Open)
	p.Step(time.Hour)
	now := p.Truth()
	assert.InDelta(t, 35, now.Volumes.Relieved-from.Volumes.Relieved, 1e-9)
	assert.Equal(t, from.Volumes.In, now.Volumes.In)
	assert.Equal(t, from.Volumes.Counted, now.Volumes.Counted)
	require.NoError(t, p.SetPressure(0))
	assert.Zero(t, p.Truth().ReliefFlow, "it is stopped at the pump, not at the valve")
}

// Looking and steps of nothing change nothing.
func TestLook(t *testing.T) {
	p := start(t, plant.Defaults())
	p.Step(1234567890)
	a := p.Truth()
	p.Step(0)
	p.Step(-time.Hour)
	b := p.Truth()
	assert.Equal(t, a, b)
	b.Signals[0].Value, b.Banks[plant.A].Fed, b.Rule.Trips = 99, 99, 99
	assert.Equal(t, a, p.Truth())
}

// What happens between two scans happens at its exact instant: travel, the button let go, instruments warm, the stop.
func TestBetweenScans(t *testing.T) {
	set := spent()
	p := start(t, set)
	edge := func(after time.Duration, what string, is func(plant.Truth) bool) {
		t.Helper()
		p.Step(after - 1)
		assert.False(t, is(p.Truth()), "%s: too early", what)
		p.Step(1)
		assert.True(t, is(p.Truth()), "%s: too late", what)
	}
	p.Step(1234567891)
	p.SetPower(false)
	edge(set.InletTravel, "the inlet is shut", func(now plant.Truth) bool { return now.Inlet.Shut })
	p.Step(345678912)
	p.SetPower(true)
	back := p.Now()
	edge(set.WarmUp, "instruments answer", func(now plant.Truth) bool {
		return now.Rule.Signals[signal.ProductConductivity].Known &&
			now.Rule.Signals[signal.ProductConductivity].Seen == back+set.WarmUp
	})
	p.SetOutlet(false)
	edge(set.HandTravel, "the outlet is shut", func(now plant.Truth) bool {
		return now.Rule.Signals[signal.ProductOutletOpen].Seen == p.Now() && now.Outlet.Shut
	})
	edge(10*minute-(p.Now()-back), "the stop", func(now plant.Truth) bool { return now.Mode() == rules.Shut && now.Rule.Since == back+10*minute })
	p.PressBypass(700 * time.Millisecond)
	edge(700*time.Millisecond, "the button is let go", func(now plant.Truth) bool { return !now.Button })
}

// An analyzer that has become warm shows the water of now, not of the last scan before the dark.
func TestWarm(t *testing.T) {
	set := still()
	p := start(t, set)
	p.Step(500 * time.Millisecond)
	p.SetPower(false)
	require.NoError(t, p.SetFeed(plant.Feed{Conductivity: 600, Temperature: 5, LoadDivisor: 2.5}))
	p.SetPower(true)
	p.Step(set.WarmUp)
	now := p.Truth()
	require.True(t, now.Answering)
	require.NotZero(t, now.Now%set.Scan)
	assert.Equal(t, 600.0, now.Readings.FeedConductivity)
}
