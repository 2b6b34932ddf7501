package rules

import "time"

// What may be asked of the shadow, at any instant. Between two readings it says what holds if product has stayed as it
// was last read: up to the bridge, then nothing is taken for granted.

// WiredDelay is how long the wired delay has run by now; false where it stands at zero, has no power, or has run out.
func (s *State) WiredDelay(set *Settings) (Span, bool) {
	h := &s.Shadow
	if !h.running(s) {
		return Span{}, false
	}
	d := set.DelaySpan()
	return Span{Lo: min(s.Elapsed-h.began(s, set), d.Lo), Hi: min(s.Elapsed-h.Clean, d.Hi)}, true
}

// WiredBypass is how much of the wired bypass is left; false where none can run.
func (s *State) WiredBypass(set *Settings) (Span, bool) {
	h, b := &s.Shadow, set.BypassSpan()
	left := Span{Hi: h.PulseLast + b.Hi - s.Elapsed}
	if h.Pulse == No || left.Hi <= 0 {
		return Span{}, false
	}
	if h.Pulse == Sure {
		left.Lo = max(0, h.PulseFirst+b.Lo-s.Elapsed)
	}
	return left, true
}

// WiredDue is how soon the wired timer shuts the inlet if product stays off spec and nobody presses, from now; false
// where no stop approaches as far as can be known. "Shuts between 14:02 and 14:04" is made of it.
func (s *State) WiredDue(set *Settings) (Span, bool) {
	h := &s.Shadow
	if !h.running(s) {
		return Span{}, false
	}
	d, now := set.DelaySpan(), s.Elapsed
	due := Span{Lo: max(0, h.Clean+d.Lo-now), Hi: max(0, h.began(s, set)+d.Hi-now)}
	if left, ok := s.WiredBypass(set); ok {
		due.Lo, due.Hi = max(due.Lo, left.Lo), max(due.Hi, left.Hi)
	}
	return due, true
}

// running reports whether the wired delay may run and the water was not stopped yet.
func (h *Shadow) running(s *State) bool { return h.Begun && s.Powered && !h.Good && h.Trip != Sure }

// began is when the wired delay had begun for certain: now, if nobody can tell.
func (h *Shadow) began(s *State, set *Settings) time.Duration {
	if h.Off == Sure && s.Elapsed-h.Seen <= set.Profile.Bridge {
		return h.Last
	}
	return s.Elapsed
}

// WiredStop is the newest stop by the wired timer that is certain, in rule time, at the latest; false where it is not
// stopped for certain.
func (s *State) WiredStop() (time.Duration, bool) { return s.Shadow.Tripped, s.Shadow.Trip == Sure }

// BypassAsked reports whether the question "was BYPASS pressed?" is open, and since when in rule time.
func (s *State) BypassAsked() (time.Duration, bool) { return s.Shadow.Asked, s.Shadow.Asking }
