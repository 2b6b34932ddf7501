package poll_test

import (
	"encoding/binary"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent/modbus"
	"ionward/agent/poll"
	"ionward/rules/signal"
)

// wire lays a raw number out in registers, independently of the codec: as the standard's own order, then reordered as
// the letters of the order say.
func wire(t modbus.Type, order modbus.Order, raw float64) []byte {
	var b []byte
	switch t {
	case modbus.U16, modbus.I16:
		b = binary.BigEndian.AppendUint16(nil, uint16(int64(raw)))
	case modbus.U32, modbus.I32:
		b = binary.BigEndian.AppendUint32(nil, uint32(int64(raw)))
	case modbus.F32:
		b = binary.BigEndian.AppendUint32(nil, math.Float32bits(float32(raw)))
	case modbus.U64, modbus.I64:
		b = binary.BigEndian.AppendUint64(nil, uint64(int64(raw)))
	default:
		b = binary.BigEndian.AppendUint64(nil, math.Float64bits(raw))
	}
	if order == modbus.DCBA || order == modbus.CDAB {
		for i, j := 0, len(b)-2; i < j; i, j = i+2, j-2 {
			b[i], b[i+1], b[j], b[j+1] = b[j], b[j+1], b[i], b[i+1]
		}
	}
	if order == modbus.BADC || order == modbus.DCBA {
		for i := 0; i < len(b); i += 2 {
			b[i], b[i+1] = b[i+1], b[i]
		}
	}
	return b
}

// What an instrument means is what is read, whatever the type, order, scale and unit: the value rounded to the
// resolution, and within the step that Step names for one count.
func TestWhatIsMeantIsRead(t *testing.T) {
	analog := []signal.ID{
		signal.FeedConductivity, signal.ProductConductivity, signal.FeedTemperature, signal.ProductTemperature,
		signal.Flow, signal.Total, signal.DownstreamFlow,
	}
	rapid.Check(t, func(t *rapid.T) {
		s := poll.Signal{ID: rapid.SampledFrom(analog).Draw(t, "signal"), Type: modbus.Type(rapid.IntRange(0, 7).Draw(t, "type"))}
		order := modbus.Order(rapid.IntRange(0, 3).Draw(t, "order"))
		info := s.ID.Info()
		symbol := rapid.SampledFrom(signal.Units(info.Unit.Quantity)).Draw(t, "unit")
		s.Unit, _ = signal.ParseUnit(symbol)
		s.Scale = rapid.SampledFrom([]float64{1, 0.001, 0.01, 0.1, 10}).Draw(t, "scale")
		want := rapid.Float64Range(0.06, 900).Draw(t, "value")
		if s.ID == signal.FeedTemperature || s.ID == signal.ProductTemperature {
			want = rapid.Float64Range(-40, 140).Draw(t, "celsius")
		}
		loop := rapid.Bool().Draw(t, "loop")
		number := s.Unit.From(want) // before scaling
		if loop {
			span := max(1, math.Abs(number)) // so that the value lies on the loop
			s.Current = poll.Current{On: true, From: number - span/3, To: number + span}
			number = 4 + 16*(number-s.Current.From)/(s.Current.To-s.Current.From)
		}
		raw := number / s.Scale
		if s.Type != modbus.F32 && s.Type != modbus.F64 {
			raw = math.Round(raw)
			if raw < 0 && (s.Type == modbus.U16 || s.Type == modbus.U32 || s.Type == modbus.U64) {
				t.Skip("an unsigned number is never negative")
			}
			if math.Abs(raw) > 30000 && s.Type.Words() == 1 || math.Abs(raw) > 2e9 && s.Type.Words() == 2 {
				t.Skip("too large for the type")
			}
		}
		got, err := poll.Read(s, order, wire(s.Type, order, raw))
		require.NoError(t, err)
		// The value that the raw number stands for may lie a count off, and out of the span then.
		step := s.Step(want)
		if !got.Usable() && (want-step < max(info.Low, s.Low) || want+step > info.High || step > want/2) {
			t.Skip("a count takes it out of the span")
		}
		require.Equal(t, signal.Good, got.Quality, "%v", got.Cause)
		slack := step*1.01 + info.Resolution/2 + math.Abs(want)*1e-6
		if s.Unit.Symbol == "MOhm.cm" || s.Unit.Symbol == "kOhm.cm" {
			slack *= 2 // the step of a reciprocal differs on either side
		}
		require.InDelta(t, want, got.Value, slack)
		require.Equal(t, signal.Round(got.Value, info.Resolution), got.Value)
	})
}

// Whatever bytes come and whatever the mapping: a number that may be used is finite, within the span, on the
// resolution; product water is never purer than water; and no other quality carries a number.
func FuzzReading(f *testing.F) {
	f.Add([]byte{0x3F, 0x80, 0, 0}, uint8(1), uint8(4), uint8(1), 1.0, 0.0, false)
	f.Add([]byte{0, 0, 0x3F, 0x80}, uint8(1), uint8(4), uint8(0), 1.0, 0.0, false)
	f.Add([]byte{0x2E, 0xE0}, uint8(4), uint8(0), uint8(0), 0.001, 0.0, true)
	f.Add([]byte{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}, uint8(5), uint8(5), uint8(3), 1e-3, -5.0, false)
	f.Fuzz(func(t *testing.T, data []byte, id, typ, order uint8, scale, offset float64, loop bool) {
		s := poll.Signal{ID: signal.ID(id % uint8(signal.Count)), Type: modbus.Type(typ % 8), Scale: scale, Offset: offset}
		if s.ID.Contact() {
			s.Type = modbus.Bit + modbus.Type(typ%16)
		}
		if s.ID == signal.ProductConductivity {
			s.Low, s.High = 0.02, 3000
		}
		s.Current = poll.Current{On: loop, From: 0, To: 10}
		got, err := poll.Read(s, modbus.Order(order%4), data)
		if err != nil {
			return // not a mapping that could be configured
		}
		info := s.ID.Info()
		if !got.Usable() {
			require.Zero(t, got.Value)
			require.NotEqual(t, signal.NoCause, got.Cause)
			return
		}
		require.False(t, math.IsNaN(got.Value) || math.IsInf(got.Value, 0))
		require.GreaterOrEqual(t, got.Value, info.Low)
		require.LessOrEqual(t, got.Value, info.High)
		require.Equal(t, signal.Round(got.Value, info.Resolution), got.Value)
		if s.ID == signal.ProductConductivity {
			require.GreaterOrEqual(t, got.Value, 0.02)
		}
		if !loop {
			require.Equal(t, signal.Good, got.Quality)
		}
	})
}
