package rules

import "ionward/rules/alarm"

// shadowConditions are the alarms about the wired timer and its valves, bit by alarm: which conditions stand, and which
// are suppressed by design. They change with scans and answers only, never with time alone.
func (s *State) shadowConditions(*Settings) (conditions, suppressed uint64) {
	switch s.Mode {
	case NoPower:
		suppressed = 1<<alarm.DidNotOpen | 1<<alarm.ReliefOpen | 1<<alarm.ReliefDidNotOpen
	case Shut:
		suppressed = 1 << alarm.DidNotOpen
	}
	return s.Shadow.Conditions, suppressed
}

// answer takes in what a person says to the question whether the bypass button was pressed; false where nothing was
// asked.
func (s *State) answer(set *Settings, o *Order) bool {
	const asks = 1<<alarm.DidNotShut | 1<<alarm.BypassQuestion
	h := &s.Shadow
	if 1<<o.Alarm&asks == 0 || h.Conditions&asks == 0 || h.Trip != Sure {
		return false
	}
	if o.Verb == AnswerNo {
		h.Reply = ReplyNo
		s.overdue(set)
		return true
	}
	// Nobody says when: at any time since the delay began, and now at the latest.
	h.Pulse, h.PulseFirst, h.PulseLast = Maybe, h.Clean, s.Elapsed
	h.Trip, h.Asking, h.Reply = No, false, ReplyYes
	s.expect(set)
	return true
}
