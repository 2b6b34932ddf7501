package water_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/signal"
	"ionward/rules/water"
)

var (
	linear2   = water.Compensation{Mode: water.Linear, Slope: 0.02}
	saltOnly  = water.Compensation{Mode: water.Salt}
	printed   = water.Compensation{Mode: water.PrintedSalt}
	ultrapure = water.Compensation{Mode: water.Ultrapure}
	natural   = water.Compensation{Mode: water.Natural}
	raw       = water.Compensation{}
)

func TestSaltRatios(t *testing.T) {
	for _, l := range table(t, "nacl_ratio.csv") {
		c := water.Celsius(l.number("t_C"))
		mine, iec := ok(water.SaltRatio(c)), ok(water.PrintedSaltRatio(c))
		assert.InDelta(t, l.number("mccleskey_calc"), mine, 6e-5, "%g C", c)
		assert.InDelta(t, l.number("iec_60746_3"), iec, 1e-12, "%g C", c)
		assert.InEpsilon(t, mine, iec, 0.06, "%g C", c)
		t.Logf("%3g C: McCleskey 2011 %.4f, IEC 60746-3 %.2f (%+.1f %%)", c, mine, iec, percent(iec, mine))
	}
	assert.InDelta(t, 0.81, ok(water.PrintedSaltRatio(15)), 1e-12, "half way between two rows")
	assert.InDelta(t, 1, ok(water.SaltRatio(25)), 0)
}

// The fit of the third degree stays within 0.0006 of each 1/f25 of the printed table before it is brought to 1 at 25 C.
func TestNaturalWater(t *testing.T) {
	worst := 0.0
	for _, l := range table(t, "f25_natural_water.csv") {
		for i, column := range []string{"f25_.0", "f25_.1", "f25_.2", "f25_.3"} {
			c := water.Celsius(l.number("t_C") + float64(i)/10)
			got, want := ok(water.NaturalFactor(c)), l.number(column)
			assert.InDelta(t, want, got, 0.0008, "%.1f C", c)
			worst = max(worst, math.Abs(got-want))
		}
	}
	t.Logf("largest difference to a printed f25: %.4f", worst)
	for c, want := range map[water.Celsius]float64{0: 1.918, 5: 1.643, 10: 1.428, 15: 1.256, 20: 1.116, 25: 1, 30: 0.903, 35: 0.822} {
		assert.InDelta(t, want, ok(water.NaturalFactor(c)), 0.0008)
	}
}

// All methods against one computed truth: pure water with a trace of sodium chloride.
func TestCompensationTable(t *testing.T) {
	for _, l := range table(t, "compensation_checks.csv") {
		c, k := water.Celsius(l.number("t_C")), water.Conductivity(l.number("kappa25_true"))
		reading := ok(ultrapure.From25(k, c))
		assert.InEpsilon(t, l.number("raw_uS_cm"), float64(reading), 6e-4, "%g C %g", c, k)
		reading = water.Conductivity(l.number("raw_uS_cm"))
		assert.InEpsilon(t, l.number("two_part"), float64(ok(ultrapure.To25(reading, c))), 5e-4, "%g C %g", c, k)
		assert.InDelta(t, l.number("linear_2pct"), float64(ok(linear2.To25(reading, c))), 2e-5, "%g C %g", c, k)
		assert.InEpsilon(t, l.number("salt_only"), float64(ok(saltOnly.To25(reading, c))), 5e-4, "%g C %g", c, k)
		for own, column := range map[water.Compensation]string{linear2: "linear_err_pct", saltOnly: "salt_only_err_pct"} {
			m := ok(water.Foresee(own, ultrapure, k, c))
			assert.InDelta(t, l.number(column), 100*m.Error, 0.06, "%g C %g %s", c, k, own.Mode)
			assert.Equal(t, math.Abs(m.Error) <= water.Suitable, m.Suits)
		}
		// The published algorithm of Marsh and Stokes: pure water apart, the rest at 2 %.
		a := ok(water.MarshStokes(c))
		assert.InDelta(t, l.number("marsh_stokes"), float64((reading-a)/(1+0.02*water.Conductivity(c-25))+0.05498), 3e-5)
	}
}

