package rules

import (
	"math"
	"time"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// Watch is what the alarms remember beside the readings.
type Watch struct {
	Began   bool          `json:"began"`   // the conditions were looked at once
	Touched bool          `json:"touched"` // something that a condition may see has changed since the last look
	Mode    Mode          `json:"mode"`    // at the last look
	Off     bool          `json:"off"`     // at the last look
	Dry     time.Duration `json:"dry"`     // rule time since which the rule lets no water through
	Storage time.Duration `json:"storage"` // tank storage of the user of the water, as a person recorded it; 0 = none

	Moved    time.Duration `json:"moved"`    // rule time at which the product reading or its temperature last changed
	Followed bool          `json:"followed"` // the product reading is one that should move

	Beds     [2]Bed        `json:"beds"`
	Delays   Delays        `json:"delays"`
	CutShut  bool          `json:"cut_shut"` // control power went while the rule held the inlet shut
	Cycled   bool          `json:"cycled"`   // ... and came back, and product has not been on spec since
	CycledAt time.Duration `json:"cycled_at"`
	Totals   Totals        `json:"totals"`
}

// What is looked at is not time: a value that stays within its band can be as new as it likes. The bands are drawn while
// the conditions are looked at, by the comparisons themselves, so that a condition cannot forget to tell what it needs.
const (
	lowest  = -math.MaxFloat64
	highest = math.MaxFloat64
)

// followed are the signals of which every change means something: a product reading may be frozen, a totalizer reset.
const (
	steady   = 1<<signal.ProductConductivity | 1<<signal.ProductTemperature
	followed = steady | 1<<signal.Total
)

// moved is told that a usable reading has left its band, or that a followed one differs from the one before, which is
// still held.
func (s *State) moved(set *Settings, id signal.ID, value float64) {
	h, w := &s.Signals[id], &s.Watch
	if steady>>id&1 != 0 {
		w.Moved = s.Elapsed
		w.Touched = w.Touched || s.stands(alarm.Frozen)
	}
	if id == signal.Total && h.Known && value < h.Value {
		s.dropped(set, value)
	}
	if value >= h.Low && value < h.High {
		return
	}
	w.Touched = true
	if h.Known && s.Elapsed-h.Seen <= jumpTime && math.Abs(value-h.Value) > s.jump(set, id) {
		h.Jumped = s.Elapsed
	}
}

// reaches compares a reading with a limit: value >= limit. The limit counts as the reading does, in whole counts of the
// signal's resolution: 0.05 and a band of 0.01 make 0.06.
func (s *State) reaches(id signal.ID, limit float64) bool { return s.compare(id, count(id, limit)) }

// passes compares a reading with a limit: value > limit.
func (s *State) passes(id signal.ID, limit float64) bool {
	return s.compare(id, math.Nextafter(count(id, limit), highest))
}

func count(id signal.ID, limit float64) float64 {
	if id.Contact() {
		return limit
	}
	return signal.Round(limit, id.Info().Resolution)
}

func (s *State) compare(id signal.ID, limit float64) bool {
	h := &s.Signals[id]
	if h.Value >= limit {
		h.Low = max(h.Low, limit)
		return true
	}
	h.High = min(h.High, limit)
	return false
}

// beats compares a reading with a part of another: a > b * part. Half way between the two is where each has to look again.
func (s *State) beats(a, b signal.ID, part float64) bool {
	x, y := &s.Signals[a], &s.Signals[b]
	half := (x.Value + y.Value*part) / 2
	if x.Value > y.Value*part {
		x.Low, y.High = max(x.Low, half), min(y.High, max(half/part, math.Nextafter(y.Value, highest)))
		return true
	}
	x.High, y.Low = min(x.High, math.Nextafter(half, highest)), max(y.Low, min(half/part, y.Value))
	return false
}

// open takes the bands away before the conditions are looked at.
func (s *State) open() {
	for i := range s.Signals {
		s.Signals[i].Low, s.Signals[i].High = lowest, highest
	}
}

// close narrows the bands by what no comparison asks for: a contact that changes, and a jump.
func (s *State) close(set *Settings) {
	for i := range s.Signals {
		id, h := signal.ID(i), &s.Signals[i]
		switch {
		case !h.Known:
			h.Low, h.High = 0, 0
		case id.Contact():
			s.reaches(id, 0.5)
		case id != signal.Total:
			quarter := s.jump(set, id) / 4
			h.Low, h.High = max(h.Low, h.Value-quarter), min(h.High, h.Value+quarter)
		}
	}
}

// reads reports whether the newest scan gave a usable value.
func (s *State) reads(id signal.ID) bool {
	q := s.Signals[id].Quality
	return q == signal.Good || q == signal.Uncertain
}

// shows reports whether a contact is seen in this position.
func (s *State) shows(id signal.ID, on bool) bool { return s.reads(id) && s.On(id) == on }

// stands reports whether an alarm's condition stood at the last look: it clears only behind its deadband.
func (s *State) stands(id alarm.ID) bool { return s.Offered.On>>id&1 != 0 }

// raised reports whether an alarm is active or latched beneath all orders.
func (s *State) raised(id alarm.ID) bool {
	u := s.Alarms[id].Under
	return u.Active() || u.Latched()
}

// stopped reports whether the rule lets no water through.
func (s *State) stopped() bool { return s.Mode == Shut || s.Mode == NoPower }

// wake asks for a look at a rule time that is still to come.
func (s *State) wake(at time.Duration) {
	if s.Due == 0 || at < s.Due {
		s.Due = at
	}
}

// until reports whether a rule time is still to come, and asks for a look then.
func (s *State) until(at time.Duration) bool {
	if s.Elapsed >= at {
		return false
	}
	s.wake(at)
	return true
}
