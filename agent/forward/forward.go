// Package forward carries the journal to a publisher: the one place for cursors, the window in flight, back-off and the
// backfill cap.
//
// It guarantees that a publisher gets every entry of the journal at least once and for the first time in order, that a
// cursor moves only over entries the sink has acknowledged, and in order, and that a failing sink is tried again for
// ever, at growing, jittered distances. After a restart or a failure it repeats what was not acknowledged: sinks tell
// repeats by (trailer, epoch, seq). When the journal has begun a new epoch the feed begins at its start.
//
// It never holds entries back in memory beyond its window, never reads an entry that is not on the disk, and never makes
// the loop or the journal wait.
package forward

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"ionward/agent"
)

// Publisher hands entries to one sink.
type Publisher interface {
	// Name is the feed's name in the journal: its cursor's key.
	Name() string
	// Publish starts the delivery of a batch, in order, and may wait until the sink can be reached. It returns once the
	// batch is on its way; later batches may follow before it is acknowledged. An error means that nothing is known of
	// this batch and those before it that are not acknowledged: they will be published again.
	Publish(ctx context.Context, batch []*agent.Entry) (Receipt, error)
}

// Receipt is a batch on its way.
type Receipt interface {
	// Wait returns nil once the sink has acknowledged every entry of the batch, or what prevents it.
	Wait(ctx context.Context) error
}

// Done is the receipt of a publisher that returns from Publish only when the sink has the batch.
type Done struct{}

// Wait returns at once.
func (Done) Wait(context.Context) error { return nil }

// Log is what a feed needs of the journal.
type Log interface {
	Epoch() string
	Committed() uint64
	Changed() <-chan struct{}
	Entries(ctx context.Context, after uint64, limit int) ([]*agent.Entry, error)
	Cursor(feed string) (epoch string, seq uint64, err error)
	SetCursor(feed, epoch string, seq uint64)
}

// Settings are the limits of one feed. Zero values take the defaults.
type Settings struct {
	Window int           // entries in flight, at most; 0 = 256
	Batch  int           // entries handed to the publisher at a time; at most Window; 0 = 16
	Rate   float64       // entries a second, at most, so that a backlog does not flood the sink; 0 = 1000; below 0 = no cap
	First  time.Duration // back-off after the first failure; 0 = 1 s
	Last   time.Duration // longest back-off; 0 = 1 min
	Clock  agent.Clock   // of back-off and cap; nil = the machine's clock
}

func (s Settings) filled() Settings {
	if s.Window <= 0 {
		s.Window = 256
	}
	if s.Batch <= 0 {
		s.Batch = 16
	}
	s.Batch = min(s.Batch, s.Window)
	if s.Rate == 0 {
		s.Rate = 1000
	}
	if s.Clock == nil {
		s.Clock = agent.NewRealClock()
	}
	return s
}

// Health is how a feed stands. Repeats are not counted: only the sink can know them.
type Health struct {
	Feed      string
	Epoch     string
	Cursor    uint64    // last entry acknowledged in Epoch
	Backlog   uint64    // entries on the disk that are not acknowledged
	Sent      uint64    // entries acknowledged since the start
	Missing   uint64    // entries that were gone from the record before they could be sent: dropped, pruned or damaged
	Failures  uint64    // attempts that ended in an error
	Failing   bool      // the last attempt did, and nothing was acknowledged since
	At        time.Time // UTC of the last acknowledgement; zero = never
	LastError string    // with the time in front; empty = none; kept after recovery
}

// Feed carries one journal to one publisher.
type Feed struct {
	set Settings
	log Log
	pub Publisher

	mu     sync.Mutex
	health Health
}

// New makes a feed; Run starts it.
func New(set Settings, log Log, pub Publisher) *Feed {
	return &Feed{set: set.filled(), log: log, pub: pub, health: Health{Feed: pub.Name()}}
}

// Health tells how the feed stands.
func (f *Feed) Health() Health {
	f.mu.Lock()
	h := f.health
	f.mu.Unlock()
	end := f.log.Committed()
	if h.Epoch != f.log.Epoch() {
		h.Backlog = end
	} else if end > h.Cursor {
		h.Backlog = end - h.Cursor
	}
	return h
}

