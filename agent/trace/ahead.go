package trace

import (
	"context"
	"sync"
	"time"

	"ionward/rules"
)

// Ahead reads a trace on another core while the rule works on what was read: the same inputs in the same order, some ten
// thousand rows ahead at most. It implements agent.Source; as with a Reader, what Next has filled in must stay as it is
// until the next call. Close must be called before the Reader's fields are read or the Reader is closed, unless Next has
// returned an error.
type Ahead struct {
	reader  *Reader
	full    chan *batch
	empty   chan *batch
	now     *batch
	rows    []aheadRow // of now, those to come
	changes []change   // of now, those to come
	taken   int        // rows of now
	at      int64      // time of the row before
	present uint32
	begun   bool
	dated   bool
	into    *rules.Input
	stop    context.CancelFunc
	ended   sync.WaitGroup
}

// rowsAhead is the size of a batch; three are under way. To wake the other core takes longer than to read a thousand
// rows, so that small batches would leave one core asleep in turn.
const rowsAhead = 8192

// batch is some rows as they were read: row after row what has changed since the row before.
type batch struct {
	rows    []aheadRow
	changes []change
	orders  map[int][]rules.Order // by row; hardly any has some
	err     error                 // what ended the reading, behind the rows
}

type aheadRow struct {
	at      int64
	changes int32 // how many
	orders  bool
}

// NewAhead begins to read.
func NewAhead(r *Reader) *Ahead {
	ctx, stop := context.WithCancel(context.Background())
	a := &Ahead{reader: r, full: make(chan *batch, 3), empty: make(chan *batch, 3), present: r.present, stop: stop}
	for range cap(a.empty) {
		a.empty <- &batch{rows: make([]aheadRow, 0, rowsAhead), changes: make([]change, 0, rowsAhead*len(r.signals)), orders: map[int][]rules.Order{}}
	}
	a.ended.Go(func() { r.fill(ctx, a.empty, a.full) })
	return a
}

// Close ends the reading and waits until it has ended.
func (a *Ahead) Close() {
	a.stop()
	a.ended.Wait()
}

// fill fills batches until the trace ends or nobody wants more.
func (r *Reader) fill(ctx context.Context, empty <-chan *batch, full chan<- *batch) {
	defer close(full)
	for {
		var b *batch
		select {
		case b = <-empty:
		case <-ctx.Done():
			return
		}
		r.fillOne(ctx, b)
		err := b.err // once handed over, the batch is no longer ours
		full <- b    // there is room for all batches
		if err != nil {
			return
		}
	}
}

// fillOne works on local slices: what both cores would write side by side in memory, each would wait for.
func (r *Reader) fillOne(ctx context.Context, b *batch) {
	rows, changes := b.rows[:0], b.changes[:0]
	clear(b.orders)
	for len(rows) < rowsAhead && b.err == nil {
		done := len(changes)
		if changes, b.err = r.fetch(ctx, changes); b.err != nil {
			changes = changes[:done]
			break
		}
		if len(r.row.orders) > 0 {
			b.orders[len(rows)] = r.row.orders
		}
		rows = append(rows, aheadRow{at: r.last, changes: int32(len(changes) - done), orders: len(r.row.orders) > 0})
	}
	b.rows, b.changes = rows, changes
}

// Next gives the next row.
func (a *Ahead) Next(ctx context.Context, _ time.Duration, in *rules.Input) error {
	if len(a.rows) == 0 {
		if err := a.turn(ctx); err != nil {
			return err
		}
	}
	if in != a.into {
		begin(in, a.into)
		a.into = in
	}
	row := a.rows[0]
	a.rows = a.rows[1:]
	for i := range a.changes[:row.changes] {
		a.changes[i].enter(in)
	}
	a.changes = a.changes[row.changes:]
	in.Gap, in.At, in.Scan, in.Estimated, in.Orders, in.Present = time.Duration(row.at-a.at), 0, true, false, nil, a.present
	if a.dated {
		in.At = row.at
	}
	if row.orders {
		in.Orders = a.now.orders[a.taken]
	}
	a.at = row.at
	a.taken++
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
			a.now = nil
		}
		if err := ctx.Err(); err != nil { // a select that can do both would choose by chance
			a.Close()
			return err
		}
		select {
		case a.now = <-a.full:
		case <-ctx.Done():
			a.Close()
			return ctx.Err()
		}
		if len(a.now.rows) == 0 {
			continue
		}
		a.rows, a.changes, a.taken = a.now.rows, a.now.changes, 0
		if !a.begun { // what the first row has decided was written before the batch came through the channel
			a.begun, a.dated, a.at = true, a.reader.Dated, a.rows[0].at
		}
		return nil
	}
}

// Untimed says that a recorded row is there at once.
func (*Ahead) Untimed() {}
