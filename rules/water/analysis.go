package water

import (
	"fmt"
	"math"
)

// Analysis is what a laboratory reports of a feed.
type Analysis struct {
	Ions   [Ions]float64 // mg/L of each ion as itself
	CO2    float64       // mg/L of free carbon dioxide as itself
	Silica float64       // mg/L as SiO2
}

// Balanced is the imbalance up to which an analysis counts as complete. Standard Methods 1030E asks for 0.2 meq/L in very
// dilute waters, 2 % up to 10 meq/L and 5 % above [mem]; the widest of the relative ones is taken.
const Balanced = 0.05

// UnbalancedError says that the charges of an analysis do not balance: an ion is missing, or a figure or a unit is wrong.
type UnbalancedError struct {
	Cations, Anions float64 // meq/L
	Imbalance       float64 // (cations - anions)/(cations + anions)
	Tolerance       float64
}

func (e *UnbalancedError) Error() string {
	return fmt.Sprintf("cannot use the analysis: cations of %.3g meq/L and anions of %.3g meq/L differ by %.1f %% where %.1f %% is allowed; look for a missing ion or a wrong unit",
		e.Cations, e.Anions, 100*e.Imbalance, 100*e.Tolerance)
}

func (a *Analysis) check() error {
	for i, c := range a.Ions {
		if err := within("concentration of "+ions[i].name, c, 0, 1e5, "mg/L"); err != nil {
			return err
		}
	}
	if err := within("concentration of CO2", a.CO2, 0, 1e5, "mg/L"); err != nil {
		return err
	}
	return within("concentration of silica", a.Silica, 0, 1e5, "mg/L")
}

// Charges gives the sums of cations and anions, meq/L. Range: each concentration 0 to 1e5 mg/L; a *RangeError outside.
// Source: charge over molar mass.
func (a *Analysis) Charges() (cations, anions float64, err error) {
	if err := a.check(); err != nil {
		return 0, 0, err
	}
	for i, c := range a.Ions {
		if eq := c * ions[i].charge / ions[i].mass; eq > 0 {
			cations += eq
		} else {
			anions -= eq
		}
	}
	return cations, anions, nil
}

// Imbalance is (cations - anions)/(cations + anions). Range as Charges, and a *RangeError if there are no ions.
// Source: Standard Methods 1030E [mem].
func (a *Analysis) Imbalance() (float64, error) {
	c, n, err := a.Charges()
	if err != nil {
		return 0, err
	}
	if err := within("sum of all ions", c+n, tiny, 1e5, "meq/L"); err != nil {
		return 0, err
	}
	return (c - n) / (c + n), nil
}

// Check is nil for an analysis whose charges balance to a tolerance (0 to 1, usually Balanced), else an *UnbalancedError,
// or a *RangeError as Imbalance has it.
func (a *Analysis) Check(tolerance float64) error {
	if err := fraction("tolerance", tolerance); err != nil {
		return err
	}
	x, err := a.Imbalance()
	if err != nil {
		return err
	}
	if math.Abs(x) <= tolerance {
		return nil
	}
	c, n, _ := a.Charges()
	return &UnbalancedError{c, n, x, tolerance}
}

// Strength is the ionic strength, mol/kg: half the sum of m z2, with the density of pure water at 25 C between mg/L and
// mg/kg. Range as Charges. Source: the definition.
func (a *Analysis) Strength() (float64, error) {
	if err := a.check(); err != nil {
		return 0, err
	}
	return a.strength(), nil
}

func (a *Analysis) strength() float64 {
	sum := 0.0
	for i, c := range a.Ions {
		sum += c / ions[i].mass * ions[i].charge * ions[i].charge
	}
	return sum / 2 / density(25)
}

// Limiting is the conductivity at 25 C if each ion moved as if alone: an upper bound, 1 % high at 20 uS/cm and 10 % high
// at 1000. Range as Charges. Source: Kohlrausch's law with the limiting conductivities of [CRC].
func (a *Analysis) Limiting() (Conductivity, error) {
	if err := a.check(); err != nil {
		return 0, err
	}
	sum := 0.0
	for i, c := range a.Ions {
		sum += c * math.Abs(ions[i].charge) / ions[i].mass * ions[i].equivalent25
	}
	return Conductivity(sum), nil
}

// Conductivity is that of the water at its temperature, from its ions. Range: 0 to 95 C, ionic strength up to 0.7 mol/kg,
// fitted at 30 to 70000 uS/cm; each concentration as Charges; a *RangeError outside. Source: [McC12], without the pairing
// of ions, so a few percent high for water rich in sulfate. Potassium chloride standards come out up to 2 % high.
func (a *Analysis) Conductivity(t Celsius) (Conductivity, error) {
	if err := a.check(); err != nil {
		return 0, err
	}
	strength := a.strength()
	if err := fitted(t, strength); err != nil {
		return 0, err
	}
	root, sum := math.Sqrt(strength), 0.0
	for i, c := range a.Ions {
		sum += c / ions[i].mass * ions[i].molar(float64(t), root)
	}
	return Conductivity(sum * 1000 / density(25)), nil
}
