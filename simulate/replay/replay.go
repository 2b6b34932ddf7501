// Package replay runs the rule over a recorded trace and prints what would have happened: every change of state, every
// press, every alarm, and the sums.
//
// It guarantees that the same loop and step run as beside a unit, that events carry their exact instants, also between
// rows, and that memory does not grow with the trace. It never invents what lies behind the last row.
package replay

import (
	"context"
	"io"
	"time"

	"ionward/agent"
	"ionward/agent/trace"
	"ionward/rules"
)

// Settings of one replay.
type Settings struct {
	Rule    rules.Settings
	Format  Format
	Why     func(rules.Reason) string // makes the sentence of a reason
	State   func(rules.Mode) string   // the word people read for a state, for the text format
	Latest  *agent.Latest             // the screen watches; nil = nobody
	Journal agent.Recorder            // nil = no record
	Epoch   string                    // of Journal
	Seq     uint64                    // last of Journal
	Trailer string
	Pace    float64     // times real time; 0 = as fast as possible
	Clock   agent.Clock // of the pace

	Progress func(rows int) // told from time to time how many rows are done; nil = nobody
}

// Run replays the trace in r and prints to out. A fault of the trace ends the output without a summary.
func Run(ctx context.Context, r *trace.Reader, set Settings, out io.Writer) error {
	p := printer{set: &set, reader: r, out: out, buf: make([]byte, 0, 1<<16)}
	loop, done := newLoop(r, &set, &p)
	defer done()
	if err := loop.Run(ctx); err != nil {
		if err := p.flush(); err != nil {
			return err
		}
		return err
	}
	if p.err != nil {
		return p.err
	}
	p.summary(&loop.State)
	return p.flush()
}

// newLoop makes the loop; done ends what it started.
func newLoop(r *trace.Reader, set *Settings, p *printer) (loop *agent.Loop, done func()) {
	loop = &agent.Loop{
		Trailer: set.Trailer, Settings: set.Rule, Step: p.step,
		Latest: set.Latest, Journal: set.Journal, Epoch: set.Epoch, Seq: set.Seq,
	}
	if set.Pace > 0 {
		loop.Source = &paced{from: r, pace: set.Pace, clock: set.Clock}
		return loop, func() {}
	}
	ahead := trace.NewAhead(r)
	loop.Source = ahead
	return loop, ahead.Close
}

// paced holds the rows back so that recorded time passes at pace times the clock, and wakes at the rule's deadlines.
type paced struct {
	from  *trace.Reader
	pace  float64
	clock agent.Clock
	row   rules.Input
	ready bool
}

// Next sleeps until the next row or deadline is due.
func (p *paced) Next(ctx context.Context, within time.Duration, in *rules.Input) error {
	if !p.ready {
		if err := p.from.Next(ctx, within, &p.row); err != nil {
			return err
		}
		p.ready = true
	}
	gap := min(p.row.Gap, within)
	if err := p.clock.Sleep(ctx, time.Duration(float64(gap)/p.pace)); err != nil {
		return err
	}
	if gap < p.row.Gap {
		p.row.Gap -= gap
		at := int64(0)
		if p.row.At != 0 {
			at = p.row.At - int64(p.row.Gap)
		}
		*in = rules.Input{Gap: gap, At: at}
		return nil
	}
	*in, p.ready = p.row, false
	return nil
}
