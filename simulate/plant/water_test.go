package plant_test

import (
	"math"
	"reflect"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/signal"
	"ionward/simulate/plant"
)

// A bed takes a load, not a volume: half the run on a soft water and half on a hard one ends where the loads add up.
func TestLoadDecides(t *testing.T) {
	at := func(feeds ...float64) float64 {
		set := still()
		set.Feed.Conductivity, set.Rule.Endpoint = feeds[0], 3000
		p := start(t, set)
		p.Step(10 * time.Hour)
		if len(feeds) > 1 {
			require.NoError(t, p.SetFeed(plant.Feed{Conductivity: feeds[1], Temperature: 16, LoadDivisor: 2.5}))
		}
		return until(t, p, 48*time.Hour, func(now plant.Truth) bool { return now.Banks[plant.A].Product > 2 }).Banks[plant.A].Fed
	}
	soft, mixed := at(150), at(150, 300)
	// 2 uS/cm is another fraction of another feed: the toe is exponential, so the loads differ by s ln 2.
	s := still().Banks[plant.A].Resin * still().Banks[plant.A].Capacity * still().Banks[plant.A].Spread
	assert.InDelta(t, math.Log(2)*s, soft-mixed, 0.01*s)
}

// An exhausted bed gives back the feed.
func TestExhausted(t *testing.T) {
	set := still()
	set.Rule.Endpoint = 3000 // nothing stops the water
	p := start(t, set)
	p.Step(72 * time.Hour)
	now := p.Truth()
	bank := now.Banks[plant.A]
	assert.Greater(t, bank.Through, 2*bank.V50)
	assert.InDelta(t, now.Feed, now.Product, 1e-3)
	assert.InDelta(t, set.Banks[plant.A].Resin*set.Banks[plant.A].Capacity, bank.Retained, 1e-9)
	assert.InDelta(t, now.Readings.ProductConductivity, now.Readings.FeedConductivity, 1e-3)
}

// The feed swings by its share once in its period, and comes back.
func TestWander(t *testing.T) {
	set := plant.Defaults()
	p := start(t, set)
	low, high, sum := math.Inf(1), 0.0, 0.0
	for range 23 * 60 {
		p.Step(time.Second)
		feed := p.Truth().Feed
		low, high, sum = min(low, feed), max(high, feed), sum+feed
	}
	assert.InDelta(t, 297, low, 0.001)
	assert.InDelta(t, 303, high, 0.001)
	assert.InDelta(t, 300, sum/(23*60), 1e-6)
	assert.InDelta(t, 300, p.Truth().Feed, 1e-9)
}

// The pipe between banks and cell mixes: after its own volume 1/e of the old water is left.
func TestHeader(t *testing.T) {
	set := still()
	set.Header, set.Banks[plant.B].Base, set.Banks[plant.B].Standing = 2, 0.9, 0.9
	p := start(t, set)
	p.Step(time.Minute)
	p.SelectBanks(false, true)
	from := p.Truth()
	p.Step(7 * time.Minute)
	now := p.Truth()
	v := now.Volumes.In - from.Volumes.In
	require.Greater(t, v, 2.0)
	assert.InDelta(t, 0.9-(0.9-from.Product)*math.Exp(-v/2), now.Product, 1e-6)
	assert.InDelta(t, 0.9, now.Mixed, 1e-6)
}

// What leaves two banks is weighted by their flows.
func TestMixed(t *testing.T) {
	set := still()
	set.Banks[plant.B].Flow, set.Banks[plant.B].Base, set.Banks[plant.B].Standing = 120, 0.5, 0.5
	p := start(t, set)
	p.SelectBanks(true, true)
	p.Step(time.Minute)
	now := p.Truth()
	assert.InDelta(t, 3, now.Banks[plant.B].Flow/now.Banks[plant.A].Flow, 1e-12)
	assert.InDelta(t, (0.1+3*0.5)/4, now.Mixed, 1e-6)
	p.SelectBanks(false, false)
	assert.Zero(t, p.Truth().Mixed, "nothing leaves")
}

