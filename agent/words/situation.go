package words

import (
	"time"

	"ionward/rules"
	"ionward/rules/signal"
)

// Situation is what a person has to know now: the mode of the rule and what the other signals make of it.
type Situation uint8

// The situations. Where several hold, the one that asks for the quicker act wins.
const (
	Starting      Situation = iota // no scan yet
	Blind                          // no instrument answers
	Good                           // on spec, water flows as far as can be seen
	Rising                         // on spec, product at or above half of the endpoint
	Rinsing                        // on spec, rinse open
	NoFlow                         // on spec, the flow meter reads nothing
	LowFlow                        // on spec, flow below what the meter can read
	NotOpened                      // the inlet should be open and its switch says shut
	Lost                           // on spec when last read, no product reading since
	OffSpec                        // the delay runs
	OffSpecBad                     // the delay runs on a bad reading
	OffSpecUnread                  // the delay runs, no product reading since a while
	OffSpecNone                    // the delay runs, there was never a product reading
	OffSpecRinse                   // the delay runs, rinse open
	BypassOff                      // a bypass runs, off spec
	BypassRinse                    // a bypass runs, off spec, rinse open
	BypassUnread                   // a bypass runs, no usable product reading
	BypassOn                       // a bypass runs, on spec again
	StoppedDelay                   // stopped: the delay ran out
	StoppedBypass                  // stopped: a bypass ran out
	StoppedKept                    // stopped before control power was lost, and still
	PowerLost                      // no control power
	NotShut                        // the inlet should be shut and its switch says open
	ReliefNotOpen                  // stopped, and the relief's contact says not open

	Situations int = iota // how many situations there are
)

var situationNames = [Situations]string{
	Starting: "starting", Blind: "blind", Good: "good", Rising: "rising", Rinsing: "rinsing", NoFlow: "no_flow",
	LowFlow: "low_flow", NotOpened: "not_opened", Lost: "lost", OffSpec: "off_spec", OffSpecBad: "off_spec_bad",
	OffSpecUnread: "off_spec_unread", OffSpecNone: "off_spec_none", OffSpecRinse: "off_spec_rinse", BypassOff: "bypass_off",
	BypassRinse: "bypass_rinse", BypassUnread: "bypass_unread", BypassOn: "bypass_on", StoppedDelay: "stopped_delay",
	StoppedBypass: "stopped_bypass", StoppedKept: "stopped_kept", PowerLost: "power_lost", NotShut: "not_shut",
	ReliefNotOpen: "relief_not_open",
}

// String is the situation's key in the phrase files.
func (x Situation) String() string {
	if int(x) < Situations {
		return situationNames[x]
	}
	return "?"
}

// Watch is what it takes to tell the situations apart.
type Watch struct {
	LowFlow float64       // m3/h; below it the flow meter is not true
	NoFlow  float64       // m3/h; below it the flow counts as none
	Travel  time.Duration // a valve may take so long to move before its switches contradict the rule
	Stale   time.Duration // a reading older than this says nothing about now; longer than two polls
}

// DefaultWatch fits a paddle-wheel meter that is not accurate below 50 gpm and valves that move within 30 s (common
// practice), polled every second.
func DefaultWatch() Watch {
	return Watch{
		LowFlow: signal.GallonPerMinute.Inside(50), NoFlow: signal.GallonPerMinute.Inside(1),
		Travel: 30 * time.Second, Stale: 10 * time.Second,
	}
}

// Fresh reports whether the newest value of a signal is usable and not stale.
func (w *Watch) Fresh(s *rules.State, id signal.ID) bool {
	h := &s.Signals[id]
	return h.Known && (h.Quality == signal.Good || h.Quality == signal.Uncertain || h.Quality == signal.None) &&
		s.Elapsed-h.Seen <= w.Stale
}

// Contact reads a contact: whether it is 1, and whether that was seen lately.
func (w *Watch) Contact(s *rules.State, id signal.ID) (on, seen bool) {
	seen = w.Fresh(s, id)
	return seen && s.Signals[id].Value != 0, seen
}

// Moving reports whether the valves may still be on their way since the mode changed.
func (w *Watch) Moving(s *rules.State) bool { return s.Elapsed-s.Since <= w.Travel }

// Situation tells what holds now.
func (w *Watch) Situation(set *rules.Settings, s *rules.State) Situation {
	switch {
	case !s.Started:
		return Starting
	case w.blind(s):
		return Blind
	}
	if x, contradicted := w.contradiction(s); contradicted {
		return x
	}
	switch s.Mode {
	case rules.NoPower:
		return PowerLost
	case rules.Shut:
		return stopped(s)
	case rules.Bypass:
		return w.bypass(s)
	case rules.Delay:
		return w.delay(s)
	default:
		return w.service(set, s)
	}
}

// blind reports that no instrument gives anything any more, not even a bad reading.
func (w *Watch) blind(s *rules.State) bool {
	known := false
	for i := range s.Signals {
		h := &s.Signals[i]
		if h.Quality == signal.Bad || w.Fresh(s, signal.ID(i)) {
			return false
		}
		known = known || h.Known
	}
	return known || s.Elapsed > w.Stale
}

// contradiction compares what the switches say with what the rule says, once the valves had time to move.
func (w *Watch) contradiction(s *rules.State) (Situation, bool) {
	if w.Moving(s) {
		return 0, false
	}
	open, openSeen := w.Contact(s, signal.InletOpen)
	shut, shutSeen := w.Contact(s, signal.InletShut)
	relief, reliefSeen := w.Contact(s, signal.ReliefOpen)
	switch {
	case s.Mode.Outputs().Inlet == rules.Open:
		return NotOpened, shut && !open
	case open && !shut, shutSeen && !shut && !openSeen:
		return NotShut, true
	}
	return ReliefNotOpen, s.Mode == rules.Shut && reliefSeen && !relief
}

func stopped(s *rules.State) Situation {
	switch s.Reason.Code {
	case rules.TripKept:
		return StoppedKept
	case rules.BypassEndedOffSpec:
		return StoppedBypass
	}
	return StoppedDelay
}

// readable reports whether the product reading says something about now.
func (w *Watch) readable(s *rules.State) bool { return w.Fresh(s, signal.ProductConductivity) }

func (w *Watch) rinse(s *rules.State) bool {
	on, _ := w.Contact(s, signal.RinseOpen)
	return on
}

func (w *Watch) bypass(s *rules.State) Situation {
	switch {
	case !w.readable(s):
		return BypassUnread
	case !s.Off():
		return BypassOn
	case w.rinse(s):
		return BypassRinse
	}
	return BypassOff
}

func (w *Watch) delay(s *rules.State) Situation {
	h := &s.Signals[signal.ProductConductivity]
	switch {
	case h.Quality == signal.Bad:
		return OffSpecBad
	case !h.Known:
		return OffSpecNone
	case !w.readable(s):
		return OffSpecUnread
	case w.rinse(s):
		return OffSpecRinse
	}
	return OffSpec
}

func (w *Watch) service(set *rules.Settings, s *rules.State) Situation {
	flow, flowSeen := s.Signals[signal.Flow].Value, w.Fresh(s, signal.Flow)
	product := s.Signals[signal.ProductConductivity].Value
	switch {
	case !w.readable(s):
		return Lost
	case flowSeen && flow < w.NoFlow:
		return NoFlow
	case w.rinse(s):
		return Rinsing
	case flowSeen && flow < w.LowFlow:
		return LowFlow
	case product >= set.Endpoint/2:
		return Rising
	}
	return Good
}