// Uncompensated 1.0 uS/cm is 1.437 at 25 C if it was read at 10 C, and 0.727 if at 40 C.
func TestUncompensatedOne(t *testing.T) {
	for c, want := range map[water.Celsius]float64{10: 1.437, 40: 0.727} {
		assert.InDelta(t, want, float64(ok(ultrapure.To25(1, c))), 5e-4)
		m := ok(water.Judge(raw, ultrapure, 1, c))
		assert.InDelta(t, want, float64(m.True), 5e-4)
		assert.False(t, m.Suits, "an instrument that shows raw conductivity does not suit product water at %g C", c)
	}
}

// Linear compensation at 2 % on product water of 5 to 40 C: it errs up to 5 % at 1 uS/cm, 8 % at 0.5, 20 to 30 % (32) at 0.1.
func TestWhereLinearCompensationFails(t *testing.T) {
	for k, most := range map[water.Conductivity]float64{1: 0.05, 0.5: 0.08, 0.1: 0.33} {
		worst := 0.0
		for c := water.Celsius(5); c <= 40; c++ {
			worst = max(worst, math.Abs(ok(water.Foresee(linear2, ultrapure, k, c)).Error))
		}
		assert.Less(t, worst, most)
		assert.Greater(t, worst, most/2)
		t.Logf("%g uS/cm, 5 to 40 C: linear 2 %% errs up to %.1f %%", k, 100*worst)
	}
	assert.True(t, ok(water.Foresee(linear2, ultrapure, 1, 15)).Suits)
	assert.False(t, ok(water.Foresee(linear2, ultrapure, 0.1, 15)).Suits)
	assert.False(t, ok(water.Foresee(natural, ultrapure, 0.1, 10)).Suits, "a feed's compensation on product water")
}

func TestDefaults(t *testing.T) {
	assert.Equal(t, natural, ok(water.DefaultFor(signal.FeedConductivity)))
	assert.Equal(t, ultrapure, ok(water.DefaultFor(signal.ProductConductivity)))
	out[water.Compensation](t, "no conductivity")(water.DefaultFor(signal.Flow))
	for m := range water.Mode(water.Modes) {
		got, known := water.ParseMode(m.String())
		require.True(t, known)
		require.Equal(t, m, got)
	}
	_, known := water.ParseMode("magic")
	assert.False(t, known)
	assert.Equal(t, "?", water.Mode(water.Modes).String())
}

func TestCompensationRefuses(t *testing.T) {
	type wrong struct {
		c    water.Compensation
		raw  water.Conductivity
		t    water.Celsius
		what string
	}
	for _, w := range []wrong{
		{natural, 100, 36, "temperature for natural-water compensation of 36 C: want 0 to 35.9 C"},
		{natural, 100, -0.1, "temperature"},
		{ultrapure, 1, 100.1, "temperature"},
		{linear2, 1, water.Celsius(math.NaN()), "temperature"},
		{raw, 1, -1, "temperature"},
		{ultrapure, 0.04, 25, "uncompensated conductivity of 0.04 uS/cm"},
		{ultrapure, water.Conductivity(math.NaN()), 25, "uncompensated conductivity"},
		{saltOnly, -0.1, 25, "uncompensated conductivity"},
		{printed, water.Conductivity(math.Inf(1)), 25, "uncompensated conductivity"},
		{water.Compensation{Mode: water.Linear, Slope: 0.06}, 1, 25, "slope"},
		{water.Compensation{Mode: water.Linear, Slope: -0.01}, 1, 25, "slope"},
		{water.Compensation{Mode: water.Linear, Slope: 0.04}, 1, 1, "ratio of linear compensation"},
		{water.Compensation{Mode: water.Mode(water.Modes)}, 1, 25, "compensation mode"},
	} {
		out[water.Conductivity](t, w.what)(w.c.To25(w.raw, w.t))
		out[water.Misfit](t, w.what)(water.Judge(raw, w.c, w.raw, max(0, w.t)*1+min(0, w.t)))
	}
	out[water.Conductivity](t, "uncompensated conductivity")(ultrapure.From25(0.04, 25))
	out[water.Conductivity](t, "temperature")(natural.From25(1, 40))
	out[water.Misfit](t, "temperature")(water.Foresee(natural, ultrapure, 1, 40))
	out[water.Misfit](t, "temperature")(water.Judge(natural, ultrapure, 1, 40))
	out[water.Misfit](t, "temperature")(water.Foresee(raw, natural, 1, 40))
	out[water.Misfit](t, "conductivity at 25 C")(water.Judge(raw, saltOnly, 0, 20))
	for _, f := range []func(water.Celsius) (float64, error){water.SaltRatio, water.PrintedSaltRatio, water.NaturalFactor} {
		out[float64](t, "temperature")(f(-1))
		out[float64](t, "temperature")(f(101))
	}
}

