package rules

import "ionward/rules/signal"

// product takes in what the product reading of this scan says about the wired delay. No reading says nothing: the
// interval widens by itself.
func (s *State) product(set *Settings, r *signal.Reading) {
	h, now := &s.Shadow, s.Elapsed
	off := r.Quality == signal.Good && r.Value >= set.Setpoint()+set.Profile.Margin ||
		r.Quality == signal.Bad && set.Profile.AnalyzerFault.Confirmed() && set.Profile.AnalyzerFault.Yes
	switch {
	case r.Quality == signal.None:
		h.Bridged = h.Bridged || h.Off == Sure && r.Cause != signal.NotPolled
		return
	case off:
		if h.Off != Sure || now-h.Seen > set.Profile.Bridge {
			h.Last, h.Bridged = now, false
		}
		h.Good, h.Off, h.Chain, h.Seen = false, Sure, false, now
	case r.Quality != signal.Good || r.Value >= h.on(set):
		// Near the setpoint, uncertain or bad: the relay may see either.
		h.Good, h.Off, h.Chain = false, Maybe, false
	default:
		s.good(set)
	}
}

// good takes in a reading that is on spec for certain.
func (s *State) good(set *Settings) {
	h, now := &s.Shadow, s.Elapsed
	hold := set.ClearDelay
	if hold == 0 && !set.Profile.ShortDip.Yes {
		hold = set.Profile.Bridge // it passes over dips, nobody knows how long ones
	}
	if !h.Chain || now-h.OnSeen > set.Profile.Bridge {
		h.Chain, h.OnFrom = true, now
	}
	h.OnSeen = now
	if now-h.OnFrom < hold {
		h.Good, h.Off = false, Maybe
		return
	}
	switch {
	case h.Trip == Sure && (!set.Profile.GoodWhileShut.Yes || !h.Agreed && (h.hidden(s, set) || !set.Profile.Timers.Confirmed())):
		// A stop that nobody saw is in doubt again once the water is good.
		h.Trip, h.Tripped = Maybe, now
	case h.Trip == No && now >= h.earliest(set):
		h.Trip, h.Tripped = Maybe, now
	}
	h.Good, h.Off, h.Clean, h.Asking, h.Reply = true, No, now, false, NoReply
	// A bypass that began unseen may still run.
	unseen := now < h.HiddenAt+set.BypassSpan().doubt(set.Profile.Timers.Confirmed()).Hi
	h.Hidden = set.Profile.PressOnSpec.Yes || h.Hidden && (h.Trip != No || unseen)
}
