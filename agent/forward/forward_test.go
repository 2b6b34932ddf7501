package forward

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"pgregory.net/rapid"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// feed runs a feed in a bubble of its own time until the log is delivered, then ends it.
func feed(t *testing.T, set Settings, m *memory, s *sink, until uint64) (*Feed, time.Duration) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	f := New(set, m, s)
	start := time.Now()
	done := make(chan error)
	go func() { done <- f.Run(ctx) }()
	for f.Health().Cursor < until {
		time.Sleep(10 * time.Millisecond)
		require.Less(t, time.Since(start), 10*time.Hour)
	}
	took := time.Since(start)
	cancel()
	require.ErrorIs(t, <-done, context.Canceled)
	return f, took
}

func TestWindow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, s := newMemory(), &sink{latency: 50 * time.Millisecond}
		m.run(1, 5120)
		_, took := feed(t, Settings{Window: 256, Rate: -1}, m, s, 5120)
		require.Equal(t, 256, s.most, "the window is used, and kept")
		require.Less(t, took, 1200*time.Millisecond, "20 windows of 50 ms round trip")
	})
	synctest.Test(t, func(t *testing.T) {
		m, s := newMemory(), &sink{latency: 50 * time.Millisecond}
		m.run(1, 100)
		feed(t, Settings{Window: 1, Rate: -1}, m, s, 100)
		require.Equal(t, 1, s.most, "one at a time")
	})
}

func TestBacklogIsCapped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, s := newMemory(), &sink{}
		m.run(1, 11000)
		_, took := feed(t, Settings{}, m, s, 11000)
		require.InDelta(t, 10, took.Seconds(), 0.1, "1000 a second after the first 1000")
	})
}

func TestBacksOffWhileTheSinkFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broken := map[int]bool{}
		for n := 1; n <= 12; n++ {
			broken[n] = true
		}
		m, s := newMemory(), &sink{breakAt: broken}
		m.run(1, 10)
		f, took := feed(t, Settings{}, m, s, 10)
		// 1 + 2 + 4 + 8 + 16 + 32 + 6 x 60 s, each between half of it and all of it.
		require.Greater(t, took, 423*time.Second/2)
		require.LessOrEqual(t, took, 424*time.Second)
		h := f.Health()
		require.Equal(t, uint64(12), h.Failures)
		require.False(t, h.Failing)
		require.Contains(t, h.LastError, "cannot feed test: the line is cut")
	})
}

func TestBackoffGrowsJittersAndResets(t *testing.T) {
	b := Backoff{First: time.Second, Last: 10 * time.Second}
	for _, whole := range []time.Duration{1, 2, 4, 8, 10, 10} {
		d := b.Next()
		assert.LessOrEqual(t, d, whole*time.Second)
		assert.GreaterOrEqual(t, d, whole*time.Second/2)
	}
	b.Reset()
	assert.LessOrEqual(t, b.Next(), time.Second)
	seen := map[time.Duration]bool{}
	for range 20 {
		seen[(&Backoff{}).Next()] = true
	}
	assert.Greater(t, len(seen), 10, "jitter")
}

func TestNewEpochBeginsAtItsStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, s := newMemory(), &sink{}
		m.run(1, 30)
		ctx, cancel := context.WithCancel(context.Background())
		f := New(Settings{}, m, s)
		done := make(chan error)
		go func() { done <- f.Run(ctx) }()
		synctest.Wait()
		require.Equal(t, uint64(30), f.Health().Cursor)
		m.mu.Lock()
		m.epoch, m.entries = "second", nil
		m.mu.Unlock()
		require.Zero(t, f.Health().Backlog)
		m.run(1, 5)
		synctest.Wait()
		h := f.Health()
		require.Equal(t, "second", h.Epoch)
		require.Equal(t, uint64(5), h.Cursor)
		require.Zero(t, h.Failures, "a new epoch is not a failure")
		require.Equal(t, []uint64{1, 2, 3, 4, 5}, s.got[30:])
		cancel()
		<-done
	})
}

func TestHolesAreCountedOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, s := newMemory(), &sink{nackAt: map[int]bool{1: true, 2: true}}
		m.add(1, 2, 5, 6, 9)
		f, _ := feed(t, Settings{}, m, s, 9)
		require.Equal(t, uint64(4), f.Health().Missing)
		require.Equal(t, uint64(5), f.Health().Sent)
	})
}

func TestAFailingJournalIsTriedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, s := newMemory(), &sink{}
		m.run(1, 3)
		m.fail = errors.New("disk gone")
		f := New(Settings{}, m, s)
		ctx, cancel := context.WithCancel(context.Background())
		done := make(chan error)
		go func() { done <- f.Run(ctx) }()
		synctest.Wait()
		require.Contains(t, f.Health().LastError, "disk gone")
		require.True(t, f.Health().Failing)
		require.Equal(t, uint64(3), f.Health().Backlog)
		m.mu.Lock()
		m.fail = nil
		m.mu.Unlock()
		time.Sleep(2 * time.Minute)
		require.Equal(t, uint64(3), f.Health().Cursor)
		cancel()
		<-done
	})
}

// Whatever fails, every entry arrives, for the first time in order.
func TestLaw(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		number := func(label string, low, high int) int { return rapid.IntRange(low, high).Draw(rt, label) }
		s := &sink{latency: time.Duration(number("latency", 0, 100)) * time.Millisecond, breakAt: map[int]bool{}, nackAt: map[int]bool{}}
		for range number("breaks", 0, 6) {
			s.breakAt[number("break", 1, 40)] = true
			s.nackAt[number("nack", 1, 40)] = true
		}
		total := uint64(number("total", 1, 600))
		set := Settings{Window: number("window", 1, 64), Batch: number("batch", 1, 16), Rate: -1}
		synctest.Test(t, func(t *testing.T) {
			m := newMemory()
			m.run(1, total)
			feed(t, set, m, s, total)
		})
		next := uint64(1)
		for _, seq := range s.got {
			require.LessOrEqual(rt, seq, next, "ahead of its turn")
			if seq == next {
				next++
			}
		}
		require.Equal(rt, total, next-1)
	})
}
