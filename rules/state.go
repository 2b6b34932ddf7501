package rules

import (
	"time"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// Class is what a product reading counts as, before the clear delay.
type Class uint8

// The classes. Unclassified holds until the first scan with control power.
const (
	Unclassified Class = iota
	ClassOn
	ClassOff
)

// Button is the last known position of the bypass button.
type Button uint8

// The positions. An unread button's first reading gives no edge.
const (
	ButtonUnread Button = iota
	ButtonReleased
	ButtonHeld
)

// Held is the last usable reading of a signal and when it was taken.
type Held struct {
	Value   float64        `json:"value"`   // inside units; the last usable value
	Seen    time.Duration  `json:"seen"`    // rule time of that value
	Quality signal.Quality `json:"quality"` // of the newest scan: none, good, uncertain or bad
	Cause   signal.Cause   `json:"cause"`   // of a poor quality in the newest scan
	Known   bool           `json:"known"`   // a usable value was seen at all

	// As long as the value stays in [Low, High) no comparison that an alarm made of it comes out another way.
	Low    float64       `json:"low,omitzero"`
	High   float64       `json:"high,omitzero"`
	Jumped time.Duration `json:"jumped,omitzero"` // rule time of the last step too large for water; 0 = never
}

// State is everything the rule remembers: plain values, so that a copy is a checkpoint and Step cannot share it.
type State struct {
	Elapsed time.Duration `json:"elapsed"` // rule time: the sum of all gaps
	Started bool          `json:"started"` // a scan was seen
	Mode    Mode          `json:"mode"`
	Since   time.Duration `json:"since"`  // rule time at which Mode was entered
	Reason  Reason        `json:"reason"` // of the last change of mode

	Powered bool   `json:"powered"`
	Class   Class  `json:"class"`
	Why     Code   `json:"why"` // of Class
	Clear   TOF    `json:"clear"`
	Delay   TON    `json:"delay"`
	Bypass  TP     `json:"bypass"`
	Tripped bool   `json:"tripped"` // the trip latch
	Button  Button `json:"button"`

	Signals [signal.Count]Held       `json:"signals"`
	Fresh   uint32                   `json:"fresh"` // bit by signal: the newest scan read it
	Alarms  [alarm.Count]alarm.State `json:"alarms"`
	Due     time.Duration            `json:"due"` // rule time of the alarms' next deadline
	Offered Bits                     `json:"bits"`
	Pending uint64                   `json:"pending"` // bit by alarm: a delay or a shelf runs
	Watch   Watch                    `json:"watch"`
	Facts   Facts                    `json:"facts"`
	Custody Custody                  `json:"custody"`
	Limits  Limits                   `json:"limits"`
	Shadow  Shadow                   `json:"shadow"`

	Trips       int `json:"trips"`        // stops by the rule
	Presses     int `json:"presses"`      // rising edges of the button
	Bypasses    int `json:"bypasses"`     // accepted presses
	PowerLosses int `json:"power_losses"` // a powered scan followed by one without power
	Chain       int `json:"chain"`        // accepted presses in a row since the water was last on spec without a bypass
}

// never is later than any deadline.
const never = time.Duration(1<<63 - 1)

// Limits are the settings of the classification as whole counts, worked out once and kept with what they came from, so
// that a changed setting is seen at the next scan.
type Limits struct {
	Endpoint   float64 `json:"endpoint"` // uS/cm, as set
	ClearBand  float64 `json:"clear_band"`
	Resolution float64 `json:"resolution"`
	End        int64   `json:"end"`   // counts: at or above is off spec
	Clear      int64   `json:"clear"` // counts: below is on spec
}

// limit brings the limits up to date with the settings.
func (s *State) limit(set *Settings) *Limits {
	l := &s.Limits
	if l.Endpoint != set.Endpoint || l.ClearBand != set.ClearBand || l.Resolution != set.Resolution {
		end := signal.Counts(set.Endpoint, set.Resolution)
		*l = Limits{set.Endpoint, set.ClearBand, set.Resolution, end, end - signal.Counts(set.ClearBand, set.Resolution)}
		s.Watch.Touched = true
	}
	return l
}

// Off reports whether the product counts as off spec: the class after the clear delay.
func (s *State) Off() bool { return s.Clear.Q() }

// TimeLeft is the time to a stop if the reading is held off spec and nobody presses; false where no stop approaches.
func (s *State) TimeLeft(set *Settings) (time.Duration, bool) {
	if !s.Powered || s.Tripped || !s.Off() {
		return 0, false
	}
	left := set.Delay - s.Delay.ET
	if b, running := s.Bypass.Left(set.Bypass); running {
		left = max(left, b)
	}
	return left, true
}

// NextDeadline is the time from now to the next instant at which something happens by itself with the inputs held, and
// whether there is one. A live loop wakes exactly then, even when polling hangs.
func (s *State) NextDeadline(set *Settings) (time.Duration, bool) {
	next := never
	if s.Powered {
		if d, ok := s.Clear.Left(set.ClearDelay); ok {
			next = min(next, d)
		}
		if d, ok := s.Delay.Left(set.Delay); ok {
			next = min(next, d)
		}
		if d, ok := s.Bypass.Left(set.Bypass); ok {
			next = min(next, d)
		}
	}
	if s.Due > 0 {
		next = min(next, s.Due-s.Elapsed)
	}
	// A setting shortened in mid-run may put a deadline behind: it is due now.
	return max(next, 0), next != never
}

// Age is how long ago a signal last gave a usable value; false where it never did.
func (s *State) Age(id signal.ID) (time.Duration, bool) {
	h := &s.Signals[id]
	return s.Elapsed - h.Seen, h.Known
}

// On reports whether a contact is known to read 1.
func (s *State) On(id signal.ID) bool { return s.Signals[id].Known && s.Signals[id].Value != 0 }
