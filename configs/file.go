package configs

import (
	"time"

	"ionward/rules"
	"ionward/rules/signal"
)

// Purpose says what a unit file is wanted for, and with it what may be left out.
type Purpose uint8

// The purposes.
const (
	ForRule Purpose = iota // replay: the rule alone will do; everything else may be absent, but not wrong
	ForRun                 // run and check: a trailer and an instrument that reads product_conductivity are needed
)

// File is a unit file with its overrides, resolved: defaults filled in, quantities in inside units.
type File struct {
	Name     string // as given to Load; "" without a file
	Trailer  string // id, used in topics and keys
	Language string // of the screen and of messages: en
	Units    string // what people read: us (gpm, gal, F) or metric (m3/h, m3, C)

	Rule     rules.Settings
	AgreedBy string // who agreed the endpoint; "" = nobody yet

	Phones      Phones
	Instruments []Instrument // in file order
	Journal     Journal
	MQTT        MQTT
	Screen      Screen
	Metrics     Metrics
	Registers   Registers

	Warnings []Fault // what works, but should be looked at; in file order
}

// Phones are the numbers that the steps on the screen name; "" = not known.
type Phones struct {
	Service     string
	ControlRoom string
	WaterUser   string
}

// Instrument is one Modbus server and the signals it holds.
type Instrument struct {
	Name          string
	Address       Address
	UnitID        uint8         // 0 to 255 on TCP, 1 to 247 on a serial line
	Every         time.Duration // between two polls; 10ms to 10m
	Timeout       time.Duration // for one request; 10ms to 1m
	WordOrder     string        // ABCD, CDAB, BADC or DCBA: how values of several bytes travel
	MaxRegisters  int           // most in one request, 1 to 125
	WarmUp        time.Duration // what it measures is no reading for so long after it was lost; 0 to 1h
	HoldOff       HoldOff
	Signals       []Signal      // in file order
	SettingsEvery time.Duration // between two looks at Settings; 10s to 24h
	Settings      []Setting     // of the instrument's own, in file order
}

// HoldOff says when a link that comes and goes is not believed any more. No Losses = never.
type HoldOff struct {
	Losses int           // so many, 0 to 100
	Within time.Duration // in so long a time
	Steady time.Duration // it is believed again after it has answered for so long
}

// Setting is a register with a setting of the instrument itself and what it was commissioned with:
// |raw number * Scale + Offset - Value| <= Tolerance.
type Setting struct {
	Name          string
	Register      uint16 // address as sent, the first is 0
	Kind          string // holding, input, coil or discrete
	Type          string // as of a Signal
	Bit           uint8  // as of a Signal
	Scale, Offset float64
	Value         float64 // the commissioned number
	Tolerance     float64
}

// Signal says where a signal stands in an instrument and what its number means:
// value in Unit = raw number * Scale + Offset, sound if Low <= value <= High in the inside unit.
type Signal struct {
	ID        signal.ID
	Register  uint16 // address as sent, the first is 0; of a coil or discrete input too
	Kind      string // holding, input, coil or discrete
	Type      string // u16 i16 u32 i32 f32 u64 i64 f64, or bit
	Bit       uint8  // for type bit in a register: which one, 0 to 15
	Scale     float64
	Offset    float64
	Unit      signal.Unit // of the scaled number; the zero Unit for contacts
	Sentinels []uint64    // raw bit patterns, in the width of the type, that mean "no value"
	Low, High float64     // plausible span, inside unit, limits included
	Current   *Current    // the scaled number is a loop current in mA; nil = it is the value
	Pulse     *Pulse      // the raw number counts a meter's pulses; nil = it does not
}

// Current says what a loop current of 4 to 20 mA means, in the signal's Unit.
type Current struct {
	From float64 // the value at 4 mA
	To   float64 // the value at 20 mA
}

// Pulse says what a pulse counter counts.
type Pulse struct {
	K       float64       // pulses in one Per
	Per     signal.Unit   // a unit of volume
	Modulus float64       // the counter begins anew at it; 0 = where its type ends
	Most    float64       // m3/h, the largest flow there can be; above 0
	Window  time.Duration // flow is the mean over so long
}

// Words is the number of registers that the signal fills: 1, 2 or 4 (1 too for a coil or discrete input).
func (s *Signal) Words() int {
	switch s.Type {
	case "u32", "i32", "f32":
		return 2
	case "u64", "i64", "f64":
		return 4
	}
	return 1
}

// Bits reports whether the signal stands in a table of single bits.
func (s *Signal) Bits() bool { return s.Kind == "coil" || s.Kind == "discrete" }

// Journal is where the record lives.
type Journal struct {
	Folder string // made when missing; "" without a file
	Quota  int64  // bytes
}

// MQTT is the broker to publish to.
type MQTT struct {
	Broker       Broker // the zero Broker: no MQTT
	Prefix       string // first levels of every topic
	ClientID     string
	CA           string // PEM file of the authorities to trust; "" = those of the system
	Cert, Key    string // PEM files of the client's certificate; both or none
	User         string
	PasswordFile string // its content without the line end is the password
}

// Broker is the address of an MQTT broker.
type Broker struct {
	Host string // host:port; "" = none
	TLS  bool   // mqtts://
}

// On reports whether there is a broker at all.
func (b Broker) On() bool { return b.Host != "" }

// String is the address as a URL, or "".
func (b Broker) String() string {
	switch {
	case !b.On():
		return ""
	case b.TLS:
		return "mqtts://" + b.Host
	default:
		return "mqtt://" + b.Host
	}
}

// Screen is the operator screen.
type Screen struct {
	Listen      string  // host:port; "" = off
	BypassLabel string  // the word engraved at the button on the wired panel
	Density     float64 // pixels per inch, 50 to 600: turns millimetres into pixels
}

// Metrics is the page for Prometheus.
type Metrics struct {
	Listen string // host:port, the screen's when they share a server; "" = off
}

// Registers is the read-only Modbus server for a control system.
type Registers struct {
	Listen string // host:port; "" = off
}
