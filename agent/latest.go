package agent

import (
	"sync"
	"time"

	"ionward/rules"
)

// Snapshot is the present as people, metrics and topics see it: one step's outcome, immutable once put.
type Snapshot struct {
	Trailer    string
	Simulation bool
	Epoch      string
	Seq        uint64
	At         int64 // UTC, ns since 1970
	Estimated  bool  // this step's gap was a difference of wall clocks
	Settings   rules.Settings
	State      rules.State
	Outputs    rules.Outputs // what the rule expects of the valves
	Events     []rules.Event // of this step
}

// Time is the instant of the snapshot, UTC.
func (s *Snapshot) Time() time.Time { return time.Unix(0, s.At).UTC() }

// EventTime is the UTC instant of one of the snapshot's events.
func (s *Snapshot) EventTime(e *rules.Event) time.Time {
	return time.Unix(0, s.At-int64(s.State.Elapsed-e.At)).UTC()
}

// Latest holds the newest snapshot. Writers never wait for readers. The zero Latest is ready.
type Latest struct {
	mu      sync.Mutex
	newest  *Snapshot
	changed chan struct{}
}

// Put replaces the newest snapshot and wakes who waits for a change.
func (l *Latest) Put(s *Snapshot) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.newest = s
	if l.changed != nil {
		close(l.changed)
		l.changed = nil
	}
}

// Get gives the newest snapshot, nil before the first, and a channel that closes at the next one.
func (l *Latest) Get() (*Snapshot, <-chan struct{}) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.changed == nil {
		l.changed = make(chan struct{})
	}
	return l.newest, l.changed
}
