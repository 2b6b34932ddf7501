package rules

import (
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// alarms offers every alarm its condition and records what changed.
func (s *State) alarms(set *Settings, out *Effects) {
	for i := range s.Alarms {
		id := alarm.ID(i)
		condition, suppressed := s.condition(id)
		a, d := &s.Alarms[i], &set.Alarms[i]
		was := a.Phase
		a.Offer(d, s.Elapsed, condition, suppressed)
		if a.Phase != was {
			out.Events = append(out.Events, Event{At: s.Elapsed, Kind: AlarmChange, Alarm: id, Was: was, Now: a.Phase, Priority: d.Priority, Reason: s.Reason})
		}
	}
}

// condition says whether an alarm's condition stands and whether the mode of the unit makes it meaningless.
func (s *State) condition(id alarm.ID) (condition, suppressed bool) {
	noPower := s.Mode == NoPower
	switch id {
	case alarm.OffSpec:
		return s.Powered && s.Off(), noPower || s.Mode == Shut
	case alarm.StoppedOffSpec:
		return s.Mode == Shut, noPower
	case alarm.BypassOn:
		return s.Mode == Bypass && s.Off(), noPower
	case alarm.ControlPowerLost:
		return noPower, false
	case alarm.ProductReadingLost:
		q := s.Signals[signal.ProductConductivity].Quality
		return q == signal.None || q == signal.Bad, noPower
	}
	return false, false
}
