package agent

import (
	"context"
	"errors"
	"io"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules"
	"ionward/rules/signal"
)

// script is a source of prepared inputs; it notes how long the loop was ready to wait.
type script struct {
	inputs []rules.Input
	within []time.Duration
	end    error
}

func (s *script) Next(_ context.Context, within time.Duration, in *rules.Input) error {
	s.within = append(s.within, within)
	if len(s.inputs) == 0 {
		return s.end
	}
	*in, s.inputs = s.inputs[0], s.inputs[1:]
	return nil
}

func scan(gap time.Duration, product float64) rules.Input {
	in := rules.Input{Gap: gap, Scan: true, At: int64(time.Hour)}
	in.Readings[signal.ProductConductivity] = signal.ProductConductivity.Default(product, signal.Good)
	return in
}

type record struct{ entries []*Entry }

func (r *record) Record(e *Entry) { r.entries = append(r.entries, e) }

func TestLoopDrivesShowsAndRecordsInThisOrder(t *testing.T) {
	var order []string
	src := &script{inputs: []rules.Input{scan(0, 0.4)}, end: io.EOF}
	latest := &Latest{}
	loop := &Loop{
		Settings: rules.Defaults(), Source: src, Latest: latest, Trailer: "T", Epoch: "e", Seq: 41,
		Drive: func(o rules.Outputs) { order = append(order, "drive "+o.Inlet.String()) },
		Step:  func(s Step) { order = append(order, "step") },
		Journal: recorderFunc(func(e *Entry) {
			snap, _ := latest.Get()
			require.Equal(t, e.Seq, snap.Seq, "the present is shown before it is recorded")
			order = append(order, "record")
		}),
	}
	require.NoError(t, loop.Run(t.Context()))
	require.Equal(t, []string{"drive open", "step", "record"}, order)
	snap, _ := latest.Get()
	require.EqualValues(t, 42, snap.Seq)
	require.Equal(t, rules.Service, snap.State.Mode)
	require.Equal(t, "T", snap.Trailer)
}

type recorderFunc func(*Entry)

func (f recorderFunc) Record(e *Entry) { f(e) }

// The loop asks to be woken at the rule's next deadline, and a step that only cut a gap leaves no entry: the next one
// carries the whole gap.
func TestLoopWakesAtDeadlinesAndRecordsWhatMatters(t *testing.T) {
	r := &record{}
	src := &script{end: io.EOF, inputs: []rules.Input{
		scan(0, 1.5),                // off spec: the alarm is due in 5 s
		{Gap: 2 * time.Second},      // nothing happens
		{Gap: 3 * time.Second},      // the alarm
		{Gap: 100 * time.Second},    // nothing
		scan(10*time.Second, 1.6),   // 110 s after the entry before
		{Gap: 485 * time.Second},    // the delay has run out
		{Orders: []rules.Order{{}}}, // somebody acknowledges
		{Facts: rules.Facts{Known: rules.OnBattery}},
	}}
	loop := &Loop{Settings: rules.Defaults(), Source: src, Journal: r}
	require.NoError(t, loop.Run(t.Context()))
	require.Equal(t, Never, src.within[0])
	require.Equal(t, 5*time.Second, src.within[1])
	require.Equal(t, 3*time.Second, src.within[2])
	var gaps []time.Duration
	for i, e := range r.entries {
		require.EqualValues(t, i+1, e.Seq)
		gaps = append(gaps, e.Gap)
	}
	require.Equal(t, []time.Duration{0, 5 * time.Second, 110 * time.Second, 485 * time.Second, 0, 0}, gaps)
	require.Equal(t, rules.Shut, r.entries[3].State.Mode)

	// Stepping the recorded inputs again gives the same state, bit for bit.
	var again rules.State
	var out rules.Effects
	set := rules.Defaults()
	for _, e := range r.entries {
		rules.Step(&set, &again, &rules.Input{Gap: e.Gap, At: e.At, Scan: e.Scan, Readings: e.Readings, Facts: e.Facts, Orders: e.Orders}, &out)
		require.Equal(t, e.State, again)
		require.ElementsMatch(t, e.Events, out.Events)
	}
}

// recorded is a script for which no deadline is worked out.
type recorded struct{ script }

func (*recorded) Untimed() {}

func TestAnUntimedSourceIsNeverWoken(t *testing.T) {
	src := &recorded{script{inputs: []rules.Input{scan(0, 1.5), scan(700*time.Second, 1.5)}, end: io.EOF}}
	loop := &Loop{Settings: rules.Defaults(), Source: src}
	require.NoError(t, loop.Run(t.Context()))
	require.Equal(t, []time.Duration{Never, Never, Never}, src.within)
	require.Equal(t, rules.Shut, loop.State.Mode, "the deadline in the gap is settled all the same")
}

func TestLoopEndsWithItsSource(t *testing.T) {
	broken := errors.New("the source is broken")
	require.ErrorIs(t, (&Loop{Settings: rules.Defaults(), Source: &script{end: broken}}).Run(t.Context()), broken)
	require.NoError(t, (&Loop{Settings: rules.Defaults(), Source: &script{end: io.EOF}}).Run(t.Context()))
}

func TestLatestWakesWhoWaits(t *testing.T) {
	var l Latest
	snap, changed := l.Get()
	require.Nil(t, snap)
	var wg sync.WaitGroup
	for range 3 {
		wg.Go(func() { <-changed })
	}
	want := &Snapshot{Seq: 7, At: int64(time.Minute)}
	l.Put(want)
	wg.Wait()
	snap, changed = l.Get()
	require.Same(t, want, snap)
	select {
	case <-changed:
		require.Fail(t, "nothing has changed since")
	default:
	}
	want.State.Elapsed = 30 * time.Second
	require.Equal(t, "1970-01-01T00:00:40Z", want.EventTime(&rules.Event{At: 10 * time.Second}).Format(time.RFC3339))
	require.Equal(t, time.Unix(60, 0).UTC(), want.Time())
}

func TestRealClock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewRealClock()
		require.NoError(t, c.Sleep(t.Context(), time.Minute))
		require.Equal(t, time.Minute, c.Now())
		require.NoError(t, c.Sleep(t.Context(), -1))
		require.Equal(t, time.UTC, c.UTC().Location())
		at, stop := c.Timer(time.Second)
		<-at
		stop()
		require.Equal(t, time.Minute+time.Second, c.Now())
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		require.ErrorIs(t, c.Sleep(ctx, time.Hour), context.Canceled)
	})
}
