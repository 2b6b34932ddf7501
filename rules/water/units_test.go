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

// each lists a constructor and the method that undoes it.
var each = map[string]struct{ to, from func(float64) float64 }{
	"gal":      {func(x float64) float64 { return float64(water.Gallons(x)) }, func(x float64) float64 { return water.Volume(x).Gallons() }},
	"ft3":      {func(x float64) float64 { return float64(water.CubicFeet(x)) }, func(x float64) float64 { return water.Volume(x).CubicFeet() }},
	"gpm":      {func(x float64) float64 { return float64(water.GPM(x)) }, func(x float64) float64 { return water.Flow(x).GPM() }},
	"ft":       {func(x float64) float64 { return float64(water.Feet(x)) }, func(x float64) float64 { return water.Length(x).Feet() }},
	"in":       {func(x float64) float64 { return float64(water.Inches(x)) }, func(x float64) float64 { return water.Length(x).Inches() }},
	"ft2":      {func(x float64) float64 { return float64(water.SquareFeet(x)) }, func(x float64) float64 { return water.Area(x).SquareFeet() }},
	"ft/s":     {func(x float64) float64 { return float64(water.FeetPerSecond(x)) }, func(x float64) float64 { return water.Velocity(x).FeetPerSecond() }},
	"gpm/ft2":  {func(x float64) float64 { return float64(water.GPMPerSquareFoot(x)) }, func(x float64) float64 { return water.Velocity(x).GPMPerSquareFoot() }},
	"gpm/ft3":  {func(x float64) float64 { return float64(water.GPMPerCubicFoot(x)) }, func(x float64) float64 { return water.SpecificFlow(x).GPMPerCubicFoot() }},
	"psi":      {func(x float64) float64 { return float64(water.PSI(x)) }, func(x float64) float64 { return water.Pressure(x).PSI() }},
	"gpg":      {func(x float64) float64 { return float64(water.GrainsPerGallon(x)) }, func(x float64) float64 { return water.Load(x).GrainsPerGallon() }},
	"meq/L":    {func(x float64) float64 { return float64(water.Milliequivalents(x)) }, func(x float64) float64 { return water.Load(x).Milliequivalents() }},
	"kgr":      {func(x float64) float64 { return float64(water.Kilograins(x)) }, func(x float64) float64 { return water.Amount(x).Kilograins() }},
	"eq":       {func(x float64) float64 { return float64(water.Equivalents(x)) }, func(x float64) float64 { return water.Amount(x).Equivalents() }},
	"kgr/ft3":  {func(x float64) float64 { return float64(water.KilograinsPerCubicFoot(x)) }, func(x float64) float64 { return water.Capacity(x).KilograinsPerCubicFoot() }},
	"eq/L bed": {func(x float64) float64 { return float64(water.EquivalentsPerLitre(x)) }, func(x float64) float64 { return water.Capacity(x).EquivalentsPerLitre() }},
}

// The factors are definitions or follow from them: NIST SP 811 (2008) appendix B.8.
func TestUnitsHaveTheirPublishedFactors(t *testing.T) {
	inside := map[string]struct {
		unit  string
		scale float64 // from the table's unit to the inside one
	}{
		"US gallon > L":                 {"gal", 1e-3},
		"cubic foot > L":                {"ft3", 1e-3},
		"gpm > m3/h":                    {"gpm", 1},
		"gpm/ft2 > m/h":                 {"gpm/ft2", 1},
		"gpm/ft3 > bed volumes/h":       {"gpm/ft3", 1},
		"kilograin > g":                 {"kgr", 1e-3},
		"grain/US gal > mg/L":           {"gpg", 1},
		"psi > kPa":                     {"psi", 1},
		"inch > mm":                     {"in", 1e-3},
		"meq/L > mg/L as CaCO3":         {"meq/L", 1},
		"eq/L resin > kgr CaCO3/ft3":    {"eq/L bed", 0},
		"kgr CaCO3/ft3 > eq/L resin":    {"kgr/ft3", 0},
		"meq/L > grain/US gal as CaCO3": {"meq/L", 0},
		"cubic foot > US gallon":        {"ft3", 0},
	}
	other := map[string]func(float64) float64{ // where the table goes from one unit of the trade to another
		"eq/L resin > kgr CaCO3/ft3":    each["kgr/ft3"].from,
		"kgr CaCO3/ft3 > eq/L resin":    each["eq/L bed"].from,
		"meq/L > grain/US gal as CaCO3": each["gpg"].from,
		"cubic foot > US gallon":        each["gal"].from,
	}
	checked := 0
	for _, l := range table(t, "units.csv") {
		name := l.text("from") + " > " + l.text("to")
		u, known := inside[name]
		if !known {
			continue // a unit of signals, tested there, or one that nothing here uses
		}
		checked++
		got := each[u.unit].to(1)
		if f, is := other[name]; is {
			got = f(got)
		} else {
			got /= u.scale
		}
		assert.InEpsilon(t, l.number("multiply_by"), got, 2e-9, name)
	}
	assert.Equal(t, len(inside), checked)
	assert.InEpsilon(t, 17.11806104527095, float64(water.GrainsPerGallon(1)), 1e-14, "exact")
	assert.InDelta(t, 21.869, water.EquivalentsPerLitre(1).KilograinsPerCubicFoot(), 5e-4)
	assert.InDelta(t, 8.0208, float64(water.GPMPerCubicFoot(1)), 5e-5)
}

// Signals and this package must not differ in a factor.
func TestUnitsAreThoseOfSignals(t *testing.T) {
	for u, name := range map[signal.Unit]string{signal.Gallon: "gal", signal.GallonPerMinute: "gpm", signal.Psi: "psi"} {
		assert.InEpsilon(t, u.Inside(1), each[name].to(1), 1e-15, name)
	}
	ft3, known := signal.ParseUnit("ft3")
	require.True(t, known)
	assert.InEpsilon(t, ft3.Inside(1), each["ft3"].to(1), 1e-15)
	assert.InEpsilon(t, signal.MegohmCm.Inside(18.18), float64(ok(water.Resistivity(18.18).Conductivity())), 1e-15)
}

func TestUnitsRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SampledFrom([]float64{-1, 1}).Draw(t, "sign") * rapid.Float64Range(1e-9, 1e9).Draw(t, "x")
		for name, u := range each {
			require.InDelta(t, x, u.from(u.to(x)), 1e-14*math.Abs(x), name)
			require.InDelta(t, x, u.to(u.from(x)), 1e-14*math.Abs(x), name)
		}
		k := rapid.Float64Range(1e-9, 1e6).Draw(t, "k")
		r := ok(water.Conductivity(k).Resistivity())
		require.InEpsilon(t, k, float64(ok(r.Conductivity())), 1e-14)
	})
}

func TestResistivityRefuses(t *testing.T) {
	for _, bad := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		out[water.Resistivity](t, "conductivity")(water.Conductivity(bad).Resistivity())
		out[water.Conductivity](t, "resistivity")(water.Resistivity(bad).Conductivity())
	}
	assert.EqualError(t, &water.RangeError{What: "flow", Unit: "m3/h", Value: -1, High: math.MaxFloat64}, "cannot use flow of -1 m3/h: want at least 0 m3/h")
}
