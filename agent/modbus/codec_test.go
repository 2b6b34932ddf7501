package modbus

import (
	"encoding/binary"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var types = []Type{U16, I16, U32, I32, F32, U64, I64, F64, Bit, Bit + 7, Bit + 15}

// lay is the test's own statement of the orders: the bytes of a big-endian value,
// by the letters of the order, for any number of registers.
func lay(bits uint64, words int, o Order) []byte {
	b := binary.BigEndian.AppendUint64(nil, bits)[8-2*words:]
	swapBytes, swapWords := o.String()[0] == 'B' || o == DCBA, o == CDAB || o == DCBA
	out := make([]byte, len(b))
	for i := range b {
		word, byt := i/2, i%2
		if swapWords {
			word = words - 1 - word
		}
		if swapBytes {
			byt = 1 - byt
		}
		out[2*word+byt] = b[i]
	}
	return out
}

// Known bytes, written out by hand.
func TestDecodeKnownBytes(t *testing.T) {
	for _, c := range []struct {
		v    Value
		raw  string
		want float64
	}{
		{Value{Type: U16}, "FFFF", 65535},
		{Value{Type: I16}, "FFFF", -1},
		{Value{Type: I16}, "8000", -32768},
		{Value{Type: U16, Order: CDAB}, "1234", 0x1234},
		{Value{Type: U16, Order: BADC}, "3412", 0x1234},
		{Value{Type: U16, Order: DCBA}, "3412", 0x1234},
		{Value{Type: U32}, "AABBCCDD", 0xAABBCCDD},
		{Value{Type: U32, Order: CDAB}, "CCDDAABB", 0xAABBCCDD},
		{Value{Type: U32, Order: BADC}, "BBAADDCC", 0xAABBCCDD},
		{Value{Type: U32, Order: DCBA}, "DDCCBBAA", 0xAABBCCDD},
		{Value{Type: I32}, "FFFFFFFE", -2},
		{Value{Type: F32}, "3F800000", 1},
		{Value{Type: F32, Order: CDAB}, "00003F80", 1},
		{Value{Type: F32}, "80000000", 0},
		{Value{Type: U64}, "0001000200030004", 0x0001000200030004},
		{Value{Type: U64, Order: CDAB}, "0004000300020001", 0x0001000200030004},
		{Value{Type: U64, Order: BADC}, "0100020003000400", 0x0001000200030004},
		{Value{Type: U64, Order: DCBA}, "0400030002000100", 0x0001000200030004},
		{Value{Type: I64}, "FFFFFFFFFFFFFFFD", -3},
		{Value{Type: F64}, "3FF8000000000000", 1.5},
		{Value{Type: Bit}, "0001", 1},
		{Value{Type: Bit + 15}, "7FFF", 0},
		{Value{Type: Bit + 9}, "0200", 1},
		{Value{Type: Bit, Scale: -1, Offset: 1}, "0001", 0},
		{Value{Type: U16, Scale: 0.1, Offset: -40}, "01F4", 10},
		{Value{Type: U16, Low: 0, High: 3000}, "0BB8", 3000},
		{Value{Type: U16, Low: 0, High: 3000}, "0000", 0},
	} {
		x, cause := c.v.Decode(unhex(t, c.raw))
		assert.Equal(t, OK, cause, "%v %s", c.v, c.raw)
		assert.Equal(t, c.want, x, "%v %s", c.v, c.raw)
		assert.False(t, math.Signbit(x) && x == 0, "no negative zero for the operator")
	}
}

// What is no value, and why.
func TestDecodeRefuses(t *testing.T) {
	for _, c := range []struct {
		v     Value
		raw   string
		cause Cause
		kept  bool // the number comes along
	}{
		{Value{Type: F32}, "7FC00000", NotANumber, false},
		{Value{Type: F32}, "FF800001", NotANumber, false},
		{Value{Type: F32}, "7F800000", Infinite, false},
		{Value{Type: F32}, "FF800000", Infinite, false},
		{Value{Type: F32}, "00003F80", Subnormal, false}, // 1.0 with its words swapped
		{Value{Type: F32}, "807FFFFF", Subnormal, false},
		{Value{Type: F64}, "7FF8000000000000", NotANumber, false},
		{Value{Type: F64}, "FFF0000000000000", Infinite, false},
		{Value{Type: F64}, "0000000000000001", Subnormal, false},
		{Value{Type: F64, Scale: 1e10}, "7FEFFFFFFFFFFFFF", Infinite, false},
		{Value{Type: I16, Sentinels: []uint64{0x8000, 0x7FFF}}, "7FFF", Sentinel, false},
		{Value{Type: I16, Scale: 0.01, Sentinels: []uint64{0x8000}}, "8000", Sentinel, false},
		{Value{Type: U16, Sentinels: []uint64{0xFFFF}}, "FFFF", Sentinel, false},
		{Value{Type: I32, Order: CDAB, Sentinels: []uint64{0x7FFFFFFF}}, "FFFF7FFF", Sentinel, false},
		{Value{Type: F32, Sentinels: []uint64{0xFFFFFFFF}}, "FFFFFFFF", Sentinel, false}, // rather than NaN
		{Value{Type: U64, Sentinels: []uint64{math.MaxUint64}}, "FFFFFFFFFFFFFFFF", Sentinel, false},
		{Value{Type: F32, Low: 0.02, High: 3000}, "00000000", Low, true},
		{Value{Type: I16, Low: 0, High: 10}, "FFFF", Low, true},
		{Value{Type: U16, Low: 0, High: 3000}, "0BB9", High, true},
		{Value{Type: U32}, "0BB9", Short, false},
		{Value{Type: U16}, "", Short, false},
		{Value{Type: U16}, "0BB90000", Short, false},
	} {
		x, cause := c.v.Decode(unhex(t, c.raw))
		assert.Equal(t, c.cause, cause, "%+v %s", c.v, c.raw)
		assert.Equal(t, !c.kept, math.IsNaN(x), "%+v %s", c.v, c.raw)
		assert.NotContains(t, cause.String(), "cause ")
	}
}

// What an instrument writes in any type and order is what comes out.
func TestDecodeRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		typ := rapid.SampledFrom(types).Draw(t, "type")
		order := rapid.SampledFrom([]Order{ABCD, CDAB, BADC, DCBA}).Draw(t, "order")
		var bits uint64
		var want float64
		switch typ {
		case U16:
			n := rapid.Uint16().Draw(t, "n")
			bits, want = uint64(n), float64(n)
		case I16:
			n := rapid.Int16().Draw(t, "n")
			bits, want = uint64(uint16(n)), float64(n)
		case U32:
			n := rapid.Uint32().Draw(t, "n")
			bits, want = uint64(n), float64(n)
		case I32:
			n := rapid.Int32().Draw(t, "n")
			bits, want = uint64(uint32(n)), float64(n)
		case F32:
			n := rapid.Float32Range(1e-30, 1e30).Draw(t, "n")
			bits, want = uint64(math.Float32bits(n)), float64(n)
		case U64:
			bits = rapid.Uint64().Draw(t, "n")
			want = float64(bits)
		case I64:
			n := rapid.Int64().Draw(t, "n")
			bits, want = uint64(n), float64(n)
		case F64:
			want = rapid.Float64Range(-1e300, -1e-300).Draw(t, "n")
			bits = math.Float64bits(want)
		default:
			bits = uint64(rapid.Uint16().Draw(t, "n"))
			want = float64(bits >> (typ - Bit) % 2)
		}
		v := Value{Type: typ, Order: order}
		raw := lay(bits, typ.Words(), order)
		x, cause := v.Decode(raw)
		require.Equal(t, OK, cause)
		require.Equal(t, want, x)

		// The same value in the midst of a larger answer.
		before := rapid.IntRange(0, 20).Draw(t, "before")
		block := append(make([]byte, 2*before), raw...)
		x, cause = v.Pick(Holding, append(block, 0xA5, 0xA5), before)
		require.Equal(t, OK, cause)
		require.Equal(t, want, x)
		_, cause = v.Pick(Holding, block[:len(block)-1], before)
		require.Equal(t, Short, cause)
	})
}

