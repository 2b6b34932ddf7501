package water_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/water"
)

// The verification table of the release. The release that it replaced gives other numbers, which must not come out.
func TestPKwHasTheVerificationValuesOfItsRelease(t *testing.T) {
	for _, l := range table(t, "pkw_checks.csv") {
		k, rho := l.number("T_K"), l.number("rho_kg_m3")
		got := ok(water.PKw(water.Density(rho), water.Celsius(k-273.15)))
		assert.InEpsilon(t, l.number("pKw_R11_24"), got, 6e-8, "%g K %g kg/m3: the release prints 8 digits", k, rho)
		if l.has("pKw_R11_07") {
			t.Logf("%4g K %4g kg/m3: R11-24 %.6f, superseded R11-07 %.6f (%+.6f)", k, rho, got, l.number("pKw_R11_07"), l.number("pKw_R11_07")-got)
			assert.Greater(t, math.Abs(l.number("pKw_R11_07")-got), 5e-5)
		}
	}
}

// Three publications on the saturation line; they differ from each other by up to 0.03.
func TestPKwAgreesWithOthersOnTheSaturationLine(t *testing.T) {
	for _, l := range table(t, "pkw_saturation_checks.csv") {
		c := water.Celsius(l.number("t_C"))
		got := ok(water.PKw(ok(water.DensityOf(c)), c))
		assert.InDelta(t, l.number("pKw_R11_24_calc"), got, 1.5e-4, "%g C: Kell's density differs from IF97 by up to 12 ppm", c)
		arcis, marshall := l.number("pKw_Arcis2020"), l.number("pKw_MarshallFranck1981")
		assert.InDelta(t, arcis, got, 0.02, "%g C, Arcis et al. 2020", c)
		assert.InDelta(t, marshall, got, 0.02, "%g C, Marshall and Franck 1981", c)
		t.Logf("%3g C: R11-24 %.4f, Arcis 2020 %.3f (%+.4f), Marshall-Franck 1981 %.3f (%+.4f)", c, got, arcis, arcis-got, marshall, marshall-got)
	}
	assert.InDelta(t, 13.9943, ok(water.PKw(ok(water.DensityOf(25)), 25)), 1e-4)
}

func TestPureWater(t *testing.T) {
	for _, l := range table(t, "pure_water_conductivity.csv") {
		c := water.Celsius(l.number("t_C"))
		rho := float64(ok(water.DensityOf(c)))
		assert.InDelta(t, l.number("rho_kg_m3"), rho, 0.02, "%g C: Kell 1975 against IAPWS-IF97", c)
		assert.InDelta(t, l.number("pKw_R11_24"), ok(water.PKw(water.Density(rho), c)), 1.5e-4, "%g C: the rest is the density", c)
		lambda := 1.00415 * (ok(water.Hydrogen.Molar(min(c, 95), 0)) + ok(water.Hydroxide.Molar(min(c, 95), 0)))
		if c <= 95 { // beyond, the fit of the ions is continued and has no function of its own
			assert.InDelta(t, l.number("Lambda_HOH_Scm2_mol"), lambda, 0.01, "%g C", c)
		}
		got := float64(ok(water.Pure(c)))
		assert.InEpsilon(t, l.number("kappa_calc_uS_cm"), got, 5e-4, "%g C: the table has 5 decimals", c)
		r := ok(water.Conductivity(got).Resistivity())
		assert.InEpsilon(t, l.number("R_calc_MOhm_cm"), float64(r), 1e-3, "%g C", c)
		g := l.number("kappa_G1_90_uS_cm")
		assert.InEpsilon(t, g, got, 0.055, "%g C against IAPWS G1-90 with Kw of 1981", c)
		t.Logf("%3g C: %.5f uS/cm; G1-90 %.5f (%+.1f %%); rho Kell-IF97 %+.4f kg/m3", c, got, g, percent(g, got), rho-l.number("rho_kg_m3"))
	}
}

