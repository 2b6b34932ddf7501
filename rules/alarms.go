package rules

import (
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// alarms offers every alarm its condition and records what changed. Where no condition has changed and no delay has run
// out there is nothing to do.
func (s *State) alarms(set *Settings, out *Effects) {
	conditions, suppressed := s.conditions()
	if offered := conditions | suppressed<<16; offered == s.Offered && (s.Due == 0 || s.Elapsed < s.Due) {
		return
	} else {
		s.Offered = offered
	}
	for i := range s.Alarms {
		a, d := &s.Alarms[i], &set.Alarms[i]
		was := a.Phase
		a.Offer(d, s.Elapsed, conditions>>i&1 != 0, suppressed>>i&1 != 0)
		if a.Phase != was {
			out.Events = append(out.Events, Event{
				At: s.Elapsed, Kind: AlarmChange, Alarm: alarm.ID(i), Was: was, Now: a.Phase, Priority: d.Priority, Reason: s.Reason,
			})
		}
	}
	s.schedule(set)
}

// schedule finds the next deadline of an alarm; 0 = none.
func (s *State) schedule(set *Settings) {
	s.Due = 0
	for i := range s.Alarms {
		if at, ok := s.Alarms[i].Due(&set.Alarms[i]); ok && (s.Due == 0 || at < s.Due) {
			s.Due = max(at, 1)
		}
	}
}

// conditions says, bit by alarm, which conditions stand and which the mode of the unit makes meaningless.
func (s *State) conditions() (conditions, suppressed uint32) {
	const (
		offSpec     = 1 << alarm.OffSpec
		stopped     = 1 << alarm.StoppedOffSpec
		bypassOn    = 1 << alarm.BypassOn
		powerLost   = 1 << alarm.ControlPowerLost
		readingLost = 1 << alarm.ProductReadingLost
	)
	if q := s.Signals[signal.ProductConductivity].Quality; q == signal.None || q == signal.Bad {
		conditions |= readingLost
	}
	if s.Powered && s.Off() {
		conditions |= offSpec
	}
	switch s.Mode {
	case NoPower:
		return conditions | powerLost, offSpec | stopped | bypassOn | readingLost
	case Shut:
		return conditions | stopped, offSpec
	case Bypass:
		if s.Off() {
			conditions |= bypassOn
		}
	}
	return conditions, 0
}