// draw gives a mode with a temperature in its range.
func draw(t *rapid.T) (water.Compensation, water.Celsius) {
	c := water.Compensation{Mode: water.Mode(rapid.IntRange(0, water.Modes-1).Draw(t, "mode"))}
	high := 100.0
	switch c.Mode {
	case water.Linear:
		c.Slope = rapid.Float64Range(0.01, 0.03).Draw(t, "slope")
	case water.Natural:
		high = 35.9
	}
	return c, water.Celsius(rapid.Float64Range(0, high).Draw(t, "t"))
}

func TestCompensationIsTheIdentityAt25(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, _ := draw(t)
		k := rapid.Float64Range(0.055, 1e5).Draw(t, "k")
		require.InEpsilon(t, k, float64(ok(c.To25(water.Conductivity(k), 25))), 1e-12)
		require.InEpsilon(t, k, float64(ok(c.From25(water.Conductivity(k), 25))), 1e-12)
	})
}

func TestCompensationBothWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, temperature := draw(t)
		k := rapid.Float64Range(0.055, 1e5).Draw(t, "k25")
		reading := ok(c.From25(water.Conductivity(k), temperature))
		require.InEpsilon(t, k, float64(ok(c.To25(reading, temperature))), 1e-11)
	})
}

// More conductivity stays more, and water that reads the same when warmer is the purer one.
func TestCompensationIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, temperature := draw(t)
		reading := rapid.Float64Range(1, 1e5).Draw(t, "raw")
		more := reading * rapid.Float64Range(1.0001, 2).Draw(t, "factor")
		a := ok(c.To25(water.Conductivity(reading), temperature))
		require.Greater(t, ok(c.To25(water.Conductivity(more), temperature)), a)
		cooler := temperature * water.Celsius(rapid.Float64Range(0, 0.99).Draw(t, "cooler"))
		if c.Mode != water.None && temperature-cooler > 1e-6 {
			require.Less(t, a, ok(c.To25(water.Conductivity(reading), cooler)))
		}
	})
}

// What Foresee says an instrument will show, Judge reads back.
func TestJudgeUndoesForesee(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		own, temperature := draw(t)
		fits := []water.Compensation{ultrapure, saltOnly, raw}[rapid.IntRange(0, 2).Draw(t, "fits")]
		k := rapid.Float64Range(1, 1e4).Draw(t, "k25")
		m := ok(water.Foresee(own, fits, water.Conductivity(k), temperature))
		back := ok(water.Judge(own, fits, m.Shown, temperature))
		require.InEpsilon(t, k, float64(back.True), 1e-9)
		require.InDelta(t, m.Error, back.Error, 1e-9)
		require.InEpsilon(t, float64(m.Raw), float64(back.Raw), 1e-9)
	})
}