// The published polynomial keeps to what is said of it: 1 % at 10 to 30 C, 2.1 % (2.12) to 60 C, 3 % at 5 C, 10 % (10.5) at 0 C.
func TestMarshStokes(t *testing.T) {
	for _, l := range table(t, "pure_water_conductivity.csv") {
		c := water.Celsius(l.number("t_C"))
		if c > 60 {
			continue
		}
		got, own := float64(ok(water.MarshStokes(c))), float64(ok(water.Pure(c)))
		if l.has("kappa_MarshStokes_uS_cm") {
			assert.InDelta(t, l.number("kappa_MarshStokes_uS_cm"), got, 6e-6, "%g C", c)
		}
		limit := 0.0215
		switch {
		case c < 5:
			limit = 0.105
		case c < 10:
			limit = 0.0301
		case c <= 30:
			limit = 0.01
		}
		assert.InEpsilon(t, own, got, limit, "%g C", c)
		t.Logf("%3g C: Marsh-Stokes %.5f, own %.5f (%+.1f %%)", c, got, own, percent(got, own))
	}
	assert.InDelta(t, 0.05498, float64(ok(water.MarshStokes(25))), 1e-15)
}

// Anchors printed in several places: 25 C 0.055 uS/cm and 18.18 MOhm.cm; 0 C 84.2 and 100 C 1.29 to 1.3 MOhm.cm.
func TestAnchorsOfPureWater(t *testing.T) {
	r := func(c water.Celsius) float64 { return float64(ok(ok(water.Pure(c)).Resistivity())) }
	assert.InEpsilon(t, 18.18, r(25), 5e-4)
	assert.InEpsilon(t, 0.0550, float64(ok(water.Pure(25))), 1e-4)
	assert.InEpsilon(t, 84.2, r(0), 0.02)
	assert.InEpsilon(t, 1.295, r(100), 0.01)
	// [mem] CRC 1.15, 5.50 and 76.5 uS/m at 0.01, 25 and 100 C.
	assert.InEpsilon(t, 0.0115, float64(ok(water.Pure(0.01))), 0.02)
	assert.InEpsilon(t, 0.765, float64(ok(water.Pure(100))), 0.002)
	t.Logf("0 C: published 84.2 MOhm.cm, here %.1f; 100 C: 1.29 to 1.3, here %.3f", r(0), r(100))
}

func TestViscosity(t *testing.T) {
	assert.InDelta(t, 1.002, ok(water.ViscosityOf(20)), 1e-12)
	// [mem] Kestin's table: 1.7916, 1.5192, 0.8902, 0.6531, 0.2822 (CRC) mPa.s.
	for c, want := range map[water.Celsius]float64{0: 1.7916, 5: 1.5192, 25: 0.8902, 40: 0.6527, 100: 0.2822} {
		assert.InEpsilon(t, want, ok(water.ViscosityOf(c)), 0.003, "%g C", c)
	}
}

func TestAirSaturated(t *testing.T) {
	for _, l := range table(t, "kcl_standards.csv") {
		c := water.Celsius(l.number("t_C"))
		assert.InDelta(t, l.number("H2O_CO2_sat"), float64(ok(water.AirSaturated(c))), 1e-12, "%g C", c)
	}
	assert.InDelta(t, 1.055, float64(ok(water.AirSaturated(22.727272727272727))), 0.01, "between two rows")
	assert.GreaterOrEqual(t, ok(water.AirSaturated(25)), water.Conductivity(1), "contact with air alone reaches 1 uS/cm")
}

func TestPureWaterRises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := water.Celsius(rapid.Float64Range(0, 99.99).Draw(t, "t"))
		d := water.Celsius(rapid.Float64Range(1e-6, 1).Draw(t, "step"))
		d = min(d, 100-c)
		require.Greater(t, ok(water.Pure(c+d)), ok(water.Pure(c)))
		require.Less(t, ok(water.ViscosityOf(c+d)), ok(water.ViscosityOf(c)))
	})
}

func TestPureRefuses(t *testing.T) {
	for _, c := range []water.Celsius{-0.001, 100.001, water.Celsius(math.NaN()), water.Celsius(math.Inf(1))} {
		out[water.Conductivity](t, "temperature")(water.Pure(c))
		out[water.Conductivity](t, "temperature")(water.MarshStokes(c))
		out[water.Conductivity](t, "temperature")(water.AirSaturated(c))
		out[water.Density](t, "temperature")(water.DensityOf(c))
		out[float64](t, "temperature")(water.ViscosityOf(c))
	}
	out[float64](t, "density of 1300 kg/m3: want 0 to 1250 kg/m3")(water.PKw(1300, 25))
	out[float64](t, "temperature")(water.PKw(1000, -1))
	out[water.Conductivity](t, "want 0 to 60 C")(water.MarshStokes(61))
}
