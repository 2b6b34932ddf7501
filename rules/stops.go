package rules

import (
	"time"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// bypassEnding is when the alarm of a bypass calls again: what is left of it then.
const bypassEnding = 2 * time.Minute

// stops are the alarms about water that stops, or that goes out off spec.
func (s *State) stops(set *Settings, b *Bits) {
	const (
		offSpec     = 1 << alarm.OffSpec
		stopped     = 1 << alarm.StoppedOffSpec
		bypassOn    = 1 << alarm.BypassOn
		powerLost   = 1 << alarm.ControlPowerLost
		readingLost = 1 << alarm.ProductReadingLost
		relief      = 1 << alarm.ReliefRunning
	)
	b.set(alarm.ProductReadingLost, !s.reads(signal.ProductConductivity))
	b.set(alarm.OffSpec, s.Powered && s.Off())
	switch s.Mode {
	case NoPower:
		b.On |= powerLost
		b.Quiet |= offSpec | stopped | bypassOn | readingLost | relief
	case Shut:
		b.On |= stopped
		b.Quiet |= offSpec
		// Where a contact says that the relief is not open, that is another alarm.
		b.set(alarm.ReliefRunning, !s.shows(signal.ReliefOpen, false))
	case Bypass:
		b.set(alarm.BypassOn, s.Off())
		if left, running := s.Bypass.Left(set.Bypass); running && s.Off() && !s.until(s.Elapsed+left-bypassEnding) {
			b.Again |= bypassOn
		}
	}
	// Off-spec water that goes to the drain is no more than a rinse, but only where the outlet is seen shut.
	if s.shows(signal.RinseOpen, true) && s.shows(signal.ProductOutletOpen, false) {
		b.Lowered |= offSpec | bypassOn
	}
	// The user's tank carries him for so long; once it may be empty, the stop is as grave as without one.
	if s.Watch.Storage > 0 && (!s.stopped() || s.until(s.Watch.Dry+s.Watch.Storage)) {
		b.Lowered |= stopped | powerLost
	}
}

// follow brings the memory of the alarms up to date with what has happened since the last look.
func (s *State) follow(set *Settings) {
	w := &s.Watch
	if !w.Began {
		w.Beds[0].Since, w.Beds[1].Since, w.Dry, w.Moved = s.Elapsed, s.Elapsed, s.Elapsed, s.Elapsed
	} else {
		s.followMode()
	}
	w.Delays.follow(s.Elapsed, s.Powered && s.Off(), s.Mode)
	w.Began, w.Mode, w.Off = true, s.Mode, s.Off()
	s.followBeds(set)
	s.followTotals(set)
}

// followMode remembers since when there is no water, and power that was cut while the inlet was held shut: cycling the
// breaker buys a whole delay of off-spec water.
func (s *State) followMode() {
	w := &s.Watch
	if w.Mode == s.Mode {
		return
	}
	if s.stopped() && w.Mode != Shut && w.Mode != NoPower {
		w.Dry = s.Elapsed
	}
	switch {
	case s.Mode == NoPower:
		w.CutShut = w.Mode == Shut
	case w.Mode == NoPower && w.CutShut && s.Mode != Shut:
		w.CutShut, w.Cycled, w.CycledAt = false, true, s.Elapsed
	}
	if s.Mode == Service {
		w.Cycled = false
	}
}
