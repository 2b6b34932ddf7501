// Package alarm is the life cycle of one alarm after ANSI/ISA-18.2 and IEC 62682: on-delay, off-delay, acknowledge,
// return to normal, latching and suppression by design, with exact deadlines.
//
// It guarantees that a phase changes only by its condition, a deadline or an order, and that the same inputs give the
// same phases however time is cut. It never decides what the condition is, and never makes a sentence.
package alarm

import "time"

// ID names an alarm of the rationalised list.
type ID uint8

// The alarms that concern a stop of the water.
const (
	OffSpec            ID = iota // off-spec water goes out, the delay runs
	StoppedOffSpec               // delay or bypass ran out
	BypassOn                     // off-spec water goes out in a bypass
	ControlPowerLost             // no control power: the inlet shuts
	ProductReadingLost           // quality unknown

	Count int = iota // how many alarms there are
)

// Priority ranks alarms for people.
type Priority uint8

// The priorities.
const (
	Low Priority = iota
	Medium
	High
)

func (p Priority) String() string { return [...]string{"low", "medium", "high"}[p] }

// Definition is one row of the rationalised list.
type Definition struct {
	Name     string
	Priority Priority
	On, Off  time.Duration // on-delay and off-delay
	Latch    bool          // stays after its condition cleared until somebody resets it
}

// Table holds the definition of each alarm, by ID.
type Table [Count]Definition

// Defaults is the rationalised list as a unit comes (common practice of the trade).
func Defaults() Table {
	return Table{
		OffSpec:            {Name: "off-spec", Priority: High, On: 5 * time.Second, Off: 60 * time.Second},
		StoppedOffSpec:     {Name: "stopped-off-spec", Priority: High, Latch: true},
		BypassOn:           {Name: "bypass-on", Priority: Medium},
		ControlPowerLost:   {Name: "control-power-lost", Priority: High, On: 2 * time.Second, Off: 10 * time.Second},
		ProductReadingLost: {Name: "product-reading-lost", Priority: Medium, On: 30 * time.Second, Off: 30 * time.Second},
	}
}

var names = Defaults()

// String is the alarm's name in events and orders.
func (id ID) String() string {
	if int(id) < Count {
		return names[id].Name
	}
	return "?"
}

// Parse finds an alarm by its name.
func Parse(name string) (ID, bool) {
	for i := range names {
		if names[i].Name == name {
			return ID(i), true
		}
	}
	return 0, false
}
