package water_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/water"
)

// Worked examples of public training slides of a fire department, and computed rows.
func TestHoseLoss(t *testing.T) {
	bore := map[string]water.Length{"2": water.Inches(2.5), "24": water.Inches(1.5)}
	for _, l := range table(t, "hose_friction.csv") {
		got := ok(water.HoseLoss(bore[l.text("C")], water.GPM(l.number("Q_total_gpm")), water.Feet(l.number("L_ft")), int(l.number("n_hoses"))))
		assert.InEpsilon(t, l.number("FL_psi"), got.PSI(), 1e-12, l.text("source"))
	}
	for _, c := range [][4]float64{{200, 100, 1, 8}, {100, 300, 1, 6}, {200, 400, 1, 32}, {300, 200, 1, 36}, {150, 100, 1, 4.5}, {300, 100, 1, 18}, {300, 100, 2, 4.5}} {
		assert.InEpsilon(t, c[3], ok(water.HoseLoss(water.Inches(2.5), water.GPM(c[0]), water.Feet(c[1]), int(c[2]))).PSI(), 1e-12, c)
	}
}

func TestHoseCoefficientsShowWhereSourcesDisagree(t *testing.T) {
	for bore, want := range map[float64]water.HoseBand{
		1.5: {24, 24, 24}, 1.75: {8, 15.5, 15.5}, 2.5: {2, 2, 2}, 3: {0.677, 0.8, 0.8}, 4: {0.2, 0.2, 0.2}, 5: {0.08, 0.08, 0.08},
	} {
		c := ok(water.HoseCoefficient(water.Inches(bore)))
		assert.Equal(t, want, c)
		if c.Low != c.High {
			t.Logf("%g in: %g to %g printed, %g used", bore, c.Low, c.High, c.Used)
		}
	}
	out[water.HoseBand](t, "hose bore")(water.HoseCoefficient(water.Inches(2)))
	out[water.Pressure](t, "hose bore")(water.HoseLoss(0.1, 1, 1, 1))
	out[water.Pressure](t, "number of hoses")(water.HoseLoss(water.Inches(2.5), 1, 1, 0))
	out[water.Pressure](t, "flow")(water.HoseLoss(water.Inches(2.5), -1, 1, 1))
	out[water.Pressure](t, "length")(water.HoseLoss(water.Inches(2.5), 1, -1, 1))
}

// The formula of fire protection; the metric form of hydraulics has 1.852 for 1.85 and differs a little.
func TestPipes(t *testing.T) {
	for _, l := range table(t, "hazen_williams.csv") {
		bore, q := water.Inches(l.number("bore_in")), water.GPM(l.number("gpm"))
		p := ok(water.PipeLoss(bore, l.number("C"), q, water.Feet(100)))
		assert.InDelta(t, l.number("psi_per_100ft"), p.PSI(), 6e-4)
		v := ok(water.PipeVelocity(bore, q))
		assert.InDelta(t, l.number("velocity_ft_s"), v.FeetPerSecond(), 0.002, "0.4085 has four digits")
		metric := 9.80665 * 10.67 * 30.48 * pow(float64(q)/3600, 1.852) / (pow(l.number("C"), 1.852) * pow(float64(bore), 4.87))
		assert.InEpsilon(t, metric, float64(p), 0.013)
		t.Logf("%s C %s %3.0f gpm: %.3f psi/100 ft, metric form %+.2f %%", l.text("conduit"), l.text("C"), q.GPM(), p.PSI(), percent(metric, float64(p)))
	}
	assert.InDelta(t, 18.8, ok(water.PipeLoss(water.Inches(2.5), 150, water.GPM(300), water.Feet(100))).PSI(), 0.05)
	assert.Zero(t, ok(water.PipeLoss(0.1, 150, 0, 1)))
	out[water.Pressure](t, "Hazen-Williams coefficient")(water.PipeLoss(0.1, 0, 1, 1))
	out[water.Pressure](t, "bore")(water.PipeLoss(0, 150, 1, 1))
	out[water.Velocity](t, "bore")(water.PipeVelocity(0, 1))
	out[water.Velocity](t, "flow")(water.PipeVelocity(0.1, -1))
}

// Fire service and fire protection agree on a 2 1/2 in hose to 4.5 %: 18 against 18.8 psi per 100 ft at 300 gpm.
func TestHoseAgainstPipe(t *testing.T) {
	hose := ok(water.HoseLoss(water.Inches(2.5), water.GPM(300), water.Feet(100), 1))
	pipe := ok(water.PipeLoss(water.Inches(2.5), 150, water.GPM(300), water.Feet(100)))
	assert.InEpsilon(t, float64(pipe), float64(hose), 0.045)
	t.Logf("300 gpm in 100 ft of 2 1/2 in: C Q2 L %.2f psi, Hazen-Williams at C 150 %.2f psi", hose.PSI(), pipe.PSI())
}

func TestFrictionIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := water.GPM(rapid.Float64Range(1, 1000).Draw(t, "gpm"))
		more := q * water.Flow(rapid.Float64Range(1.001, 2).Draw(t, "factor"))
		bore := water.Inches(2.5)
		require.Greater(t, ok(water.HoseLoss(bore, more, 10, 1)), ok(water.HoseLoss(bore, q, 10, 1)))
		require.Greater(t, ok(water.PipeLoss(bore, 140, more, 10)), ok(water.PipeLoss(bore, 140, q, 10)))
		require.Greater(t, ok(water.PipeLoss(bore, 120, q, 10)), ok(water.PipeLoss(bore, 140, q, 10)))
		n := rapid.IntRange(2, 8).Draw(t, "hoses")
		require.InEpsilon(t, float64(ok(water.HoseLoss(bore, q, 10, 1)))/float64(n*n), float64(ok(water.HoseLoss(bore, q, 10, n))), 1e-12)
	})
}

// A published calibration: the source rounds the rate to 0.1 Hz, and its last row is 0.2 % inconsistent.
func TestPulses(t *testing.T) {
	const average = 3097.95
	for _, l := range table(t, "meter_kfactor.csv") {
		assert.InEpsilon(t, l.number("gpm_true"), ok(water.FromPulses(l.number("hz"), l.number("K_counts_per_gal"))).GPM(), 0.0025)
		assert.InDelta(t, l.number("gpm_shown"), ok(water.FromPulses(l.number("hz"), average)).GPM(), 0.02)
	}
	out[water.Flow](t, "K factor")(water.FromPulses(1, 0))
	out[water.Flow](t, "pulse rate")(water.FromPulses(-1, 1))
	assert.InEpsilon(t, 0.3, water.PaddleStands.FeetPerSecond(), 1e-12)
	assert.InEpsilon(t, 0.5, water.PaddleSure.FeetPerSecond(), 1e-12)
	// A 3 in pipe needs some 12 gpm before each paddle wheel is sure to read.
	v := ok(water.PipeVelocity(water.Inches(3.068), water.GPM(12)))
	assert.Greater(t, v, water.PaddleSure)
}
