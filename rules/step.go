package rules

import (
	"math/bits"
	"time"

	"ionward/rules/alarm"
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
	for i := range in.Orders {
		s.order(set, &in.Orders[i], out)
	}
	out.Outputs = s.Mode.Outputs()
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
	s.Custody.aim(s)
}

// scan takes in one set of readings, in the order of the rule: power, class, delay, bypass, press, latch, outputs.
func (s *State) scan(set *Settings, in *Input, out *Effects) {
	s.hold(in)
	was := s.Powered
	edge := s.press()
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
	s.alarms(set, out)
	s.Custody.aim(s)
}

// hold keeps the readings of this scan: a missing one leaves the last usable value to age.
func (s *State) hold(in *Input) {
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
		h.Quality, h.Cause = r.Quality, r.Cause
		if r.Quality != signal.None {
			s.Fresh |= 1 << i
		}
		if r.Usable() {
			h.Value, h.Seen, h.Known = r.Value, s.Elapsed, true
		}
	}
	if p := &s.Signals[signal.ProductConductivity]; p.Quality == signal.Good {
		s.Custody.worst(p.Value)
	}
}

// order does what a person asked for, or records that it had no effect.
func (s *State) order(set *Settings, o *Order, out *Effects) {
	e := Event{At: s.Elapsed, Kind: OrderDone, Order: *o, Alarm: o.Alarm, Accepted: o.Verb == Note}
	if o.Verb == Note || int(o.Alarm) >= alarm.Count {
		out.Events = append(out.Events, e)
		return
	}
	a := &s.Alarms[o.Alarm]
	e.Was = a.Phase
	if o.Verb == Acknowledge {
		e.Accepted = a.Acknowledge()
	} else {
		e.Accepted = a.Reset()
	}
	e.Now, e.Priority, e.Reason = a.Phase, set.Alarms[o.Alarm].Priority, s.Reason
	s.schedule(set)
	out.Events = append(out.Events, e)
	if e.Accepted {
		e.Kind = AlarmChange
		out.Events = append(out.Events, e)
	}
}
