package probe

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"ionward/agent/modbus"
	"ionward/rules/signal"
)

// Guess is one way to read a number at an address.
type Guess struct {
	Register int
	Type     modbus.Type
	Order    modbus.Order
	Scale    float64     // number = raw * Scale
	Unit     signal.Unit // of the number; the zero Unit = not known
	Value    float64     // the number

	doubt float64 // the less the better
}

// String names the guess as the keys of a unit file would.
func (g Guess) String() string {
	s := fmt.Sprintf("register %d, %s", g.Register, g.Type)
	if g.Type.Words() > 1 || g.Order != modbus.ABCD {
		s += " " + g.Order.String()
	}
	if g.Scale != 1 {
		s += fmt.Sprintf(" x %g", g.Scale)
	}
	return s
}

var (
	types = []modbus.Type{modbus.F32, modbus.U16, modbus.I16, modbus.U32, modbus.I32, modbus.F64, modbus.U64, modbus.I64}
	// Both orders that swap words come to the same in one register, and so do both that do not.
	single = []modbus.Order{modbus.ABCD, modbus.BADC}
	orders = []modbus.Order{modbus.ABCD, modbus.CDAB, modbus.BADC, modbus.DCBA}
	scales = []float64{1, 0.1, 0.01, 0.001, 10}
)

func ordersOf(t modbus.Type) []modbus.Order {
	if t.Words() == 1 {
		return single
	}
	return orders
}

func float(t modbus.Type) bool { return t == modbus.F32 || t == modbus.F64 }

// Number decodes one type at an address, unscaled; ok is false where no number of that type can stand.
func (t *Table) Number(at int, typ modbus.Type, order modbus.Order) (x float64, ok bool) {
	var raw [8]byte
	n := typ.Words()
	for k := range n {
		w, there := t.Words[at+k]
		if !there {
			return 0, false
		}
		raw[2*k], raw[2*k+1] = byte(w>>8), byte(w)
	}
	x, cause := modbus.Value{Type: typ, Order: order}.Decode(raw[:2*n])
	return x, cause == modbus.OK
}

// rare is how much each type and order is doubted: common practice has 32-bit floats and 16-bit integers, in the
// standard's order or with the words swapped; the rest is rare.
func rare(typ modbus.Type, order modbus.Order, at int) float64 {
	doubt := map[modbus.Type]float64{modbus.F64: 0.8, modbus.U32: 0.6, modbus.I32: 0.7, modbus.U16: 0.5, modbus.I16: 0.55, modbus.U64: 1.2, modbus.I64: 1.2}[typ]
	doubt += map[modbus.Order]float64{modbus.CDAB: 0.25, modbus.BADC: 0.7, modbus.DCBA: 0.6}[order]
	// A float taken one register off reads nearly the same with its words swapped (the high word decides); maps that
	// begin with an even address are more common.
	if at%2 != 0 && typ.Words() > 1 {
		doubt += 0.3
	}
	return doubt
}

// scaled is how much each scale is doubted.
var scaled = map[float64]float64{1: 0, 0.1: 0.15, 0.01: 0.2, 0.001: 0.25, 10: 0.6}

// Find lists the ways to read a number that lies within the tolerance (a part, such as 0.01) of what is looked for, the
// likeliest first.
func (t *Table) Find(want, tolerance float64, unit signal.Unit) []Guess {
	var found []Guess
	t.each(func(at int, typ modbus.Type, order modbus.Order, x float64) {
		for _, scale := range scales {
			if float(typ) && scale != 1 && want != 0 && math.Abs(x*scale-want) > math.Abs(want)*0.0005 {
				continue // floats are hardly ever scaled: only an almost exact hit is worth a line
			}
			off := math.Abs(x*scale - want)
			if !(off <= tolerance*math.Abs(want)) {
				continue
			}
			doubt := rare(typ, order, at) + scaled[scale]
			if float(typ) && scale != 1 {
				doubt++
			}
			if want != 0 && tolerance > 0 {
				doubt += off / (tolerance * math.Abs(want))
			}
			found = append(found, Guess{at, typ, order, scale, unit, x * scale, doubt})
		}
	})
	return sorted(found)
}

// span is what a signal of a trailer in service usually reads in a unit.
type span struct {
	unit      string
	low, high float64
	doubt     float64 // beside the other units
}

// usual are the spans looked for. They are narrower than what counts as plausible in service: what is looked for here
// is water of the usual kind (own judgement).
var usual = map[signal.ID][]span{
	signal.FeedConductivity:    {{"uS/cm", 20, 5000, 0}, {"mS/cm", 0.02, 5, 0.5}},
	signal.ProductConductivity: {{"uS/cm", 0.05, 20, 0}, {"MOhm.cm", 0.5, 18.3, 0.5}},
	signal.FeedTemperature:     {{"C", 1, 45, 0}, {"F", 46, 113, 0.2}},
	signal.ProductTemperature:  {{"C", 1, 45, 0}, {"F", 46, 113, 0.2}},
	signal.Flow:                {{"gpm", 5, 500, 0}, {"m3/h", 1, 115, 0.2}, {"L/min", 20, 1900, 0.4}},
	signal.DownstreamFlow:      {{"gpm", 5, 500, 0}, {"m3/h", 1, 115, 0.2}, {"L/min", 20, 1900, 0.4}},
	signal.Total:               {{"gal", 100, 1e8, 0}, {"m3", 1, 1e6, 0.2}},
}

// Plausible lists the ways to read a number that the signal could have, the likeliest first. A contact has none: see
// which bit changes when it does.
func (t *Table) Plausible(id signal.ID) []Guess {
	var found []Guess
	t.each(func(at int, typ modbus.Type, order modbus.Order, x float64) {
		for _, s := range usual[id] {
			unit, _ := signal.ParseUnit(s.unit)
			for _, scale := range scales {
				v := x * scale
				if v < s.low || v > s.high || float(typ) && scale != 1 || scale > 1 {
					continue
				}
				// In 16 bits almost anything fits under some scale; that it does says little.
				doubt := rare(typ, order, at) + scaled[scale] + s.doubt
				if !float(typ) {
					doubt += 0.5
				}
				found = append(found, Guess{at, typ, order, scale, unit, v, doubt})
			}
		}
	})
	return sorted(found)
}

// each visits every number of every type and order.
func (t *Table) each(visit func(at int, typ modbus.Type, order modbus.Order, x float64)) {
	if t.Kind.Bits() {
		return
	}
	for at := t.Range.First; at <= t.Range.Last; at++ {
		for _, typ := range types {
			for _, order := range ordersOf(typ) {
				if x, ok := t.Number(at, typ, order); ok {
					visit(at, typ, order, x)
				}
			}
		}
	}
}

func sorted(list []Guess) []Guess {
	slices.SortStableFunc(list, func(a, b Guess) int {
		return cmp.Or(cmp.Compare(a.doubt, b.doubt), cmp.Compare(a.Register, b.Register))
	})
	return list
}

// Fit says how well what stands at a place goes with guesses.
type Fit uint8

// The fits, the better the larger.
const (
	NoFit  Fit = iota
	Scaled     // under some scale; almost any integer does
	Fits       // as it stands
)

// FitOf is the best fit of the guesses that read this type and order at this address.
func FitOf(list []Guess, at int, typ modbus.Type, order modbus.Order) Fit {
	fit := NoFit
	for _, g := range list {
		if g.Register != at || g.Type != typ || g.Order != order {
			continue
		}
		if g.Scale == 1 {
			return Fits
		}
		fit = Scaled
	}
	return fit
}
