package rules

import (
	"errors"
	"fmt"
	"math"
	"time"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// Settings are the numbers of the rule, agreed for one trailer and one customer.
type Settings struct {
	Endpoint   float64       // uS/cm; product at or above it is off spec; above 0
	ClearBand  float64       // uS/cm; on spec again only below endpoint - band; 0 to endpoint
	Delay      time.Duration // off spec for so long without a break: the inlet shuts; above 0
	Bypass     time.Duration // time that an accepted press gives; above 0
	ClearDelay time.Duration // good for so long before it counts as on spec; 0 = at once, as a relay timer
	KeepTrip   bool          // a trip outlives a loss of control power
	Resolution float64       // uS/cm; product, endpoint and band are compared as counts of it; above 0
	Alarms     alarm.Table   // on-delay, off-delay and priority of each alarm
	Users      [alarm.Users]User
	Setup      Setup   // how the trailer is set up
	Profile    Profile // how its wired panel behaves
}

// Defaults are the settings of a unit on which nothing else was agreed (common practice of the trade).
func Defaults() Settings {
	return Settings{
		Endpoint:   1.0,
		Delay:      10 * time.Minute,
		Bypass:     10 * time.Minute,
		Resolution: 0.001,
		Alarms:     alarm.Defaults(),
		Setup:      DefaultSetup(),
		Profile:    DefaultProfile(),
	}
}

// Fault is one setting that cannot be used, by its path in the unit file.
type Fault struct {
	Path string
	Err  error
}

// Check names every setting that the rule cannot work with.
func (s *Settings) Check() []Fault {
	var faults []Fault
	add := func(bad bool, path, what string, args ...any) {
		if bad {
			faults = append(faults, Fault{"off_spec." + path, fmt.Errorf(what, args...)})
		}
	}
	finite := func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
	add(!finite(s.Resolution) || s.Resolution <= 0, "resolution", "must be above 0 uS/cm")
	if faults != nil {
		return faults
	}
	high := signal.ProductConductivity.Info().High
	add(!finite(s.Endpoint) || s.Endpoint > high || signal.Counts(s.Endpoint, s.Resolution) < 1, "endpoint",
		"%g uS/cm is out of range: at least %g and at most %g uS/cm", s.Endpoint, s.Resolution, high)
	add(s.Delay <= 0, "delay", "%v must be longer than 0s", s.Delay)
	add(s.Bypass <= 0, "bypass", "%v must be longer than 0s", s.Bypass)
	add(s.ClearDelay < 0, "clear_delay", "%v must not be negative", s.ClearDelay)
	add(!finite(s.ClearBand) || s.ClearBand < 0, "clear_band", "%g uS/cm must not be negative", s.ClearBand)
	if faults == nil && signal.Counts(s.ClearBand, s.Resolution) >= signal.Counts(s.Endpoint, s.Resolution) {
		faults = append(faults, Fault{"off_spec.clear_band", errors.New("must be smaller than the endpoint, else no reading is ever on spec again")})
	}
	faults = append(faults, s.checkAlarms()...)
	faults = append(faults, s.Setup.check()...)
	return append(faults, s.Profile.check()...)
}