func TestPickBits(t *testing.T) {
	data := unhex(t, "CD6B05") // section 6.1's example: coils 20 to 38
	states := "1011001111010110101"
	for i, state := range states {
		x, cause := Value{Type: Bit}.Pick(Coil, data, i)
		assert.Equal(t, OK, cause)
		assert.Equal(t, float64(state-'0'), x, "coil %d", 20+i)
	}
	x, _ := Value{Type: Bit, Scale: -1, Offset: 1}.Pick(Discrete, data, 0)
	assert.Zero(t, x, "inverted")
	for _, offset := range []int{24, 1000, -1} {
		_, cause := Value{Type: Bit}.Pick(Coil, data, offset)
		assert.Equal(t, Short, cause)
		_, cause = Value{}.Pick(Input, data, offset)
		assert.Equal(t, Short, cause)
	}
}

func TestDecodeAllocatesNothing(t *testing.T) {
	v := Value{Type: F32, Order: CDAB, Scale: 2, Sentinels: []uint64{1, 2}, Low: 0, High: 9}
	data := unhex(t, "0000 00003F80")
	var x float64
	assert.Zero(t, testing.AllocsPerRun(100, func() { x, _ = v.Pick(Holding, data, 1) }))
	assert.Equal(t, 2.0, x)
}

