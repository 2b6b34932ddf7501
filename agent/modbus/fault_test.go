package modbus

import (
	"context"
	"errors"
	"net"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	first  = Request{UnitID: 1, Kind: Holding, Address: 100, Quantity: 2}
	second = Request{UnitID: 2, Kind: Holding, Address: 300, Quantity: 2}
	third  = Request{UnitID: 2, Kind: Input, Address: 7, Quantity: 3}
	bits   = Request{UnitID: 3, Kind: Discrete, Address: 5, Quantity: 11}
)

// bad is one way in which a server can misbehave: the steps follow one good
// answer; want is what the requests then give, in order (nil = the right data).
type bad struct {
	name     string
	settings Settings
	steps    []func(call)
	usual    func(call) // once the steps are over; nil = the right answer
	want     []error
	sessions int           // connections in the end; 0 = not compared
	asked    []Request     // in turn; nil = second, first
	pause    time.Duration // after each request; 0 = the longest back-off, negative = none
}

func partial(n int) func(call) { return func(c call) { c.send(c.good()[:n]) } }

func thenClose(step func(call)) func(call) {
	return func(c call) { step(c); c.conn.Close() }
}

// held is a server that keeps an answer back and gives it before the next one.
func held() []func(call) {
	var kept []byte
	return []func(call){
		func(c call) { kept = c.good() },
		func(c call) { c.send(kept, c.good()) },
	}
}

func exception(code byte, changes ...byte) func(call) {
	return func(c call) { c.send(with(c.pdu([]byte{c.function() | 0x80, code}), changes...)) }
}

