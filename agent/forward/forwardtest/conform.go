// Package forwardtest checks that a publisher keeps the law of package forward, against a real journal.
package forwardtest

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/agent"
	"ionward/agent/forward"
	"ionward/agent/journal"
	"ionward/rules"
	"ionward/rules/signal"
)

// Sink is a publisher under test with the far end it delivers to.
type Sink interface {
	// Publisher gives the publisher, ready to be fed; stop ends it and waits for its end.
	Publisher(t *testing.T) (pub forward.Publisher, stop func())
	// Break makes the far end unreachable, in the middle of whatever is on its way; Mend makes it reachable again. What
	// has arrived stays.
	Break()
	Mend()
	// Arrived lists the sequence numbers of the entries that the far end has stored, in order of arrival, with repeats.
	Arrived() []uint64
}

const limit = time.Minute

// Conform feeds a sink that breaks while entries go on, and requires that every entry arrives, for the first time in
// order, and that the cursor is never ahead of what has arrived.
func Conform(t *testing.T, sink Sink) {
	j := Open(t, t.TempDir())
	const steady, total = 300, 3000
	Record(j, 1, steady)
	watch := Start(t, j, sink)
	reach(t, j, watch.Name, steady)

	for from := uint64(steady + 1); from <= total; from += 900 {
		Record(j, from, min(from+449, total))
		sink.Break()
		Record(j, from+450, min(from+899, total))
		sink.Mend()
	}
	reach(t, j, watch.Name, total)
	watch.Stop()
	Complete(t, sink.Arrived(), total)
	h := watch.Feed.Health()
	assert.Zero(t, h.Missing)
	assert.Zero(t, h.Backlog)
	assert.Equal(t, uint64(total), h.Cursor)

	// After a restart of the agent only what is new is sent.
	before := len(sink.Arrived())
	Record(j, total+1, total+50)
	watch = Start(t, j, sink)
	reach(t, j, watch.Name, total+50)
	watch.Stop()
	require.Equal(t, before+50, len(sink.Arrived()), "what was acknowledged is not repeated")

	// A journal of a new epoch is fed from its start.
	other := Open(t, t.TempDir())
	Record(other, 1, 20)
	other.SetCursor(watch.Name, j.Epoch(), 15) // a cursor of another epoch says nothing
	before = len(sink.Arrived())
	watch = Start(t, other, sink)
	reach(t, other, watch.Name, 20)
	watch.Stop()
	require.Equal(t, uint64(1), sink.Arrived()[before])
}

// Watch is a running feed and a check that its cursor never runs ahead.
type Watch struct {
	Name string
	Feed *forward.Feed
	Stop func()
}

// Start runs a feed from the journal to the sink until Stop.
func Start(t *testing.T, j *journal.Journal, sink Sink) *Watch {
	t.Helper()
	pub, stop := sink.Publisher(t)
	log := &guard{Journal: j, t: t, sink: sink}
	feed := forward.New(forward.Settings{Rate: -1, First: 5 * time.Millisecond, Last: 50 * time.Millisecond}, log, pub)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- feed.Run(ctx) }()
	return &Watch{Name: pub.Name(), Feed: feed, Stop: func() {
		cancel()
		require.ErrorIs(t, <-done, context.Canceled)
		stop()
	}}
}

// guard sees every move of the cursor.
type guard struct {
	*journal.Journal
	t    *testing.T
	sink Sink
	last uint64
}

func (g *guard) SetCursor(feed, epoch string, seq uint64) {
	assert.Greater(g.t, seq, g.last, "the cursor moves in order")
	g.last = seq
	if seq%7 == 0 { // the list is long: not at every move
		assert.True(g.t, slices.Contains(g.sink.Arrived(), seq), "the cursor is at %d, which has not arrived", seq)
	}
	g.Journal.SetCursor(feed, epoch, seq)
}

func reach(t *testing.T, j *journal.Journal, feed string, seq uint64) {
	t.Helper()
	require.Eventually(t, func() bool {
		epoch, at, err := j.Cursor(feed)
		return err == nil && epoch == j.Epoch() && at >= seq
	}, limit, 2*time.Millisecond, "the cursor must come to %d", seq)
}

// Complete requires that 1 to total have arrived, for the first time in order. It gives the number of repeats.
func Complete(t *testing.T, arrived []uint64, total uint64) (repeats int) {
	t.Helper()
	next := uint64(1)
	for i, seq := range arrived {
		require.LessOrEqual(t, seq, next, "arrival %d jumps ahead", i)
		if seq == next {
			next++
		} else {
			repeats++
		}
	}
	require.Equal(t, total, next-1, "every entry has arrived")
	return repeats
}

// Open opens a journal that is closed with the test.
func Open(t testing.TB, folder string) *journal.Journal {
	t.Helper()
	j, err := journal.Open(journal.Settings{Folder: folder, Trailer: "T-100"})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, j.Close()) })
	return j
}

// Record records entries and waits until they are on the disk. The last of every thousand has an event.
func Record(j *journal.Journal, from, to uint64) {
	for from <= to {
		last := min(to, from+999) // more at a time would fill the journal's queue
		for ; from <= last; from++ {
			j.Record(Entry(from, from == last))
		}
		for {
			changed := j.Changed()
			if j.Committed() >= last {
				break
			}
			<-changed
		}
	}
}

// Entry makes an entry; one with an event is committed at once.
func Entry(seq uint64, event bool) *agent.Entry {
	at := time.Date(2031, 3, 1, 6, 0, 0, 0, time.UTC).Add(time.Duration(seq) * time.Second)
	e := &agent.Entry{Seq: seq, At: at.UnixNano(), Gap: time.Second, Scan: true}
	e.State.Elapsed = time.Duration(seq) * time.Second
	e.State.Mode = rules.Service
	for i, v := range []float64{412.5, 0.084, 18.2, 18.9, 31.4, float64(seq) / 1000} {
		e.Readings[i] = signal.ID(i).Default(v, signal.Good)
	}
	e.Readings[signal.ControlPower] = signal.Reading{Value: 1, Quality: signal.Good}
	if event {
		e.Events = []rules.Event{{Kind: rules.AlarmChange, At: e.State.Elapsed, Priority: 2, Now: 1}}
	}
	return e
}
