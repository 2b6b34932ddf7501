package forward

import (
	"context"
	"math/rand/v2"
	"time"

	"ionward/agent"
)

// Backoff gives the waits between attempts: each twice the last one, and somewhere between half and all of it at random,
// so that many trailers do not come back at one instant. The zero Backoff waits 1 s at first and 1 min at most.
type Backoff struct {
	First time.Duration // 0 = 1 s
	Last  time.Duration // 0 = 1 min
	next  time.Duration
}

// Next is the wait before the next attempt.
func (b *Backoff) Next() time.Duration {
	first, last := b.First, b.Last
	if first <= 0 {
		first = time.Second
	}
	if last <= 0 {
		last = time.Minute
	}
	if b.next == 0 {
		b.next = first
	}
	whole := min(b.next, last)
	b.next = min(2*whole, last)
	return whole/2 + rand.N(whole/2+1)
}

// Reset begins anew after a success.
func (b *Backoff) Reset() { b.next = 0 }

// pacer keeps entries below a rate. One second's worth may go at once, so that live entries never wait for it.
type pacer struct {
	rate  float64 // entries a second; below 0 = no cap
	clock agent.Clock
	free  time.Duration // when all that was let through has been paid for
}

func (p *pacer) wait(ctx context.Context, n int) error {
	if p.rate < 0 {
		return ctx.Err()
	}
	now := p.clock.Now()
	p.free = max(p.free, now) + time.Duration(float64(n)/p.rate*float64(time.Second))
	if ahead := p.free - now - time.Second; ahead > 0 {
		return p.clock.Sleep(ctx, ahead)
	}
	return ctx.Err()
}
