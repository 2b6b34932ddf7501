// Package alarm is the list of alarms and the life cycle of one of them after ANSI/ISA-18.2-2016 and IEC 62682:2022:
// on-delay, off-delay, acknowledge, return to normal, latching with reset, shelving, suppression by design and out of
// service, with exact deadlines.
//
// It guarantees that a phase changes only by its condition, a deadline or an order, and that the same inputs give the
// same phases however time is cut. It never decides what the condition is, and never makes a sentence.
package alarm

import (
	"strconv"
	"time"
)

// ID names an alarm of the rationalised list, or one that the unit file defines.
type ID uint8

// The alarms. The order is that of records and checkpoints: new ones go to the end of the listed ones.
const (
	OffSpec            ID = iota // off-spec water goes out, the delay runs
	StoppedOffSpec               // delay or bypass ran out
	BypassOn                     // off-spec water goes out in a bypass
	ControlPowerLost             // no control power: the inlet shuts
	ProductReadingLost           // quality unknown
	DidNotShut                   // the inlet did not shut when due
	DidNotOpen                   // the inlet did not open
	MovedUnasked                 // the inlet moved without a reason
	ReliefOpen                   // the relief is open while in service
	ReliefDidNotOpen             // the relief did not open when the inlet shut
	BypassQuestion               // not shut when due, and a press of the button may not have been seen
	Swapped                      // feed and product look swapped
	SettingsChanged              // the analyzer's settings differ from the commissioned ones
	TooLow                       // product reads too low to be water
	Frozen                       // the product reading does not move
	Hovering                     // the delay began anew again and again
	BypassRepeated               // several bypasses in a row
	FlowTooHigh                  // too much for one bank or one hose
	FlowTooLow                   // below what the meter can read
	FlowWhileShut                // flow with the inlet shut
	TotalsDisagree               // totalizer against the integral of the flow
	Temperature                  // water too cold or too hot
	FeedWorse                    // feed above the agreed limit
	ProductRising                // product has passed a part of the endpoint
	ExchangeDue                  // the forecast is below the lead time of an exchange
	ReliefRunning                // stopped, and the relief runs and runs
	OnBattery                    // the agent's own supply is gone
	StoreFull                    // the record cannot be kept

	listed
)

// How many alarms there are: those of the list, then room for those of the unit file.
const (
	Listed = int(listed)
	Users  = 32
	Count  = Listed + Users
)

// User is the ID of the alarm that the unit file defines as number n, 0 to Users-1.
func User(n int) ID { return ID(Listed + n) }

// User reports whether the alarm is one of the unit file's, and as which number.
func (id ID) User() (n int, ok bool) { return int(id) - Listed, int(id) >= Listed && int(id) < Count }

// Priority ranks alarms for people.
type Priority uint8

// The priorities.
const (
	Low Priority = iota
	Medium
	High
)

func (p Priority) String() string { return [...]string{"low", "medium", "high"}[p] }

// Measure says what an alarm's limit is a number of.
type Measure uint8

// The measures and their inside units.
const (
	NoLimit      Measure = iota
	Conductivity         // uS/cm
	FlowRate             // m3/h
	Celsius              // C
	Percent              // of something that the alarm names
	Times                // how often
	Hours                // h
)

// Definition is one row of the list.
type Definition struct {
	Row      string        // of the rationalised list, A01 to A27; "" where none asked for it
	Name     string        // "" = not in use
	Message  string        // of a user's alarm; the others have theirs in the phrase files
	Priority Priority      // as long as nothing lowers it
	Second   Priority      // while a circumstance of the list lowers it
	On, Off  time.Duration // on-delay and off-delay
	Window   bool          // On is the span in which the condition counts, and no delay
	Latch    bool          // stays after its condition cleared until somebody resets it
	Disabled bool          // never raised on this unit
	Measure  Measure       // of Limit
	Limit    float64       // where the condition begins; 0 = nothing agreed, the alarm stays silent
	High     float64       // upper limit where Limit is a lower one; 0 = none
	Band     float64       // deadband in the limit's measure ...
	Ratio    float64       // ... and as a part of the limit; the greater of the two counts
	Respond  time.Duration // how soon somebody should act
}

// Deadband is how far behind the limit the condition clears.
func (d *Definition) Deadband() float64 { return max(d.Band, d.Ratio*d.Limit) }

// delay is the on-delay of the life cycle.
func (d *Definition) delay() time.Duration {
	if d.Window {
		return 0
	}
	return d.On
}

// Table holds the definition of each alarm, by ID.
type Table [Count]Definition

var (
	names     = Defaults()
	userNames = func() (list [Users]string) {
		for i := range list {
			list[i] = "user-" + strconv.Itoa(i+1)
		}
		return list
	}()
)

// String is the alarm's name in events, orders and records. One that the unit file defines is known there by its place in
// that file, user-1 to user-32: the record must be readable without the file.
func (id ID) String() string {
	if int(id) < Listed {
		return names[id].Name
	}
	if n, ok := id.User(); ok {
		return userNames[n]
	}
	return "?"
}

// Parse finds an alarm by its name.
func Parse(name string) (ID, bool) {
	for i := range Count {
		if ID(i).String() == name {
			return ID(i), true
		}
	}
	return 0, false
}
