package signal

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Quantity is what a unit measures; only units of one quantity convert into each other.
type Quantity uint8

// The quantities. Inside, each has one unit: uS/cm, C, m3/h, m3, kPa.
const (
	NoQuantity   Quantity = iota
	Conductivity          // inside unit uS/cm
	Temperature           // inside unit C
	FlowRate              // inside unit m3/h
	Volume                // inside unit m3
	Pressure              // inside unit kPa
)

var quantityNames = [...]string{"number", "conductivity", "temperature", "flow", "volume", "pressure"}

func (q Quantity) String() string { return quantityNames[q] }

// Unit is a unit of measure. inside = value*factor + offset, or factor/value where reciprocal (resistivity).
type Unit struct {
	Symbol     string
	Quantity   Quantity
	factor     float64
	offset     float64
	reciprocal bool
}

// Litres in a US gallon and a cubic foot: exact definitions (231 cubic inches; 0.3048 m cubed), NIST SP 811 (2008) B.8.
const (
	litresPerGallon    = 3.785411784
	litresPerCubicFoot = 28.316846592
	kPaPerPsi          = 6.894757293168361 // from exact lbf and inch, NIST SP 811 B.8
	kPaPerFootOfWater  = 2.98906692        // conventional: 1000 kg/m3, standard gravity
)

// The inside units.
var (
	MicrosiemensPerCm = Unit{Symbol: "uS/cm", Quantity: Conductivity, factor: 1}
	Celsius           = Unit{Symbol: "C", Quantity: Temperature, factor: 1}
	CubicMetrePerHour = Unit{Symbol: "m3/h", Quantity: FlowRate, factor: 1}
	CubicMetre        = Unit{Symbol: "m3", Quantity: Volume, factor: 1}
	Kilopascal        = Unit{Symbol: "kPa", Quantity: Pressure, factor: 1}
)

// The units of the trade in the United States, and resistivity.
var (
	GallonPerMinute = Unit{Symbol: "gpm", Quantity: FlowRate, factor: litresPerGallon * 60 / 1000}
	Gallon          = Unit{Symbol: "gal", Quantity: Volume, factor: litresPerGallon / 1000}
	Fahrenheit      = Unit{Symbol: "F", Quantity: Temperature, factor: 5.0 / 9, offset: -32 * 5.0 / 9}
	Psi             = Unit{Symbol: "psi", Quantity: Pressure, factor: kPaPerPsi}
	MegohmCm        = Unit{Symbol: "MOhm.cm", Quantity: Conductivity, factor: 1, reciprocal: true}
)

var units = []Unit{
	MicrosiemensPerCm, Celsius, CubicMetrePerHour, CubicMetre, Kilopascal,
	GallonPerMinute, Gallon, Fahrenheit, Psi, MegohmCm,
	{Symbol: "umho/cm", Quantity: Conductivity, factor: 1},
	{Symbol: "mS/cm", Quantity: Conductivity, factor: 1000},
	{Symbol: "mS/m", Quantity: Conductivity, factor: 10},
	{Symbol: "S/m", Quantity: Conductivity, factor: 10000},
	{Symbol: "kOhm.cm", Quantity: Conductivity, factor: 1000, reciprocal: true},
	{Symbol: "K", Quantity: Temperature, factor: 1, offset: -273.15},
	{Symbol: "L/min", Quantity: FlowRate, factor: 0.06},
	{Symbol: "L/s", Quantity: FlowRate, factor: 3.6},
	{Symbol: "L/h", Quantity: FlowRate, factor: 0.001},
	{Symbol: "L", Quantity: Volume, factor: 0.001},
	{Symbol: "ft3", Quantity: Volume, factor: litresPerCubicFoot / 1000},
	{Symbol: "bar", Quantity: Pressure, factor: 100},
	{Symbol: "ftH2O", Quantity: Pressure, factor: kPaPerFootOfWater},
}

// ParseUnit finds a unit by its symbol. The Greek mu, the ohm sign and a degree sign are understood; case counts,
// since mS and MS are not the same.
func ParseUnit(symbol string) (Unit, bool) {
	s := strings.NewReplacer("\u00b5", "u", "\u03bc", "u", "\u2126", "Ohm", "\u03a9", "Ohm", "\u00b0", "", "\u00b3", "3", "\u00b7", ".").Replace(strings.TrimSpace(symbol))
	for _, u := range units {
		if u.Symbol == s {
			return u, true
		}
	}
	return Unit{}, false
}

// Units lists the symbols of one quantity, the inside unit first.
func Units(q Quantity) []string {
	var list []string
	for _, u := range units {
		if u.Quantity == q {
			list = append(list, u.Symbol)
		}
	}
	return list
}

// Inside converts a value in this unit to the inside unit of its quantity. A resistivity of zero gives +Inf.
func (u Unit) Inside(v float64) float64 {
	switch {
	case u.reciprocal:
		return u.factor / v
	case u.factor == 0:
		return v
	default:
		return v*u.factor + u.offset
	}
}

// From converts a value in the inside unit to this unit. A conductivity of zero gives +Inf as a resistivity.
func (u Unit) From(inside float64) float64 {
	switch {
	case u.reciprocal:
		return u.factor / inside
	case u.factor == 0:
		return inside
	default:
		return (inside - u.offset) / u.factor
	}
}

// ParseQuantity reads "1.0 uS/cm", "300 gpm" or a bare number in the inside unit of q, and gives the inside value.
func ParseQuantity(text string, q Quantity) (float64, error) {
	text = strings.TrimSpace(text)
	number, symbol, _ := strings.Cut(text, " ")
	if i := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("+-.0123456789eE", r) }); i > 0 && text[i] != ' ' {
		number, symbol = text[:i], text[i:]
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is not a number with a unit (such as 1.5 %s)", text, Units(q)[0])
	}
	symbol = strings.TrimSpace(symbol)
	if symbol == "" {
		return v, nil
	}
	u, ok := ParseUnit(symbol)
	if !ok || u.Quantity != q {
		return 0, fmt.Errorf("%q is not a unit of %s (use one of %s)", symbol, q, strings.Join(Units(q), ", "))
	}
	return u.Inside(v), nil
}
