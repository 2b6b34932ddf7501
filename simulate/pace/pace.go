// Package pace is the clock of the simulator: one simulated time for the plant and for who watches it.
//
// It guarantees:
//   - simulated time moves only while somebody sleeps on the clock, at a multiple of real time; while an agent is busy
//     with the network the clock stands still, so that a late agent slows it and no pace can make it miss a scan;
//   - who wakes finds the plant advanced to exactly the clock's time;
//   - time never goes backwards; no sleeper wakes early, and one that sleeps alone wakes at exactly its instant.
//
// It never advances anything by itself: where nobody waits, Run sleeps for nobody.
package pace

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"sync"
	"time"

	"ionward/agent"
)

// Max runs as fast as the machine allows, without waiting for real time at all.
const Max = 0

// The clock moves in slices, so that who looks meanwhile sees the plant move. credit is real time that may be made up
// after a short absence (a poll over the network); what is lost beyond it slows the clock.
const (
	slice  = time.Second            // longest, simulated
	glance = 100 * time.Millisecond // longest, real
	credit = 100 * time.Millisecond
)

// Clock is a paced clock. It is safe for concurrent use.
type Clock struct {
	start   time.Time
	pace    float64
	advance func(to time.Duration)

	turn     chan struct{} // held by the one sleeper that moves the clock
	due      time.Time     // real instant at which now was due; only under turn
	mu       sync.Mutex
	now      time.Duration
	sleepers map[*sleeper]struct{}
}

// sleeper is who waits for a simulated instant.
type sleeper struct{ until time.Duration }

var _ agent.Clock = (*Clock)(nil)

// New makes a clock that stands at start. Its pace is simulated seconds for each real one, above 0, or Max. Advance
// brings the plant to a time since start; it is called by one goroutine at a time, in order, before anybody sees that
// time. It may be nil.
func New(start time.Time, pace float64, advance func(to time.Duration)) (*Clock, error) {
	if !(pace >= 0) || math.IsInf(pace, 0) {
		return nil, fmt.Errorf("cannot run at pace %g: it must be a number above 0, or max", pace)
	}
	if advance == nil {
		advance = func(time.Duration) {}
	}
	return &Clock{
		start: start.UTC().Round(0), pace: pace, advance: advance,
		turn: make(chan struct{}, 1), sleepers: make(map[*sleeper]struct{}),
	}, nil
}

// Parse reads a pace: a number above 0, or max.
func Parse(text string) (float64, error) {
	if text == "max" {
		return Max, nil
	}
	pace, err := strconv.ParseFloat(text, 64)
	if err != nil || !(pace > 0) || math.IsInf(pace, 0) {
		return 0, fmt.Errorf("%q is no pace: use a number above 0 (20 = twenty simulated seconds a second), or max", text)
	}
	return pace, nil
}

// Now is the simulated time since the start.
func (c *Clock) Now() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// UTC is the simulated wall clock.
func (c *Clock) UTC() time.Time { return c.start.Add(c.Now()) }

// Timer gives a channel that never receives: on this clock no time passes while the caller is busy.
func (c *Clock) Timer(time.Duration) (<-chan time.Time, func()) {
	return make(chan time.Time), func() {}
}

// Sleep waits until d of simulated time has passed, or the context ends (its error). Several may sleep at once: time
// moves for all of them together.
func (c *Clock) Sleep(ctx context.Context, d time.Duration) error {
	if d <= 0 || ctx.Err() != nil {
		return ctx.Err()
	}
	me := c.lieDown(d)
	defer c.getUp(me)
	for {
		select {
		case c.turn <- struct{}{}:
		case <-ctx.Done():
			return ctx.Err()
		}
		done, err := c.move(ctx, me)
		<-c.turn
		if done || err != nil {
			return err
		}
	}
}

func (c *Clock) lieDown(d time.Duration) *sleeper {
	c.mu.Lock()
	defer c.mu.Unlock()
	// A time that the clock cannot count to is never.
	me := &sleeper{until: c.now + min(d, math.MaxInt64-c.now)}
	c.sleepers[me] = struct{}{}
	return me
}

func (c *Clock) getUp(me *sleeper) {
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.sleepers, me)
}

// move lets one slice of time pass for all, and reports whether the sleeper's instant is reached.
func (c *Clock) move(ctx context.Context, me *sleeper) (done bool, err error) {
	from, to := c.next()
	if from >= me.until {
		return true, nil
	}
	if err := c.wait(ctx, to-from); err != nil {
		return false, err
	}
	c.advance(to)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = to
	return to >= me.until, nil
}

// next is the slice ahead: to the earliest sleeper's instant, but not too far at once. A sleeper whose instant has come
// and who has not got up yet holds nobody back.
func (c *Clock) next() (from, to time.Duration) {
	longest := slice
	if c.pace != Max {
		longest = max(1, min(longest, time.Duration(float64(glance)*c.pace)))
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	to = c.now + longest
	for s := range c.sleepers {
		if s.until > c.now {
			to = min(to, s.until)
		}
	}
	return c.now, to
}

// wait lets the real time pass that dt takes at this pace.
func (c *Clock) wait(ctx context.Context, dt time.Duration) error {
	if c.pace == Max {
		return ctx.Err()
	}
	real := time.Now()
	// The first slice begins now; a clock that was left alone for long does not run to catch up.
	if c.due.Before(real.Add(-credit)) {
		c.due = real
	}
	due := c.due.Add(time.Duration(float64(dt) / c.pace))
	if left := due.Sub(real); left > 0 {
		t := time.NewTimer(left)
		defer t.Stop()
		select {
		case <-t.C:
		case <-ctx.Done():
		}
	}
	if ctx.Err() == nil {
		c.due = due // a wait that was broken off let no time pass
	}
	return ctx.Err()
}

// Run lets time pass for nobody until the context ends, and returns its error: for a plant that is served alone.
func (c *Clock) Run(ctx context.Context) error {
	for {
		if err := c.Sleep(ctx, slice); err != nil {
			return err
		}
	}
}
