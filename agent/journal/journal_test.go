package journal

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent"
	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

func TestGoesOnAfterRestart(t *testing.T) {
	j := open(t, settings(t))
	_, ok := j.Last()
	require.False(t, ok, "a new journal has no state")
	epoch := j.Epoch()
	require.Len(t, epoch, 16)
	for range 4 {
		drive(t, j, 150)
		j = reopen(t, j)
	}
	require.Equal(t, epoch, j.Epoch())
	require.Equal(t, uint64(600), j.Committed())
	restep(t, j)
	modes := map[rules.Mode]bool{}
	for _, e := range all(t, j) {
		modes[e.State.Mode] = true
	}
	require.Len(t, modes, rules.Modes, "the made water must lead through every mode")
	h := j.Health()
	require.Zero(t, h.Dropped+h.Refused+h.Damaged+h.Pruned)
	require.Empty(t, h.LastError)
	require.Positive(t, h.Size)
}

// value draws what a source gives (whole counts), and what it must never give but the record must still keep.
func value(t *rapid.T, id signal.ID) float64 {
	switch rapid.IntRange(0, 5).Draw(t, "form") {
	case 0:
		return math.Float64frombits(rapid.Uint64().Draw(t, "bits"))
	case 1:
		return rapid.SampledFrom([]float64{0, math.Copysign(0, -1), math.Inf(1), math.MaxFloat64, 5e-324, 0.1 + 0.2}).Draw(t, "odd")
	}
	i := id.Info()
	return signal.Round(rapid.Float64Range(i.Low, i.High).Draw(t, "value"), i.Resolution)
}

func entry(t *rapid.T, seq uint64) *agent.Entry {
	span := rapid.Map(rapid.Int64(), func(n int64) time.Duration { return time.Duration(n) })
	small := func(n int, what string) int { return rapid.IntRange(0, n-1).Draw(t, what) }
	order := func() rules.Order {
		return rules.Order{
			Who: rapid.String().Draw(t, "who"), Verb: rules.Verb(small(rules.Verbs, "verb")), Alarm: alarm.ID(small(alarm.Count, "alarm")),
			Text: string(rapid.SliceOfN(rapid.Byte(), 0, 8).Draw(t, "text")),
		}
	}
	e := &agent.Entry{Seq: seq, At: rapid.Int64().Draw(t, "at"), Gap: span.Draw(t, "gap"), Scan: rapid.Bool().Draw(t, "scan"), Estimated: rapid.Bool().Draw(t, "estimated")}
	e.State.Elapsed, e.State.Since = span.Draw(t, "elapsed"), span.Draw(t, "since")
	e.State.Mode = rules.Mode(small(rules.Modes, "mode"))
	if rapid.Bool().Draw(t, "facts") {
		e.Facts = rules.Facts{Known: rules.Fact(small(32, "known")), Set: rules.Fact(small(32, "set")), Left: time.Duration(rapid.Int64().Draw(t, "left"))}
	}
	for i := range e.Readings {
		if rapid.Bool().Draw(t, "present") {
			e.Readings[i] = signal.Reading{Value: value(t, signal.ID(i)), Quality: signal.Quality(small(4, "quality")), Cause: signal.Cause(small(int(signal.Reported)+1, "cause"))}
		}
	}
	for range small(3, "orders") {
		e.Orders = append(e.Orders, order())
	}
	for range small(4, "events") {
		e.Events = append(e.Events, rules.Event{
			At: span.Draw(t, "instant"), Kind: rules.Kind(small(kinds, "kind")), First: rapid.Bool().Draw(t, "first"),
			From: rules.Mode(small(rules.Modes, "from")), To: rules.Mode(small(rules.Modes, "to")), Accepted: rapid.Bool().Draw(t, "accepted"),
			Alarm: alarm.ID(small(alarm.Count, "of")), Was: alarm.Phase(small(phases, "was")), Now: alarm.Phase(small(phases, "now")),
			Priority: alarm.Priority(small(priorities, "priority")), Order: order(),
			Reason: rules.Reason{
				Code: rules.Code(small(rules.Codes, "code")), Value: value(t, signal.ProductConductivity), Limit: rapid.Float64().Draw(t, "limit"),
				For: span.Draw(t, "for"), Left: span.Draw(t, "left"),
			},
		})
	}
	return e
}

// bits makes floats comparable: NaN is not equal to itself, and the two zeros are.
type bits struct {
	entry  agent.Entry
	floats []uint64
}

func bitwise(e *agent.Entry, epoch string) bits {
	b := bits{entry: *e}
	b.entry.Epoch = epoch
	b.entry.State = rules.State{Elapsed: e.State.Elapsed, Since: e.State.Since, Mode: e.State.Mode}
	b.entry.Events = append([]rules.Event(nil), e.Events...)
	for i := range b.entry.Readings {
		b.floats = append(b.floats, math.Float64bits(e.Readings[i].Value))
		b.entry.Readings[i].Value = 0
	}
	for i := range b.entry.Events {
		r := &b.entry.Events[i].Reason
		if math.IsNaN(r.Value) { // its payload bits say nothing
			r.Value = math.NaN()
		}
		b.floats = append(b.floats, math.Float64bits(r.Value), math.Float64bits(r.Limit))
		r.Value, r.Limit = 0, 0
	}
	return b
}

