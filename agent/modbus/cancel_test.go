package modbus

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Cancelling ends a running request at once; the answer that comes later is given
// to nobody, and the connection goes on.
func TestCancel(t *testing.T) {
	p := &peer{}
	link := Open(Settings{Address: p.listen(t), Timeout: time.Minute})
	defer link.Close()
	mustRead(t, link, first)

	for range 20 {
		ctx, cancel := context.WithCancel(context.Background())
		steps := held()
		keepBack := steps[0]
		steps[0] = func(c call) { keepBack(c); cancel() }
		p.next(steps...)
		_, err := link.Read(ctx, second)
		require.Truef(t, match(err, ErrCancelled), "%v", err)
		mustRead(t, link, first) // comes behind the late answer
	}
	sessions, _, _ := p.count()
	assert.Equal(t, 1, sessions)

	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, calls, _ := p.count()
	_, err := link.Read(ctx, first)
	require.Truef(t, match(err, ErrCancelled), "%v", err)
	_, after, _ := p.count()
	require.Equal(t, calls, after, "a dead context asks nothing")
}

// A context that ends after its request is over touches no later request.
func TestLateCancel(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &peer{}
		defer p.end()
		link := Open(Settings{Dial: p.dial})
		defer link.Close()
		ctx, cancel := context.WithCancel(context.Background())
		_, err := link.Read(ctx, first)
		require.NoError(t, err)
		p.next(func(c call) {
			cancel()
			time.AfterFunc(time.Second/2, func() { c.send(c.good()) })
		})
		mustRead(t, link, second)
	})
}

// Without transaction ids a cancelled request costs the connection, or its late
// answer would pass for the next one's.
func TestCancelWithoutIDs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &peer{}
		defer p.end()
		link := Open(Settings{Dial: p.dial, ZeroID: true})
		defer link.Close()
		mustRead(t, link, first)
		ctx, cancel := context.WithCancel(context.Background())
		var kept call
		p.next(
			func(c call) { kept = c; cancel() },
			func(c call) {
				kept.send(with(kept.good(), 0, 0, 1, 0))
				c.send(with(c.good(), 0, 0, 1, 0))
			})
		_, err := link.Read(ctx, second)
		require.Truef(t, match(err, ErrCancelled), "%v", err)
		mustRead(t, link, first)
		sessions, _, _ := p.count()
		assert.Equal(t, 2, sessions)
	})
}
