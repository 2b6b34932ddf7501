package rules

import (
	"time"

	"ionward/rules/signal"
)

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

	// The reasons of an alarm, and of advice on how the trailer is set up. Value and Limit are of Code.Quantity.
	ConstantsDiffer    // of the analyzer, from the commissioned ones
	ProductAboveFeed   // product Value, feed Limit
	ReadingTooLow      // product Value below Limit
	ReadingFrozen      // product Value for For
	DelayRestarted     // Value times in For
	BypassesInARow     // Value
	FlowAboveOneBank   // flow Value above Limit, one bank selected
	FlowAboveOneHose   // flow Value above Limit, one hose on each side
	FlowBelowMeter     // flow Value below Limit
	FlowWithInletShut  // flow Value
	TotalsDiffer       // totalizer counted Value, the flow gives Limit, in For
	WaterTooCold       // Value below Limit
	WaterTooHot        // Value above Limit
	FeedAboveAgreed    // feed Value above Limit
	ProductAbovePart   // product Value at or above Limit, a part of the endpoint
	ExchangeNear       // Left until the beds are exhausted, an exchange takes For
	ReliefRuns         // for For
	SupplyLost         // the agent runs on its battery
	RecordAtRisk       // the store is full or failing
	UserConductivity   // an alarm of the unit file: Value, Limit
	UserTemperature    //
	UserFlow           //
	UserVolume         //
	UserContact        //
	ShelfOver          // the time on the shelf is over
	ShelfTime          // no effect: the time to shelve must be given, at most For
	BedStood           // a bed stood for For; it is worse for another Left
	PowerCycledShut    // control power was cut and came back while stopped: a whole delay anew
	EndpointNear       // product Value within a tenth of the endpoint Limit
	FlowNeedsTwoHoses  // flow Value above Limit, the number of hoses is not recorded
	FlowNeedsNextMeter // flow Value below Limit and no second meter
	ReadingJumped      // a step between two readings that no water makes
	InstrumentChecked  // somebody works on the instrument

	Codes int = iota // how many codes there are
)

var codeNames = [Codes]string{
	NoReason: "", OnSpec: "on_spec", OffSpec: "off_spec", BadReading: "bad_reading", NoReadingYet: "no_reading_yet",
	UncertainAtPowerBack: "uncertain_at_power_back", EndpointHeld: "class_held", OffSpecForDelay: "off_spec_for_delay",
	BypassEndedOffSpec: "bypass_ended_off_spec", BypassEndedInDelay: "bypass_ended_in_delay",
	BypassEndedOnSpec: "bypass_ended_on_spec", PowerLost: "power_lost", NoPowerAtStart: "no_power_at_start", TripKept: "trip_kept",
	PressAccepted: "press_accepted", PressOnSpec: "press_on_spec", PressWhileRunning: "press_while_running",
	PressWithoutPower: "press_without_power",

	ConstantsDiffer: "constants_differ", ProductAboveFeed: "product_above_feed", ReadingTooLow: "reading_too_low",
	ReadingFrozen: "reading_frozen", DelayRestarted: "delay_restarted", BypassesInARow: "bypasses_in_a_row",
	FlowAboveOneBank: "flow_above_one_bank", FlowAboveOneHose: "flow_above_one_hose", FlowBelowMeter: "flow_below_meter",
	FlowWithInletShut: "flow_with_inlet_shut", TotalsDiffer: "totals_differ", WaterTooCold: "water_too_cold",
	WaterTooHot: "water_too_hot", FeedAboveAgreed: "feed_above_agreed", ProductAbovePart: "product_above_part",
	ExchangeNear: "exchange_near", ReliefRuns: "relief_runs", SupplyLost: "supply_lost", RecordAtRisk: "record_at_risk",
	UserConductivity: "user_conductivity", UserTemperature: "user_temperature", UserFlow: "user_flow",
	UserVolume: "user_volume", UserContact: "user_contact", ShelfOver: "shelf_over", ShelfTime: "shelf_time",
	BedStood: "bed_stood", PowerCycledShut: "power_cycled_shut", EndpointNear: "endpoint_near",
	FlowNeedsTwoHoses: "flow_needs_two_hoses", FlowNeedsNextMeter: "flow_needs_next_meter",
	ReadingJumped: "reading_jumped", InstrumentChecked: "instrument_checked",
}

// String is the code as the phrase files know it.
func (c Code) String() string {
	if int(c) < Codes {
		return codeNames[c]
	}
	return "?"
}

// Quantity is what a code's Value and Limit are numbers of; NoQuantity for plain numbers and for none.
func (c Code) Quantity() signal.Quantity {
	switch c {
	case FlowAboveOneBank, FlowAboveOneHose, FlowBelowMeter, FlowWithInletShut, UserFlow, FlowNeedsTwoHoses, FlowNeedsNextMeter:
		return signal.FlowRate
	case TotalsDiffer, UserVolume:
		return signal.Volume
	case WaterTooCold, WaterTooHot, UserTemperature:
		return signal.Temperature
	case DelayRestarted, BypassesInARow, UserContact:
		return signal.NoQuantity
	}
	return signal.Conductivity
}

// Reason is a code and the numbers its sentence needs; what a code does not use is zero.
type Reason struct {
	Code  Code          `json:"code"`
	Value float64       `json:"value"` // product, uS/cm, unless the code says otherwise
	Limit float64       `json:"limit"` // endpoint, uS/cm, unless the code says otherwise
	For   time.Duration `json:"for"`   // a whole delay or bypass
	Left  time.Duration `json:"left"`  // what still runs
}
