package modbus

import (
	"errors"
	"fmt"
	"math"
)

// Cause says why registers held no sound number; OK means that they did.
type Cause uint8

// The causes. Low and High come with the number, the others with NaN.
const (
	OK         Cause = iota
	Sentinel         // the instrument's mark for "no value"
	NotANumber       // a float NaN
	Infinite         // a float infinity, or a scaled value beyond all numbers
	Subnormal        // a float below the normal range: most often swapped words
	Low              // below the span
	High             // above the span
	Short            // not as many bytes as the type needs
)

var causeNames = [...]string{"ok", "sentinel", "not a number", "infinite", "subnormal", "below span", "above span", "too few bytes"}

// String is a short name for logs and records.
func (c Cause) String() string {
	if int(c) < len(causeNames) {
		return causeNames[c]
	}
	return fmt.Sprintf("cause %d", uint8(c))
}

// Value tells how a number is laid out in registers and what it means:
// number = raw * Scale + Offset, sound if within Low to High.
type Value struct {
	Type  Type
	Order Order
	// Scale and Offset lead from the raw number to the instrument's unit; a Scale
	// of 0 means 1. On a bit, Scale -1 and Offset 1 invert a contact.
	Scale, Offset float64
	// Sentinels are raw bit patterns, in the width of the type and after ordering,
	// that mean "no value", such as 0x8000 for i16.
	Sentinels []uint64
	// Low and High are the plausible span after scaling, limits included; it is
	// checked when High > Low. A conductivity needs a Low above zero: pure water is
	// 0.055 uS/cm at 25 C, and a float with its words swapped is almost zero.
	Low, High float64
}

// Check tells what is wrong with a value that is to be read from a table.
func (v Value) Check(kind Kind) error {
	width := 16 * v.Type.Words()
	switch {
	case !v.Type.valid():
		return fmt.Errorf("%s: want %s", v.Type, typeList)
	case kind.Bits() && v.Type != Bit:
		return fmt.Errorf("type %s: a %s is a single bit; want bit", v.Type, kind)
	case int(v.Order) >= len(orderNames):
		return fmt.Errorf("%s: want %s", v.Order, oneOf(orderNames[:]))
	case !finite(v.Scale) || !finite(v.Offset):
		return errors.New("scale and offset: want finite numbers")
	case !finite(v.Low) || !finite(v.High) || v.High < v.Low:
		return fmt.Errorf("low %v, high %v: want finite numbers, low below high", v.Low, v.High)
	}
	for _, s := range v.Sentinels {
		if width < 64 && s>>width != 0 {
			return fmt.Errorf("sentinel %#x: does not fit type %s of %d bits", s, v.Type, width)
		}
	}
	return nil
}

// Size is the quantity to ask for: registers, or one bit of a bit table.
func (v Value) Size(kind Kind) uint16 {
	if kind.Bits() {
		return 1
	}
	return uint16(v.Type.Words())
}

// Pick decodes the value that starts offset registers (or bits) into the data of
// an answer. It never panics: what is not there is Short.
func (v Value) Pick(kind Kind, data []byte, offset int) (float64, Cause) {
	if offset < 0 {
		return math.NaN(), Short
	}
	if kind.Bits() {
		if offset/8 >= len(data) {
			return math.NaN(), Short
		}
		return v.scaled(float64(data[offset/8] >> (offset % 8) & 1))
	}
	from := 2 * offset
	to := from + 2*v.Type.Words()
	if to > len(data) {
		return math.NaN(), Short
	}
	return v.Decode(data[from:to])
}

// Decode turns the bytes of exactly one value, as on the wire, into a number. It
// allocates nothing. 64-bit integers beyond 2^53 are rounded to a float.
func (v Value) Decode(raw []byte) (float64, Cause) {
	if len(raw) != 2*v.Type.Words() {
		return math.NaN(), Short
	}
	bits := v.Order.assemble(raw)
	for _, s := range v.Sentinels {
		if bits == s {
			return math.NaN(), Sentinel
		}
	}
	x := v.Type.number(bits)
	if cause := v.Type.fault(bits, x); cause != OK {
		return math.NaN(), cause
	}
	return v.scaled(x)
}

// scaled applies scale and offset and weighs the result against the span.
func (v Value) scaled(x float64) (float64, Cause) {
	if v.Scale != 0 {
		x *= v.Scale
	}
	// The conversion forbids a fused multiply-add: every processor must get the
	// same bits, or a record could not be re-run elsewhere.
	x = float64(x) + v.Offset
	switch {
	case !finite(x):
		return math.NaN(), Infinite
	case v.High > v.Low && x < v.Low:
		return x, Low
	case v.High > v.Low && x > v.High:
		return x, High
	}
	return x, OK
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
