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

// bank is three tanks of 40 ft3 in parallel, 12.57 ft2 each (4 ft across), at 10 kgr/ft3.
func bank() water.Tanks {
	return water.Tanks{Count: 3, Each: water.CubicFeet(40), Area: water.SquareFeet(4 * math.Pi), Capacity: water.KilograinsPerCubicFoot(10)}
}

func TestBank(t *testing.T) {
	s := bank()
	require.Empty(t, s.Check())
	assert.InEpsilon(t, 120, ok(s.Bed()).CubicFeet(), 1e-12)
	assert.InEpsilon(t, 1200, ok(s.Work()).Kilograins(), 1e-12)
	assert.InEpsilon(t, 40/(4*math.Pi), ok(s.Depth()).Feet(), 1e-12)
	assert.InEpsilon(t, 150/(12*math.Pi), ok(s.Velocity(water.GPM(150))).GPMPerSquareFoot(), 1e-12)
	assert.InEpsilon(t, 1.25, ok(s.Specific(water.GPM(150))).GPMPerCubicFoot(), 1e-12)
	// 300 uS/cm over 2.5 is 120 mg/L: 171,181 gal on 1200 kgr.
	run := ok(s.Run(120, water.GPM(150)))
	assert.InDelta(t, 171181, run.Volume.Gallons(), 1)
	assert.InEpsilon(t, 171181.0/150/60, run.Time.Hours(), 1e-5)
	assert.InEpsilon(t, 1200, run.Work.Kilograins(), 1e-12)
	assert.InEpsilon(t, 1200*64.79891/50.0435, run.Work.Equivalents(), 1e-12)
}

func TestTanksInSeries(t *testing.T) {
	parallel, series := bank(), bank()
	series.Series = true
	q := water.GPM(120)
	assert.Equal(t, ok(parallel.Work()), ok(series.Work()), "the order makes no capacity")
	assert.Equal(t, ok(parallel.Specific(q)), ok(series.Specific(q)))
	assert.InEpsilon(t, 3*float64(ok(parallel.Velocity(q))), float64(ok(series.Velocity(q))), 1e-12)
	a, b := ok(parallel.Drop(q, 20, water.UsualBeads)), ok(series.Drop(q, 20, water.UsualBeads))
	assert.Greater(t, b, 9*a, "three times as deep at three times the velocity")

	two := bank()
	two.Count, two.Resin = 4, water.TwoBed
	assert.InEpsilon(t, 800, ok(two.Work()).Kilograins(), 1e-12, "half of the tanks end first")
	assert.InEpsilon(t, 160, ok(two.Bed()).CubicFeet(), 1e-12)
	assert.InEpsilon(t, 120/(8*math.Pi), ok(two.Velocity(q)).GPMPerSquareFoot(), 1e-12, "two ways, each through two tanks")
	assert.InEpsilon(t, 1.5, ok(two.Specific(q)).GPMPerCubicFoot(), 1e-12)
	two.Series = true
	assert.InEpsilon(t, 120/(4*math.Pi), ok(two.Velocity(q)).GPMPerSquareFoot(), 1e-12)
}

func TestStrain(t *testing.T) {
	s := bank()
	assert.Equal(t, water.Strain(0), ok(s.Strain(water.GPM(150))))
	assert.Equal(t, water.TooSlow, ok(s.Strain(water.GPM(100))), "0.83 gpm/ft3")
	assert.Equal(t, water.Strain(0), ok(s.Strain(water.GPM(120))), "a limit that is just met is kept")
	assert.Equal(t, water.TooFast, ok(s.Strain(water.GPM(7.01*12*math.Pi))))
	assert.Equal(t, water.Strain(0), ok(s.Strain(water.GPM(7*12*math.Pi))))
	s.Each = water.CubicFeet(10)
	assert.Equal(t, water.TooShort|water.TooFlat, ok(s.Strain(water.GPM(160))), "5.3 gpm/ft3, 0.8 ft deep")
	s = bank()
	s.Capacity = water.KilograinsPerCubicFoot(9)
	assert.Zero(t, ok(s.Strain(water.GPM(150))), "just regenerated")
	s.Capacity = water.KilograinsPerCubicFoot(8.9)
	assert.Equal(t, water.Meagre, ok(s.Strain(water.GPM(150))))
	s.Capacity = water.KilograinsPerCubicFoot(30)
	s.Resin = water.Softener
	assert.Equal(t, water.Ambitious, ok(s.Strain(water.GPM(150))), "sold, but Ten States Standards allow 20")
	assert.InEpsilon(t, 7, water.MostVelocity.GPMPerSquareFoot(), 1e-12)
	assert.InEpsilon(t, 3, water.LeastDepth.Feet(), 1e-12)
}

