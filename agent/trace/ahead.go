package trace

import (
	"context"
	"sync"
	"time"

	"ionward/rules"
	"ionward/rules/signal"
)

// Ahead reads a trace on another core while the rule works on what was read: the same inputs in the same order, some
// thousand rows ahead at most. It implements agent.Source. Close must be called before the Reader's fields are read or
// the Reader is closed, unless Next has returned an error.
type Ahead struct {
	reader *Reader
	full   chan *batch
	empty  chan *batch
	now    *batch
	next   int // row of now
	into   *rules.Input
	stop   context.CancelFunc
	ended  sync.WaitGroup
}

// rowsAhead is the size of a batch; three are under way.
const rowsAhead = 512

// batch is some rows as they were read; readings holds, row after row, one reading for each signal of the trace.
type batch struct {
	rows     []aheadRow
	readings []signal.Reading
	err      error // what ended the reading, behind the rows
}

type aheadRow struct {
	gap    time.Duration
	at     int64
	orders []rules.Order
}

// NewAhead begins to read.
func NewAhead(r *Reader) *Ahead {
	ctx, stop := context.WithCancel(context.Background())
	a := &Ahead{reader: r, full: make(chan *batch, 3), empty: make(chan *batch, 3), stop: stop}
	for range cap(a.empty) {
		a.empty <- &batch{rows: make([]aheadRow, 0, rowsAhead), readings: make([]signal.Reading, 0, rowsAhead*len(r.signals))}
	}
	a.ended.Go(func() { a.read(ctx) })
	return a
}

// Close ends the reading and waits until it has ended.
func (a *Ahead) Close() {
	a.stop()
	a.ended.Wait()
}

// read fills batches until the trace ends or nobody wants more.
func (a *Ahead) read(ctx context.Context) {
	defer close(a.full)
	var in rules.Input
	for {
		var b *batch
		select {
		case b = <-a.empty:
		case <-ctx.Done():
			return
		}
		b.rows, b.readings = b.rows[:0], b.readings[:0]
		for len(b.rows) < rowsAhead && b.err == nil {
			if b.err = a.reader.Next(ctx, 0, &in); b.err != nil {
				break
			}
			b.rows = append(b.rows, aheadRow{in.Gap, in.At, in.Orders})
			for i := range a.reader.signals {
				b.readings = append(b.readings, in.Readings[a.reader.signals[i].id])
			}
		}
		a.full <- b // there is room for all batches
		if b.err != nil {
			return
		}
	}
}

// Next gives the next row.
func (a *Ahead) Next(ctx context.Context, _ time.Duration, in *rules.Input) error {
	if a.now == nil || a.next == len(a.now.rows) {
		if err := a.turn(ctx); err != nil {
			return err
		}
	}
	if in != a.into { // from then on only what has a column is written
		in.Readings, a.into = signal.Set{}, in
	}
	row, signals := &a.now.rows[a.next], a.reader.signals
	in.Gap, in.At, in.Scan, in.Estimated, in.Orders, in.Present = row.gap, row.at, true, false, row.orders, a.reader.present
	readings := a.now.readings[a.next*len(signals):]
	for i := range signals {
		in.Readings[signals[i].id] = readings[i]
	}
	a.next++
	return nil
}

// turn takes the next batch that holds a row, or the error behind the last one.
func (a *Ahead) turn(ctx context.Context) error {
	for {
		if a.now != nil {
			if a.now.err != nil {
				a.Close()
				return a.now.err
			}
			a.empty <- a.now
		}
		select {
		case a.now = <-a.full:
		case <-ctx.Done():
			a.Close()
			return ctx.Err()
		}
		if a.next = 0; len(a.now.rows) > 0 {
			return nil
		}
	}
}
