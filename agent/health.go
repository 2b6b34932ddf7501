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
}

// Healths is asked for the health of all instruments; it must be safe to call at any time.
type Healths func() []Health
