package rules

import "time"

// Code says why something happened; the sentence is made from it by the phrase files.
type Code uint8

// The reasons of a change of mode, then those of a press.
const (
	NoReason             Code = iota
	OnSpec                    // Value below Limit
	OffSpec                   // Value at or above Limit
	BadReading                // a bad reading counts as off spec
	NoReadingYet              // no reading in the first scan with power: counts as off spec
	UncertainAtPowerBack      // uncertain in the first scan with power: counts as off spec
	EndpointHeld              // inside the clear band or uncertain: the class was kept
	OffSpecForDelay           // off spec for the whole delay For
	BypassEndedOffSpec        // the bypass For ended, the delay had run out
	BypassEndedInDelay        // the bypass ended, the delay still runs: Left
	BypassEndedOnSpec         // the bypass ended on good water
	PowerLost                 // control power went
	NoPowerAtStart            // the first scan had no control power
	TripKept                  // the trip outlived the loss of power
	PressAccepted             // gives For
	PressOnSpec               // no effect: on spec
	PressWhileRunning         // no effect: a bypass runs, Left
	PressWithoutPower         // no effect: no control power

	Codes int = iota // how many codes there are
)

var codeNames = [Codes]string{
	NoReason: "", OnSpec: "on_spec", OffSpec: "off_spec", BadReading: "bad_reading", NoReadingYet: "no_reading_yet",
	UncertainAtPowerBack: "uncertain_at_power_back", EndpointHeld: "class_held", OffSpecForDelay: "off_spec_for_delay",
	BypassEndedOffSpec: "bypass_ended_off_spec", BypassEndedInDelay: "bypass_ended_in_delay",
	BypassEndedOnSpec: "bypass_ended_on_spec", PowerLost: "power_lost", NoPowerAtStart: "no_power_at_start", TripKept: "trip_kept",
	PressAccepted: "press_accepted", PressOnSpec: "press_on_spec", PressWhileRunning: "press_while_running",
	PressWithoutPower: "press_without_power",
}

// String is the code as the phrase files know it.
func (c Code) String() string {
	if int(c) < Codes {
		return codeNames[c]
	}
	return "?"
}

// Reason is a code and the numbers its sentence needs; what a code does not use is zero.
type Reason struct {
	Code  Code          `json:"code"`
	Value float64       `json:"value"` // product, uS/cm
	Limit float64       `json:"limit"` // endpoint, uS/cm
	For   time.Duration `json:"for"`   // a whole delay or bypass
	Left  time.Duration `json:"left"`  // what still runs
}