// The cell fills with the first water and drains with its time constant while the relief lets the line run empty; with
// the relief shut it stays full.
func TestCell(t *testing.T) {
	set := spent()
	set.Cell = 0.05
	p := start(t, set)
	p.Step(11 * time.Minute)
	from := p.Truth()
	require.True(t, from.Inlet.Shut && from.Relief.Open)
	p.Step(set.Drain)
	assert.InDelta(t, from.Wet/math.E, p.Truth().Wet, 1e-9)
	p.PressBypass(time.Second)
	p.Step(time.Minute)
	assert.Greater(t, p.Truth().Wet, 0.99)

	p = start(t, still())
	p.SetOutlet(false)
	p.Step(time.Hour)
	assert.Equal(t, 1.0, p.Truth().Wet)
	assert.Zero(t, p.Truth().Flow)
}

// Product warms to the place while it stands and follows the feed when it runs.
func TestTemperature(t *testing.T) {
	p := start(t, still())
	require.NoError(t, p.SetFeed(plant.Feed{Conductivity: 300, Temperature: 6, LoadDivisor: 2.5}))
	p.Step(time.Minute)
	soon := p.Truth().ProductTemperature
	assert.True(t, soon > 12 && soon < 16, "the beds hold heat: %v", soon)
	p.Step(time.Hour)
	assert.InDelta(t, 6, p.Truth().ProductTemperature, 0.05)
	p.SetOutlet(false)
	p.Step(2*time.Hour + 5*time.Second)
	assert.InDelta(t, 22-16/math.E, p.Truth().ProductTemperature, 0.02)
}

// Noise is small, even-tempered, and not the same in two channels.
func TestNoise(t *testing.T) {
	set := still()
	set.Noise = 0.001
	p := start(t, set)
	const n = 4000
	var sum, square, cross, worst float64
	for range n {
		p.Step(time.Second)
		now := p.Truth()
		a := (now.Readings.FeedConductivity - now.Feed) / (now.Feed + 0.3) / set.Noise
		b := (now.Readings.FeedTemperature - now.FeedTemperature) / (now.FeedTemperature + 0.3) / set.Noise
		sum, square, cross, worst = sum+a, square+a*a, cross+a*b, max(worst, math.Abs(a))
	}
	assert.LessOrEqual(t, worst, 1.0)
	// A triangle from -1 to 1 has a variance of 1/6; five standard errors are allowed.
	assert.InDelta(t, 0, sum/n, 5*math.Sqrt(1.0/6/n))
	assert.InDelta(t, 1.0/6, square/n, 0.02)
	assert.InDelta(t, 0, cross/n, 5.0/6/math.Sqrt(n))
}

// Whatever is done, every number of the truth is a number, and no reading leaves its signal's span.
func TestFinite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, err := plant.New(nearly(rapid.Uint64().Draw(t, "seed")))
		require.NoError(t, err)
		does, waits := day(t)
		for i, d := range does {
			require.NoError(t, d.do(p))
			p.Step(waits[i])
			now := p.Truth()
			finite(t, d.name, reflect.ValueOf(now))
			for id := range now.Signals {
				if now.Signals[id].Quality == signal.Bad || (signal.ID(id).Contact() && now.Signals[id].Quality != signal.Good) {
					t.Fatalf("after %q %v is %+v", d.name, signal.ID(id), now.Signals[id])
				}
			}
		}
	})
}

// finite looks at every float in a value.
func finite(t *rapid.T, name string, v reflect.Value) {
	switch v.Kind() {
	case reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			t.Fatalf("after %q a number is %v", name, f)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			finite(t, name, v.Field(i))
		}
	case reflect.Array:
		for i := range v.Len() {
			finite(t, name, v.Index(i))
		}
	}
}
