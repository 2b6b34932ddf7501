package rules

import (
	"time"

	"ionward/rules/signal"
)

// Bed is one bank of beds: whether water flows through it, and since when that is so.
type Bed struct {
	Runs  bool          `json:"runs"`
	Since time.Duration `json:"since"` // rule time
	Until time.Duration `json:"until"` // rule time until which it rinses up after it stood
	Stood time.Duration `json:"stood"` // how long it stood before that
}

// followBeds sees water begin and end to flow in each bank. Without contacts the trailer is one bed. As long as the flow
// is not read nothing is concluded.
func (s *State) followBeds(set *Settings) {
	if !s.reads(signal.Flow) {
		return
	}
	flows := s.reaches(signal.Flow, set.Setup.NoFlow) && !s.stopped()
	chosen := [2]bool{true, false}
	if s.reads(signal.BankA) || s.reads(signal.BankB) {
		chosen = [2]bool{s.On(signal.BankA), s.On(signal.BankB)}
	}
	for i := range s.Watch.Beds {
		bed := &s.Watch.Beds[i]
		runs := flows && chosen[i]
		if runs == bed.Runs {
			continue
		}
		if stood := s.Elapsed - bed.Since; runs && stood >= set.Setup.Standing && set.Setup.RinseUp > 0 {
			bed.Until, bed.Stood = s.Elapsed+set.Setup.RinseUp, stood
		}
		bed.Runs, bed.Since = runs, s.Elapsed
	}
}

// rinsesUp reports whether water flows through a bed that stood too long and is not rinsed up yet.
func (s *State) rinsesUp() bool {
	for i := range s.Watch.Beds {
		if bed := &s.Watch.Beds[i]; bed.Runs && s.until(bed.Until) {
			return true
		}
	}
	return false
}

// restartsKept is how many restarts of the delay are remembered; the hovering alarm can ask for no more.
const restartsKept = 8

// Delays remembers when the delay began anew after good water had stopped it.
type Delays struct {
	Off      bool                        `json:"off"`
	Ended    bool                        `json:"ended"`    // a delay was ended by good water before
	Count    int                         `json:"count"`    // restarts seen
	Restarts [restartsKept]time.Duration `json:"restarts"` // rule times, in a ring
}

// follow sees the class of the product change. A stop or a loss of power begins a new story.
func (d *Delays) follow(now time.Duration, off bool, m Mode) {
	switch {
	case m == Shut || m == NoPower:
		d.Ended = false
	case off && !d.Off && d.Ended:
		d.Restarts[d.Count%restartsKept] = now
		d.Count++
	case !off && d.Off:
		d.Ended = true
	}
	d.Off = off
}

// restart gives the rule time of the nth restart from the end, n from 1 to restartsKept; false where there were fewer.
func (d *Delays) restart(n int) (time.Duration, bool) {
	n = min(max(n, 1), restartsKept)
	if d.Count < n {
		return 0, false
	}
	return d.Restarts[(d.Count-n)%restartsKept], true
}
