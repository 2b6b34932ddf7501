package water_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/rules/water"
)

func TestClasses(t *testing.T) {
	seen := map[string]bool{}
	for _, l := range table(t, "water_classes.csv") {
		name := l.text("class")
		c, known := water.FindClass(name)
		require.True(t, known, name)
		seen[name] = true
		assert.InDelta(t, l.number("max_uS_cm_25C"), float64(c.Most), 1e-12, name)
		if l.has("min_MOhm_cm") {
			// 0.056 uS/cm is 17.9 MOhm.cm, where the standard prints 18.0.
			assert.InEpsilon(t, l.number("min_MOhm_cm"), float64(ok(c.Most.Resistivity())), 0.01, name)
		}
		assert.True(t, ok(c.Met(c.Most)), "the limit itself is met")
		assert.False(t, ok(c.Met(c.Most*1.001)))
	}
	for _, c := range water.Classes() {
		if !seen[c.Name] {
			assert.Equal(t, "USP <645> stage 2", c.Name)
			assert.InDelta(t, 2.1, float64(c.Most), 1e-12)
		}
	}
	three, _ := water.FindClass("ASTM D1193 type III")
	two, _ := water.FindClass("ASTM D1193 type II")
	assert.Less(t, three.Most, two.Most, "the numbers are not in the order of purity")
	_, known := water.FindClass("holy")
	assert.False(t, known)
	out[bool](t, "conductivity")(three.Met(water.Conductivity(math.NaN())))
	list := water.Classes()
	list[0].Most = 99
	assert.NotEqual(t, list[0], water.Classes()[0], "a caller cannot change a standard")
}

// DOE-HDBK-1015/2-93 table 3 gives the electrolyte for a conductivity; sodium chloride lies within its bounds, at 0.1
// uS/cm 4 % above them.
func TestElectrolyteOfDOE(t *testing.T) {
	for name, band := range map[string][2]float64{"DOE pure": {2, 5}, "DOE very pure": {0.2, 0.5}, "DOE ultrapure": {0.01, 0.021}} {
		c, known := water.FindClass(name)
		require.True(t, known)
		low, high := 0.0, 500.0
		for range 100 {
			mid := (low + high) / 2
			if ok(water.SodiumChloride(mid)) < c.Most {
				low = mid
			} else {
				high = mid
			}
		}
		assert.GreaterOrEqual(t, high, band[0], name)
		assert.LessOrEqual(t, high, band[1], name)
		t.Logf("%s, %g uS/cm: %.3f mg/L of NaCl; the handbook says %s", name, c.Most, high, strings.TrimPrefix(c.Note, "electrolyte "))
	}
}

func TestUSP645(t *testing.T) {
	for _, l := range table(t, "usp645_stage1.csv") {
		c, limit := water.Celsius(l.number("t_C")), water.Conductivity(l.number("limit_uS_cm"))
		assert.Equal(t, limit, ok(water.USPStage1(c)), "%g C", c)
		if c < 100 {
			assert.Equal(t, limit, ok(water.USPStage1(c+4.99)), "the next lower row counts")
		}
	}
	for _, l := range table(t, "usp645_stage3.csv") {
		pH := l.number("pH")
		assert.Equal(t, water.Conductivity(l.number("limit_uS_cm")), ok(water.USPStage3(pH)), "pH %g", pH)
		assert.Equal(t, water.Conductivity(l.number("limit_uS_cm")), ok(water.USPStage3(min(7, pH+0.04))), "to the nearest 0.1")
	}
	out[water.Conductivity](t, "temperature")(water.USPStage1(-0.1))
	out[water.Conductivity](t, "temperature")(water.USPStage1(100.1))
	out[water.Conductivity](t, "pH")(water.USPStage3(4.94))
	out[water.Conductivity](t, "pH")(water.USPStage3(math.NaN()))
}
