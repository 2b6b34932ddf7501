package agent

import "time"

// Health is how one instrument has answered so far.
type Health struct {
	Instrument string
	Address    string
	Polls      uint64
	Errors     map[string]uint64 // by kind: exception, timeout, down, frame, cancelled
	LastGood   time.Time         // UTC; zero = never
	LastError  string            // with the time in front; empty = none
	RoundTrip  time.Duration     // of the last good poll
	Latency    Latency           // of all good polls
	Reconnects uint64            // connections made to its address after the first
	Losses     uint64            // how often it stopped answering for two polls or more
	Withheld   Withheld          // why its readings are kept back now, though it answers
	Settings   []Setting         // its settings, as last read back; nil = none are watched
}

// Withheld says why the readings of an instrument that answers are kept back.
type Withheld uint8

// The reasons.
const (
	NotWithheld Withheld = iota
	WarmingUp            // it has just come back, and may have lost its supply
	Flapping             // it has come and gone too often
)

// String is a short name for logs, labels and pages.
func (w Withheld) String() string {
	switch w {
	case WarmingUp:
		return "warming up"
	case Flapping:
		return "link flaps"
	default:
		return ""
	}
}

// Setting is one setting of an instrument against what was commissioned.
type Setting struct {
	Name    string
	Want    float64   // as commissioned
	Have    float64   // as last read; NaN = not read yet, or not a number
	Read    time.Time // UTC of the last answer; zero = never
	Differs bool      // as last read, it was not what was commissioned
	Trouble string    // why it could not be read the last time; empty = it was
}

// LatencyBounds are the upper bounds of the classes of a Latency, ascending.
var LatencyBounds = [...]time.Duration{
	2 * time.Millisecond, 5 * time.Millisecond, 10 * time.Millisecond, 20 * time.Millisecond, 50 * time.Millisecond,
	100 * time.Millisecond, 200 * time.Millisecond, 500 * time.Millisecond, time.Second, 2 * time.Second, 5 * time.Second,
}

// Latency is a histogram of durations.
type Latency struct {
	Counts [len(LatencyBounds)]uint64 // how many lay at or below each bound and above the one before
	Count  uint64                     // how many there were, those above the last bound included
	Sum    time.Duration
}

// Add counts one duration.
func (l *Latency) Add(d time.Duration) {
	l.Count++
	l.Sum += d
	for i, bound := range LatencyBounds {
		if d <= bound {
			l.Counts[i]++
			return
		}
	}
}

// Healths is asked for the health of all instruments; it must be safe to call at any time.
type Healths func() []Health
