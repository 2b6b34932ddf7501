package rules

import (
	"time"

	"ionward/rules/signal"
)

// The wired timer cannot be read. The shadow carries what can be known of it: between which instants its delay began,
// whether it may have stopped the water, and how the valves must stand in each case. Instants are rule times. Nothing of
// it moves between scans: what time alone changes is worked out when somebody asks. A power dip or a tap on the button
// between two readings cannot be seen by anybody; they are causes to look for, not part of the intervals.

// Certainty says how far something is known.
type Certainty uint8

// The certainties.
const (
	No Certainty = iota
	Maybe
	Sure
)

// Expected is how the inlet must stand, if it is known.
type Expected uint8

// The expectations. Either holds while the wired timer may or may not have stopped the water.
const (
	ExpectEither Expected = iota
	ExpectOpen
	ExpectShut // the wired timer stopped the water
	ExpectDead // no control power: the inlet shuts by its spring
)

// Reply is what was answered to the question whether somebody pressed the bypass button.
type Reply uint8

// The replies.
const (
	NoReply Reply = iota
	ReplyNo
	ReplyYes
)

// longAgo is before any watching began.
const longAgo = -time.Duration(1 << 61)

// Shadow is what is known of the wired timer.
type Shadow struct {
	Begun bool          `json:"begun"` // a scan was seen
	Calm  bool          `json:"calm"`  // on good water nothing else needs a look
	Live  time.Duration `json:"live"`  // newest reading of product or of control power

	// The wired delay began after Clean, and by Last where Off is Sure.
	Good    bool          `json:"good"`  // newest evidence: on spec for certain
	Clean   time.Duration `json:"clean"` // newest instant at which the wired delay stood at zero for certain
	Off     Certainty     `json:"off"`   // Sure: off spec from Last to Seen, as far as readings tell
	Last    time.Duration `json:"last"`
	Bridged bool          `json:"bridged"` // a poll was lost in between
	Seen    time.Duration `json:"seen"`    // newest reading that was off spec for certain
	Chain   bool          `json:"chain"`   // readings were on spec for certain from OnFrom to OnSeen
	OnFrom  time.Duration `json:"on_from"` // a clear delay has to run out first
	OnSeen  time.Duration `json:"on_seen"`

	// The wired bypass began between PulseFirst and PulseLast.
	Pulse      Certainty     `json:"pulse"`
	PulseFirst time.Duration `json:"pulse_first"`
	PulseLast  time.Duration `json:"pulse_last"`
	Button     time.Duration `json:"button"`    // newest reading of the button contact
	Hidden     bool          `json:"hidden"`    // a press may have gone unseen that still counts
	HiddenAt   time.Duration `json:"hidden_at"` // at the latest then

	Trip    Certainty     `json:"trip"`    // the wired timer stopped the water
	Tripped time.Duration `json:"tripped"` // at the latest then
	Asking  bool          `json:"asking"`  // was the bypass button pressed?
	Asked   time.Duration `json:"asked"`
	Reply   Reply         `json:"reply"`

	Expect     Expected      `json:"expect"`
	From       time.Duration `json:"from"`        // Expect holds since then at the latest
	Agreed     bool          `json:"agreed"`      // the inlet was seen as expected since then
	AgreedAt   time.Duration `json:"agreed_at"`   // when that was seen first
	WasOpen    bool          `json:"was_open"`    // the newest reading showed the inlet open, and power has not gone since
	ShutAt     time.Duration `json:"shut_at"`     // newest reading that showed the inlet not open
	ReliefAt   time.Duration `json:"relief_at"`   // newest reading that showed the relief as expected
	ReliefLeft time.Duration `json:"relief_left"` // first reading after it that showed the contrary; 0 = none
	Conditions uint64        `json:"conditions"`  // bit by alarm
}

// shadow takes one scan into the shadow. edge is a rising edge of the bypass button.
func (s *State) shadow(set *Settings, in *Input, edge bool) {
	h := &s.Shadow
	r := &in.Readings[signal.ProductConductivity]
	// Nearly every scan of a year is good water with every contact as it was: the wired delay stands at zero.
	if h.Calm && !s.Watch.Touched && r.Quality == signal.Good && r.Value < h.on(set) && s.Elapsed-h.Clean <= set.Profile.Bridge {
		h.Clean, h.OnSeen = s.Elapsed, s.Elapsed
		return
	}
	if !h.Begun {
		// Watching began in the middle of something.
		*h = Shadow{
			Begun: true, Clean: longAgo, Live: longAgo, Button: longAgo, Trip: Maybe, Tripped: s.Elapsed,
			AgreedAt: longAgo, ShutAt: longAgo, ReliefAt: longAgo,
		}
	}
	s.watchButton(set)
	s.blind(set, r)
	if s.Powered {
		s.product(set, r)
		if edge {
			h.press(set, h.listened(set), s.Elapsed)
		}
		if set.Profile.HeldButton.Yes && s.Button == ButtonHeld && h.Pulse != No {
			h.PulseLast = s.Elapsed
		}
		h.trip(set, s.Elapsed)
	} else {
		h.unpowered(set, s.Signals[signal.ControlPower].Seen, s.Elapsed)
	}
	if b := &s.Signals[signal.BypassButton]; b.Known {
		h.Button = b.Seen
	}
	was := h.Conditions
	s.expect(set)
	s.compareInlet(set)
	s.compareRelief(set)
	s.Watch.Touched = s.Watch.Touched || h.Conditions != was
	// A press on good water, and one while the unit may be stopped, have to be looked for.
	heard := !s.Signals[signal.BypassButton].Known || (!h.Hidden || h.Trip != No) && !set.Profile.PressOnSpec.Yes
	settled := h.Pulse == No && h.Trip != Sure && h.Conditions == 0 && !s.On(signal.ReliefOpen)
	h.Calm = h.Good && settled && heard && (h.Agreed && h.Expect == ExpectOpen || s.wired()&inletWired == 0)
}

