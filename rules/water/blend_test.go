package water_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/water"
)

func pow(x, y float64) float64 { return math.Pow(x, y) }

func TestBlending(t *testing.T) {
	for _, l := range table(t, "tank_blending.csv") {
		tank := water.Tank{Volume: water.Gallons(l.number("V_gal")), Water: water.Conductivity(l.number("k0_uS_cm"))}
		fed, in := water.Gallons(l.number("Q_gpm")*l.number("minutes")), water.Conductivity(l.number("k_in_uS_cm"))
		assert.InDelta(t, l.number("kappa_const"), float64(ok(tank.Held(fed, in))), 6e-7)
		filled := ok(tank.Filled(fed, in))
		assert.InDelta(t, l.number("kappa_fill"), float64(filled.Water), 6e-7)
		assert.InEpsilon(t, float64(tank.Volume+fed), float64(filled.Volume), 1e-12)
	}
	tank := water.Tank{Volume: water.Gallons(50000), Water: 0.1}
	assert.InDelta(t, 0.21065, float64(ok(tank.Held(water.Gallons(3000), 2))), 5e-6, "10 min at 300 gpm")
	assert.InDelta(t, 0.20755, float64(ok(tank.Filled(water.Gallons(3000), 2)).Water), 5e-6)
}

// What went in, came out and stays balances to 1e-9; in parts or at once is the same.
func TestBlendingBalances(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
		tank := water.Tank{Volume: water.Volume(draw("V", 1, 1e4)), Water: water.Conductivity(draw("k0", 0, 10))}
		in, a, b := water.Conductivity(draw("in", 0, 10)), water.Volume(draw("a", 0, 1e4)), water.Volume(draw("b", 0, 1e4))
		// Level held: the outflow is the integral of the tank's own water, V (in - k) over ln.
		held := ok(tank.Held(a, in))
		outflow := float64(in)*float64(a) - float64(in-tank.Water)*float64(tank.Volume)*-math.Expm1(-float64(a/tank.Volume))
		before, after := float64(tank.Volume)*float64(tank.Water), float64(tank.Volume)*float64(held)
		require.InDelta(t, before+float64(a)*float64(in), after+outflow, 1e-9*(before+float64(a)*float64(in)+1e-9))
		twice := ok(water.Tank{Volume: tank.Volume, Water: held}.Held(b, in))
		require.InDelta(t, float64(ok(tank.Held(a+b, in))), float64(twice), 1e-9*float64(max(in, tank.Water)))
		// No outflow.
		filled := ok(tank.Filled(a, in))
		require.InDelta(t, before+float64(a)*float64(in), float64(filled.Volume)*float64(filled.Water), 1e-9*(before+float64(a)*float64(in))+1e-15)
		both := ok(ok(tank.Filled(a, in)).Filled(b, in))
		once := ok(tank.Filled(a+b, in))
		require.InDelta(t, float64(once.Water), float64(both.Water), 1e-9*float64(max(in, tank.Water)))
		mixed := ok(water.Mix(water.Part(tank), water.Part{Volume: a, Water: in}))
		require.InDelta(t, float64(filled.Water), float64(mixed), 1e-9*float64(max(in, tank.Water)))
		require.LessOrEqual(t, held, max(in, tank.Water)*(1+1e-12))
		require.GreaterOrEqual(t, held, min(in, tank.Water)*(1-1e-12)-1e-15)
		// What the tank bears brings it to the limit.
		limit := tank.Water + (in-tank.Water)/3
		if in > tank.Water+1e-3 {
			v := ok(tank.Bears(in, limit))
			require.InEpsilon(t, float64(limit), float64(ok(tank.Held(v, in))), 1e-9)
		}
	})
	tank := water.Tank{Volume: 1, Water: 1}
	assert.Zero(t, ok(tank.Bears(5, 1)))
	assert.True(t, math.IsInf(float64(ok(tank.Bears(1.5, 2))), 1))
}

