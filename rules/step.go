package rules

import (
	"math/bits"
	"time"

	"ionward/rules/signal"
)

// Input is what one step sees: how much time passed, and perhaps a scan.
type Input struct {
	Gap       time.Duration // since the last step; never negative
	At        int64         // UTC of the step's end, ns since 1970; 0 = not known; for the record, the rule never looks
	Scan      bool          // Readings hold a scan; without it only time passes
	Estimated bool          // Gap is a difference of wall clocks (a restart)
	Readings  signal.Set
	Present   uint32 // bit by signal: which readings can be other than none; 0 = look at all
	Orders    []Order
	Facts     Facts // what the source knows beside the readings; what is not known stands
}

// Step lets in.Gap pass and then takes in the scan and the orders. Deadlines strictly inside the gap are settled first,
// in order, with the inputs held; one that falls on the instant of a scan is decided with that scan's inputs. A step
// without a scan settles deadlines up to and including its end. The effects are valid until the next step.
func Step(set *Settings, s *State, in *Input, out *Effects) {
	out.Events = out.Events[:0]
	left := in.Gap
	for {
		d, ok := s.NextDeadline(set)
		if !ok || d > left || (d == left && in.Scan) {
			break
		}
		s.advance(set, d)
		left -= d
		s.settle(set, out)
	}
	s.advance(set, left)
	if in.Scan {
		s.scan(set, in, out)
	}
	if in.Facts.Known != 0 || len(in.Orders) > 0 {
		s.told(set, in, out)
	}
	out.Outputs = s.Mode.Outputs()
}

// LosePower is a loss of control power that nobody saw, because the agent was without power itself: the first scan that
// follows counts as power coming back.
func (s *State) LosePower(set *Settings) {
	if !s.Powered {
		return
	}
	h := &s.Signals[signal.ControlPower]
	was := *h
	h.Known, h.Value = true, 0
	s.power(set)
	*h = was
	s.Mode, s.Since, s.Reason = NoPower, s.Elapsed, Reason{Code: PowerLost}
}

// advance lets dt pass in which nothing happens.
func (s *State) advance(set *Settings, dt time.Duration) {
	if s.Started {
		s.Custody.advance(s, dt)
	}
	s.Elapsed += dt
	if s.Powered {
		s.Clear.Advance(dt, set.ClearDelay)
		s.Delay.Advance(dt, set.Delay)
		s.Bypass.Advance(dt, set.Bypass)
	}
}

// settle decides a deadline with the inputs held.
func (s *State) settle(set *Settings, out *Effects) {
	if s.Powered {
		s.Delay.Set(s.Off())
		s.latch(set)
	}
	s.enter(set, out, NoReason)
	s.alarms(set, out)
	s.Custody.aim(set, s)
}

// scan takes in one set of readings, in the order of the rule: power, class, delay, bypass, press, latch, outputs.
func (s *State) scan(set *Settings, in *Input, out *Effects) {
	s.hold(set, in)
	was := s.Powered
	edge := s.press()
	s.Watch.Touched = s.Watch.Touched || edge || in.Estimated
	s.power(set)
	if s.Powered {
		s.classify(set, !was)
		s.Clear.Set(s.Class == ClassOff, set.ClearDelay)
		s.Delay.Set(s.Off())
	}
	why := NoReason
	if edge {
		why = s.offer(set, out)
	}
	// The pulse input follows the accepted press until the button is let go.
	s.Bypass.Set(why == PressAccepted || (s.Bypass.In && s.Button == ButtonHeld))
	if s.Powered {
		s.latch(set)
	}
	s.enter(set, out, why)
	s.Started = true
	s.shadow(set, in, edge)
	s.alarms(set, out)
	s.Custody.aim(set, s)
}

// hold keeps the readings of this scan: a missing one leaves the last usable value to age.
func (s *State) hold(set *Settings, in *Input) {
	look := in.Present | s.Fresh
	if in.Present == 0 {
		look = 1<<signal.Count - 1
	}
	s.Fresh = 0
	for ; look != 0; look &= look - 1 {
		i := bits.TrailingZeros32(look) & (1<<5 - 1)
		if i >= signal.Count {
			break
		}
		r, h := &in.Readings[i], &s.Signals[i]
		if r.Cause == signal.NotPolled && h.Known {
			// It was not due in this scan: its last reading stands, as between two scans.
			if h.Quality != signal.None {
				s.Fresh |= 1 << i
			}
			continue
		}
		if r.Quality != h.Quality {
			s.Watch.Touched = true
		}
		h.Quality, h.Cause = r.Quality, r.Cause
		if r.Quality != signal.None {
			s.Fresh |= 1 << i
		}
		if r.Usable() {
			if r.Value < h.Low || r.Value >= h.High || (followed>>i&1 != 0 && r.Value != h.Value) {
				s.moved(set, signal.ID(i), r.Value)
			}
			h.Value, h.Seen, h.Known = r.Value, s.Elapsed, true
		}
	}
	if p := &s.Signals[signal.ProductConductivity]; p.Quality == signal.Good {
		s.Custody.worst(p.Value)
	}
}