// on is the reading below which a relay counts as on spec for certain, uS/cm.
func (h *Shadow) on(set *Settings) float64 {
	return set.Setpoint() - set.ClearBand - set.Profile.Margin
}

// listened is until when the button has been watched: on good water a press does nothing, so nobody needs to look.
func (h *Shadow) listened(set *Settings) time.Duration {
	if h.Trip == No && !set.Profile.PressOnSpec.Yes {
		return max(h.Button, h.Clean)
	}
	return h.Button
}

// watchButton notes where a press may have gone unseen.
func (s *State) watchButton(set *Settings) {
	h, b := &s.Shadow, &s.Signals[signal.BypassButton]
	if !b.Known || s.Elapsed-h.listened(set) > set.Profile.Press {
		h.Hidden, h.HiddenAt = true, s.Elapsed
	}
}

// blind forgets what was certain after a stretch in which neither product nor control power was read: power may have gone
// and come back meanwhile. A shorter one is bridged.
func (s *State) blind(set *Settings, r *signal.Reading) {
	h, now := &s.Shadow, s.Elapsed
	if now-max(h.Live, h.Clean) > set.Profile.Bridge {
		if h.Trip == Sure {
			h.Trip, h.Tripped = Maybe, now
		}
		h.Pulse, h.Off = min(h.Pulse, Maybe), min(h.Off, Maybe)
		h.From, h.Agreed, h.WasOpen = now, false, false
	}
	if p := &s.Signals[signal.ControlPower]; r.Quality != signal.None || p.Known && p.Seen == now {
		h.Live = now
	}
}

// unpowered holds while control power is away: relays have no memory. seen is the newest reading that said so.
func (h *Shadow) unpowered(set *Settings, seen, now time.Duration) {
	if h.Trip != No || now >= h.earliest(set) {
		switch p := &set.Profile.PowerWhileShut; {
		case p.Confirmed() && !p.Yes:
			h.Trip = No
		case !p.Confirmed() || h.Trip != Sure:
			h.Trip, h.Tripped = Maybe, now
		}
	}
	h.Good, h.Off, h.Chain, h.Clean, h.Pulse = false, No, false, seen, No
	h.Hidden, h.Asking, h.Reply, h.WasOpen = false, false, NoReply, false
}

// earliest is when the wired timer can stop the water, if the delay began as early as it may have.
func (h *Shadow) earliest(set *Settings) time.Duration {
	measured := set.Profile.Timers.Confirmed()
	at := h.Clean + set.DelaySpan().doubt(measured).Lo
	if h.Pulse == Sure {
		at = max(at, h.PulseFirst+set.BypassSpan().doubt(measured).Lo)
	}
	return at
}

// latest is when it must have stopped the water, if product stays off spec and nobody presses.
func (h *Shadow) latest(set *Settings) time.Duration {
	measured := set.Profile.Timers.Confirmed()
	at := h.Last + set.DelaySpan().doubt(measured).Hi
	if h.Pulse != No {
		at = max(at, h.PulseLast+set.BypassSpan().doubt(measured).Hi)
	}
	return at
}

// trip settles whether the wired timer has stopped the water for certain, and lets an old bypass go.
func (h *Shadow) trip(set *Settings, now time.Duration) {
	if at := h.latest(set); h.Trip != Sure && h.Off == Sure && h.Seen >= at {
		h.stop(at)
	}
	// While the chain holds, the end of an old bypass may still be what the stop hangs on.
	if h.Pulse != No && h.Off != Sure && now > h.PulseLast+set.BypassSpan().doubt(set.Profile.Timers.Confirmed()).Hi {
		h.Pulse = No
	}
}

// stop records that the wired timer has stopped the water, at the latest then: so no bypass runs.
func (h *Shadow) stop(at time.Duration) { h.Trip, h.Tripped, h.Pulse = Sure, at, No }
