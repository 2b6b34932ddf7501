package alarm

import "time"

// Phase is where an alarm stands in its life cycle.
type Phase uint8

// The phases, named after ANSI/ISA-18.2-2016 and IEC 62682:2022.
const (
	Normal                Phase = iota
	Unacknowledged              // active, nobody has acknowledged
	Acknowledged                // active, acknowledged
	Returned                    // returned to normal, not yet acknowledged
	LatchedUnacknowledged       // condition gone, latched, not yet acknowledged
	LatchedAcknowledged         // condition gone, latched, acknowledged: waits for a reset
	Suppressed                  // suppressed by design: the mode of the unit makes it meaningless
)

var phaseNames = [...]string{
	Normal: "normal", Unacknowledged: "unacknowledged", Acknowledged: "acknowledged", Returned: "returned",
	LatchedUnacknowledged: "latched-unacknowledged", LatchedAcknowledged: "latched-acknowledged", Suppressed: "suppressed",
}

func (p Phase) String() string {
	if int(p) < len(phaseNames) {
		return phaseNames[p]
	}
	return "?"
}

// Active reports whether the alarm's condition stands (after its delays).
func (p Phase) Active() bool { return p == Unacknowledged || p == Acknowledged }

// Calls reports whether the alarm still wants somebody to acknowledge it.
func (p Phase) Calls() bool {
	return p == Unacknowledged || p == Returned || p == LatchedUnacknowledged
}

// State is one alarm's state; the zero State is normal.
type State struct {
	Phase     Phase         `json:"phase"`
	Condition bool          `json:"condition"` // as last offered
	Since     time.Duration `json:"since"`     // rule time at which Condition last changed
	Raised    time.Duration `json:"raised"`    // rule time at which the alarm last became active
}

// Offer tells the alarm its condition and suppression at rule time now, and moves it where a delay has run out.
func (s *State) Offer(d *Definition, now time.Duration, condition, suppressed bool) {
	if condition != s.Condition {
		s.Condition, s.Since = condition, now
	}
	switch {
	case suppressed:
		s.Phase = Suppressed
	case s.Phase == Suppressed:
		// The on-delay begins anew once the suppression ends.
		s.Phase, s.Since = Normal, now
		s.settle(d, now)
	default:
		s.settle(d, now)
	}
}

func (s *State) settle(d *Definition, now time.Duration) {
	due, waits := s.Due(d)
	if !waits || now < due {
		return
	}
	switch {
	case s.Condition:
		s.Phase, s.Raised = Unacknowledged, now
	case s.Phase == Acknowledged && d.Latch:
		s.Phase = LatchedAcknowledged
	case s.Phase == Acknowledged:
		s.Phase = Normal
	case d.Latch:
		s.Phase = LatchedUnacknowledged
	default:
		s.Phase = Returned
	}
}

// Due is the rule time at which a running on-delay or off-delay ends, and whether one runs.
func (s *State) Due(d *Definition) (time.Duration, bool) {
	switch {
	case s.Phase == Suppressed:
		return 0, false
	case s.Condition && !s.Phase.Active():
		return s.Since + d.On, true
	case !s.Condition && s.Phase.Active():
		return s.Since + d.Off, true
	}
	return 0, false
}

// Acknowledge records that somebody has seen the alarm; false where there was nothing to acknowledge.
func (s *State) Acknowledge() bool {
	switch s.Phase {
	case Unacknowledged:
		s.Phase = Acknowledged
	case Returned:
		s.Phase = Normal
	case LatchedUnacknowledged:
		s.Phase = LatchedAcknowledged
	default:
		return false
	}
	return true
}

// Reset releases a latched, acknowledged alarm; false where there was nothing to reset.
func (s *State) Reset() bool {
	if s.Phase != LatchedAcknowledged {
		return false
	}
	s.Phase = Normal
	return true
}
