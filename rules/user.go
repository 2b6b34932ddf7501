package rules

import (
	"fmt"
	"math"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// Test is what an alarm of the unit file asks of a signal.
type Test uint8

// The tests. All leave the limit itself alone: above 40 begins behind 40.
const (
	Above    Test = iota // clears at the limit less the deadband
	Below                // clears at the limit and the deadband
	NotEqual             // farther away than the deadband; clears at half of it
)

var testNames = [...]string{Above: "above", Below: "below", NotEqual: "not_equal"}

func (t Test) String() string { return testNames[t] }

// User is an alarm that the unit file defines: one test of one signal. Its name, message, priority and on-delay stand in
// the table of alarms, as limit and deadband do.
type User struct {
	Signal signal.ID
	Test   Test
}

// users are the alarms of the unit file; they stand in the table without a gap. A lost reading neither raises nor clears.
func (s *State) users(set *Settings, b *Bits) {
	for n := range set.Users {
		id := alarm.User(n)
		d := &set.Alarms[id]
		if d.Name == "" {
			return
		}
		u := &set.Users[n]
		if !s.reads(u.Signal) {
			b.set(id, s.stands(id))
			continue
		}
		b.set(id, s.test(u, d, s.stands(id)))
	}
}

// test compares the reading with the limit, behind the deadband where the condition stood.
func (s *State) test(u *User, d *alarm.Definition, stood bool) bool {
	band := 0.0
	if stood {
		band = d.Band
	}
	switch u.Test {
	case Above:
		return s.passes(u.Signal, d.Limit-band)
	case Below:
		return !s.reaches(u.Signal, d.Limit+band)
	}
	if band = d.Band; stood {
		band /= 2
	}
	return s.passes(u.Signal, d.Limit+band) || !s.reaches(u.Signal, d.Limit-band)
}

// checkAlarms names every setting of an alarm that the rule cannot work with.
func (s *Settings) checkAlarms() []Fault {
	var faults []Fault
	add := func(bad bool, path, what string, args ...any) {
		if bad {
			faults = append(faults, Fault{path, fmt.Errorf(what, args...)})
		}
	}
	number := func(v float64) bool { return math.Abs(v) <= math.MaxFloat64/4 }
	for i := range s.Alarms {
		d := &s.Alarms[i]
		path := "alarms." + d.Name + "."
		if _, user := alarm.ID(i).User(); user {
			if d.Name == "" {
				continue
			}
			path = "user_alarms." + d.Name + "."
		}
		add(d.On < 0, path+"on_delay", "%v must not be negative", d.On)
		add(d.Off < 0, path+"off_delay", "%v must not be negative", d.Off)
		add(d.Window && d.On == 0, path+"on_delay", "must be longer than 0s: it is the time in which is counted")
		add(!number(d.Limit), path+"limit", "must be a number")
		add(!number(d.Band) || d.Band < 0, path+"deadband", "must not be negative")
		add(d.High != 0 && !(d.High-d.Deadband() > d.Limit+d.Deadband()), path+"high_limit", "%g must be above the limit %g by more than twice the deadband", d.High, d.Limit)
		add(d.Measure == alarm.Times && (d.Limit < 1 || d.Limit > restartsKept || d.Limit != math.Trunc(d.Limit)), path+"limit", "must be a whole number from 1 to %d", restartsKept)
		add(d.Measure != alarm.NoLimit && d.Measure != alarm.Celsius && d.Limit < 0, path+"limit", "must not be negative")
		add(int(d.Priority) > int(alarm.High) || int(d.Second) > int(alarm.High), path+"priority", "must be low, medium or high")
	}
	return faults
}
