package alarm

import "time"

// State is one alarm's state; the zero State is normal.
type State struct {
	Phase     Phase         `json:"phase,omitzero"`     // as people see it
	Under     Phase         `json:"under,omitzero"`     // of the life cycle beneath shelving and out of service, else Phase
	Condition bool          `json:"condition,omitzero"` // as last offered
	Lowered   bool          `json:"lowered,omitzero"`   // a circumstance lowers it to its second priority
	Silenced  bool          `json:"silenced,omitzero"`  // somebody has silenced the horn for it
	Shelved   bool          `json:"shelved,omitzero"`   // until Until
	Out       bool          `json:"out,omitzero"`       // out of service
	Since     time.Duration `json:"since,omitzero"`     // rule time at which Condition last changed
	Raised    time.Duration `json:"raised,omitzero"`    // rule time at which the alarm last became active
	Until     time.Duration `json:"until,omitzero"`     // rule time at which the shelf gives it back
}

// Offer tells the alarm its condition and suppression at rule time now, and moves it where a delay has run out.
func (s *State) Offer(d *Definition, now time.Duration, condition, suppressed bool) {
	condition = condition && !d.Disabled
	if condition != s.Condition {
		s.Condition, s.Since = condition, now
	}
	switch {
	case suppressed:
		s.Under = Suppressed
	case s.Under == Suppressed:
		// The on-delay begins anew once the suppression ends.
		s.Under, s.Since = Normal, now
		s.settle(d, now)
	default:
		s.settle(d, now)
	}
	if s.Shelved && now >= s.Until {
		s.unshelve()
	}
	s.show()
}

// Lower says whether a circumstance lowers the alarm to its second priority. Seen at the lower one is not seen at the
// higher: once nothing lowers it any more it calls again.
func (s *State) Lower(lowered bool) {
	if s.Lowered && !lowered {
		s.Repeat()
	}
	s.Lowered = lowered
}

// Repeat makes an active alarm call again.
func (s *State) Repeat() {
	if s.Under.Active() {
		s.Under, s.Silenced = Unacknowledged, false
		s.show()
	}
}

// Priority is the priority that holds now.
func (s *State) Priority(d *Definition) Priority {
	if s.Lowered {
		return min(d.Second, d.Priority)
	}
	return d.Priority
}

// Sounds reports whether the horn should sound for the alarm: it calls, and nobody has silenced it.
func (s *State) Sounds() bool { return s.Phase.Calls() && !s.Silenced }

func (s *State) settle(d *Definition, now time.Duration) {
	due, waits := s.turn(d)
	if !waits || now < due {
		return
	}
	switch {
	case s.Condition:
		s.Under, s.Raised, s.Silenced = Unacknowledged, now, false
	case s.Under == Acknowledged && d.Latch:
		s.Under = LatchedAcknowledged
	case s.Under == Acknowledged:
		s.Under = Normal
	case d.Latch:
		s.Under = LatchedUnacknowledged
	default:
		s.Under = Returned
	}
}

// show derives what people see. An order of a person stands before suppression by design.
func (s *State) show() {
	switch {
	case s.Out:
		s.Phase = OutOfService
	case s.Shelved:
		s.Phase = Shelved
	default:
		s.Phase = s.Under
	}
}

// turn is the rule time at which a running on-delay or off-delay ends, and whether one runs.
func (s *State) turn(d *Definition) (time.Duration, bool) {
	switch {
	case s.Under == Suppressed:
		return 0, false
	case s.Condition && !s.Under.Active():
		return s.Since + d.delay(), true
	case !s.Condition && s.Under.Active():
		return s.Since + d.Off, true
	}
	return 0, false
}

// Due is the rule time at which the alarm moves by itself: the end of a delay, or of the time on the shelf.
func (s *State) Due(d *Definition) (time.Duration, bool) {
	at, waits := s.turn(d)
	if s.Shelved && (!waits || s.Until < at) {
		return s.Until, true
	}
	return at, waits
}