func TestTanksAreChecked(t *testing.T) {
	s := water.Tanks{Count: -1, Resin: 7, Each: water.Volume(math.NaN()), Area: -1, Capacity: 500}
	require.Len(t, s.Check(), 5, "all faults in one go")
	two := bank()
	two.Resin = water.TwoBed
	require.Len(t, two.Check(), 1)
	require.ErrorContains(t, two.Check()[0], "want an even number")
	out[water.Volume](t, "number of tanks")(s.Bed())
	out[water.Amount](t, "number of tanks")(s.Work())
	out[water.Length](t, "number of tanks")(s.Depth())
	out[water.Velocity](t, "number of tanks")(s.Velocity(1))
	out[water.SpecificFlow](t, "number of tanks")(s.Specific(1))
	out[water.Pressure](t, "number of tanks")(s.Drop(1, 20, water.UsualBeads))
	out[water.Strain](t, "number of tanks")(s.Strain(1))
	out[water.Run](t, "number of tanks")(s.Run(1, 1))
	good := bank()
	out[water.Velocity](t, "flow")(good.Velocity(-1))
	out[water.SpecificFlow](t, "flow")(good.Specific(water.Flow(math.NaN())))
	out[water.Run](t, "load")(good.Run(0, 1))
	out[water.Run](t, "flow")(good.Run(1, 0))
	for r := range water.Resin(water.Resins) {
		got, known := water.ParseResin(r.String())
		require.True(t, known)
		require.Equal(t, r, got)
		low, high, err := r.Usual()
		require.NoError(t, err)
		assert.Less(t, low, high)
	}
	_, known := water.ParseResin("sand")
	assert.False(t, known)
	assert.Equal(t, "?", water.Resin(9).String())
	_, _, err := water.Resin(9).Usual()
	require.ErrorContains(t, err, "kind of resin")
}

// Ergun at 0.65 mm and a void of 0.38: 8 gpm/ft2 take 0.64 psi/ft at 20 C and 0.95 at 5 C.
func TestBedDrop(t *testing.T) {
	v := water.GPMPerSquareFoot(8)
	for c, want := range map[water.Celsius]float64{20: 0.64, 5: 0.95} {
		assert.InDelta(t, want, ok(water.UsualBeads.Drop(v, water.Feet(1), c)).PSI(), 0.005, "%g C", c)
	}
	rapid.Check(t, func(t *rapid.T) {
		v := water.Velocity(rapid.Float64Range(0.1, 100).Draw(t, "v"))
		c := water.Celsius(rapid.Float64Range(0, 99).Draw(t, "t"))
		p := ok(water.UsualBeads.Drop(v, 1, c))
		require.Greater(t, ok(water.UsualBeads.Drop(v*1.01, 1, c)), p)
		require.Less(t, ok(water.UsualBeads.Drop(v, 1, c+1)), p, "warm water passes more easily")
		require.InEpsilon(t, 3*float64(p), float64(ok(water.UsualBeads.Drop(v, 3, c))), 1e-12)
	})
	out[water.Pressure](t, "velocity")(water.UsualBeads.Drop(-1, 1, 20))
	out[water.Pressure](t, "length")(water.UsualBeads.Drop(1, -1, 20))
	out[water.Pressure](t, "temperature")(water.UsualBeads.Drop(1, 1, -1))
	out[water.Pressure](t, "bead")(water.Beads{Void: 0.4}.Drop(1, 1, 20))
	out[water.Pressure](t, "void")(water.Beads{Diameter: 0.001}.Drop(1, 1, 20))
}

func TestFirstWaterAfterStanding(t *testing.T) {
	s := water.Standing{First: 4, Base: 0.08, Wash: 2}
	assert.InDelta(t, 4, float64(ok(s.After(0))), 1e-12)
	assert.InDelta(t, 0.08+3.92/math.E, float64(ok(s.After(2))), 1e-12)
	v := ok(s.Until(0.01))
	assert.InDelta(t, 0.09, float64(ok(s.After(v))), 1e-12)
	assert.Zero(t, ok(s.Until(5)))
	out[water.Conductivity](t, "first water")(water.Standing{First: 0.01, Base: 0.08, Wash: 1}.After(1))
	out[water.Conductivity](t, "volume")(water.Standing{First: 1, Base: 0.08}.After(1))
	out[water.Volume](t, "above the base")(s.Until(0))
}

// The law in times is the law in volumes: V = A u t.
func TestServiceTimeIsTheCurve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		capacity := water.Capacity(rapid.Float64Range(5, 60).Draw(t, "N0"))
		depth, v := water.Length(rapid.Float64Range(0.5, 3).Draw(t, "Z")), water.Velocity(rapid.Float64Range(2, 20).Draw(t, "u"))
		load := water.Load(rapid.Float64Range(20, 800).Draw(t, "c0"))
		spread := rapid.Float64Range(0.005, 0.05).Draw(t, "s/V50")
		share := rapid.Float64Range(0.001, 0.9).Draw(t, "X")
		c := ok(water.CurveOf(water.Amount(float64(capacity)*float64(depth)), load, spread)) // an area of 1 m2
		rate := float64(v) / (float64(load) / 1000 * float64(c.Spread))
		got := ok(water.ServiceTime(capacity, depth, v, load, rate, share))
		require.InEpsilon(t, float64(ok(c.At(share)))/float64(v), got.Hours(), 1e-9)
	})
	out[time.Duration](t, "share")(water.ServiceTime(20, 1, 10, 100, 1, 1))
	out[time.Duration](t, "rate")(water.ServiceTime(20, 1, 10, 100, 0, 0.5))
	out[time.Duration](t, "service time")(water.ServiceTime(1, 0.1, 10, 100, 0.01, 1e-6))
}
