package water

import (
	"cmp"
	"math"
)

// Ratios by which a dilute sodium chloride solution conducts more at t than at 25 C.

// SaltRatio is the conductivity of a dilute sodium chloride solution at t over that at 25 C. Range: 0 to 100 C; a
// *RangeError outside. Source: [McC11], whose fit holds at 5 to 90 C, times the ratio of the densities; what lies beyond
// is its continuation. IEC 60746-3 prints 2 % more at 0 to 10 C and 4 to 6 % less at 90 to 100 C.
func SaltRatio(t Celsius) (float64, error) {
	if err := t.liquid(); err != nil {
		return 0, err
	}
	return salt(float64(t)), nil
}

func salt(t float64) float64 { return saltMolar(t) / saltMolar(25) * density(t) / density(25) }

// saltMolar is the limiting molar conductivity of sodium chloride, mS kg/(cm mol).
func saltMolar(t float64) float64 { return 67.03 + t*(2.196+t*0.008967) }

// printedRatio is the table of IEC 60746-3 as two public instrument manuals print it, ratio by temperature in C.
var printedRatio = []row{
	{0, 0.54}, {10, 0.72}, {20, 0.90}, {25, 1}, {30, 1.10}, {40, 1.31}, {50, 1.53}, {60, 1.76}, {70, 1.99}, {80, 2.22}, {90, 2.45}, {100, 2.68},
}

// PrintedSaltRatio is the same ratio as instruments apply it. Range: 0 to 100 C; a *RangeError outside. Source:
// [IEC 60746-3], straight lines between its rows. SaltRatio says where it differs.
func PrintedSaltRatio(t Celsius) (float64, error) {
	if err := t.liquid(); err != nil {
		return 0, err
	}
	return between(printedRatio, float64(t)), nil
}

// NaturalFactor is f25, by which the conductivity of a natural water at t is multiplied to give that at 25 C. Range: 0
// to 35.9 C, as the standard; a *RangeError outside. It is meant for natural waters of 60 to 1000 uS/cm. Source:
// [ISO 7888], a fit of the third degree to its table, within 0.0008 of each of its figures.
func NaturalFactor(t Celsius) (float64, error) {
	if err := natural(t); err != nil {
		return 0, err
	}
	return 1 / naturalRatio(float64(t)), nil
}

func natural(t Celsius) error {
	return within("temperature for natural-water compensation", t, 0, 35.9, "C")
}

// naturalRatio is 1/f25, brought to exactly 1 at 25 C, where the fit itself gives 1.00014.
func naturalRatio(t float64) float64 { return naturalFit(t) / naturalFit(25) }

func naturalFit(t float64) float64 {
	return 0.5213894 + t*(0.01694637+t*(9.97553e-5-t*4.64118e-7))
}

// SodiumChloride is the conductivity at 25 C of pure water with a trace of sodium chloride, in mg/L. Range: 0 to 500
// mg/L; a *RangeError outside. Source: Onsager's limiting law, L = L0 - (60.20 + 0.229 L0) sqrt(c) with L0 = 126.39
// S cm2/mol ([CRC]; the constants [mem]), plus pure water. Within 1.1 % of a printed table where that has three digits.
func SodiumChloride(mgL float64) (Conductivity, error) {
	if err := within("concentration", mgL, 0, 500, "mg/L"); err != nil {
		return 0, err
	}
	const limiting, massPerMole = 50.08 + 76.31, 58.443
	c := mgL / 1000 / massPerMole
	return Conductivity(0.0550 + 1e3*c*onsager(limiting, c)), nil
}

// onsager is the molar conductivity of a salt of two single charges at 25 C, c in mol/L.
func onsager(limiting, c float64) float64 { return limiting - (60.20+0.229*limiting)*math.Sqrt(c) }

// Removal is the decontamination factor of a bed, what goes in over what comes out, both less the conductivity of pure
// water, which no bed can remove; uS/cm at 25 C. Range: out above pure water and not above in; a *RangeError outside.
// Source: [DOE] for the factor, [own] for leaving out pure water.
func Removal(in, out Conductivity) (float64, error) {
	err := cmp.Or(in.check(), within("product conductivity", out, pure25+1e-6, in, "uS/cm"))
	if err != nil {
		return 0, err
	}
	return float64((in - pure25) / (out - pure25)), nil
}