func misbehaviours() []bad {
	halfLate := func() []func(call) {
		var kept call
		return []func(call){
			func(c call) { kept = c; c.send(c.good()[:7]) },
			func(c call) { kept.send(kept.good()[7:]); c.send(c.good()) },
		}
	}
	http := "HTTP/1.1 400 Bad Request\r\nConnection: close\r\n\r\n"
	one := func(step func(call)) []func(call) { return []func(call){step} }
	zero := func(c call) { c.send(with(c.good(), 0, 0, 1, 0)) }
	return []bad{
		{name: "late answer", steps: held(), want: []error{ErrTimeout, nil}, sessions: 1},
		{name: "half a frame, then silence", steps: one(partial(8)), want: []error{ErrFrame, nil}, sessions: 2},
		{name: "five bytes, then silence", steps: one(partial(5)), want: []error{ErrFrame, nil}, sessions: 2},
		{name: "half a frame, the rest late", steps: halfLate(), want: []error{ErrFrame, nil}, sessions: 2},
		{name: "half a frame, then closed", steps: one(thenClose(partial(8))), want: []error{ErrFrame, nil}, sessions: 2},
		{name: "bytes one by one", steps: one(func(c call) {
			for _, b := range c.good() {
				c.send([]byte{b})
			}
		}), want: []error{nil, nil}, sessions: 1},
		{name: "only another unit answers", steps: one(func(c call) { c.send(with(c.good(), 6, 9)) }), want: []error{ErrFrame, nil}, sessions: 1},
		{name: "another unit answers first", steps: one(func(c call) { c.send(with(c.good(), 6, 9), c.good()) }), want: []error{nil, nil}, sessions: 1},
		{name: "another function", steps: one(func(c call) { c.send(with(c.good(), 7, 0x04)) }), want: []error{ErrFrame, nil}, sessions: 1},
		{name: "exception of another function", steps: one(exception(2, 7, 0x90)), want: []error{ErrFrame, nil}, sessions: 1},
		{name: "fewer registers", steps: one(func(c call) { c.send(c.pdu([]byte{3, 2, 0x12, 0x34})) }), want: []error{ErrFrame, nil}, sessions: 1},
		{name: "more registers", steps: one(func(c call) { c.send(c.pdu([]byte{3, 6, 1, 2, 3, 4, 5, 6})) }), want: []error{ErrFrame, nil}, sessions: 1},
		{name: "byte count against length", steps: one(func(c call) { c.send(with(c.good(), 8, 2)) }), want: []error{ErrFrame, nil}, sessions: 2},
		{name: "length field too short", steps: one(func(c call) { c.send(with(c.good(), 5, 2)) }), want: []error{ErrFrame, nil}, sessions: 2},
		{name: "length field zero", steps: one(func(c call) { c.send(with(c.good(), 5, 0)) }), want: []error{ErrFrame, nil}, sessions: 2},
		{name: "length field too long", steps: one(func(c call) { c.send(with(c.good(), 4, 9)) }), want: []error{ErrFrame, nil}, sessions: 2},
		{name: "answered twice", steps: one(func(c call) { c.send(c.good(), c.good()) }), want: []error{nil, nil, nil}, sessions: 1},
		{name: "junk", steps: one(func(c call) { c.send([]byte("\x00\x01\xfe\x7f\x80\x00\x00")) }), want: []error{ErrFrame, nil}, sessions: 2},
		{name: "junk after the answer", steps: one(func(c call) { c.send(c.good(), []byte("\xff\xff\xff\xff\xff")) }), want: []error{nil, ErrFrame, nil}, sessions: 2},
		{name: "HTTP answer", steps: one(func(c call) { c.send([]byte(http)) }), want: []error{ErrFrame, nil}, sessions: 2},
		{name: "closes without an answer", steps: one(func(c call) { c.conn.Close() }), want: []error{nil, nil}, sessions: 2},
		{name: "closes twice without an answer", steps: []func(call){func(c call) { c.conn.Close() }, func(c call) { c.conn.Close() }}, want: []error{ErrDown, nil}, sessions: 3},
		{name: "takes nobody for a while", steps: []func(call){
			func(c call) { c.conn.Close() }, func(c call) { c.conn.Close() }, func(c call) { c.conn.Close() },
		}, want: []error{ErrDown, ErrDown, nil}, sessions: 4},
		{name: "closes after each answer", steps: []func(call){thenClose(right), thenClose(right), thenClose(right)}, want: []error{nil, nil, nil, nil}, sessions: 4},
		{name: "accepts, never answers", steps: []func(call){silent, silent, silent, silent, silent, silent}, want: []error{ErrTimeout, ErrTimeout, ErrTimeout, ErrTimeout, ErrTimeout, ErrTimeout, nil}, sessions: 3},
		{name: "two time-outs only", steps: []func(call){silent, silent, right, silent, silent}, want: []error{ErrTimeout, ErrTimeout, nil, ErrTimeout, ErrTimeout, nil}, sessions: 1},
		{name: "exception 0B from unit 255", steps: one(exception(0x0B, 6, 255)), want: []error{&Exception{0x0B}, nil}, sessions: 1},
		{name: "exception 0A from unit 0", steps: one(exception(0x0A, 6, 0)), want: []error{&Exception{0x0A}, nil}, sessions: 1},
		{name: "exception from another unit", steps: one(exception(0x0B, 6, 9)), want: []error{ErrFrame, nil}, sessions: 1},
		{name: "busy while it warms up", steps: []func(call){exception(6), exception(6)}, want: []error{&Exception{6}, &Exception{6}, nil}, sessions: 1},
		{name: "long exception", steps: one(func(c call) { c.send(c.pdu([]byte{0x83, 2, 0})) }), want: []error{ErrFrame, nil}, sessions: 2},
		{name: "data from unit 255", steps: one(func(c call) { c.send(with(c.good(), 6, 255)) }), want: []error{ErrFrame, nil}, sessions: 1},
		{name: "transaction id 0, not expected", steps: []func(call){zero}, want: []error{ErrTimeout, nil}, sessions: 1},
		{name: "transaction id 0, expected", settings: Settings{ZeroID: true}, steps: []func(call){zero, zero, zero}, want: []error{nil, nil, nil, nil}, sessions: 1},
		{name: "transaction id 0, answered twice", settings: Settings{ZeroID: true}, steps: []func(call){func(c call) {
			f := with(c.good(), 0, 0, 1, 0)
			c.send(f, f)
		}, zero}, want: []error{nil, nil, nil}, sessions: 2},
		{name: "transaction id 0, silent once", settings: Settings{ZeroID: true}, steps: []func(call){silent, zero}, want: []error{ErrTimeout, nil}, sessions: 2},
		{name: "transaction id 0, another function", settings: Settings{ZeroID: true}, steps: []func(call){func(c call) { c.send(with(c.good(), 0, 0, 1, 0, 7, 4)) }, zero}, want: []error{ErrFrame, nil}, sessions: 2},
	}
}

// Whatever the server does, a request gives its own data or the right kind of
// error; and once the server behaves, so do the answers.
func TestMisbehaviours(t *testing.T) {
	for _, b := range misbehaviours() {
		t.Run(b.name, func(t *testing.T) { b.play(t, &peer{}) })
	}
}

