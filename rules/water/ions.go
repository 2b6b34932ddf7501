package water

import "math"

// Ion names an ion of a feed analysis.
type Ion uint8

// The ions, cations first. Of the usual ones a strong acid cation resin holds calcium best, then magnesium, potassium
// and ammonium, then sodium; a strong base anion resin sulfate, then nitrate, chloride, bicarbonate [DOE]. Hence sodium
// leaks first.
const (
	Hydrogen Ion = iota
	Sodium
	Potassium
	Ammonium
	Calcium
	Magnesium
	Hydroxide
	Chloride
	Sulfate
	Nitrate
	Bicarbonate
	Carbonate
	Ions int = iota // how many there are
)

// ion holds what is known of an ion.
type ion struct {
	name   string
	charge float64 // signed
	mass   float64 // g/mol, IUPAC masses [mem]

	equivalent25 float64 // limiting equivalent conductivity at 25 C, S cm2/eq [CRC]

	// [McC12]: molar conductivity c2 t2 + c1 t + c0 - (a2 t2 + a1 t + a0) sqrt(I)/(1 + b sqrt(I)), mS kg/(cm mol).
	c2, c1, c0, a2, a1, a0, b float64
}

// The coefficients are those that two public codes carry. One of them lost the minus of c2 of H+ (25 C would give 367,
// impossible), and both differ in the signs of carbonate and bicarbonate: the signs here give the values of [CRC]. The
// sign of a2 of H+ is [mem].
var ions = [Ions]ion{
	Hydrogen:    {"H", 1, 1.008, 349.65, -0.01414, 5.355, 224.2, -0.00918, 1.842, 39.23, 0.3},
	Sodium:      {"Na", 1, 22.98977, 50.08, 0.003763, 0.877, 26.23, 0.00027, 1.141, 32.07, 1.7},
	Potassium:   {"K", 1, 39.0983, 73.48, 0.003046, 1.261, 40.7, 0.00535, 0.9316, 22.59, 1.5},
	Ammonium:    {"NH4", 1, 18.0385, 73.5, 0.003341, 1.285, 39.04, 0.00132, 0.607, 11.19, 0.3},
	Calcium:     {"Ca", 2, 40.078, 59.47, 0.009645, 1.984, 62.28, 0.03174, 2.334, 132.3, 2.8},
	Magnesium:   {"Mg", 2, 24.305, 53.0, 0.01068, 1.695, 57.16, 0.02453, 1.915, 80.5, 2.1},
	Hydroxide:   {"OH", -1, 17.007, 198.0, 0.003396, 2.925, 121.3, 0.00933, 0.1086, 35.9, 0.01},
	Chloride:    {"Cl", -1, 35.453, 76.31, 0.003817, 1.337, 40.99, 0.00613, 0.9469, 22.01, 1.5},
	Sulfate:     {"SO4", -2, 96.06, 80.0, 0.01037, 2.838, 82.37, 0.03324, 5.889, 193.5, 2.6},
	Nitrate:     {"NO3", -1, 62.0049, 71.42, 0.001925, 1.214, 39.9, 0.00118, 0.5045, 23.31, 0.1},
	Bicarbonate: {"HCO3", -1, 61.0168, 44.5, 0.000614, 0.9048, 21.14, -0.00503, 0.8957, 10.97, 0.1},
	Carbonate:   {"CO3", -2, 60.0089, 69.3, -0.000326, 2.998, 64.03, -0.00181, 5.542, 120.2, 2.3},
}

// limiting is the molar conductivity without other ions, mS kg/(cm mol).
func (i *ion) limiting(t float64) float64 { return i.c0 + t*(i.c1+t*i.c2) }

// molar is the molar conductivity at an ionic strength given as its square root.
func (i *ion) molar(t, root float64) float64 {
	return i.limiting(t) - (i.a0+t*(i.a1+t*i.a2))*root/(1+i.b*root)
}

// String is the ion's formula without its charge, as analyses write it.
func (i Ion) String() string {
	if int(i) >= Ions {
		return "?"
	}
	return ions[i].name
}

// ParseIon finds an ion by its formula without charge.
func ParseIon(name string) (Ion, bool) {
	for i := range ions {
		if ions[i].name == name {
			return Ion(i), true
		}
	}
	return 0, false
}

// Charge is the charge number, negative for anions; 0 for what is no ion.
func (i Ion) Charge() int {
	if int(i) >= Ions {
		return 0
	}
	return int(ions[i].charge)
}

// Equivalent is the limiting equivalent conductivity at 25 C, S cm2/eq; 0 for what is no ion. Source: [CRC].
func (i Ion) Equivalent() float64 {
	if int(i) >= Ions {
		return 0
	}
	return ions[i].equivalent25
}

// AsCaCO3 is what 1 mg/L of the ion is in mg/L as CaCO3; 0 for what is no ion. Source: 50.0435 z/M, by definition.
// Printed tables differ: magnesium 4.10 against 4.118 here, carbon dioxide as divalent.
func (i Ion) AsCaCO3() float64 {
	if int(i) >= Ions {
		return 0
	}
	return 1000 * equivalent * math.Abs(ions[i].charge) / ions[i].mass
}

// Molar is the molar ionic conductivity at a temperature and ionic strength, S cm2/mol (strictly mS kg/(cm mol)). Range:
// 0 to 95 C, 0 to 0.7 mol/kg (fitted from 0.0004); a *RangeError outside. Source: [McC12].
func (i Ion) Molar(t Celsius, strength float64) (float64, error) {
	if int(i) >= Ions {
		return 0, &RangeError{What: "number for an ion", Value: float64(i), High: float64(Ions - 1)}
	}
	if err := fitted(t, strength); err != nil {
		return 0, err
	}
	return ions[i].molar(float64(t), math.Sqrt(strength)), nil
}

func fitted(t Celsius, strength float64) error {
	if err := within("temperature", t, 0, 95, "C"); err != nil {
		return err
	}
	return within("ionic strength", strength, 0, 0.7, "mol/kg")
}
