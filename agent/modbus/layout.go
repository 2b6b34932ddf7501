package modbus

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Type is how a number is written into registers. Bit is bit 0 of one register,
// Bit+n is bit n, up to Bit+15.
type Type uint8

// The types: unsigned, signed and IEEE 754 float, of 16, 32 and 64 bits.
const (
	U16 Type = iota
	I16
	U32
	I32
	F32
	U64
	I64
	F64
	Bit Type = 0x80
)

var typeNames = [...]string{"u16", "i16", "u32", "i32", "f32", "u64", "i64", "f64"}

const typeList = "u16, i16, u32, i32, f32, u64, i64, f64, or bit0 to bit15 of a register"

func (t Type) valid() bool { return int(t) < len(typeNames) || t >= Bit && t <= Bit+15 }

// String is the name used in the unit file.
func (t Type) String() string {
	switch {
	case int(t) < len(typeNames):
		return typeNames[t]
	case t.valid():
		return "bit" + strconv.Itoa(int(t-Bit))
	}
	return fmt.Sprintf("type %d", uint8(t))
}

// ParseType reads a type's name: u16, i16, u32, i32, f32, u64, i64, f64, bit (the
// same as bit0) or bit0 to bit15.
func ParseType(name string) (Type, error) {
	for i, known := range typeNames {
		if name == known {
			return Type(i), nil
		}
	}
	if name == "bit" {
		return Bit, nil
	}
	if digits, ok := strings.CutPrefix(name, "bit"); ok {
		// Comparing the canonical form refuses bit+1 and bit007.
		if n, err := strconv.Atoi(digits); err == nil && n >= 0 && n <= 15 && strconv.Itoa(n) == digits {
			return Bit + Type(n), nil
		}
	}
	return 0, fmt.Errorf("type %q: want %s", name, typeList)
}

// Words is the number of registers that a value of the type fills: 1, 2 or 4.
func (t Type) Words() int {
	switch t {
	case U32, I32, F32:
		return 2
	case U64, I64, F64:
		return 4
	}
	return 1
}

// number reads the bit pattern of one value.
func (t Type) number(bits uint64) float64 {
	switch t {
	case I16:
		return float64(int16(bits))
	case I32:
		return float64(int32(bits))
	case I64:
		return float64(int64(bits))
	case F32:
		return float64(math.Float32frombits(uint32(bits)))
	case F64:
		return math.Float64frombits(bits)
	}
	if t >= Bit {
		return float64(bits >> (t - Bit) & 1)
	}
	return float64(bits)
}

// fault finds what no instrument means as a value: NaN, infinities, and floats too
// small for the normal range, which is what a float looks like whose words come in
// another order (1.0 becomes 2.3e-41).
func (t Type) fault(bits uint64, x float64) Cause {
	var exponent uint64
	switch t {
	case F32:
		exponent = bits >> 23 & 0xFF
	case F64:
		exponent = bits >> 52 & 0x7FF
	default:
		return OK
	}
	switch {
	case math.IsNaN(x):
		return NotANumber
	case math.IsInf(x, 0):
		return Infinite
	case exponent == 0 && x != 0:
		return Subnormal
	}
	return OK
}

// Order is the order in which the bytes of a value travel; the letters are the
// bytes from most (A) to least (D) significant.
type Order uint8

// The orders. In BADC and DCBA the two bytes of each register are swapped, also of
// a register that stands alone; in CDAB and DCBA the last register comes first,
// also of four. The standard's own order is ABCD (section 4.2).
const (
	ABCD Order = iota
	CDAB
	BADC
	DCBA
)

var orderNames = [...]string{"ABCD", "CDAB", "BADC", "DCBA"}

// String is the name used in the unit file.
func (o Order) String() string {
	if int(o) < len(orderNames) {
		return orderNames[o]
	}
	return fmt.Sprintf("word order %d", uint8(o))
}

// ParseOrder reads an order's name: ABCD, CDAB, BADC or DCBA.
func ParseOrder(name string) (Order, error) {
	for i, known := range orderNames {
		if name == known {
			return Order(i), nil
		}
	}
	return 0, fmt.Errorf("word order %q: want %s", name, oneOf(orderNames[:]))
}

// assemble puts the bytes of one value, as on the wire, in order.
func (o Order) assemble(raw []byte) uint64 {
	var bits uint64
	for i := 0; i < len(raw); i += 2 {
		at := i
		if o == CDAB || o == DCBA {
			at = len(raw) - 2 - i
		}
		high, low := raw[at], raw[at+1]
		if o == BADC || o == DCBA {
			high, low = low, high
		}
		bits = bits<<16 | uint64(high)<<8 | uint64(low)
	}
	return bits
}
