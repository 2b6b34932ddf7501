package agent

import (
	"context"
	"time"
)

// Clock is the time of the agent's source: the machine's clock beside a unit, a paced one in the simulator.
type Clock interface {
	Now() time.Duration // monotonic, since the clock was made
	UTC() time.Time     // wall clock
	// Sleep waits until d has passed on this clock, or the context ends (its error).
	Sleep(ctx context.Context, d time.Duration) error
	// Timer gives a channel that receives once d has passed while the caller is busy with the network, and a stop
	// function. On a clock that stands still meanwhile the channel never receives.
	Timer(d time.Duration) (<-chan time.Time, func())
}

// RealClock is the machine's clock.
type RealClock struct{ start time.Time }

// NewRealClock starts at zero now.
func NewRealClock() *RealClock { return &RealClock{start: time.Now()} }

// Now is the time since the clock was made, by the monotonic clock.
func (c *RealClock) Now() time.Duration { return time.Since(c.start) }

// UTC is the wall clock.
func (c *RealClock) UTC() time.Time { return time.Now().UTC() }

// Sleep waits for d.
func (c *RealClock) Sleep(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Timer is a timer of the machine's clock.
func (c *RealClock) Timer(d time.Duration) (<-chan time.Time, func()) {
	t := time.NewTimer(d)
	return t.C, func() { t.Stop() }
}
