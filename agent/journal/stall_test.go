package journal

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent"
	"ionward/rules"
)

const (
	waitLimit = time.Minute
	pollEvery = 5 * time.Millisecond
)

func TestDropsOldestCalmScansWhileTheDiskStalls(t *testing.T) {
	set := settings(t)
	set.Queue = 50
	j := open(t, set)
	j.Record(calmScan(1))
	other := outside(t, path(set))
	alter(t, other, "BEGIN IMMEDIATE") // the writer waits for this, as it would for a stalled card
	event := func(seq uint64) *agent.Entry {
		e := calmScan(seq)
		e.Events = []rules.Event{{Kind: rules.Press, At: e.State.Elapsed}}
		return e
	}
	j.Record(event(2))
	// The writer takes what is there and is stuck with it.
	require.Eventually(t, func() bool { n, _, _ := j.queue.counts(); return n == 0 }, waitLimit, pollEvery)
	for seq := uint64(3); seq <= 200; seq++ {
		if seq%20 == 0 {
			j.Record(event(seq))
		} else {
			j.Record(calmScan(seq))
		}
	}
	h := j.Health()
	require.Equal(t, uint64(198-50), h.Dropped)
	require.Equal(t, 50+2, h.Queued)
	alter(t, other, "ROLLBACK")
	waitFor(t, j, 200)
	var elapsed time.Duration
	events := 0
	entries := all(t, j)
	for _, e := range entries {
		elapsed += e.Gap
		events += len(e.Events)
		require.Equal(t, elapsed, e.State.Elapsed, "the time of what was dropped goes to what follows")
	}
	require.Equal(t, 11, events, "no event is dropped while calm scans can be")
	require.Len(t, entries, 2+50)
	var count, first, last int
	require.NoError(t, other.QueryRow("SELECT sum(count), min(first), max(last) FROM lost").Scan(&count, &first, &last))
	require.Equal(t, []int{148, 3}, []int{count, first}, "the hole is in the record")
	require.Less(t, last, 200)
}

// The queue against its law: bounded, in order, no event lost while there is anything else to lose, no time lost ever.
func TestQueueLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limit := rapid.IntRange(1, 20).Draw(t, "limit")
		q := newQueue(limit, 10*time.Second, 0)
		var in, out []*agent.Entry
		var lost []span
		for range rapid.IntRange(1, 30).Draw(t, "runs") {
			kind := rapid.IntRange(0, 3).Draw(t, "kind")
			for range rapid.IntRange(1, 15).Draw(t, "length") {
				e := calmScan(uint64(len(in) + 1))
				switch kind {
				case 1:
					e.State.Mode = rules.Delay
				case 2:
					e.Events = []rules.Event{{}}
				}
				in = append(in, e)
				q.put(e)
				require.LessOrEqual(t, len(q.entries), limit)
			}
			if kind == 3 {
				batch, gone := q.take()
				out, lost = append(out, batch...), append(lost, gone...)
			}
		}
		batch, gone := q.take()
		out, lost = append(out, batch...), append(lost, gone...)
		var gaps time.Duration
		kept := map[uint64]bool{}
		for i, e := range out {
			gaps += e.Gap
			kept[e.Seq] = true
			require.True(t, i == 0 || out[i-1].Seq < e.Seq, "in order")
		}
		require.Equal(t, time.Duration(len(in))*time.Second, gaps)
		missing := 0
		for _, s := range lost {
			missing += s.count
			for seq := s.first; seq <= s.last; seq++ {
				require.False(t, kept[seq], "noted as lost, and yet there")
			}
		}
		require.Equal(t, len(in), len(out)+missing, "every entry is there or noted")
		require.Equal(t, uint64(missing), q.dropped)
	})
}

