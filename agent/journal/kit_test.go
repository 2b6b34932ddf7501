package journal

import (
	"context"
	"io"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"ionward/agent"
	"ionward/rules"
	"ionward/rules/signal"
)

func TestMain(m *testing.M) {
	if folder := os.Getenv(childFolder); folder != "" {
		child(folder)
		return
	}
	goleak.VerifyTestMain(m)
}

// epochStart is the wall clock of the first made entry.
var epochStart = time.Date(2031, 3, 1, 6, 0, 0, 0, time.UTC).UnixNano()

// fast settings walk through all modes within some hundred scans.
func fast() rules.Settings {
	s := rules.Defaults()
	s.Delay, s.Bypass, s.ClearDelay = 20*time.Second, 15*time.Second, 3*time.Second
	return s
}

// made is a source whose scan after seq depends on seq alone, so that a run may be cut anywhere and gone on with.
type made struct {
	seq       uint64
	until     uint64
	estimated bool // the next gap was measured by wall clocks
}

func (m *made) Next(ctx context.Context, within time.Duration, in *rules.Input) error {
	if m.seq >= m.until {
		return io.EOF
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	m.seq++
	*in = rules.Input{Gap: time.Second, At: epochStart + int64(m.seq)*int64(time.Second), Scan: true, Estimated: m.estimated}
	m.estimated = false
	// Runs of one kind of water, 40 scans long, so that delays run out.
	run := rand.New(rand.NewPCG(7, m.seq/40))
	now := rand.New(rand.NewPCG(8, m.seq))
	product := 0.2 + 0.1*run.Float64()
	if run.IntN(3) == 0 {
		product = 1 + run.Float64()
	}
	set := func(id signal.ID, v float64) { in.Readings[id] = id.Default(v, signal.Good) }
	set(signal.ProductConductivity, product+0.01*now.Float64())
	set(signal.FeedConductivity, 400+now.Float64())
	set(signal.Flow, 30+now.Float64())
	set(signal.ControlPower, bit(run.IntN(12) != 0))
	set(signal.BypassButton, bit(now.IntN(25) == 0))
	if now.IntN(30) == 0 {
		in.Readings[signal.FeedConductivity] = signal.Reading{Quality: signal.Bad, Cause: signal.LinkDown}
	}
	if now.IntN(50) == 0 {
		in.Orders = []rules.Order{{Who: "night shift", Verb: rules.Note, Text: "looked at it"}}
	}
	return nil
}

func bit(on bool) float64 {
	if on {
		return 1
	}
	return 0
}

// drive runs the agent's own loop from where the journal stands for n more entries.
func drive(t testing.TB, j *Journal, n uint64) {
	t.Helper()
	require.NoError(t, run(context.Background(), j, n))
}

func run(ctx context.Context, j *Journal, n uint64) error {
	last, again := j.Last()
	src := &made{seq: last.Seq, until: last.Seq + n, estimated: again}
	loop := agent.Loop{
		Trailer: "T-100", Settings: fast(), Source: src, State: last.State, Epoch: last.Epoch, Seq: last.Seq, Journal: j,
	}
	return loop.Run(ctx)
}

// scan is one calm entry.
func calmScan(seq uint64) *agent.Entry {
	e := &agent.Entry{Seq: seq, At: epochStart + int64(seq)*int64(time.Second), Gap: time.Second, Scan: true}
	e.State.Mode = rules.Service
	e.State.Elapsed = time.Duration(seq) * time.Second
	e.Readings[signal.ProductConductivity] = signal.ProductConductivity.Default(float64(seq)/1000, signal.Good)
	return e
}

func settings(t testing.TB) Settings { return Settings{Folder: t.TempDir(), Trailer: "T-100"} }

func open(t testing.TB, set Settings) *Journal {
	t.Helper()
	j, err := Open(set)
	require.NoError(t, err)
	t.Cleanup(func() { _ = j.Close() })
	return j
}

// reopen closes and opens again: everything queued is on the disk then.
func reopen(t testing.TB, j *Journal) *Journal {
	t.Helper()
	require.NoError(t, j.Close())
	set := j.set
	return open(t, set)
}

// committed waits until seq is on the disk.
func waitFor(t testing.TB, j *Journal, seq uint64) {
	t.Helper()
	deadline := time.After(time.Minute)
	for {
		changed := j.Changed()
		if j.Committed() >= seq {
			return
		}
		select {
		case <-changed:
		case <-deadline:
			require.FailNow(t, "not committed", "%d of %d: %+v", j.Committed(), seq, j.Health())
		}
	}
}

func all(t testing.TB, j *Journal) []*agent.Entry {
	t.Helper()
	var out []*agent.Entry
	for after := uint64(0); ; {
		more, err := j.Entries(context.Background(), after, 100)
		require.NoError(t, err)
		if len(more) == 0 {
			return out
		}
		out = append(out, more...)
		after = more[len(more)-1].Seq
	}
}

// restep takes the recorded inputs through the rule from the start and requires the recorded events and checkpoint.
func restep(t testing.TB, j *Journal) {
	t.Helper()
	set, state, out := fast(), rules.State{}, rules.Effects{}
	entries := all(t, j)
	for i, e := range entries {
		require.Equal(t, uint64(i+1), e.Seq, "a hole in the sequence")
		in := rules.Input{Gap: e.Gap, At: e.At, Scan: e.Scan, Estimated: e.Estimated, Readings: e.Readings, Facts: e.Facts, Orders: e.Orders}
		rules.Step(&set, &state, &in, &out)
		require.Equal(t, append([]rules.Event(nil), out.Events...), e.Events, "events of entry %d", e.Seq)
		require.Equal(t, state.Mode, e.State.Mode)
		require.Equal(t, state.Elapsed, e.State.Elapsed)
	}
	last, ok := j.Last()
	if len(entries) == 0 {
		require.False(t, ok)
		return
	}
	require.True(t, ok)
	require.Equal(t, entries[len(entries)-1].Seq, last.Seq)
	require.Equal(t, entries[len(entries)-1].At, last.At)
	require.Equal(t, state, last.State, "the checkpoint is the state after the last entry")
}
