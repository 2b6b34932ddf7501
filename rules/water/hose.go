package water

import (
	"cmp"
	"math"
)

// HoseBand is a friction coefficient of fire hose with what other sources print.
type HoseBand struct{ Low, Used, High float64 }

// hoses holds the coefficients C of FL = C (Q/100)^2 (L/100) in psi, gpm and ft, by bore in inches.
var hoses = []struct {
	bore float64
	HoseBand
}{
	{1.5, HoseBand{24, 24, 24}},
	{1.75, HoseBand{8, 15.5, 15.5}}, // three public pages, three figures: 8, 10, 15.5
	{2.5, HoseBand{2, 2, 2}},
	{3, HoseBand{0.677, 0.8, 0.8}}, // two figures
	{4, HoseBand{0.2, 0.2, 0.2}},
	{5, HoseBand{0.08, 0.08, 0.08}},
}

// HoseCoefficient is the friction coefficient of lined fire hose by its nominal bore: 1 1/2, 1 3/4, 2 1/2, 3, 4 or 5 in;
// a *RangeError for any other. Used is the figure that HoseLoss takes, where sources disagree the highest. Source: public
// training slides of a fire department; three other public pages agree on 2 1/2 in and disagree below it.
func HoseCoefficient(bore Length) (HoseBand, error) {
	for i := range hoses {
		if math.Abs(bore.Inches()-hoses[i].bore) < 1e-6 {
			return hoses[i].HoseBand, nil
		}
	}
	return HoseBand{}, &RangeError{What: "hose bore without a printed coefficient", Unit: "in", Value: bore.Inches(), Low: 1.5, High: 5}
}

// HoseLoss is the friction loss of a flow through 1 to 16 equal hoses side by side, each of a length. Range: bore as
// HoseCoefficient, flow 0 to 1e6 m3/h, length 0 to 1e5 m; a *RangeError outside. Source: fire-service handbooks, FL = C
// (Q/100)^2 (L/100). Differences of height and couplings are not in it.
func HoseLoss(bore Length, q Flow, length Length, count int) (Pressure, error) {
	c, err := HoseCoefficient(bore)
	if err = cmp.Or(err, q.check(), length.check(), within("number of hoses", count, 1, 16, "")); err != nil {
		return 0, err
	}
	hundreds := q.GPM() / float64(count) / 100
	return PSI(c.Used * hundreds * hundreds * length.Feet() / 100), nil
}

// PipeLoss is the friction loss in a full pipe with the Hazen-Williams roughness coefficient, 40 (old, rough) to 160:
// plastic 150, new steel 140, old steel 120. Range: flow 0 to 1e6 m3/h, bore 0.001 to 10 m, length 0 to 1e5 m; a
// *RangeError outside. The formula is for cold water in turbulent flow. Source: Hazen-Williams as fire protection prints
// it, 4.52 Q^1.85/(C^1.85 d^4.87) psi/ft in gpm and inches; the metric form with 1.852 gives up to 1.3 % less.
func PipeLoss(bore Length, coefficient float64, q Flow, length Length) (Pressure, error) {
	err := cmp.Or(bore.bore(), within("Hazen-Williams coefficient", coefficient, 40, 160, ""), q.check(), length.check())
	if err != nil {
		return 0, err
	}
	return PSI(4.52 * math.Pow(q.GPM()/coefficient, 1.85) / math.Pow(bore.Inches(), 4.87) * length.Feet()), nil
}

// PipeVelocity is the mean velocity in a full pipe. Range: flow 0 to 1e6 m3/h, bore 0.001 to 10 m; a *RangeError outside.
// Source: flow over cross section, 0.4085 Q/d^2 in ft/s, gpm and inches.
func PipeVelocity(bore Length, q Flow) (Velocity, error) {
	if err := cmp.Or(bore.bore(), q.check()); err != nil {
		return 0, err
	}
	return Velocity(4 * float64(q) / (math.Pi * float64(bore) * float64(bore))), nil
}

// A paddle wheel reads low or zero below some velocity in its pipe, depending on the make: below PaddleStands none is
// sure to turn, at and above PaddleSure each should read true. Source: public instrument manuals, 0.3 to 0.5 ft/s.
const (
	PaddleStands = Velocity(0.3 * foot * 3600)
	PaddleSure   = Velocity(0.5 * foot * 3600)
)

// FromPulses is the flow of a meter that gives so many pulses a second and has so many for a gallon (its K factor).
// Range: 0 to 1e6 Hz, K 1e-6 to 1e9 a gallon; a *RangeError outside. Source: gpm = 60 Hz/K, the definition.
func FromPulses(hertz, perGallon float64) (Flow, error) {
	if err := cmp.Or(within("pulse rate", hertz, 0, 1e6, "Hz"), within("K factor", perGallon, 1e-6, 1e9, "1/gal")); err != nil {
		return 0, err
	}
	return GPM(60 * hertz / perGallon), nil
}
