package instruments

import (
	"math"

	"github.com/simonvetter/modbus"

	"ionward/rules/signal"
	"ionward/simulate/plant"
)

// The unit ids. Any other answers exception 0B, as a gateway does for a device that is not there.
const (
	Analyzer  = 1
	FlowMeter = 2
	Contacts  = 3
)

// Registers of the analyzer: float32, high word first, as holding and as input registers.
const (
	FeedConductivity    = 0 // uS/cm at 25 C
	ProductConductivity = 2 // uS/cm at 25 C
	FeedTemperature     = 4 // C
	ProductTemperature  = 6 // C
)

// Registers of the flow meter, as holding and as input registers.
const (
	Flow       = 0 // float32, gpm
	Total      = 2 // float32, gal since the meter was new
	TotalWhole = 4 // unsigned 32 bit, high word first, whole gal
)

// contacts in the order of their addresses, from 0: discrete inputs and coils, and one to a register (0 or 1).
var contacts = [...]signal.ID{
	signal.ControlPower, signal.BypassButton, signal.BankA, signal.BankB, signal.InletOpen, signal.InletShut,
	signal.ReliefOpen, signal.RinseOpen, signal.ProductOutletOpen,
}

// ContactAddress is where a contact is read at unit id Contacts; false where the trailer has no such contact.
func ContactAddress(id signal.ID) (uint16, bool) {
	for i, c := range contacts {
		if c == id {
			return uint16(i), true
		}
	}
	return 0, false
}

// registers is the whole register table of a unit id at one instant. Analyzer and flow meter run on control power:
// without it nothing is there to answer, and while they warm up they are busy. The contacts are read by a device on
// the observer's own supply, else nobody could witness the loss.
func registers(unit uint8, t *plant.Truth) ([]uint16, error) {
	switch {
	case unit == Contacts:
		table := make([]uint16, len(contacts))
		for i, on := range bits(t) {
			if on {
				table[i] = 1
			}
		}
		return table, nil
	case unit != Analyzer && unit != FlowMeter, !t.Powered:
		return nil, modbus.ErrGWTargetFailedToRespond
	case !t.Answering:
		return nil, modbus.ErrServerDeviceBusy
	case unit == Analyzer:
		r := &t.Readings
		return words(float(r.FeedConductivity), float(r.ProductConductivity), float(r.FeedTemperature), float(r.ProductTemperature)), nil
	default:
		total := signal.Gallon.From(t.Volumes.Counted)
		// The whole counter rolls over as a counter does.
		return words(float(signal.GallonPerMinute.From(t.Readings.Flow)), float(total), uint32(uint64(total))), nil
	}
}

// bits are the contacts at one instant.
func bits(t *plant.Truth) []bool {
	table := make([]bool, len(contacts))
	for i, id := range contacts {
		table[i] = t.Signals[id].On()
	}
	return table
}

func float(v float64) uint32 { return math.Float32bits(float32(v)) }

// words lays 32-bit values out as registers, high word first.
func words(values ...uint32) []uint16 {
	table := make([]uint16, 0, 2*len(values))
	for _, v := range values {
		table = append(table, uint16(v>>16), uint16(v))
	}
	return table
}
