package modbus

import (
	"context"
	"errors"
	"fmt"
	"net"
	"time"
)

// patience is how many time-outs in a row a connection, or a unit on a line, is
// given: after that it is more likely dead than slow.
const patience = 3

// aborted is a deadline long past: setting it ends a blocked read or write.
var aborted = time.Unix(1, 0)

// duplex is what bytes travel on, in both directions and with deadlines: a TCP
// connection or a serial line.
type duplex interface {
	Read([]byte) (int, error)
	Write([]byte) (int, error)
	Close() error
	SetDeadline(time.Time) error
	SetReadDeadline(time.Time) error
}

// wire keeps one connection, made when needed, and the one absolute deadline of the
// request that runs on it. What the bytes mean is not its business.
type wire struct {
	settings Settings
	pace     pace
	guard    guard

	conn     duplex // nil while down
	used     time.Time
	timeouts int // in a row on this connection
	buf      [2 * maxFrame]byte
	have     int // bytes in buf

	// The running request's; the library's Send takes neither.
	ctx      context.Context
	within   time.Duration
	deadline time.Time
}

func newWire(s Settings) wire {
	return wire{settings: s, pace: pace{least: s.RetryLeast, most: s.RetryMost, now: s.Now}}
}

// begin sets the one absolute deadline for all that the next Send does:
// connecting, asking, listening, and asking again.
func (w *wire) begin(ctx context.Context, within time.Duration) {
	w.ctx, w.within = ctx, within
	w.deadline = time.Now().Add(within)
	if d, ok := ctx.Deadline(); ok && d.Before(w.deadline) {
		w.deadline, w.within = d, time.Until(d).Round(time.Millisecond)
	}
}

// connect opens the connection unless it is open, or says when the next attempt is
// due.
func (w *wire) connect() *failure {
	if w.conn != nil {
		return nil
	}
	if f := w.pace.held(); f != nil {
		return f
	}
	ctx, cancel := context.WithDeadline(w.ctx, w.deadline)
	defer cancel()
	conn, err := w.settings.open(ctx)
	if err != nil {
		if f := w.cancelled(); f != nil {
			return f
		}
		return &failure{kind: ErrDown, detail: fmt.Sprintf("cannot connect: %v", err), fate: rest}
	}
	w.conn, w.have, w.timeouts, w.used = conn, 0, 0, w.settings.Now()
	return nil
}

// arm sets the deadline and has the caller's cancellation watched. The order counts:
// a cancellation before the deadline is set is seen here, one after it by the guard.
func (w *wire) arm() error {
	w.guard.watch(w.ctx, w.conn)
	if err := w.conn.SetDeadline(w.deadline); err != nil {
		return err
	}
	return w.gone()
}

// gone is the error of a read that its caller gave up, else nil.
func (w *wire) gone() error {
	if w.ctx.Err() != nil {
		return errGone
	}
	return nil
}

// errGone counts as a time-out; which kind the caller's context tells.
var errGone error = goneError{}

type goneError struct{}

func (goneError) Error() string   { return "given up" }
func (goneError) Timeout() bool   { return true }
func (goneError) Temporary() bool { return true }

// receive adds what the peer sent to the buffer. A read of nothing is a hang-up:
// taken for "not yet", it would be tried again for ever.
func (w *wire) receive() error {
	n, err := w.conn.Read(w.buf[w.have:])
	w.have += n
	if n > 0 {
		return nil // an error will come again, after these bytes are judged
	}
	if err == nil {
		err = errors.New("read nothing")
	}
	return err
}

// cancelled is the failure of a request whose caller gave up, else nil. A passed
// deadline of the caller's is no cancellation but a time-out.
func (w *wire) cancelled() *failure {
	if err := w.ctx.Err(); err != nil && !errors.Is(err, context.DeadlineExceeded) {
		return &failure{kind: ErrCancelled, detail: err.Error()}
	}
	return nil
}

// suffer does to the connection what a failure asks for.
func (w *wire) suffer(f *failure) {
	if f.silent {
		if w.timeouts++; w.timeouts >= patience && f.fate == keep {
			f.fate = replace
		}
	}
	switch f.fate {
	case keep:
		w.used = w.settings.Now()
	case replace:
		w.drop()
	case rest:
		w.drop()
		w.pace.fail(f.detail)
	}
}

// thrive notes an answer.
func (w *wire) thrive() {
	w.timeouts, w.used = 0, w.settings.Now()
	w.pace.good()
}

// drop ends the connection; what was half received goes with it.
func (w *wire) drop() {
	w.guard.end()
	if w.conn != nil {
		_ = w.conn.Close() // nothing was left unsent, so nothing can be lost
		w.conn = nil
	}
	w.have = 0
}

func isTimeout(err error) bool {
	var n net.Error
	return errors.As(err, &n) && n.Timeout()
}

// guard ends a blocked read or write when the caller cancels. It stays from one
// request to the next while caller and connection are the same, because most callers
// cancel once in their life and ask every second.
type guard struct {
	done  <-chan struct{} // the caller's; tells callers apart
	conn  duplex
	stop  func() bool
	fired chan struct{}
}

func (g *guard) watch(ctx context.Context, conn duplex) {
	done := ctx.Done()
	if done == g.done && conn == g.conn {
		return
	}
	g.end()
	if done == nil {
		return
	}
	fired := make(chan struct{})
	g.done, g.conn, g.fired = done, conn, fired
	g.stop = context.AfterFunc(ctx, func() {
		_ = conn.SetDeadline(aborted) // fails only on a connection that is closed anyway
		close(fired)
	})
}

// end stops watching and waits, so that a late abort cannot hit the next request.
func (g *guard) end() {
	if g.stop != nil && !g.stop() {
		<-g.fired
	}
	*g = guard{}
}