func TestEntriesComeBackBitForBit(t *testing.T) {
	j := open(t, settings(t))
	seq := uint64(0)
	rapid.Check(t, func(rt *rapid.T) {
		first := seq + 1
		var want []bits
		for range rapid.IntRange(1, 5).Draw(rt, "n") {
			seq++
			e := entry(rt, seq)
			want = append(want, bitwise(e, j.Epoch()))
			j.Record(e)
		}
		// An event is committed at once, and everything before it with it.
		seq++
		j.Record(&agent.Entry{Seq: seq, Events: []rules.Event{{Kind: rules.Press}}})
		waitFor(t, j, seq)
		got, err := j.Entries(context.Background(), first-1, len(want))
		require.NoError(rt, err)
		for i := range got {
			require.Equal(rt, want[i], bitwise(got[i], j.Epoch()))
		}
		require.Len(rt, got, len(want))
	})
	require.Zero(t, j.Health().Refused+j.Health().Damaged)
}

func TestOneProcessAFolder(t *testing.T) {
	j := open(t, settings(t))
	_, err := Open(j.set)
	require.ErrorContains(t, err, "another process holds the journal in "+j.set.Folder)
	drive(t, j, 5)
	j = reopen(t, j)
	restep(t, j)
}

func TestCommitsWhatMattersAtOnce(t *testing.T) {
	urgent := map[string]func(*agent.Entry){
		"event":     func(e *agent.Entry) { e.Events = []rules.Event{{Kind: rules.Press}} },
		"order":     func(e *agent.Entry) { e.Orders = []rules.Order{{Verb: rules.Note}} },
		"mode":      func(e *agent.Entry) { e.State.Mode = rules.Delay },
		"estimated": func(e *agent.Entry) { e.Estimated = true },
	}
	j := open(t, settings(t))
	seq := uint64(0)
	for name, mark := range urgent {
		commits := j.Health().Commits
		for range 5 {
			seq++
			j.Record(calmScan(seq))
		}
		require.Equal(t, commits, j.Health().Commits, "calm scans wait")
		seq++
		e := calmScan(seq)
		mark(e)
		j.Record(e)
		waitFor(t, j, seq)
		require.Equal(t, commits+1, j.Health().Commits, "one transaction for %s and the calm scans before it", name)
	}
	// Ten seconds of entry time are enough as well.
	for range 11 {
		seq++
		j.Record(calmScan(seq))
	}
	waitFor(t, j, seq)
}

// hand is a clock whose timers are moved by hand.
type hand struct {
	*agent.RealClock
	timers chan chan time.Time
}

func (h hand) Timer(time.Duration) (<-chan time.Time, func()) {
	c := make(chan time.Time)
	h.timers <- c
	return c, func() {}
}

func TestCommitsCalmScansWhenTheSourceFallsSilent(t *testing.T) {
	set := settings(t)
	clock := hand{agent.NewRealClock(), make(chan chan time.Time, 10)}
	set.Clock = clock
	j := open(t, set)
	j.Record(calmScan(1))
	timer := <-clock.timers
	require.Zero(t, j.Committed())
	timer <- time.Time{}
	waitFor(t, j, 1)
}

func TestRefusesWhatIsOutOfSequence(t *testing.T) {
	j := open(t, settings(t))
	j.Record(calmScan(1))
	j.Record(calmScan(1))
	j.Record(calmScan(2))
	nameless := calmScan(3)
	nameless.Readings[signal.Flow].Quality = 99
	nameless.Estimated = true
	j.Record(nameless)
	waitFor(t, j, 3)
	e := calmScan(4)
	e.Estimated = true
	j.Record(e)
	waitFor(t, j, 4)
	require.Equal(t, uint64(2), j.Health().Refused)
	j = reopen(t, j)
	var seqs []uint64
	for _, e := range all(t, j) {
		seqs = append(seqs, e.Seq)
	}
	require.Equal(t, []uint64{1, 2, 4}, seqs)
	require.NoError(t, j.Close())
	j.Record(calmScan(5))
	require.Equal(t, uint64(1), j.Health().Refused, "after Close")
}

func TestTrendAndEvents(t *testing.T) {
	j := open(t, settings(t))
	drive(t, j, 400)
	j = reopen(t, j)
	entries := all(t, j)
	from, to := entries[100].At, entries[300].At
	trend, err := j.Range(context.Background(), from, to, signal.Flow, signal.ProductConductivity)
	require.NoError(t, err)
	require.Len(t, trend.At, 200)
	var want []rules.Event
	for i, e := range entries {
		if i >= 100 && i < 300 {
			require.Equal(t, e.Readings[signal.Flow], trend.Readings[0][i-100])
			require.Equal(t, e.Readings[signal.ProductConductivity], trend.Readings[1][i-100])
			require.Equal(t, e.Seq, trend.Seq[i-100])
		}
		for _, event := range e.Events {
			if at := e.At - int64(e.State.Elapsed-event.At); at >= from && at < to {
				want = append(want, event)
			}
		}
	}
	got, err := j.Events(context.Background(), from, to)
	require.NoError(t, err)
	require.NotEmpty(t, want)
	require.Len(t, got, len(want))
	for i := range got {
		assert.Equal(t, want[i], got[i].Event)
	}
}

func TestSettings(t *testing.T) {
	_, err := Open(Settings{Trailer: "T-100"})
	require.ErrorContains(t, err, "no folder")
	_, err = Open(Settings{Folder: t.TempDir()})
	require.ErrorContains(t, err, "no trailer")
	_, err = Open(Settings{Folder: t.TempDir(), Trailer: "T-100", Quota: 1000})
	require.ErrorContains(t, err, "too small")
	blocked := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(blocked, nil, 0o600))
	_, err = Open(Settings{Folder: blocked, Trailer: "T-100"})
	require.ErrorContains(t, err, "cannot make the journal's folder")
}
