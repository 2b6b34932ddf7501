// Package agent is the one loop of ionward and what passes through it: a Source gives inputs, the rule steps, and the
// effects go on, in this order, to the simulated valves, the newest snapshot and the journal.
//
// It guarantees that live, replay and training run the same step, that the Source alone stamps time, and that neither a
// reader of the snapshot nor the journal ever makes the loop wait. It has no way to write to an instrument.
package agent

import (
	"context"
	"errors"
	"io"
	"time"

	"ionward/rules"
	"ionward/rules/signal"
)

// Source gives the inputs of the rule: polled instruments or a recorded trace.
type Source interface {
	// Next waits for the next scan and fills in; after at most within it gives a step without a scan, so that the
	// rule's next deadline is met even when polling hangs. It returns io.EOF when there is no more, and the context's
	// error when cancelled. In is overwritten as a whole.
	Next(ctx context.Context, within time.Duration, in *rules.Input) error
}

// Untimed is a Source whose Next never waits for time to pass: nobody needs to be woken at a deadline, and none is worked
// out for it.
type Untimed interface{ Untimed() }

// Never is the within of a state that has no deadline.
const Never = time.Duration(1<<63 - 1)

// Entry is one step for the record: what went in and what came of it.
type Entry struct {
	Epoch     string // of the journal that holds it; part of every key that leaves the trailer
	Seq       uint64 // from 1, without a gap inside an epoch
	At        int64  // UTC, ns since 1970
	Gap       time.Duration
	Scan      bool
	Estimated bool
	Readings  signal.Set
	Facts     rules.Facts
	Orders    []rules.Order
	Events    []rules.Event
	State     rules.State // after the step
}

// Recorder takes entries for the record. Record must not block; it owns the entry from then on.
type Recorder interface {
	Record(*Entry)
}

// Loop is the one loop. Settings and Source are required; what is nil is left out.
type Loop struct {
	Trailer    string
	Simulation bool // every page, topic and document says SIMULATION
	Settings   rules.Settings
	Source     Source
	State      rules.State // zero, or the checkpoint to go on from
	Epoch      string      // of the journal
	Seq        uint64      // the last sequence number recorded

	Drive   func(rules.Outputs) // the simulator's valves
	Step    func(Step)          // sees every step: replay's writer
	Latest  *Latest             // the newest snapshot
	Journal Recorder            // the record
	in      rules.Input
	out     rules.Effects
	skipped time.Duration // time of steps that left no record
}

// Step is one step as it happened; it is valid during the call only.
type Step struct {
	Input   *rules.Input
	State   *rules.State
	Effects *rules.Effects
}

// Run steps until the source ends (nil) or fails, or the context is cancelled (its error).
func (l *Loop) Run(ctx context.Context) error {
	_, untimed := l.Source.(Untimed)
	for {
		within := Never
		if !untimed {
			if d, ok := l.State.NextDeadline(&l.Settings); ok {
				within = d
			}
		}
		if err := l.Source.Next(ctx, within, &l.in); err != nil {
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
		rules.Step(&l.Settings, &l.State, &l.in, &l.out)
		l.deliver()
	}
}

// deliver hands the step on: drive the valves, show the present, keep the record.
func (l *Loop) deliver() {
	if l.Drive != nil {
		l.Drive(l.out.Outputs)
	}
	if l.Step != nil {
		l.Step(Step{Input: &l.in, State: &l.State, Effects: &l.out})
	}
	// A step without a scan, a fact, an order or an event only cut a gap in two, and a cut changes nothing: it is not
	// recorded.
	if !l.in.Scan && l.in.Facts.Known == 0 && len(l.in.Orders) == 0 && len(l.out.Events) == 0 {
		l.skipped += l.in.Gap
		l.show()
		return
	}
	l.Seq++
	l.show()
	if l.Journal != nil {
		l.Journal.Record(l.entry())
	}
	l.skipped = 0
}

func (l *Loop) show() {
	if l.Latest == nil {
		return
	}
	l.Latest.Put(&Snapshot{
		Trailer: l.Trailer, Simulation: l.Simulation, Epoch: l.Epoch, Seq: l.Seq, At: l.in.At, Estimated: l.in.Estimated,
		Settings: l.Settings, State: l.State, Outputs: l.out.Outputs, Events: append([]rules.Event(nil), l.out.Events...),
	})
}

func (l *Loop) entry() *Entry {
	return &Entry{
		Epoch: l.Epoch, Seq: l.Seq, At: l.in.At, Gap: l.skipped + l.in.Gap, Scan: l.in.Scan, Estimated: l.in.Estimated,
		Readings: l.in.Readings, Facts: l.in.Facts, Orders: append([]rules.Order(nil), l.in.Orders...),
		Events: append([]rules.Event(nil), l.out.Events...), State: l.State,
	}
}