func TestQuotaMakesRoomFromTheOldestScans(t *testing.T) {
	set := settings(t)
	set.Quota = leastQuota
	j := open(t, set)
	total := uint64(0)
	for range 40 {
		drive(t, j, 500)
		total += 500
		e := calmScan(total + 1)
		e.Estimated = true
		j.Record(e)
		total++
		waitFor(t, j, total)
	}
	h := j.Health()
	require.True(t, h.Full)
	require.Positive(t, h.Pruned)
	require.False(t, h.Failing)
	require.Contains(t, h.LastError, "quota")
	require.LessOrEqual(t, h.Size, int64(leastQuota+5<<20), "the quota, and the log of at most 4 MiB with its index")
	entries := all(t, j)
	require.Equal(t, total, entries[len(entries)-1].Seq)
	require.Equal(t, total, h.Pruned+uint64(len(entries)), "what is gone is counted")
	for i := 1; i < len(entries); i++ {
		require.Equal(t, entries[i-1].Seq+1, entries[i].Seq, "only the oldest go")
	}
	var rows, count int
	require.NoError(t, outside(t, path(set)).QueryRow("SELECT count(*), sum(count) FROM lost WHERE why = 'quota'").Scan(&rows, &count))
	require.Equal(t, []int{1, int(h.Pruned)}, []int{rows, count})
}

func TestQuotaFullOfEventsAlone(t *testing.T) {
	set := settings(t)
	set.Quota = leastQuota
	j := open(t, set)
	for seq := uint64(1); seq <= 300; seq++ {
		e := calmScan(seq)
		for i := range 40 {
			e.Events = append(e.Events, rules.Event{Kind: rules.OrderDone, Order: rules.Order{Text: fmt.Sprintf("a rather long note number %d", i)}})
		}
		j.Record(e)
	}
	waitFor(t, j, 300)
	require.True(t, j.Health().Full)
	require.False(t, j.Health().Failing)
}

func TestCloseTellsWhatItCouldNotWrite(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("waits for SQLite's own limit of 5 s")
	}
	j := open(t, settings(t))
	other := outside(t, path(j.set))
	alter(t, other, "BEGIN IMMEDIATE")
	j.Record(calmScan(1))
	require.ErrorContains(t, j.Close(), "the last 1 entries are lost")
}

func TestGoesOnAfterFailing(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("waits for SQLite's own limit of 5 s")
	}
	j := open(t, settings(t))
	other := outside(t, path(j.set))
	alter(t, other, "BEGIN IMMEDIATE")
	drive(t, j, 60)
	require.Eventually(t, func() bool { return j.Health().Failing }, waitLimit, pollEvery)
	require.Contains(t, j.Health().LastError, "cannot write the journal")
	alter(t, other, "ROLLBACK")
	waitFor(t, j, 50)
	require.False(t, j.Health().Failing)
	j = reopen(t, j)
	restep(t, j)
}

func TestCursors(t *testing.T) {
	j := open(t, settings(t))
	epoch, seq, err := j.Cursor("mqtt")
	require.NoError(t, err)
	require.Equal(t, "", epoch)
	require.Zero(t, seq)
	j.SetCursor("mqtt", j.Epoch(), 5)
	j.SetCursor("files", j.Epoch(), 9)
	j = reopen(t, j)
	for feed, want := range map[string]uint64{"mqtt": 5, "files": 9} {
		epoch, seq, err = j.Cursor(feed)
		require.NoError(t, err)
		require.Equal(t, j.Epoch(), epoch)
		require.Equal(t, want, seq)
	}
	// Far enough for a commit of its own, and backward too.
	durable := func() (seq uint64) {
		require.NoError(t, outside(t, path(j.set)).QueryRow("SELECT seq FROM feed WHERE name = 'mqtt'").Scan(&seq))
		return seq
	}
	j.SetCursor("mqtt", j.Epoch(), 6)
	j.SetCursor("mqtt", j.Epoch(), 5+cursorStep)
	require.Eventually(t, func() bool { return durable() == 5+cursorStep }, waitLimit, pollEvery)
	j.SetCursor("mqtt", j.Epoch(), 3)
	require.Eventually(t, func() bool { return durable() == 3 }, waitLimit, pollEvery)
	// With the next entries otherwise.
	j.SetCursor("mqtt", j.Epoch(), 7)
	e := calmScan(1)
	e.Estimated = true
	j.Record(e)
	waitFor(t, j, 1)
	require.Equal(t, uint64(7), durable())
}
