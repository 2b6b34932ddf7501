package signal

import "math"

// The limits of a 4 to 20 mA signal after NAMUR NE 43 (2003), in mA: a transmitter that works stays within the measuring
// range, and one that knows it has failed goes to a failure current.
const (
	failsBelow = 3.6  // at or below: failure
	rangeLow   = 3.8  // measuring range, limits included
	rangeHigh  = 20.5 //
	failsAbove = 21.0 // at or above: failure
)

// Current judges a loop current in mA. share is its part of the measuring span, 0 at 4 mA and 1 at 20 mA, a little beyond
// within the measuring range. Between the measuring range and a failure current nobody can tell whether the transmitter
// measures: uncertain.
func Current(mA float64) (share float64, q Quality, c Cause) {
	switch {
	case math.IsNaN(mA) || math.IsInf(mA, 0):
		return 0, Bad, NotANumber
	case mA <= failsBelow || mA >= failsAbove:
		return 0, Bad, FailureLevel
	case mA < rangeLow || mA > rangeHigh:
		q, c = Uncertain, OutOfSpan
	default:
		q = Good
	}
	return (mA - 4) / 16, q, c
}