// play lets the peer misbehave in a bubble.
func (b bad) play(t *testing.T, p *peer) {
	if b.asked == nil {
		// The two requests are of one length: only their ids tell whose answer is whose.
		b.asked = []Request{second, first}
	}
	synctest.Test(t, func(t *testing.T) {
		defer p.end()
		b.settings.Dial = p.dial
		link := Open(b.settings)
		defer link.Close()
		mustRead(t, link, first)
		p.next(b.steps...)
		for i, want := range b.want {
			r := b.asked[i%len(b.asked)]
			data, err := link.Read(context.Background(), r)
			require.Truef(t, match(err, want), "request %d: got %v, want %v", i, err, want)
			if want == nil {
				require.Equal(t, expected(r), data, "request %d", i)
			} else {
				require.Nil(t, data)
				require.ErrorContains(t, err, r.String(), "says what was asked")
			}
			if b.pause == 0 {
				b.pause = link.settings.RetryMost // the bubble's time: lets a back-off pass
			}
			time.Sleep(b.pause)
		}
		sessions, _, _ := p.count()
		if b.sessions != 0 {
			assert.Equal(t, b.sessions, sessions, "connections")
		}
		time.Sleep(link.settings.RetryMost)
		for _, r := range []Request{first, second, third, bits} {
			mustRead(t, link, r)
		}
		link.Close()
		p.work.Wait() // hangs, and so fails, if a connection was dropped unclosed
	})
}

func mustRead(t *testing.T, link *Link, r Request) {
	t.Helper()
	data, err := link.Read(context.Background(), r)
	require.NoError(t, err)
	require.Equal(t, expected(r), data)
}

func match(err, want error) bool {
	var e, w *Exception
	if errors.As(want, &w) {
		return errors.As(err, &e) && e.Code == w.Code
	}
	for _, kind := range []error{ErrTimeout, ErrDown, ErrFrame, ErrCancelled} {
		if errors.Is(err, kind) != (want == kind) {
			return false // each error is of one kind only
		}
	}
	return (err == nil) == (want == nil)
}

// A service that greets first is recognised, named in the error, and does not
// disturb what comes after it is gone.
func TestGreetingOfAnotherService(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &peer{greet: func(c net.Conn) { _, _ = c.Write([]byte("HTTP/1.1 408 Request Timeout\r\n\r\n")) }}
		defer p.end()
		link := Open(Settings{Dial: p.dial})
		defer link.Close()
		_, err := link.Read(context.Background(), first)
		require.ErrorIs(t, err, ErrFrame)
		require.ErrorContains(t, err, "HTTP/1.1")
		_, err = link.Read(context.Background(), first)
		require.ErrorIs(t, err, ErrDown, "rests after junk")

		p.mu.Lock()
		p.greet = nil
		p.mu.Unlock()
		time.Sleep(time.Second)
		mustRead(t, link, first)
	})
}

// What can be no answer is refused on sight, not at the deadline.
func TestJunkIsRefusedAtOnce(t *testing.T) {
	for _, junk := range []string{"HTTP", "\x00\x02\x00\x00\x00\x02", "\x00\x02\x00\x00\x00\xff", "\x00\x02\x00\x00\xff\xff"} {
		synctest.Test(t, func(t *testing.T) {
			p := &peer{}
			defer p.end()
			link := Open(Settings{Dial: p.dial})
			defer link.Close()
			p.next(func(c call) { c.send([]byte(junk)) })
			start := time.Now()
			_, err := link.Read(context.Background(), first)
			require.ErrorIs(t, err, ErrFrame, "%q", junk)
			require.Zero(t, time.Since(start), "%q", junk)
		})
	}
}

func TestBadOrNoReading(t *testing.T) {
	for code, want := range map[byte]bool{1: true, 2: true, 3: true, 4: true, 5: false, 6: false, 8: true, 0x0A: false, 0x0B: false, 0x55: true} {
		e := &Exception{Code: code}
		assert.Equal(t, want, Bad(e), "%v", e)
	}
	for _, err := range []error{nil, ErrTimeout, ErrDown, ErrFrame, ErrCancelled} {
		assert.False(t, Bad(err))
	}
	assert.EqualError(t, &Exception{Code: 0x0B}, "exception 0B (gateway target device failed to respond)")
	assert.EqualError(t, &Exception{Code: 0x55}, "exception 55 (not in the standard)")
}
