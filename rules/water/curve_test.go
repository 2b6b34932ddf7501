package water_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/water"
)

var (
	curve  = water.Curve{Mid: water.Gallons(100000), Spread: water.Gallons(2500)}
	waters = water.Waters{Feed: 300, Base: 0.1, Endpoint: 1}
)

// A computed table; the logistic and the tanh form are one, a diffusion front of equal variance has a thinner toe.
func TestBreakthrough(t *testing.T) {
	for _, l := range table(t, "breakthrough.csv") {
		v := water.Gallons(l.number("V_gal"))
		x := ok(curve.Slip(v))
		assert.InDelta(t, l.number("X_logistic"), x, 6e-9)
		assert.InDelta(t, l.number("X_tanh"), x, 6e-9)
		assert.InDelta(t, l.number("kappa_uS_cm"), float64(ok(curve.Product(waters, v))), 6e-6)
		t.Logf("%6.0f gal: X %.8f, error-function front %s", v.Gallons(), x, l.text("X_erf"))
	}
	assert.InDelta(t, 0.5, ok(curve.Slip(curve.Mid)), 0)
	assert.InDelta(t, 14722, ok(curve.Zone()).Gallons(), 0.5)
	assert.InDelta(t, 88512, ok(curve.At(0.01)).Gallons(), 1)
	assert.InDelta(t, 85485.5, ok(curve.End(waters)).Gallons(), 0.05)
	assert.InDelta(t, 100000.0000, ok(curve.Held(water.Gallons(1e6))).Gallons(), 1e-4, "the capacity closes")
}

// Half at Mid; rising; what is held and what slips through is what was fed, to 1e-9; the endpoint is where it is said.
func TestBreakthroughLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mid := rapid.Float64Range(1, 1e5).Draw(t, "V50")
		c := water.Curve{Mid: water.Volume(mid), Spread: water.Volume(mid * rapid.Float64Range(0.005, 0.1).Draw(t, "s/V50"))}
		require.InDelta(t, 0.5, ok(c.Slip(c.Mid)), 1e-15)
		v := water.Volume(mid * rapid.Float64Range(0, 2).Draw(t, "V/V50"))
		more := v + c.Spread/100
		require.GreaterOrEqual(t, ok(c.Slip(more)), ok(c.Slip(v)))
		require.Greater(t, ok(c.Held(more)), ok(c.Held(v))-1e-12*c.Mid)
		// Mass balance: the closed integral against Simpson's rule of its own curve.
		const n = 4000
		passed, h := 0.0, float64(v)/n
		for i := 0; i <= n; i++ {
			w := 2.0 + 2*float64(i%2)
			if i == 0 || i == n {
				w = 1
			}
			passed += w * ok(c.Slip(water.Volume(h*float64(i))))
		}
		passed *= h / 3
		require.InDelta(t, float64(v), float64(ok(c.Held(v)))+passed, 1e-9*mid)
		all := ok(c.Held(c.Mid * 1000))
		require.InEpsilon(t, float64(c.Spread)*math.Log1p(math.Exp(float64(c.Mid/c.Spread))), float64(all), 1e-9)
		x := rapid.Float64Range(1e-6, 0.999).Draw(t, "X")
		at := ok(c.At(x))
		if at > 0 {
			require.InEpsilon(t, x, ok(c.Slip(at)), 1e-9)
		}
		require.InEpsilon(t, float64(2*c.Spread)*math.Log(19), float64(ok(c.At(0.95))-c.Mid+c.Mid-ok(c.At(0.05))), 1e-9)
	})
}

