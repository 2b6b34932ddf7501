package forwardtest

import (
	"context"
	"errors"
	"sync"
	"testing"

	"go.uber.org/goleak"

	"ionward/agent"
	"ionward/agent/forward"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// slice is the simplest sink: it stores in memory and acknowledges at once.
type slice struct {
	mu     sync.Mutex
	broken bool
	got    []uint64
}

func (s *slice) Publisher(*testing.T) (forward.Publisher, func()) { return s, func() {} }
func (s *slice) Name() string                                     { return "slice" }

func (s *slice) set(broken bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.broken = broken
}

func (s *slice) Break() { s.set(true) }
func (s *slice) Mend()  { s.set(false) }

func (s *slice) Publish(_ context.Context, batch []*agent.Entry) (forward.Receipt, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, e := range batch {
		if s.broken {
			return nil, errors.New("broken")
		}
		s.got = append(s.got, e.Seq)
	}
	return forward.Done{}, nil
}

func (s *slice) Arrived() []uint64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]uint64(nil), s.got...)
}

func TestConform(t *testing.T) { Conform(t, &slice{}) }
