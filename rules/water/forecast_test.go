package water_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/water"
)

var toe = water.Toe{Base: 0.08, Endpoint: 1}

// points reads a trend; gallons become m3.
func points(t testing.TB, name string) *water.Points {
	p := &water.Points{}
	for _, l := range table(t, name) {
		require.True(t, p.Add(water.Gallons(l.number("V_gal")), water.Conductivity(l.number("kappa_uS_cm"))))
	}
	return p
}

// A computed trend with 10 % of noise and three outliers. Its truth is 89,571.6 gal; the expected forecast is that of a
// public statistics library; least squares, which the outliers pull, would say 90,024.9.
func TestForecastCase(t *testing.T) {
	p, toe := points(t, "forecast_case.csv"), toe
	toe.Now = p.Through[p.Count-1]
	b, why, err := water.Trend(p, toe)
	require.NoError(t, err)
	require.Equal(t, water.Told, why)
	assert.InDelta(t, 89535.9, b.Likely.Gallons(), 0.1)
	assert.InDelta(t, 89339.9, b.Low.Gallons(), 0.1)
	assert.InDelta(t, 89755.5, b.High.Gallons(), 0.1)
	assert.Less(t, b.Low.Gallons(), 89571.6)
	assert.Greater(t, b.High.Gallons(), 89571.6)

	var x, y [33]float64
	sx, sy, sxx, sxy := 0.0, 0.0, 0.0, 0.0
	for i := range x {
		x[i], y[i] = p.Through[i].Gallons(), math.Log(float64(p.Product[i])-0.08)
		sx, sy, sxx, sxy = sx+x[i]/33, sy+y[i]/33, sxx+x[i]*x[i]/33, sxy+x[i]*y[i]/33
	}
	l := ok(water.TheilSen(x[:], y[:], water.Z90))
	assert.InEpsilon(t, 3.925785e-4, l.Slope, 1e-6)
	assert.InEpsilon(t, 3.776016e-4, l.Low, 1e-6)
	assert.InEpsilon(t, 4.069856e-4, l.High, 1e-6)
	assert.InDelta(t, -35.233249, l.Intercept(), 1e-5)
	slope := (sxy - sx*sy) / (sxx - sx*sx)
	squares := (math.Log(0.92) - sy + slope*sx) / slope
	assert.InEpsilon(t, 3.704984e-4, slope, 1e-6)
	assert.InDelta(t, 90024.9, squares, 0.1)
	assert.Less(t, math.Abs(b.Likely.Gallons()-89571.6), math.Abs(squares-89571.6)/5)
}

func TestCannotTellYet(t *testing.T) {
	// made lays points on a base of 0.08 with a rise that comes to the endpoint at 100 m3, and some noise.
	made := func(n int, from, to, spread, noise float64) *water.Points {
		p := &water.Points{}
		for i := range n {
			v := from + (to-from)*float64(i)/float64(n-1)
			k := 0.92 * math.Exp((v-100)/spread+noise*math.Sin(float64(i*i)))
			p.Add(water.Volume(v), water.Conductivity(0.08+k))
		}
		return p
	}
	for name, c := range map[string]struct {
		p    *water.Points
		now  water.Volume
		want water.Reason
	}{
		"clear":                  {made(33, 80, 95, 3, 0.05), 95, water.Told},
		"no points":              {&water.Points{}, 0, water.TooFew},
		"seven points":           {made(7, 80, 95, 3, 0), 95, water.TooFew},
		"eight points":           {made(8, 80, 95, 3, 0), 95, water.Told},
		"flat":                   {points(t, "forecast_flat.csv"), water.Gallons(88000), water.Flat},
		"falls":                  {made(33, 80, 95, -3, 0), 95, water.Flat},
		"noise over a weak rise": {made(60, 80, 95, 30, 0.4), 95, water.Noisy},
		"far ahead":              {made(60, 10, 15, 5, 0), 15, water.TooFar},
		"just not too far":       {made(60, 10, 32.6, 5, 0), 32.6, water.Told},
		"wide":                   {made(10, 80, 88, 5, 0.45), 88, water.Wide},
	} {
		t.Run(name, func(t *testing.T) {
			set := toe
			set.Now = c.now
			b, why, err := water.Trend(c.p, set)
			require.NoError(t, err)
			require.Equal(t, c.want.String(), why.String())
			require.Equal(t, why == water.Told, b != water.Band{}, "a band only where it can tell")
			set.Resumed = true
			_, why, err = water.Trend(c.p, set)
			require.NoError(t, err)
			require.Equal(t, water.Resumed, why, "the first water after a stand comes before all")
		})
	}
	seen := map[string]bool{}
	for r := range water.Reason(water.Reasons) {
		require.False(t, seen[r.String()])
		seen[r.String()] = true
	}
	assert.Equal(t, "?", water.Reason(99).String())
}

// On a toe without noise the forecast is exact, in any units of volume, and the band holds it.
func TestTrendFindsTheEnd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		end := rapid.Float64Range(50, 1e5).Draw(t, "end")
		spread := end * rapid.Float64Range(0.01, 0.05).Draw(t, "spread")
		from := end - spread*rapid.Float64Range(4, 5).Draw(t, "from")
		to := end - spread*rapid.Float64Range(0.1, 2).Draw(t, "to")
		base := rapid.Float64Range(0.055, 0.3).Draw(t, "base")
		set := water.Toe{Base: water.Conductivity(base), Endpoint: water.Conductivity(base + rapid.Float64Range(0.1, 5).Draw(t, "endpoint")), Now: water.Volume(to)}
		p := &water.Points{}
		for i := range 64 {
			v := from + (to-from)*float64(i)/63
			p.Add(water.Volume(v), set.Base+(set.Endpoint-set.Base)*water.Conductivity(math.Exp((v-end)/spread)))
		}
		b, why, err := water.Trend(p, set)
		require.NoError(t, err)
		require.Equal(t, water.Told, why)
		require.InEpsilon(t, end, float64(b.Likely), 1e-6)
		require.LessOrEqual(t, b.Low, b.Likely)
		require.LessOrEqual(t, b.Likely, b.High)
	})
}

