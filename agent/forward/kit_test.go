package forward

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"ionward/agent"
)

// memory is a journal that is not on a disk.
type memory struct {
	mu      sync.Mutex
	epoch   string
	entries []*agent.Entry
	changed chan struct{}
	cursor  map[string]uint64 // by feed and epoch
	fail    error
}

func newMemory() *memory {
	return &memory{epoch: "first", changed: make(chan struct{}), cursor: map[string]uint64{}}
}

func (m *memory) add(seqs ...uint64) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, seq := range seqs {
		m.entries = append(m.entries, &agent.Entry{Epoch: m.epoch, Seq: seq})
	}
	close(m.changed)
	m.changed = make(chan struct{})
}

func (m *memory) run(from, to uint64) {
	var seqs []uint64
	for ; from <= to; from++ {
		seqs = append(seqs, from)
	}
	m.add(seqs...)
}

func (m *memory) Epoch() string {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.epoch
}

func (m *memory) Committed() uint64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.entries) == 0 {
		return 0
	}
	return m.entries[len(m.entries)-1].Seq
}

func (m *memory) Changed() <-chan struct{} {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.changed
}

func (m *memory) Entries(_ context.Context, after uint64, limit int) ([]*agent.Entry, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	i := slices.IndexFunc(m.entries, func(e *agent.Entry) bool { return e.Seq > after })
	if i < 0 || m.fail != nil {
		return nil, m.fail
	}
	return m.entries[i:min(i+limit, len(m.entries))], nil
}

func (m *memory) Cursor(feed string) (string, uint64, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.epoch, m.cursor[feed+" "+m.epoch], nil
}

func (m *memory) SetCursor(feed, epoch string, seq uint64) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.cursor[feed+" "+epoch] = seq
}

// sink acknowledges a batch some time after it was published, unless it is broken.
type sink struct {
	latency time.Duration
	breakAt map[int]bool // fails the n-th Publish
	nackAt  map[int]bool // never acknowledges the n-th

	mu       sync.Mutex
	calls    int
	flying   int
	most     int // entries in flight at once
	got      []uint64
	receipts []time.Time
}

var errBroken = errors.New("the line is cut")

func (s *sink) Name() string { return "test" }

func (s *sink) Publish(_ context.Context, batch []*agent.Entry) (Receipt, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.calls++
	if s.breakAt[s.calls] {
		s.flying = 0
		return nil, errBroken
	}
	for _, e := range batch {
		s.got = append(s.got, e.Seq)
	}
	s.flying += len(batch)
	s.most = max(s.most, s.flying)
	return &slip{sink: s, count: len(batch), due: time.Now().Add(s.latency), nack: s.nackAt[s.calls]}, nil
}

type slip struct {
	sink  *sink
	count int
	due   time.Time
	nack  bool
}

func (p *slip) Wait(ctx context.Context) error {
	select {
	case <-time.After(time.Until(p.due)):
	case <-ctx.Done():
		return ctx.Err()
	}
	p.sink.mu.Lock()
	defer p.sink.mu.Unlock()
	if p.nack {
		p.sink.flying = 0
		return errBroken
	}
	p.sink.flying -= p.count
	p.sink.receipts = append(p.sink.receipts, time.Now())
	return nil
}