func TestBlendingRefuses(t *testing.T) {
	tank := water.Tank{Volume: 1, Water: 1}
	out[water.Conductivity](t, "volume")(water.Tank{}.Held(1, 1))
	out[water.Conductivity](t, "volume")(tank.Held(-1, 1))
	out[water.Conductivity](t, "conductivity")(tank.Held(1, -1))
	out[water.Tank](t, "conductivity")(water.Tank{Volume: 1, Water: -1}.Filled(1, 1))
	out[water.Volume](t, "conductivity")(tank.Bears(1, water.Conductivity(math.NaN())))
	out[water.Conductivity](t, "whole mixture")(water.Mix())
	out[water.Conductivity](t, "volume")(water.Mix(water.Part{Volume: -1}))
	out[water.Conductivity](t, "conductivity")(water.Mix(water.Part{Volume: 1, Water: -1}))
}

// strong is water with strong electrolytes at 25 C by its balance of charges: the truth that linear mixing is held to.
type strong struct{ na, cl float64 } // mol/L

func (s strong) conductivity() float64 {
	d := float64(ok(water.DensityOf(25))) / 1000
	kw := d * d * pow(10, -ok(water.PKw(ok(water.DensityOf(25)), 25)))
	excess := s.cl - s.na
	h := (excess + math.Sqrt(excess*excess+4*kw)) / 2
	if excess < 0 { // the other root, without loss of digits
		h = 2 * kw / (-excess + math.Sqrt(excess*excess+4*kw))
	}
	e := water.Ion.Equivalent
	return 1e3 * (s.na*e(water.Sodium) + s.cl*e(water.Chloride) + h*e(water.Hydrogen) + kw/h*e(water.Hydroxide))
}

// at finds how much of an electrolyte gives a conductivity.
func at(k, na, cl float64) strong {
	low, high := 0.0, 1.0
	if na != cl && k < 1 { // next to pure water a trace of alkali conducts less: stay on the rising side
		low = 1e-7
	}
	for range 200 {
		mid := (low + high) / 2
		if (strong{mid * na, mid * cl}).conductivity() < k {
			low = mid
		} else {
			high = mid
		}
	}
	return strong{high * na, high * cl}
}

// Mixing by volume is exact for salts and an upper bound where acid meets alkali.
func TestMixingErrors(t *testing.T) {
	of := func(l line, which string) (strong, float64, water.Part) {
		name, share := l.text("water_"+which), l.number("share_"+which)
		var k float64
		kinds := map[string][2]float64{"NaCl": {1, 1}, "NaOH": {1, 0}, "HCl": {0, 1}}
		for kind, ions := range kinds {
			if len(name) > len(kind) && name[:len(kind)] == kind {
				k = map[string]float64{" 2.0": 2, " 0.1": 0.1}[name[len(kind):]]
				require.Positive(t, k, name)
				return at(k, ions[0], ions[1]), share, water.Part{Volume: water.Volume(share), Water: water.Conductivity(k)}
			}
		}
		require.Fail(t, "unknown water", name)
		return strong{}, 0, water.Part{}
	}
	for _, l := range table(t, "mixing_errors.csv") {
		a, x, first := of(l, "1")
		b, y, second := of(l, "2")
		linear := float64(ok(water.Mix(first, second)))
		assert.InDelta(t, l.number("linear"), linear, 1e-9)
		truth := strong{x*a.na + y*b.na, x*a.cl + y*b.cl}.conductivity()
		assert.InEpsilon(t, l.number("true"), truth, 2e-3, "%s and %s", l.text("water_1"), l.text("water_2"))
		assert.LessOrEqual(t, truth, linear*1.003)
		t.Logf("%s with %s: linear %.4f, truth %.4f (%+.0f %%)", l.text("water_1"), l.text("water_2"), linear, truth, percent(linear, truth))
	}
}

// Published (ASTM STP 742, 1981): the highest resistivity is 18.28 MOhm.cm at pH 7.039 with some 0.8 ug/L of NaOH; pure
// water has 18.18. The same model with CRC conductivities gives 18.195.
func TestHighestResistivity(t *testing.T) {
	best, dose := 0.0, 0.0
	for i := range 2000 {
		ug := float64(i) / 1000
		if r := 1 / (strong{na: ug * 1e-6 / 39.997}).conductivity(); r > best {
			best, dose = r, ug
		}
	}
	assert.InDelta(t, 18.28, best, 0.01)
	assert.InDelta(t, 0.8, dose, 0.05)
	plain := 1 / (strong{}).conductivity()
	assert.InEpsilon(t, 18.18, plain, 1.5e-3)
	t.Logf("highest resistivity %.3f MOhm.cm with %.2f ug/L of NaOH; pure water %.3f (18.18 published)", best, dose, plain)
}
