package modbus

import (
	"context"
	"net"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	client "github.com/goburrow/modbus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// While nobody answers the door, the link knocks ever more rarely, each pause
// within half and whole of its nominal length, and says when it knocks again.
func TestBackOff(t *testing.T) {
	now := time.Unix(1_700_000_000, 0)
	p := &peer{refuse: true}
	link := Open(Settings{Address: "trailer:502", Dial: p.dial, Now: func() time.Time { return now }})
	defer link.Close()
	for _, nominal := range []time.Duration{500, 1000, 2000, 4000, 8000, 10000, 10000} {
		nominal *= time.Millisecond
		_, _, before := p.count()
		_, err := link.Read(context.Background(), first)
		require.ErrorIs(t, err, ErrDown)
		_, _, after := p.count()
		require.Equal(t, before+1, after)

		from := now
		for ; !now.After(from.Add(nominal)); now = now.Add(10 * time.Millisecond) {
			if link.medium.(*tcp).pace.held() == nil {
				break
			}
			_, err = link.Read(context.Background(), second)
			require.ErrorIs(t, err, ErrDown)
			require.ErrorContains(t, err, "trailer:502")
			require.ErrorContains(t, err, "connection refused; next try in ")
		}
		_, _, again := p.count()
		require.Equal(t, after, again, "nobody dials during a pause")
		require.GreaterOrEqual(t, now.Sub(from), nominal/2)
		require.LessOrEqual(t, now.Sub(from), nominal+10*time.Millisecond)
	}

	p.refuse = false
	mustRead(t, link, first)
	p.end()
	p.refuse = true
	_, err := link.Read(context.Background(), first)
	require.ErrorIs(t, err, ErrDown)
	now = now.Add(501 * time.Millisecond)
	p.refuse = false
	mustRead(t, link, first) // an answer had ended the row of failures
	link.Close()
	p.end()
}

func TestPauseStaysWithinItsLimit(t *testing.T) {
	p := pace{least: time.Second, most: 7 * time.Second, now: func() time.Time { return time.Unix(0, 0) }}
	for range 200 { // far beyond where a shift would overflow
		p.fail("no")
		require.LessOrEqual(t, p.until.Sub(p.now()), p.most)
		require.Positive(t, p.until.Sub(p.now()))
	}
}

// One deadline covers connecting, asking and listening; nothing waits longer.
func TestOneDeadline(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &peer{}
		defer p.end()
		slow := func(ctx context.Context, n, a string) (net.Conn, error) {
			select {
			case <-time.After(700 * time.Millisecond):
				return p.dial(ctx, n, a)
			case <-ctx.Done():
				return nil, ctx.Err()
			}
		}
		link := Open(Settings{Dial: slow})
		defer link.Close()
		p.next(silent)
		start := time.Now()
		_, err := link.Read(context.Background(), first)
		require.ErrorIs(t, err, ErrTimeout)
		require.Equal(t, time.Second, time.Since(start))

		// A flood of late answers cannot stretch it.
		p.next(func(c call) {
			for range 500 {
				c.send(with(c.good(), 0, 0x77))
			}
		})
		start = time.Now()
		r := second
		r.Timeout = 300 * time.Millisecond
		_, err = link.Read(context.Background(), r)
		require.ErrorIs(t, err, ErrTimeout)
		require.Equal(t, 300*time.Millisecond, time.Since(start), "the request's own time-out")

		// A caller's earlier deadline counts, and is a time-out too.
		p.next(silent)
		ctx, cancel := context.WithTimeout(context.Background(), 200*time.Millisecond)
		defer cancel()
		start = time.Now()
		_, err = link.Read(ctx, first)
		require.Truef(t, match(err, ErrTimeout), "%v", err)
		require.ErrorContains(t, err, "nothing within 200ms")
		require.Equal(t, 200*time.Millisecond, time.Since(start))
	})
}

// A connection attempt that hangs ends with the deadline and counts as down.
func TestDialHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		link := Open(Settings{Dial: func(ctx context.Context, _, _ string) (net.Conn, error) {
			<-ctx.Done()
			return nil, ctx.Err()
		}})
		defer link.Close()
		start := time.Now()
		_, err := link.Read(context.Background(), first)
		require.Truef(t, match(err, ErrDown), "%v", err)
		require.Equal(t, time.Second, time.Since(start))

		time.Sleep(time.Minute)
		ctx, cancel := context.WithCancel(context.Background())
		time.AfterFunc(50*time.Millisecond, cancel)
		_, err = link.Read(ctx, first)
		require.Truef(t, match(err, ErrCancelled), "%v", err)
	})
}

