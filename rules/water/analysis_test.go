package water_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/water"
)

func TestFeedWaters(t *testing.T) {
	for _, l := range table(t, "feed_waters.csv") {
		name, a := l.text("name"), parse(t, l.text("ions_mg_L"))
		cations, anions, err := a.Charges()
		require.NoError(t, err)
		assert.InEpsilon(t, l.number("cations_meq_L"), cations, 1e-4, "%s: masses differ in the fifth digit", name)
		assert.InEpsilon(t, l.number("anions_meq_L"), anions, 1e-4, name)
		assert.InDelta(t, l.number("I_mol_L"), ok(a.Strength()), 6e-6, name)
		limiting, k := float64(ok(a.Limiting())), float64(ok(a.Conductivity(25)))
		assert.InDelta(t, l.number("kappa0"), limiting, 0.1, name)
		assert.InEpsilon(t, l.number("kappa_mccleskey"), k, 5e-4, name)
		loads, err := a.Loads(water.Balanced)
		require.NoError(t, err)
		assert.InDelta(t, l.number("cations_as_CaCO3"), float64(loads.Cation), 0.06, name)
		assert.InDelta(t, l.number("load_gpg"), loads.Cation.GrainsPerGallon(), 1e-3, name)
		// The divisors of the trade hold the load of each of these waters.
		band := ok(water.LoadOf(water.Conductivity(k), water.AnyFeed))
		assert.InDelta(t, l.number("kappa_over_CaCO3"), k/float64(loads.Cation), 2e-3, name)
		assert.LessOrEqual(t, float64(band.Low), float64(loads.Cation), name)
		assert.GreaterOrEqual(t, float64(band.High), float64(loads.Cation), name)
		t.Logf("%-9s Kohlrausch %.1f, McCleskey 2012 %.1f uS/cm; load %.1f mg/L, from k %.1f (%.1f to %.1f)",
			name, limiting, k, loads.Cation, band.Likely, band.Low, band.High)
	}
	// 1000 mg/L of sodium chloride: 1990 printed, 1980 by McCleskey, 2163 by limiting conductivities.
	a := parse(t, "Na+=393.39;Cl-=606.61")
	assert.InEpsilon(t, 1990, float64(ok(a.Conductivity(25))), 0.01)
}

func TestLoadsOfAnAnalysis(t *testing.T) {
	a := parse(t, "Na+=22.98977;Cl-=35.453")
	a.CO2, a.Silica = 10, 20
	loads, err := a.Loads(water.Balanced)
	require.NoError(t, err)
	assert.InDelta(t, 50.0435, float64(loads.Cation), 1e-9, "1 meq/L")
	assert.InDelta(t, 50.0435+10*1.137+20*0.833, float64(loads.Anion), 1e-9, "[mem] factors for one charge")
	assert.Equal(t, loads.Anion, loads.Greater())
	for _, l := range table(t, "caco3_factors.csv") { // the same two factors from masses
		switch l.text("substance") {
		case "CO2 as monovalent (strong-base anion load)":
			assert.InDelta(t, l.number("factor_calc"), 1.137, 5e-4)
		case "SiO2 as monovalent (strong-base anion load)":
			assert.InDelta(t, l.number("factor_calc"), 0.833, 5e-4)
		case "CO2":
			t.Logf("CO2: printed %s counts two charges; on a strong base resin it is one, 1.137", l.text("factor_published"))
		}
	}
	// Acid and alkali load a bed with their other ion only.
	acid := parse(t, "H+=1.008;Cl-=35.453")
	loads, err = acid.Loads(water.Balanced)
	require.NoError(t, err)
	assert.Zero(t, loads.Cation)
	assert.InDelta(t, 50.0435, float64(loads.Anion), 1e-9)
	assert.Equal(t, loads.Anion, loads.Greater())
}

func TestChargesMustBalance(t *testing.T) {
	a := parse(t, "Na+=22.98977;Cl-=31.9077") // 1.0 and 0.9 meq/L
	assert.InDelta(t, 0.1/1.9, ok(a.Imbalance()), 1e-9)
	var unbalanced *water.UnbalancedError
	err := a.Check(water.Balanced)
	require.ErrorAs(t, err, &unbalanced)
	require.EqualError(t, err, "cannot use the analysis: cations of 1 meq/L and anions of 0.9 meq/L differ by 5.3 % where 5.0 % is allowed; look for a missing ion or a wrong unit")
	assert.InDelta(t, 0.05, unbalanced.Tolerance, 0)
	require.NoError(t, a.Check(0.06))
	_, err = a.Loads(water.Balanced)
	require.ErrorAs(t, err, &unbalanced, "no load without a balance")
	a.Ions[water.Chloride] = 39.3
	require.ErrorContains(t, a.Check(water.Balanced), "differ by -5.1 %", "too many anions are as wrong")
	a.Ions[water.Chloride] = 39
	require.NoError(t, a.Check(water.Balanced), "-4.8 %")
}

func TestAnalysisRefuses(t *testing.T) {
	none := &water.Analysis{}
	out[float64](t, "sum of all ions")(none.Imbalance())
	for _, bad := range []float64{-1, math.NaN(), 2e5} {
		a := parse(t, "Na+=22.98977;Cl-=35.453")
		a.Ions[water.Calcium] = bad
		_, _, err := a.Charges()
		require.ErrorContains(t, err, "concentration of Ca")
		out[float64](t, "concentration of Ca")(a.Imbalance())
		out[float64](t, "concentration of Ca")(a.Strength())
		out[water.Conductivity](t, "concentration of Ca")(a.Limiting())
		out[water.Conductivity](t, "concentration of Ca")(a.Conductivity(25))
		out[water.Loads](t, "concentration of Ca")(a.Loads(1))
	}
	out[water.Loads](t, "concentration of CO2")((&water.Analysis{CO2: -1}).Loads(1))
	out[water.Loads](t, "concentration of silica")((&water.Analysis{Silica: -1}).Loads(1))
	out[water.Conductivity](t, "temperature")(parse(t, "Na+=1;Cl-=1").Conductivity(95.1))
	require.ErrorContains(t, parse(t, "Na+=1;Cl-=1").Check(1.5), "tolerance")
}

// More of a salt conducts more and loads more.
func TestMoreSaltIsMore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.Float64Range(0.01, 5000).Draw(t, "NaCl mg/L")
		more := c * rapid.Float64Range(1.001, 2).Draw(t, "factor")
		of := func(c float64) *water.Analysis {
			a := &water.Analysis{}
			a.Ions[water.Sodium], a.Ions[water.Chloride] = 0.39337*c, 0.60663*c
			return a
		}
		temperature := water.Celsius(rapid.Float64Range(0, 95).Draw(t, "t"))
		require.Greater(t, ok(of(more).Conductivity(temperature)), ok(of(c).Conductivity(temperature)))
		a, b := ok(of(c).Loads(0.01)), ok(of(more).Loads(0.01))
		require.Greater(t, b.Cation, a.Cation)
		require.Less(t, ok(of(c).Conductivity(25)), ok(of(c).Limiting())*1.01, "the law of independent ions is an upper bound, but for 1 % between sources")
	})
}
