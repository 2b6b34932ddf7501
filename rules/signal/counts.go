package signal

import "math"

// Counts is the whole number of counts of the resolution nearest to value, halves away from zero: 0.0005 at 0.001 is 1.
// Decimal halves are stored in floats with an error of some 1e-16 of the value, so a value within 1e-9 counts of a half
// is taken as the half. What is compared is then what is shown. The resolution must be above zero; value must be finite.
func Counts(value, resolution float64) int64 {
	scaled := value / resolution
	// Dividing by 0.001 and multiplying by 1000 differ in the last bit; a resolution of 1/n is a multiplication by n.
	if n, whole := perUnit(resolution); whole {
		scaled = value * n
	}
	if scaled < 0 {
		return -int64(-scaled + (0.5 + 1e-9))
	}
	return int64(scaled + (0.5 + 1e-9))
}

// Value is what a number of counts of the resolution stands for: the float nearest to the decimal a person would write.
func Value(counts int64, resolution float64) float64 {
	if n, whole := perUnit(resolution); whole {
		return float64(counts) / n
	}
	return float64(counts) * resolution
}

// perUnit is the number of counts in one inside unit, and whether it is whole.
func perUnit(resolution float64) (float64, bool) {
	if resolution == 0.001 { // the usual case, at no cost
		return 1000, true
	}
	n := math.Round(1 / resolution)
	return n, n >= 1 && math.Abs(n*resolution-1) < 1e-12
}

// Round gives the value at the resolution: Value(Counts(value)). Rounding twice changes nothing.
func Round(value, resolution float64) float64 {
	if resolution <= 0 || math.Abs(value) > 1e15*resolution {
		return value
	}
	return Value(Counts(value, resolution), resolution)
}
