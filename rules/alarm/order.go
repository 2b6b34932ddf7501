package alarm

import "time"

// ShelfLimit is the longest time that an alarm may be shelved: a shift, so that nobody inherits a silent alarm.
const ShelfLimit = 8 * time.Hour

// What follows is what a person may order. Each reports whether it had an effect.

// Acknowledge records that somebody has seen the alarm.
func (s *State) Acknowledge() bool {
	if s.Phase != s.Under || !s.Phase.Calls() {
		return false
	}
	switch s.Under {
	case Unacknowledged:
		s.Under = Acknowledged
	case Returned:
		s.Under = Normal
	default:
		s.Under = LatchedAcknowledged
	}
	s.show()
	return true
}

// Reset releases a latched, acknowledged alarm.
func (s *State) Reset() bool {
	if s.Phase != LatchedAcknowledged {
		return false
	}
	s.Under = Normal
	s.show()
	return true
}

// Silence stops the horn for the alarm; it goes on calling. The next time it is raised the horn sounds again.
func (s *State) Silence() bool {
	if !s.Sounds() {
		return false
	}
	s.Silenced = true
	return true
}

// Shelve puts the alarm aside until d from now; above 0 and at most ShelfLimit. Shelving a shelved one sets its time anew.
func (s *State) Shelve(now, d time.Duration) bool {
	if s.Out || d <= 0 || d > ShelfLimit {
		return false
	}
	s.Shelved, s.Until = true, now+d
	s.show()
	return true
}

// Unshelve gives a shelved alarm back before its time.
func (s *State) Unshelve() bool {
	if !s.Shelved {
		return false
	}
	s.unshelve()
	s.show()
	return true
}

// unshelve gives the alarm back: one that stands calls again, one that came and went is forgotten unless it is latched.
func (s *State) unshelve() {
	s.Shelved, s.Until = false, 0
	switch s.Under {
	case Acknowledged:
		s.Under, s.Silenced = Unacknowledged, false
	case Returned:
		s.Under = Normal
	}
}

// TakeOut takes the alarm out of service until PutBack. It leaves the shelf by that.
func (s *State) TakeOut() bool {
	if s.Out {
		return false
	}
	s.Out, s.Shelved, s.Until = true, false, 0
	s.show()
	return true
}

// PutBack puts the alarm into service; its on-delay begins anew at rule time now.
func (s *State) PutBack(now time.Duration) bool {
	if !s.Out {
		return false
	}
	s.Out = false
	if s.Under != Suppressed {
		s.Under, s.Since = Normal, now
	}
	s.show()
	return true
}