// Those who wait for their turn can give up, and a closed link lets nobody in.
func TestTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &peer{}
		defer p.end()
		link := Open(Settings{Dial: p.dial})
		mustRead(t, link, first)
		p.next(silent)
		var waiters sync.WaitGroup
		waiters.Go(func() {
			_, err := link.Read(context.Background(), first) // holds the link for 1 s
			assert.True(t, match(err, ErrTimeout), "%v", err)
		})
		synctest.Wait()

		ctx, cancel := context.WithTimeout(context.Background(), 100*time.Millisecond)
		defer cancel()
		_, err := link.Read(ctx, second)
		require.Truef(t, match(err, ErrTimeout), "%v", err)
		waiters.Go(func() {
			_, err := link.Read(context.Background(), second)
			assert.True(t, match(err, ErrCancelled), "%v", err)
		})
		synctest.Wait()
		start := time.Now()
		link.Close()
		link.Close()
		require.Equal(t, 900*time.Millisecond, time.Since(start), "waits for the request under way")
		waiters.Wait()
		_, err = link.Read(context.Background(), first)
		require.Truef(t, match(err, ErrCancelled), "%v", err)
		_, calls, _ := p.count()
		require.Equal(t, 2, calls)
	})
}

// Instruments behind one address share one connection, whoever asks when, and each
// gets its own data.
func TestSharedLink(t *testing.T) {
	p := &peer{}
	address := p.listen(t)
	var links Links
	defer links.Close()
	var askers sync.WaitGroup
	for unit := range uint8(8) {
		link, err := links.Open(Settings{Address: address, Timeout: time.Minute})
		require.NoError(t, err)
		askers.Go(func() {
			for i := range uint16(50) {
				r := Request{UnitID: unit, Kind: Kind(i % 4), Address: 100 * i, Quantity: 5}
				data, err := link.Read(context.Background(), r)
				assert.NoError(t, err)
				assert.Equal(t, expected(r), data)
			}
		})
	}
	askers.Wait()
	sessions, calls, _ := p.count()
	assert.Equal(t, 1, sessions)
	assert.Equal(t, 8*50, calls)

	_, err := links.Open(Settings{Address: address, ZeroID: true})
	require.ErrorContains(t, err, "transaction id 0")
	other, err := links.Open(Settings{Address: "127.0.0.1:1"})
	require.NoError(t, err)
	mine, err := links.Open(Settings{Address: address})
	require.NoError(t, err)
	assert.NotSame(t, mine, other)
}

// A connection that lay idle is replaced before it is trusted with a question.
func TestIdle(t *testing.T) {
	now := time.Unix(1_700_000_000, 0)
	p := &peer{}
	defer p.end()
	link := Open(Settings{Dial: p.dial, Idle: 30 * time.Second, Now: func() time.Time { return now }})
	defer link.Close()
	for i, step := range []struct {
		pause    time.Duration
		sessions int
	}{{0, 1}, {30 * time.Second, 1}, {30 * time.Second, 1}, {31 * time.Second, 2}, {time.Second, 2}} {
		now = now.Add(step.pause)
		mustRead(t, link, first)
		sessions, _, _ := p.count()
		require.Equal(t, step.sessions, sessions, "step %d", i)
	}
}

// Over real sockets too: a server that hangs up after each answer, politely or
// with a reset, costs no reading.
func TestHangsUpAfterEachAnswer(t *testing.T) {
	p := &peer{}
	link := Open(Settings{Address: p.listen(t), Timeout: time.Minute})
	defer link.Close()
	reset := func(c call) {
		right(c)
		_ = c.conn.(*net.TCPConn).CloseWrite() // the answer arrives before the end
		_ = c.conn.Close()
	}
	p.next(thenClose(right), reset, thenClose(right), reset, thenClose(right), reset)
	for range 8 {
		mustRead(t, link, first)
	}
}

// Even a caller who reaches the transport through the library's whole client
// cannot write: the transport refuses, and nothing leaves.
func TestTransportRefusesWrites(t *testing.T) {
	p := &peer{}
	defer p.end()
	wire := newTCP(Settings{Dial: p.dial}.filled())
	defer wire.drop()
	c := client.NewClient2(client.NewTCPClientHandler(""), wire)
	wire.begin(context.Background(), time.Minute)
	_, err := c.ReadInputRegisters(1, 1)
	require.NoError(t, err)
	_, calls, _ := p.count()
	for name, write := range writes(c) {
		_, err := write()
		assert.ErrorContains(t, err, "only reads", name)
	}
	_, after, _ := p.count()
	assert.Equal(t, calls, after)
}
