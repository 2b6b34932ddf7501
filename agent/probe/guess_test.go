package probe_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent/modbus"
	"ionward/agent/probe"
	"ionward/rules/signal"
)

// holding is a table of these words from address 0.
func holding(words ...uint16) *probe.Table {
	t := &probe.Table{Kind: modbus.Holding, Range: probe.Range{First: 0, Last: len(words) - 1}, Words: map[int]uint16{}}
	for at, w := range words {
		t.Words[at] = w
	}
	return t
}

func f32(v float32) (high, low uint16) {
	b := math.Float32bits(v)
	return uint16(b >> 16), uint16(b)
}

// The question of commissioning: which of these is 0.0587 uS/cm? An analyzer with swapped words between a status word
// and a temperature.
func TestWhichOfTheseIsIt(t *testing.T) {
	ph, pl := f32(0.058713)
	th, tl := f32(18.42)
	table := holding(0x0003, 0, pl, ph, tl, th)
	best := table.Find(0.0587, 0.01, signal.MicrosiemensPerCm)[0]
	assert.Equal(t, "register 2, f32 CDAB", best.String())
	assert.InDelta(t, 0.058713, best.Value, 1e-8)
	// Without the number the signal alone points to the same place first.
	assert.Equal(t, "register 2, f32 CDAB", table.Plausible(signal.ProductConductivity)[0].String())
	assert.Equal(t, "register 4, f32 CDAB", table.Plausible(signal.ProductTemperature)[0].String())
	assert.Empty(t, table.Find(0.0611, 0.01, signal.MicrosiemensPerCm))
	assert.Equal(t, probe.Fits, probe.FitOf(table.Find(0.0587, 0.01, signal.Unit{}), 2, modbus.F32, modbus.CDAB))
	assert.Equal(t, probe.NoFit, probe.FitOf(table.Find(0.0587, 0.01, signal.Unit{}), 2, modbus.F32, modbus.ABCD))
}

// Scaled integers, as many meters have them.
func TestScaledIntegersAreFound(t *testing.T) {
	table := holding(0, 3000, 0x0001, 0xE240, 0xFFFF)
	assert.Equal(t, "register 1, u16 x 0.1", table.Find(300.0, 0.01, signal.Unit{})[0].String())
	assert.Equal(t, "register 1, u16", table.Find(3000, 0, signal.Unit{})[0].String())
	assert.Equal(t, "register 2, u32 ABCD x 0.001", table.Find(123.456, 0.0001, signal.Unit{})[0].String())
	assert.Equal(t, "register 4, i16", table.Find(-1, 0, signal.Unit{})[0].String())
	assert.Equal(t, probe.Scaled, probe.FitOf(table.Find(300.0, 0.01, signal.Unit{}), 1, modbus.U16, modbus.ABCD))
}

// Whatever type, order and scale an instrument uses, what its display shows is found, and every guess does show it.
func TestWhatIsShownIsFound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		typ := modbus.Type(rapid.IntRange(0, 7).Draw(t, "type"))
		order := modbus.Order(rapid.IntRange(0, 3).Draw(t, "order"))
		scale := rapid.SampledFrom([]float64{1, 0.1, 0.01, 0.001, 10}).Draw(t, "scale")
		raw := float64(rapid.IntRange(100, 30000).Draw(t, "raw"))
		isFloat := typ == modbus.F32 || typ == modbus.F64
		if isFloat {
			raw, scale = rapid.Float64Range(0.02, 5000).Draw(t, "number"), 1
		}
		words := rapid.SliceOfN(rapid.Uint16(), 12, 12).Draw(t, "noise")
		at := rapid.IntRange(0, 12-typ.Words()).Draw(t, "at")
		put(words[at:], typ, order, raw)
		shown := raw * scale
		list := holding(words...).Find(shown, 0.01, signal.Unit{})
		hit := false
		for _, g := range list {
			require.InDelta(t, shown, g.Value, 0.01*math.Abs(shown)+1e-12, "%s", g)
			same := g.Order == order || typ.Words() == 1 && (g.Order == modbus.BADC) == (order == modbus.BADC || order == modbus.DCBA)
			hit = hit || g.Register == at && g.Type == typ && same && g.Scale == scale
		}
		require.True(t, hit, "%v x %g at %d, %s, is not among %v", typ, scale, at, order, list)
	})
}

// put lays a number out in registers.
func put(words []uint16, typ modbus.Type, order modbus.Order, raw float64) {
	var bits uint64
	switch typ {
	case modbus.F32:
		bits = uint64(math.Float32bits(float32(raw)))
	case modbus.F64:
		bits = math.Float64bits(raw)
	default:
		bits = uint64(int64(raw))
	}
	n := typ.Words()
	for k := range n {
		w := uint16(bits >> (16 * (n - 1 - k)))
		if order == modbus.BADC || order == modbus.DCBA {
			w = w<<8 | w>>8
		}
		if order == modbus.CDAB || order == modbus.DCBA {
			words[n-1-k] = w
		} else {
			words[k] = w
		}
	}
}

// What is chosen for several signals goes together: one word order, and no register twice.
func TestChosenGuessesGoTogether(t *testing.T) {
	ids := []signal.ID{signal.ProductConductivity, signal.FeedConductivity, signal.Flow, signal.ProductTemperature}
	rapid.Check(t, func(t *rapid.T) {
		table := holding(rapid.SliceOfN(rapid.SampledFrom([]uint16{0, 1, 1500, 0x3F26, 0x4180, 0x43E1, 0x9506, 0x2E66}), 1, 10).Draw(t, "words")...)
		var picks []probe.Pick
		for _, id := range ids {
			picks = append(picks, probe.Pick{ID: id, Guesses: table.Plausible(id)})
		}
		chosen := probe.Choose(picks)
		require.Len(t, chosen, len(ids))
		taken, order := map[int]bool{}, modbus.Order(255)
		for k, p := range chosen {
			require.Equal(t, ids[k], p.ID)
			if len(p.Guesses) == 0 {
				continue
			}
			g := p.Guesses[0]
			for w := range g.Type.Words() {
				require.False(t, taken[g.Register+w], "register %d twice", g.Register+w)
				taken[g.Register+w] = true
			}
			if g.Type.Words() > 1 {
				require.True(t, order == 255 || order == g.Order)
				order = g.Order
			}
		}
	})
}

func TestDigitsFitTheirColumn(t *testing.T) {
	for x, want := range map[float64]string{
		0: "0", 16794: "16794", -4294967295: "-4294967295", 0.0587: "0.05870", 139.24: "139.2", 1e10: "1e+10", 2.3e-41: "2.3e-41",
		123456.78: "123457", -0.65071: "-0.6507", -3.3893e38: "-3.389e+38",
	} {
		assert.Equal(t, want, probe.Digits(x))
	}
	rapid.Check(t, func(t *rapid.T) {
		x := math.Float64frombits(rapid.Uint64().Draw(t, "bits"))
		assert.LessOrEqual(t, len(probe.Digits(x)), 11)
	})
}

// Bits are no numbers: nothing is guessed of them.
func TestNothingIsGuessedOfBits(t *testing.T) {
	table := holding(1, 0, 1, 1)
	table.Kind = modbus.Coil
	assert.Empty(t, table.Plausible(signal.Flow))
	assert.Empty(t, table.Find(1, 0.5, signal.Unit{}))
}