func TestCurveOf(t *testing.T) {
	c := ok(water.CurveOf(water.Kilograins(1200), 120, 0.025))
	assert.InDelta(t, 171181, c.Mid.Gallons(), 1)
	assert.InEpsilon(t, 0.025, float64(c.Spread/c.Mid), 1e-12)
	out[water.Curve](t, "spread")(water.CurveOf(1, 1, 0))
	out[water.Curve](t, "load")(water.CurveOf(1, 0, 0.02))
	out[water.Curve](t, "volume")(water.CurveOf(0, 1, 0.02))
	var none water.Curve
	out[float64](t, "volume")(none.Slip(1))
	out[water.Volume](t, "volume")(none.Held(1))
	out[water.Volume](t, "volume")(none.At(0.5))
	out[water.Volume](t, "volume")(none.Zone())
	out[float64](t, "volume")(curve.Slip(-1))
	out[water.Volume](t, "share of the feed")(curve.At(1))
	for _, w := range []water.Waters{{}, {Feed: 300, Base: 1, Endpoint: 1}, {Feed: 1, Base: 0.1, Endpoint: 1}, {Feed: 300, Base: -1, Endpoint: 1}} {
		out[water.Volume](t, "")(curve.End(w))
		out[water.Conductivity](t, "")(curve.Product(w, 1))
	}
}

func TestTwoBanks(t *testing.T) {
	gal := func(l line, column string) water.Volume { return water.Gallons(l.number(column)) }
	whole := 0.0
	for _, l := range table(t, "two_banks.csv") {
		phi := l.number("phi_bank1")
		s := gal(l, "s_each")
		banks := [2]water.Branch{
			{Curve: water.Curve{Mid: gal(l, "V50_1"), Spread: s}, Share: phi},
			{Curve: water.Curve{Mid: gal(l, "V50_2"), Spread: s}, Share: 1 - phi},
		}
		v := ok(water.Crossing(banks, waters))
		assert.InDelta(t, l.number("V_total_at_1uS"), v.Gallons(), 0.05)
		mix := ok(water.Mix(
			water.Part{Volume: water.Volume(phi), Water: ok(banks[0].Curve.Product(waters, v*water.Volume(phi)))},
			water.Part{Volume: water.Volume(1 - phi), Water: ok(banks[1].Curve.Product(waters, v*water.Volume(1-phi)))}))
		assert.InDelta(t, l.number("kappa_mix_there"), float64(mix), 1e-6)
		whole = max(whole, v.Gallons())
		t.Logf("share %.1f, V50 %.0f and %.0f: %.0f gal, %.0f %% lost", phi, banks[0].Curve.Mid.Gallons(), banks[1].Curve.Mid.Gallons(), v.Gallons(), 100*(1-v.Gallons()/whole))
	}
}

// Equal halves do as one; what was used before is gone; one bank alone is its own curve.
func TestCrossingLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mid := rapid.Float64Range(10, 1e5).Draw(t, "V50")
		c := water.Curve{Mid: water.Volume(mid), Spread: water.Volume(mid * rapid.Float64Range(0.005, 0.05).Draw(t, "s"))}
		end := float64(ok(c.End(waters)))
		half := [2]water.Branch{{Curve: c, Share: 0.5}, {Curve: c, Share: 0.5}}
		require.InEpsilon(t, 2*end, float64(ok(water.Crossing(half, waters))), 1e-9)
		require.InEpsilon(t, end, float64(ok(water.Crossing([2]water.Branch{{Curve: c, Share: 1}, {Curve: c}}, waters))), 1e-9)
		used := rapid.Float64Range(0, 1.5).Draw(t, "used") * end
		half[0].Used, half[1].Used = water.Volume(used), water.Volume(used)
		require.InDelta(t, max(0, 2*(end-used)), float64(ok(water.Crossing(half, waters))), 1e-9*end)
		// No split of the flow over two equal banks lasts longer than the even one.
		phi := rapid.Float64Range(0, 1).Draw(t, "share")
		uneven := [2]water.Branch{{Curve: c, Share: phi}, {Curve: c, Share: 1 - phi}}
		require.LessOrEqual(t, float64(ok(water.Crossing(uneven, waters))), 2*end*(1+1e-9))
	})
	out[water.Volume](t, "sum of the shares")(water.Crossing([2]water.Branch{{Curve: curve, Share: 0.5}}, waters))
	out[water.Volume](t, "share of the flow")(water.Crossing([2]water.Branch{{Curve: curve, Share: 1.5}, {Curve: curve, Share: -0.5}}, waters))
	out[water.Volume](t, "volume")(water.Crossing([2]water.Branch{{Share: 1}, {}}, waters))
	out[water.Volume](t, "endpoint")(water.Crossing([2]water.Branch{{Curve: curve, Share: 1}, {Curve: curve}}, water.Waters{}))
}