// page is how many entries are read from the journal at a time.
const page = 512

// errEpoch ends an attempt because the journal has begun a new file.
var errEpoch = errors.New("the journal has begun a new epoch")

// Run feeds until the context ends, and returns its error.
func (f *Feed) Run(ctx context.Context) error {
	wait := Backoff{First: f.set.First, Last: f.set.Last}
	for {
		before := f.sent()
		err := f.attempt(ctx)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if errors.Is(err, errEpoch) {
			continue
		}
		f.failed(err)
		if f.sent() > before {
			wait.Reset()
		}
		if err := f.set.Clock.Sleep(ctx, wait.Next()); err != nil {
			return err
		}
	}
}

// flight is a batch on its way and where the cursor stands once it is there.
type flight struct {
	receipt Receipt
	last    uint64
	count   int
	missing uint64 // entries before it that were gone
}

// attempt sends from the cursor on until something fails. It returns only when nothing of it runs any more.
func (f *Feed) attempt(ctx context.Context) error {
	epoch, seq, err := f.start()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	slots := make(chan struct{}, f.set.Window/f.set.Batch) // one is taken for each batch in flight
	flights := make(chan flight, cap(slots))
	done := make(chan struct{})
	go func() {
		defer close(done)
		for fl := range flights {
			if ctx.Err() != nil {
				continue // in-order: nothing counts after the first failure
			}
			if err := fl.receipt.Wait(ctx); err != nil {
				cancel(err)
				continue
			}
			f.acknowledged(epoch, fl)
			<-slots
		}
	}()
	err = f.send(ctx, epoch, seq, slots, flights)
	cancel(err)
	close(flights)
	<-done
	return context.Cause(ctx)
}

// start finds where to go on.
func (f *Feed) start() (epoch string, seq uint64, err error) {
	was, seq, err := f.log.Cursor(f.pub.Name())
	if err != nil {
		return "", 0, err
	}
	epoch = f.log.Epoch()
	if was != epoch {
		seq = 0
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.health.Epoch, f.health.Cursor = epoch, seq
	return epoch, seq, nil
}

// send reads the journal and hands it to the publisher, batch by batch.
func (f *Feed) send(ctx context.Context, epoch string, seq uint64, slots chan<- struct{}, flights chan<- flight) error {
	pace := pacer{rate: f.set.Rate, clock: f.set.Clock}
	for {
		changed := f.log.Changed()
		entries, err := f.log.Entries(ctx, seq, page)
		if err != nil {
			return err
		}
		if f.log.Epoch() != epoch {
			return errEpoch
		}
		if len(entries) == 0 {
			select {
			case <-changed:
				continue
			case <-ctx.Done():
				return context.Cause(ctx)
			}
		}
		for len(entries) > 0 {
			batch := entries[:min(len(entries), f.set.Batch)]
			entries = entries[len(batch):]
			if batch[0].Epoch != epoch {
				return errEpoch
			}
			if err := pace.wait(ctx, len(batch)); err != nil {
				return err
			}
			select {
			case slots <- struct{}{}:
			case <-ctx.Done():
				return context.Cause(ctx)
			}
			receipt, err := f.pub.Publish(ctx, batch)
			if err != nil {
				return err
			}
			last := batch[len(batch)-1].Seq
			flights <- flight{receipt, last, len(batch), last - seq - uint64(len(batch))} // as many as slots: never waits
			seq = last
		}
	}
}

func (f *Feed) sent() uint64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.health.Sent
}

func (f *Feed) acknowledged(epoch string, fl flight) {
	f.log.SetCursor(f.pub.Name(), epoch, fl.last)
	f.mu.Lock()
	defer f.mu.Unlock()
	f.health.Cursor = fl.last
	f.health.Sent += uint64(fl.count)
	f.health.Missing += fl.missing
	f.health.Failing = false
	f.health.At = f.set.Clock.UTC()
}

func (f *Feed) failed(err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.health.Failures++
	f.health.Failing = true
	f.health.LastError = fmt.Sprintf("%s cannot feed %s: %v", f.set.Clock.UTC().Format(time.RFC3339), f.health.Feed, err)
}
