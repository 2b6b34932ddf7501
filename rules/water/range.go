package water

import (
	"fmt"
	"math"
)

// RangeError says that an input lies where the computation does not hold.
type RangeError struct {
	What      string  // the input
	Unit      string  // of the numbers; empty for a plain number
	Value     float64 // as given
	Low, High float64 // the range, limits included; High may be math.MaxFloat64 for "no limit"
}

func (e *RangeError) Error() string {
	unit := e.Unit
	if unit != "" {
		unit = " " + unit
	}
	if e.High == math.MaxFloat64 {
		return fmt.Sprintf("cannot use %s of %.6g%s: want at least %.6g%s", e.What, e.Value, unit, e.Low, unit)
	}
	return fmt.Sprintf("cannot use %s of %.6g%s: want %.6g to %.6g%s", e.What, e.Value, unit, e.Low, e.High, unit)
}

// tiny is the least that counts as "above zero": below it quotients lose their meaning long before their digits.
const tiny = 1e-12

// within is nil where low <= v <= high; not so for NaN.
func within[T ~float64 | ~int](what string, v, low, high T, unit string) error {
	if v >= low && v <= high {
		return nil
	}
	return &RangeError{What: what, Unit: unit, Value: float64(v), Low: float64(low), High: float64(high)}
}

// The ranges that many functions share. They are wide: they catch NaN, infinities and slips of a unit, not odd waters.

func (t Celsius) liquid() error             { return within("temperature", t, 0, 100, "C") }
func (k Conductivity) check() error         { return within("conductivity", k, 0, 2e6, "uS/cm") }
func (v Volume) check() error               { return within("volume", v, 0, 1e9, "m3") }
func (v Volume) positive() error            { return within("volume", v, tiny, 1e9, "m3") }
func (q Flow) check() error                 { return within("flow", q, 0, 1e6, "m3/h") }
func (q Flow) positive() error              { return within("flow", q, tiny, 1e6, "m3/h") }
func (l Load) positive() error              { return within("load", l, tiny, 1e6, "mg/L as CaCO3") }
func (a Amount) check() error               { return within("amount", a, 0, 1e9, "kg as CaCO3") }
func (l Length) bore() error                { return within("bore", l, 0.001, 10, "m") }
func (l Length) check() error               { return within("length", l, 0, 1e5, "m") }
func fraction(what string, x float64) error { return within(what, x, 0, 1, "") }
