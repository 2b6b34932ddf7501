// Package signal says what a reading is: which signal, its value, its quality and the cause of a poor quality.
//
// It guarantees that the list of signals is fixed and ordered, so that a set of readings is a plain array, and that
// the zero Reading means "no reading", never a number. It never converts a missing reading into a value, and it knows
// nothing of instruments, files or screens.
package signal

import "math"

// ID names one signal of the trailer. The order is fixed: it is the order of arrays of readings.
type ID uint8

// The signals of a trailer. Analog signals come first, contacts (0 or 1) after them.
const (
	FeedConductivity    ID = iota // uS/cm at 25 C
	ProductConductivity           // uS/cm at 25 C
	FeedTemperature               // C
	ProductTemperature            // C
	Flow                          // m3/h through the unit
	Total                         // m3, the flow meter's totalizer
	DownstreamFlow                // m3/h at a second meter downstream
	ControlPower                  // 1 = instruments, valves and rule are supplied
	BypassButton                  // 1 = held down
	BankA                         // 1 = bank A selected
	BankB                         // 1 = bank B selected
	InletOpen                     // 1 = limit switch: inlet valve fully open
	InletShut                     // 1 = limit switch: inlet valve fully shut
	ReliefOpen                    // 1 = relief (dump) valve open
	RinseOpen                     // 1 = rinse valve to drain open
	ProductOutletOpen             // 1 = product outlet valve open

	Count int = iota // how many signals there are
)

// Info describes a signal: how it is written, measured and judged unless a setting says otherwise.
type Info struct {
	Name       string
	Unit       Unit    // the inside unit; the zero Unit for contacts
	Contact    bool    // 0 or 1
	Resolution float64 // inside units; readings are rounded to whole counts of it
	Low, High  float64 // span, inside units: a value outside is bad
}

var infos = [Count]Info{
	FeedConductivity:    {Name: "feed_conductivity", Unit: MicrosiemensPerCm, Resolution: 0.001, Low: 0, High: 100000},
	ProductConductivity: {Name: "product_conductivity", Unit: MicrosiemensPerCm, Resolution: 0.001, Low: 0, High: 3000},
	FeedTemperature:     {Name: "feed_temperature", Unit: Celsius, Resolution: 0.001, Low: -50, High: 150},
	ProductTemperature:  {Name: "product_temperature", Unit: Celsius, Resolution: 0.001, Low: -50, High: 150},
	Flow:                {Name: "flow", Unit: CubicMetrePerHour, Resolution: 0.00001, Low: 0, High: 1000},
	Total:               {Name: "total", Unit: CubicMetre, Resolution: 0.0001, Low: 0, High: 1e9},
	DownstreamFlow:      {Name: "downstream_flow", Unit: CubicMetrePerHour, Resolution: 0.00001, Low: 0, High: 1000},
	ControlPower:        {Name: "control_power", Contact: true, Resolution: 1, High: 1},
	BypassButton:        {Name: "bypass_button", Contact: true, Resolution: 1, High: 1},
	BankA:               {Name: "bank_a", Contact: true, Resolution: 1, High: 1},
	BankB:               {Name: "bank_b", Contact: true, Resolution: 1, High: 1},
	InletOpen:           {Name: "inlet_open", Contact: true, Resolution: 1, High: 1},
	InletShut:           {Name: "inlet_shut", Contact: true, Resolution: 1, High: 1},
	ReliefOpen:          {Name: "relief_open", Contact: true, Resolution: 1, High: 1},
	RinseOpen:           {Name: "rinse_open", Contact: true, Resolution: 1, High: 1},
	ProductOutletOpen:   {Name: "product_outlet_open", Contact: true, Resolution: 1, High: 1},
}

// Info returns the description of a signal. An ID out of range gives the zero Info.
func (id ID) Info() Info {
	if int(id) >= Count {
		return Info{}
	}
	return infos[id]
}

// String is the name used in traces, unit files and topics.
func (id ID) String() string { return id.Info().Name }

// Contact reports whether the signal is a contact (0 or 1) and not an analog.
func (id ID) Contact() bool { return id >= ControlPower && int(id) < Count }

