package rules

import (
	"time"

	"ionward/rules/signal"
)

// press takes in a press of the bypass button that happened after first and at now at the latest.
func (h *Shadow) press(set *Settings, first, now time.Duration) {
	p, measured := &set.Profile, set.Profile.Timers.Confirmed()
	bypass := set.BypassSpan().doubt(measured)
	runs := No // the bypass, when the button was pressed
	switch {
	case h.Pulse == Sure && now < h.PulseFirst+bypass.Lo:
		runs = Sure
	case h.Pulse != No && first < h.PulseLast+bypass.Hi:
		runs = Maybe
	}
	takes := Maybe // the panel, an idle bypass given
	switch {
	case h.Trip == Sure || p.PressOnSpec.Yes:
		takes = Sure
	case h.Good && h.Trip == No, !p.PressInDelay.Yes && h.Trip == No && now < h.earliest(set):
		takes = No
	case h.Off == Sure && h.Last <= first && p.PressInDelay.Yes:
		takes = Sure
	}
	switch {
	case takes == No, runs == Sure && !p.PressWhileRunning.Yes:
	case takes == Sure && (runs == No || p.PressWhileRunning.Yes):
		h.accept(first, now)
	default:
		if h.Pulse == No {
			h.PulseFirst = first
		}
		h.Pulse, h.PulseLast = Maybe, now
		if h.Trip == Sure {
			h.Trip, h.Tripped = Maybe, now
		}
	}
}

// accept begins a bypass that the wired panel has accepted for certain between first and last.
func (h *Shadow) accept(first, last time.Duration) {
	h.Pulse, h.PulseFirst, h.PulseLast = Sure, first, last
	h.Trip, h.Asking, h.Reply = No, false, NoReply
	// The valve may have been on its way shut.
	h.From, h.Agreed = last, false
}

// hidden reports whether a press may have gone unseen in this run of off-spec water: there is no contact on the button,
// or it was not read for longer than a hand presses.
func (h *Shadow) hidden(s *State, set *Settings) bool {
	b := &s.Signals[signal.BypassButton]
	return h.Hidden || !b.Known || s.Elapsed-b.Seen > set.Profile.Press
}
