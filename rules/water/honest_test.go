package water_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/rules/water"
)

// run simulates the toe of a bank of 100,000 gal up to a share of its end and forecasts it with nothing known beforehand:
// the base is the lowest level seen. It draws noise on each reading, relative to it.
func run(t *testing.T, r *rand.Rand, noise, remaining float64) (b water.Band, why water.Reason, end, now float64) {
	curve := water.Curve{Mid: 100000, Spread: water.Volume(2000 + 1500*r.Float64())}
	w := water.Waters{Feed: 300, Base: 0.08, Endpoint: 1}
	end = float64(ok(curve.End(w)))
	now = end * (1 - remaining)
	p := water.Points{Apart: 250}
	base, off := water.Conductivity(math.Inf(1)), water.Conductivity(0)
	for v := 250.0; v <= now; v += 250 {
		k := float64(ok(curve.Product(w, water.Volume(v)))) * (1 + noise*r.NormFloat64())
		require.True(t, p.Add(water.Volume(v), water.Conductivity(math.Round(k*1000)/1000)))
		if math.Mod(v, 2000) == 0 && p.Count > 30 {
			b, o, level, err := p.Level()
			require.NoError(t, err)
			if level && b < base {
				base, off = b, o
			}
		}
	}
	b, why, err := water.Trend(&p, water.Toe{
		Base: base, Off: max(0.001, 2*off), Endpoint: w.Endpoint, Floor: base / 4, Now: water.Volume(now), Height: true})
	require.NoError(t, err)
	return b, why, end, now
}

// What is told must be true: the band holds the end about as often as it says, and far from the end nothing is told.
func TestForecastIsHonest(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 1968))
	for _, noise := range []float64{0.001, 0.01} {
		for _, remaining := range []float64{0.5, 0.2, 0.1, 0.05} {
			told, held := 0, 0
			var errs []float64
			const runs = 150
			for range runs {
				b, why, end, now := run(t, r, noise, remaining)
				if why != water.Told {
					continue
				}
				told++
				errs = append(errs, math.Abs(float64(b.Likely)-end)/(end-now))
				if float64(b.Low) <= end && end <= float64(b.High) {
					held++
				}
			}
			slices.Sort(errs)
			t.Logf("noise %4.1f %%, %2.0f %% remaining: told %3d of %d", 100*noise, 100*remaining, told, runs)
			if remaining >= 0.2 {
				assert.LessOrEqual(t, told, runs/50, "nothing to see yet")
				continue
			}
			require.Greater(t, told, runs/4)
			share, middle := float64(held)/float64(told), errs[told/2]
			t.Logf("    the band held the end in %.0f %%; median error %.1f %% of what remained", 100*share, 100*middle)
			assert.Greater(t, share, 0.85)
			assert.Less(t, middle, 0.05)
		}
	}
}

// The band that knows the base only roughly holds the one that knows it, and so does the one that doubts its height.
func TestDoubtWidensTheBand(t *testing.T) {
	p, toe := points(t, "forecast_case.csv"), toe
	toe.Now, toe.Floor = p.Through[p.Count-1], 0.01
	sure, why, err := water.Trend(p, toe)
	require.NoError(t, err)
	require.Equal(t, water.Told, why)
	for _, doubt := range []func(*water.Toe){
		func(toe *water.Toe) { toe.Off = 0.002 },
		func(toe *water.Toe) { toe.Height = true },
	} {
		set := toe
		doubt(&set)
		b, why, err := water.Trend(p, set)
		require.NoError(t, err)
		require.Equal(t, water.Told, why)
		assert.InDelta(t, float64(sure.Likely), float64(b.Likely), 1e-9)
		assert.Less(t, b.Low, sure.Low)
		assert.Greater(t, b.High, sure.High)
	}
	// The band of a base off by so much is the hull of those of its ends.
	off := toe
	off.Off = 0.002
	hull := ok2(water.Trend(p, off))
	for _, shift := range []water.Conductivity{-0.002, 0.002} {
		one := toe
		one.Base += shift
		one.Floor -= shift
		b := ok2(water.Trend(p, one))
		assert.LessOrEqual(t, hull.Low, b.Low+1e-9)
		assert.GreaterOrEqual(t, hull.High, b.High-1e-9)
	}
}

func ok2(b water.Band, why water.Reason, err error) water.Band {
	if why != water.Told || err != nil {
		panic(why.String())
	}
	return b
}
