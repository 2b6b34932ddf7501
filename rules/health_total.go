package rules

import (
	"math"
	"time"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// Totals compares the flow meter's totalizer with the integral of its flow, window after window.
type Totals struct {
	Runs       bool          `json:"runs"`       // a window is open
	Start      time.Duration `json:"start"`      // rule time at which it began
	Total      float64       `json:"total"`      // m3 counted by then
	Integral   float64       `json:"integral"`   // m3 integrated by then
	Unmeasured time.Duration `json:"unmeasured"` // time without a flow reading by then
	Carried    float64       `json:"carried"`    // m3 to add to the reading, for its rollovers and resets
	Resets     int           `json:"resets"`     // how often somebody reset it
	Dropped    bool          `json:"dropped"`    // it was reset at DroppedAt
	DroppedAt  time.Duration `json:"dropped_at"`
	Disagree   bool          `json:"disagree"` // the last whole window said so
	Counted    float64       `json:"counted"`  // m3 in the last whole window, by the totalizer
	Measured   float64       `json:"measured"` // m3 in the last whole window, by the integral
}

// disagreement is the least difference that is worth a word: 250 gal, whatever part that is (common practice).
const disagreement = 250 * 3.785411784 / 1000

// Counted is what a counter's new reading adds to its old one. A counter that went down has rolled over if what that
// adds is no more than most, the most that can have passed meanwhile with a margin; else somebody reset it, and it has
// counted from zero. A modulus of 0 = it does not roll over.
func Counted(old, reading, modulus, most float64) (added float64, reset bool) {
	if added = reading - old; added >= 0 {
		return added, false
	}
	if rolled := added + modulus; modulus > 0 && rolled >= 0 && rolled <= most {
		return rolled, false
	}
	return reading, true
}

// dropped is told that the totalizer reads less than before; the old reading is still held.
func (s *State) dropped(set *Settings, reading float64) {
	h, t := &s.Signals[signal.Total], &s.Watch.Totals
	most := 1.5 * set.Setup.TotalizerMost * (s.Elapsed - h.Seen).Hours()
	added, reset := Counted(h.Value, reading, set.Setup.TotalizerModulus, most)
	t.Carried += h.Value + added - reading
	s.Watch.Touched = true
	if reset {
		t.Resets++
		t.Runs, t.Disagree, t.Dropped, t.DroppedAt = false, false, true, s.Elapsed
	}
}

// followTotals closes a window that is over and opens the next. A window in which flow was not read proves nothing.
func (s *State) followTotals(set *Settings) {
	t, d := &s.Watch.Totals, &set.Alarms[alarm.TotalsDisagree]
	if t.Runs && s.until(t.Start+d.On) {
		return
	}
	if !s.reads(signal.Total) {
		t.Runs = false
		return
	}
	total, integral := s.Signals[signal.Total].Value+t.Carried, s.Custody.integral()
	if t.Runs && t.Unmeasured == s.Custody.Unmeasured {
		t.Counted, t.Measured = total-t.Total, integral-t.Integral
		off := math.Abs(t.Counted - t.Measured)
		limit := d.Limit
		if t.Disagree {
			limit -= d.Deadband()
		}
		t.Disagree = off > disagreement && off > limit/100*t.Measured
	}
	t.Runs, t.Start, t.Total, t.Integral, t.Unmeasured = true, s.Elapsed, total, integral, s.Custody.Unmeasured
	s.wake(t.Start + d.On)
}