// Whatever the bytes and the layout: no panic, and a sound number is a finite one
// within its span.
func FuzzDecode(f *testing.F) {
	f.Add([]byte{0x3F, 0x80, 0, 0}, uint8(4), uint8(1), 1.0, 0.0, uint64(0xFFFF))
	f.Add([]byte{0x7F, 0xF0, 0, 0, 0, 0, 0, 0}, uint8(7), uint8(3), 1e300, -1.0, uint64(1))
	f.Add([]byte{}, uint8(200), uint8(9), math.NaN(), math.Inf(1), uint64(0))
	f.Fuzz(func(t *testing.T, raw []byte, typ, order uint8, scale, offset float64, sentinel uint64) {
		v := Value{Type: Type(typ), Order: Order(order), Scale: scale, Offset: offset, Sentinels: []uint64{sentinel}, Low: -1e6, High: 1e6}
		for _, kind := range []Kind{Holding, Coil} {
			for at := -1; at <= len(raw); at++ {
				x, cause := v.Pick(kind, raw, at)
				switch cause {
				case OK:
					require.True(t, x >= v.Low && x <= v.High)
				case Low:
					require.Less(t, x, v.Low)
				case High:
					require.Greater(t, x, v.High)
				default:
					require.True(t, math.IsNaN(x))
				}
			}
		}
	})
}

func TestNames(t *testing.T) {
	for _, typ := range types {
		got, err := ParseType(typ.String())
		require.NoError(t, err)
		assert.Equal(t, typ, got)
	}
	got, err := ParseType("bit")
	require.NoError(t, err)
	assert.Equal(t, Bit, got)
	for _, name := range []string{"", "float", "F32", "u8", "bit16", "bit-1", "bit+1", "bit01", "bits"} {
		_, err := ParseType(name)
		assert.ErrorContains(t, err, fmt.Sprintf("type %q: want u16, i16,", name))
	}
	for _, o := range []Order{ABCD, CDAB, BADC, DCBA} {
		got, err := ParseOrder(o.String())
		require.NoError(t, err)
		assert.Equal(t, o, got)
	}
	_, err = ParseOrder("ABDC")
	assert.EqualError(t, err, `word order "ABDC": want ABCD, CDAB, BADC or DCBA`)
	for _, k := range []Kind{Holding, Input, Coil, Discrete} {
		got, err := ParseKind(k.String())
		require.NoError(t, err)
		assert.Equal(t, k, got)
	}
	_, err = ParseKind("register")
	assert.EqualError(t, err, `kind "register": want holding, input, coil or discrete`)
	assert.Equal(t, "type 99 word order 7 kind 4 cause 42", fmt.Sprint(Type(99), " ", Order(7), " ", Kind(4), " ", Cause(42)))
}

func TestValueCheck(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		v    Value
		kind Kind
		want string // "" = fine
	}{
		{Value{}, Holding, ""},
		{Value{Type: Bit}, Coil, ""},
		{Value{Type: U64, Sentinels: []uint64{math.MaxUint64}}, Input, ""},
		{Value{Type: F32}, Coil, "type f32: a coil is a single bit"},
		{Value{Type: Bit + 1}, Discrete, "type bit1: a discrete is a single bit"},
		{Value{Type: 77}, Holding, "type 77: want"},
		{Value{Order: 4}, Holding, "word order 4: want"},
		{Value{Scale: nan}, Holding, "scale and offset"},
		{Value{Offset: math.Inf(1)}, Holding, "scale and offset"},
		{Value{Low: 2, High: 1}, Holding, "low below high"},
		{Value{Low: nan}, Holding, "low below high"},
		{Value{Sentinels: []uint64{0x10000}}, Holding, "sentinel 0x10000: does not fit type u16 of 16 bits"},
	} {
		err := c.v.Check(c.kind)
		if c.want == "" {
			assert.NoError(t, err)
		} else {
			assert.ErrorContains(t, err, c.want)
		}
	}
	assert.EqualValues(t, 4, Value{Type: F64}.Size(Input))
	assert.EqualValues(t, 1, Value{Type: Bit}.Size(Coil))
}
