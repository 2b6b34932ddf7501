package journal

import (
	"slices"
	"sync"
	"time"

	"ionward/agent"
	"ionward/rules"
)

// span is a run of entries that never reached the disk.
type span struct {
	first, last uint64
	count       int
	at          int64 // UTC of the last of them
}

// queue holds entries between the loop and the disk. It is bounded, and putting one in never waits.
type queue struct {
	wake chan struct{} // receives when there may be work for the writer

	mu       sync.Mutex
	limit    int
	interval time.Duration
	entries  []*agent.Entry
	last     uint64 // newest seq ever put in
	urgent   bool   // something in it must not wait
	closed   bool
	lost     []span
	dropped  uint64 // entries that the full queue pushed out
	refused  uint64 // entries that came after Close or out of sequence
}

func newQueue(limit int, interval time.Duration, last uint64) *queue {
	return &queue{wake: make(chan struct{}, 1), limit: limit, interval: interval, last: last}
}

// calm reports whether an entry may wait for its commit, and is the first to go when the queue is full.
func calm(e *agent.Entry) bool {
	return len(e.Events) == 0 && len(e.Orders) == 0 && !e.Estimated && e.State.Mode == rules.Service
}

func (q *queue) put(e *agent.Entry) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.closed || e.Seq <= q.last {
		q.refused++
		return
	}
	q.last = e.Seq
	if len(q.entries) >= q.limit {
		q.drop(e)
	}
	q.entries = append(q.entries, e)
	q.urgent = q.urgent || !calm(e)
	if len(q.entries) == 1 || q.due() {
		q.signal()
	}
}

func (q *queue) signal() {
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

// drop makes room: the oldest calm scan goes, or, where there is none, the oldest scan without an event, or the oldest
// entry. Its time is given to the entry that follows, as the gap since the last entry of the record.
func (q *queue) drop(newest *agent.Entry) {
	victim := max(0, slices.IndexFunc(q.entries, bare))
	if i := slices.IndexFunc(q.entries, calm); i >= 0 {
		victim = i
	}
	gone, heir := q.entries[victim], newest
	if victim+1 < len(q.entries) {
		heir = q.entries[victim+1]
	}
	heir.Gap += gone.Gap
	heir.Estimated = heir.Estimated || gone.Estimated
	q.entries = append(q.entries[:victim], q.entries[victim+1:]...)
	q.dropped++
	if n := len(q.lost); n > 0 && q.lost[n-1].last+1 == gone.Seq {
		q.lost[n-1].last, q.lost[n-1].at = gone.Seq, gone.At
		q.lost[n-1].count++
		return
	}
	q.lost = append(q.lost, span{first: gone.Seq, last: gone.Seq, count: 1, at: gone.At})
}

func bare(e *agent.Entry) bool { return len(e.Events) == 0 && len(e.Orders) == 0 }

// due reports whether what is queued must be committed now. Entry time is the wall clock's, which may step either way.
func (q *queue) due() bool {
	n := len(q.entries)
	if n == 0 {
		return false
	}
	waited := time.Duration(q.entries[n-1].At - q.entries[0].At)
	return q.urgent || n >= batchLimit || n >= q.limit || waited >= q.interval || waited < 0
}

// ready is due under the lock; waiting tells whether anything is queued at all.
func (q *queue) ready() (due, waiting bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.due(), len(q.entries) > 0
}

// take moves up to batchLimit entries, and what was lost before the last of them, to the writer.
func (q *queue) take() ([]*agent.Entry, []span) {
	q.mu.Lock()
	defer q.mu.Unlock()
	n := min(len(q.entries), batchLimit)
	batch := append([]*agent.Entry(nil), q.entries[:n]...)
	rest := copy(q.entries, q.entries[n:])
	clear(q.entries[rest:]) // what was written can be freed
	q.entries = q.entries[:rest]
	lost := q.lost
	q.lost = nil
	q.urgent = false
	for _, e := range q.entries {
		q.urgent = q.urgent || !calm(e)
	}
	return batch, lost
}

func (q *queue) close() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.closed = true
}

// counts gives the numbers for Health.
func (q *queue) counts() (queued int, dropped, refused uint64) {
	q.mu.Lock()
	defer q.mu.Unlock()
	return len(q.entries), q.dropped, q.refused
}
