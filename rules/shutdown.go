package rules

import (
	"time"

	"ionward/rules/signal"
)

// power follows the control power contact. A contact that was never read counts as power: the rule must not call a
// unit dead because nobody wired the contact.
func (s *State) power(set *Settings) {
	p := &s.Signals[signal.ControlPower]
	on := !p.Known || p.Value != 0
	if on == s.Powered {
		return
	}
	s.Powered = on
	// Relays have no memory: power back begins with fresh timers, and nothing is classified without power.
	s.Class, s.Why = Unclassified, NoReason
	s.Clear, s.Delay, s.Bypass = TOF{}, TON{}, TP{}
	if !on {
		s.PowerLosses++
		s.Tripped = s.Tripped && set.KeepTrip
	}
}

// classify says what the product reading counts as. first is the first scan with power, in which there is no last class.
func (s *State) classify(set *Settings, first bool) {
	h := &s.Signals[signal.ProductConductivity]
	switch h.Quality {
	case signal.Bad:
		s.Class, s.Why = ClassOff, BadReading
		return
	case signal.None:
		if first {
			s.Class, s.Why = ClassOff, NoReadingYet
		}
		return
	}
	l := s.limit(set)
	value := signal.Counts(h.Value, set.Resolution)
	switch {
	case value >= l.End:
		s.Class, s.Why = ClassOff, OffSpec
	case h.Quality == signal.Good && value < l.Clear:
		s.Class, s.Why = ClassOn, OnSpec
	case first && h.Quality == signal.Uncertain:
		s.Class, s.Why = ClassOff, UncertainAtPowerBack
	case first:
		s.Class, s.Why = ClassOff, EndpointHeld
	}
}

// press reports a rising edge of the bypass button. It holds its last position while unread.
func (s *State) press() bool {
	h := &s.Signals[signal.BypassButton]
	if h.Quality != signal.Good && h.Quality != signal.Uncertain {
		return false
	}
	was := s.Button
	s.Button = ButtonReleased
	if h.Value != 0 {
		s.Button = ButtonHeld
	}
	return was == ButtonReleased && s.Button == ButtonHeld
}

// offer decides a press: accepted while off spec or stopped, with power, when no bypass runs.
func (s *State) offer(set *Settings, out *Effects) Code {
	s.Presses++
	e := Event{At: s.Elapsed, Kind: Press}
	switch {
	case !s.Powered:
		e.Reason.Code = PressWithoutPower
	case s.Bypass.Q():
		e.Reason.Code = PressWhileRunning
		e.Reason.Left, _ = s.Bypass.Left(set.Bypass)
	case !s.Off() && !s.Tripped:
		e.Reason.Code = PressOnSpec
	default:
		e.Reason.Code, e.Reason.For, e.Accepted = PressAccepted, set.Bypass, true
		s.Bypass.In, s.Tripped = false, false
		s.Bypasses++
		s.Chain++
	}
	s.number(set, &e.Reason)
	out.Events = append(out.Events, e)
	return e.Reason.Code
}

// latch trips when the delay has run out and no bypass runs.
func (s *State) latch(set *Settings) {
	if !s.Tripped && s.Delay.Q(set.Delay) && !s.Bypass.Q() {
		s.Tripped = true
		s.Trips++
	}
}

// enter derives the mode and records a change with its reason.
func (s *State) enter(set *Settings, out *Effects, press Code) {
	to := s.derive()
	if s.Started && to == s.Mode {
		return
	}
	e := Event{At: s.Elapsed, Kind: ModeChange, First: !s.Started, From: s.Mode, To: to}
	e.Reason.Code = s.why(to, press)
	switch e.Reason.Code {
	case OffSpecForDelay:
		e.Reason.For = set.Delay
	case BypassEndedInDelay:
		e.Reason.Left = set.Delay - s.Delay.ET
	case PressAccepted, BypassEndedOffSpec, BypassEndedOnSpec:
		e.Reason.For = set.Bypass
	}
	s.number(set, &e.Reason)
	s.Mode, s.Since, s.Reason = to, s.Elapsed, e.Reason
	if to == Service {
		s.Chain = 0
	}
	out.Events = append(out.Events, e)
}

func (s *State) derive() Mode {
	switch {
	case !s.Powered:
		return NoPower
	case s.Tripped:
		return Shut
	case s.Bypass.Q():
		return Bypass
	case s.Off():
		return Delay
	default:
		return Service
	}
}

// why finds the reason of the mode to be entered from the mode that is left.
func (s *State) why(to Mode, press Code) Code {
	fromBypass := s.Started && s.Mode == Bypass
	switch to {
	case NoPower:
		if !s.Started {
			return NoPowerAtStart
		}
		return PowerLost
	case Bypass:
		return press
	case Shut:
		switch {
		case s.Mode == NoPower:
			return TripKept
		case fromBypass:
			return BypassEndedOffSpec
		}
		return OffSpecForDelay
	case Delay:
		if fromBypass {
			return BypassEndedInDelay
		}
		return s.Why
	default:
		if fromBypass {
			return BypassEndedOnSpec
		}
		return OnSpec
	}
}

// number gives the reason the reading and the endpoint its sentence needs.
func (s *State) number(set *Settings, r *Reason) {
	r.Value, r.Limit = s.Signals[signal.ProductConductivity].Value, set.Endpoint
}

// DelayLeft is what is left of the delay while the product is off spec.
func (s *State) DelayLeft(set *Settings) (time.Duration, bool) {
	return set.Delay - s.Delay.ET, s.Powered && !s.Tripped && s.Off()
}