// Parse finds a signal by its name.
func Parse(name string) (ID, bool) {
	for i := range infos {
		if infos[i].Name == name {
			return ID(i), true
		}
	}
	return 0, false
}

// Names lists the signals in their fixed order.
func Names() []string {
	names := make([]string, Count)
	for i := range infos {
		names[i] = infos[i].Name
	}
	return names
}

// Quality says how far a reading may be trusted.
type Quality uint8

// The qualities. None is the zero value: nobody could ask, there is no reading.
const (
	None Quality = iota
	Good
	Uncertain
	Bad
)

var qualityNames = [...]string{None: "none", Good: "good", Uncertain: "uncertain", Bad: "bad"}

func (q Quality) String() string {
	if int(q) < len(qualityNames) {
		return qualityNames[q]
	}
	return "?"
}

// ParseQuality reads good, uncertain, bad or none.
func ParseQuality(s string) (Quality, bool) {
	for i, name := range qualityNames {
		if name == s {
			return Quality(i), true
		}
	}
	return None, false
}

// Cause says why a reading is missing, bad or uncertain.
type Cause uint8

// The causes. The first group means "no reading", the second "bad", the last "uncertain".
const (
	NoCause      Cause = iota
	NotPolled          // nothing configured, or not due
	TimedOut           // the instrument did not answer in time
	LinkDown           // no connection
	BrokenFrame        // an answer that cannot be trusted
	Busy               // exception 05, 06, 0A or 0B
	Refused            // exception 01 to 04 or 08
	NotANumber         // NaN, infinite or subnormal
	Negative           // below zero where that cannot be
	OutOfSpan          // outside the span of the signal
	Implausible        // inside the span, yet no water reads so
	Sentinel           // the instrument's own code for "no sensor"
	FailureLevel       // NAMUR NE 43 failure current
	Damaged            // a recorded cell that cannot be parsed
	Reported           // the instrument or the record says so
)

var causeNames = [...]string{
	NoCause: "", NotPolled: "not_polled", TimedOut: "timeout", LinkDown: "link_down", BrokenFrame: "broken_frame", Busy: "busy",
	Refused: "refused", NotANumber: "not_a_number", Negative: "negative", OutOfSpan: "out_of_span", Implausible: "implausible",
	Sentinel: "sentinel", FailureLevel: "failure_level", Damaged: "damaged", Reported: "reported",
}

// String is the cause's code; the sentence for people is made from it by the phrase files.
func (c Cause) String() string {
	if int(c) < len(causeNames) {
		return causeNames[c]
	}
	return "?"
}

// Reading is one value of one signal. The zero Reading is "no reading".
type Reading struct {
	Value   float64 // inside units, a whole number of counts of the signal's resolution
	Quality Quality
	Cause   Cause
}

// On reports whether a contact reads 1.
func (r Reading) On() bool { return r.Usable() && r.Value != 0 }

// Usable reports whether the value may be used as a number: good or uncertain.
func (r Reading) Usable() bool { return r.Quality == Good || r.Quality == Uncertain }

// Judge makes a reading of a signal from a raw value in inside units and the quality that came with it: a value that is
// not a number, negative where the span begins at zero, or out of the span [low, high] is bad; any other is rounded to
// the resolution (inside units, above zero). A bad reading keeps no number.
func Judge(value float64, q Quality, low, high, resolution float64) Reading {
	switch {
	case q == None:
		return Reading{}
	case q == Bad:
		return Reading{Quality: Bad, Cause: Reported}
	case math.IsNaN(value) || math.IsInf(value, 0):
		return Reading{Quality: Bad, Cause: NotANumber}
	case value < 0 && low >= 0:
		return Reading{Quality: Bad, Cause: Negative}
	case value < low || value > high:
		return Reading{Quality: Bad, Cause: OutOfSpan}
	}
	r := Reading{Value: Round(value, resolution), Quality: q}
	if q == Uncertain {
		r.Cause = Reported
	}
	return r
}

// Default judges a value by the signal's own span and resolution.
func (id ID) Default(value float64, q Quality) Reading {
	i := &infos[id]
	return Judge(value, q, i.Low, i.High, i.Resolution)
}

// Set is one reading of every signal, indexed by ID.
type Set [Count]Reading
