package rules

import (
	"math"
	"time"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

const (
	freezing   = 5.0              // C; water that stands at less may freeze before anybody comes (common practice)
	shutSettle = 60 * time.Second // after a stop, before flow through a shut inlet means something
	jumpTime   = 10 * time.Second // a larger step between two readings so near in time is a jump
)

// health are the alarms about readings that cannot be right. They never change what the shutdown rule sees.
func (s *State) health(set *Settings, b *Bits) {
	s.swapped(set, b)
	s.tooLow(set, b)
	s.frozen(set, b)
	s.temperature(set, b)
	s.flowWhileShut(set, b)
	s.feedWorse(set, b)
	b.set(alarm.TotalsDisagree, s.Watch.Totals.Disagree)
	b.quiet(alarm.TotalsDisagree, s.Watch.Totals.Dropped && s.until(s.Watch.Totals.DroppedAt+set.Alarms[alarm.TotalsDisagree].On))
}

// level is where a condition that begins at limit and above holds now: behind the deadband once it stands.
func (s *State) level(id alarm.ID, limit, band float64) float64 {
	if s.stands(id) {
		return limit - band
	}
	return limit
}

// metered reports whether the flow is one that the meter can read.
func (s *State) metered(set *Settings) bool {
	return s.reads(signal.Flow) && s.reaches(signal.Flow, max(set.Alarms[alarm.FlowTooLow].Limit, set.Setup.NoFlow))
}

// swapped: product water worse than its feed is a mix-up of cells, channels or hoses. A raised alarm is kept where it
// cannot be judged any more, since somebody must look.
func (s *State) swapped(set *Settings, b *Bits) {
	d := &set.Alarms[alarm.Swapped]
	part := 1.0
	if s.stands(alarm.Swapped) {
		part -= d.Ratio
	}
	judged := s.metered(set) && !s.stopped() && !s.shows(signal.RinseOpen, true) && !s.rinsesUp()
	b.set(alarm.Swapped, judged && s.reads(signal.ProductConductivity) && s.reads(signal.FeedConductivity) &&
		s.beats(signal.ProductConductivity, signal.FeedConductivity, part))
	b.quiet(alarm.Swapped, !judged && !s.raised(alarm.Swapped))
}

// tooLow: pure water has 0.055 uS/cm at 25 C; what reads less is a dry cell or a wrong constant.
func (s *State) tooLow(set *Settings, b *Bits) {
	d := &set.Alarms[alarm.TooLow]
	limit := d.Limit
	if s.stands(alarm.TooLow) {
		limit += d.Deadband()
	}
	b.set(alarm.TooLow, s.reads(signal.ProductConductivity) && !s.reaches(signal.ProductConductivity, limit))
	b.quiet(alarm.TooLow, s.dry(set))
}

// dry reports whether no water passes the cell, as far as can be seen.
func (s *State) dry(set *Settings) bool {
	if s.reads(signal.Flow) {
		return !s.reaches(signal.Flow, set.Setup.NoFlow)
	}
	return s.stopped()
}

// frozen: water that flows never reads the same for half an hour, in value and temperature.
func (s *State) frozen(set *Settings, b *Bits) {
	w, metered := &s.Watch, s.metered(set)
	follows := metered && !s.stopped() && s.reads(signal.ProductConductivity)
	if follows && !w.Followed {
		w.Moved = s.Elapsed
	}
	w.Followed = follows
	b.set(alarm.Frozen, follows && !s.until(w.Moved+set.Alarms[alarm.Frozen].On))
	b.quiet(alarm.Frozen, s.stopped() || s.reads(signal.Flow) && !metered)
}

// temperature goes by the last value, read or not: pipes freeze exactly when power is lost.
func (s *State) temperature(set *Settings, b *Bits) {
	for _, id := range [...]signal.ID{signal.FeedTemperature, signal.ProductTemperature} {
		if s.Signals[id].Known {
			_, out := s.outside(set, id)
			b.set(alarm.Temperature, out)
		}
	}
}

// outside reports whether a temperature is out of its range, and which limit it passed, C.
func (s *State) outside(set *Settings, id signal.ID) (limit float64, out bool) {
	d := &set.Alarms[alarm.Temperature]
	low, high := d.Limit, d.High
	if s.stopped() {
		low = max(low, freezing)
	}
	band := 0.0
	if s.stands(alarm.Temperature) {
		band = d.Deadband()
	}
	switch {
	case !s.reaches(id, low+band):
		return low, true
	case s.passes(id, high-band):
		return high, true
	}
	return 0, false
}

// flowWhileShut: the inlet passes, or a switch says what is not so. Just after a stop the water only comes to rest.
func (s *State) flowWhileShut(set *Settings, b *Bits) {
	shut := s.shows(signal.InletShut, true)
	if s.stopped() {
		shut = !s.until(s.Watch.Dry + shutSettle)
	}
	b.set(alarm.FlowWhileShut, shut && s.reads(signal.Flow) && s.reaches(signal.Flow, set.Alarms[alarm.FlowWhileShut].Limit))
	b.quiet(alarm.FlowWhileShut, set.reliefMetered())
}

// feedWorse: harder work for the beds than was agreed.
func (s *State) feedWorse(set *Settings, b *Bits) {
	d := &set.Alarms[alarm.FeedWorse]
	b.set(alarm.FeedWorse, d.Limit > 0 && s.reads(signal.FeedConductivity) &&
		s.passes(signal.FeedConductivity, s.level(alarm.FeedWorse, d.Limit, d.Deadband())))
	b.quiet(alarm.FeedWorse, s.Signals[signal.FeedConductivity].Quality == signal.Bad)
}

// jump is the largest step between two neighbouring readings that water makes, inside units (own judgement: a step of a
// whole endpoint, of half the feed, of 5 C or of 100 gpm within ten seconds is looked at).
func (s *State) jump(set *Settings, id signal.ID) float64 {
	switch id {
	case signal.ProductConductivity:
		return set.Endpoint
	case signal.FeedConductivity:
		return math.Abs(s.Signals[id].Value) / 2
	case signal.FeedTemperature, signal.ProductTemperature:
		return 5
	case signal.Flow, signal.DownstreamFlow:
		return signal.GallonPerMinute.Inside(100)
	}
	return highest
}