// Points near the base carry its error; a floor leaves them out.
func TestFloor(t *testing.T) {
	curve := water.Curve{Mid: 1000, Spread: 25}
	p := &water.Points{}
	for v := water.Volume(700); v < 840; v += 2.5 {
		p.Add(v, ok(curve.Product(waters, v)))
	}
	end := float64(ok(curve.End(waters)))
	set := water.Toe{Base: 0.098, Endpoint: 1, Now: 840} // 0.002 below the truth
	rough, why, err := water.Trend(p, set)
	require.NoError(t, err)
	require.Equal(t, water.Told, why)
	set.Floor = 0.05
	fine, why, err := water.Trend(p, set)
	require.NoError(t, err)
	require.Equal(t, water.Told, why)
	assert.Less(t, math.Abs(float64(fine.Likely)-end), math.Abs(float64(rough.Likely)-end))
	assert.InEpsilon(t, end, float64(fine.Likely), 0.005)
	set.Floor = 10
	_, why, err = water.Trend(p, set)
	require.NoError(t, err)
	assert.Equal(t, water.TooFew, why)
}

func TestTrendRefuses(t *testing.T) {
	p := points(t, "forecast_flat.csv")
	for what, set := range map[string]water.Toe{
		"endpoint":        {Base: 1, Endpoint: 1},
		"conductivity":    {Base: -1, Endpoint: 1},
		"floor":           {Endpoint: 1, Floor: -1},
		"volume":          {Endpoint: 1, Now: -1},
		"endpoint of NaN": {Endpoint: water.Conductivity(math.NaN())},
	} {
		b, why, err := water.Trend(p, set)
		require.ErrorContains(t, err, what)
		require.Zero(t, b)
		require.Equal(t, water.Told, why)
	}
	for what, spoil := range map[string]func(*water.Points){
		"throughput of a point": func(p *water.Points) { p.Through[3] = p.Through[2] },
		"number of points":      func(p *water.Points) { p.Count = 65 },
		"conductivity":          func(p *water.Points) { p.Product[3] = water.Conductivity(math.NaN()) },
	} {
		bad := *p
		spoil(&bad)
		_, _, err := water.Trend(&bad, toe)
		require.ErrorContains(t, err, what)
	}
}

// A refit runs inside the rule's step: nothing may reach the heap.
func TestTrendAllocatesNothing(t *testing.T) {
	p, toe := points(t, "forecast_case.csv"), toe
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		b, _, err := water.Trend(p, toe)
		if err != nil || b.Likely == 0 {
			panic("no forecast")
		}
	}))
	assert.Zero(t, testing.AllocsPerRun(100, func() { ok(ultrapure.To25(1, 18)) }))
}

// [mem] The working capacity of a bank is good to 20 %.
func TestLeft(t *testing.T) {
	b := ok(water.Left(water.Kilograins(1200), water.Kilograins(600), water.GrainsPerGallon(7), 0.9, water.CapacityBand))
	assert.InEpsilon(t, (1080-600)*1000/7.0, b.Likely.Gallons(), 1e-12)
	assert.InEpsilon(t, (0.8*1080-600)*1000/7.0, b.Low.Gallons(), 1e-12)
	assert.InEpsilon(t, (1.2*1080-600)*1000/7.0, b.High.Gallons(), 1e-12)
	assert.Equal(t, water.Band{}, ok(water.Left(1, 5, 100, 1, 0.2)), "used up: nothing is left, nothing is negative")
	out[water.Band](t, "efficiency")(water.Left(1, 1, 1, 1.1, 0.2))
	out[water.Band](t, "band of the capacity")(water.Left(1, 1, 1, 1, -0.1))
	out[water.Band](t, "load")(water.Left(1, 1, 0, 1, 0.2))
	out[water.Band](t, "amount")(water.Left(1, -1, 1, 1, 0.2))
	out[water.Band](t, "volume")(water.Left(1e9, 0, 1e-6, 1, 0.2))
}

func TestEarlier(t *testing.T) {
	near, far := water.Band{Low: 1, Likely: 2, High: 3}, water.Band{Low: 4, Likely: 5, High: 6}
	b, by := water.Earlier(near, water.Told, far)
	assert.Equal(t, near, b)
	assert.Equal(t, water.ByTrend, by)
	b, by = water.Earlier(far, water.Told, near)
	assert.Equal(t, near, b)
	assert.Equal(t, water.ByBalance, by)
	b, by = water.Earlier(near, water.Flat, far)
	assert.Equal(t, far, b, "a trend that cannot tell is not believed")
	assert.Equal(t, water.ByBalance, by)
}

func TestBandInTime(t *testing.T) {
	b := water.Band{Low: 100, Likely: 200, High: 300}.After(150)
	assert.Equal(t, water.Band{Low: 0, Likely: 50, High: 150}, b)
	low, likely, high, err := b.Times(25)
	require.NoError(t, err)
	assert.Equal(t, []time.Duration{0, 2 * time.Hour, 6 * time.Hour}, []time.Duration{low, likely, high})
	for _, bad := range []water.Band{{Low: -1}, {Likely: -1}, {High: -1}} {
		_, _, _, err = bad.Times(1)
		require.ErrorContains(t, err, "volume")
	}
	_, _, _, err = b.Times(0)
	require.ErrorContains(t, err, "flow")
}
