package modbus

import (
	"context"
	"errors"
	"fmt"
	"net"
	"time"
)

const (
	// patience is how many time-outs in a row one connection is given: after that
	// it is more likely dead than slow.
	patience = 3
	// hearing is how long a stream without transaction ids is listened to before
	// each request: an answer nobody waits for must not become the next one.
	hearing = time.Millisecond
)

// aborted is a deadline long past: setting it ends a blocked read or write.
var aborted = time.Unix(1, 0)

// tcp carries frames over one TCP connection, made when needed. It is the
// transporter under the client library; its calls must not overlap (a Link sees
// to that).
type tcp struct {
	settings Settings
	pace     pace

	conn     net.Conn // nil while down
	used     time.Time
	timeouts int // in a row on this connection
	buf      [2 * maxFrame]byte
	have     int // bytes in buf

	// The running request's; the library's Send takes neither.
	ctx      context.Context
	within   time.Duration
	deadline time.Time
}

func newTCP(s Settings) *tcp {
	return &tcp{settings: s, pace: pace{least: s.RetryLeast, most: s.RetryMost, now: s.Now}}
}

// begin sets the one absolute deadline for all that the next Send does:
// connecting, asking, listening, and asking again.
func (t *tcp) begin(ctx context.Context, within time.Duration) {
	t.ctx, t.within = ctx, within
	t.deadline = time.Now().Add(within)
	if d, ok := ctx.Deadline(); ok && d.Before(t.deadline) {
		t.deadline, t.within = d, time.Until(d).Round(time.Millisecond)
	}
}

// Send asks and returns the answer, checked against the request. It is called by
// the client library.
func (t *tcp) Send(request []byte) ([]byte, error) {
	if !readOnly(request) {
		return nil, errors.New("refused to send: only reads (function codes 1 to 4) may leave")
	}
	t.distrust()
	reused := t.conn != nil
	got, f := t.ask(request)
	if f != nil && f.hungUp && reused {
		// Many servers end a connection that idles, or after each answer; that is
		// learnt only by asking. A read may be asked twice without harm.
		t.drop()
		got, f = t.ask(request)
	}
	if f != nil {
		t.suffer(f)
		return nil, f
	}
	t.timeouts, t.used = 0, t.settings.Now()
	t.pace.good()
	return got, nil
}

// ask connects if need be and makes one exchange.
func (t *tcp) ask(request []byte) ([]byte, *failure) {
	if f := t.connect(); f != nil {
		return nil, f
	}
	return t.exchange(request)
}

// distrust drops a connection that should not carry the next request.
func (t *tcp) distrust() {
	switch {
	case t.conn == nil:
	case t.settings.Now().Sub(t.used) > t.settings.Idle:
		// Firewalls forget quiet connections without a word; asking on such a one
		// would cost a whole time-out.
		t.drop()
	case t.settings.ZeroID && (t.have > 0 || t.hears()):
		t.drop()
	}
}

// hears reports whether anything, also a goodbye, waits in the stream.
func (t *tcp) hears() bool {
	if t.conn.SetReadDeadline(time.Now().Add(hearing)) != nil {
		return true
	}
	_, err := t.conn.Read(t.buf[:1])
	return !isTimeout(err)
}

// connect dials unless connected, or says when the next attempt is due.
func (t *tcp) connect() *failure {
	if t.conn != nil {
		return nil
	}
	if f := t.pace.held(); f != nil {
		return f
	}
	ctx, cancel := context.WithDeadline(t.ctx, t.deadline)
	defer cancel()
	conn, err := t.settings.Dial(ctx, "tcp", t.settings.Address)
	if err != nil {
		if f := t.cancelled(); f != nil {
			return f
		}
		return &failure{kind: ErrDown, detail: fmt.Sprintf("cannot connect: %v", err), fate: rest}
	}
	t.conn, t.have, t.timeouts, t.used = conn, 0, 0, t.settings.Now()
	return nil
}

// exchange sends the request and listens until its answer or the deadline.
func (t *tcp) exchange(request []byte) ([]byte, *failure) {
	if err := t.conn.SetDeadline(t.deadline); err != nil {
		return nil, t.lost(err, "")
	}
	defer t.watch()()
	if _, err := t.conn.Write(request); err != nil {
		return nil, t.lost(err, "")
	}
	stranger := "" // the last frame that used our transaction id for another unit
	for {
		frame, err := cut(t.buf[:t.have])
		if err != nil {
			return nil, &failure{kind: ErrFrame, detail: err.Error(), fate: rest}
		}
		if frame == nil {
			if err := t.receive(); err != nil {
				return nil, t.lost(err, stranger)
			}
			continue
		}
		got := append([]byte(nil), frame...)
		t.have = copy(t.buf[:], t.buf[len(frame):t.have])
		switch v, why := judge(request, got, t.settings.ZeroID); v {
		case answer:
			// The library insists on the request's own ids; these were judged here.
			copy(got, request[:2])
			got[unitAt] = request[unitAt]
			return got, nil
		case foreign:
			stranger = why
		case unusable:
			return nil, &failure{kind: ErrFrame, detail: why, fate: t.unless(t.settings.ZeroID)}
		case torn:
			return nil, &failure{kind: ErrFrame, detail: why, fate: rest}
		}
	}
}

// receive adds what the peer sent to the buffer. There is always room: a frame
// that is still incomplete is shorter than half of it.
func (t *tcp) receive() error {
	n, err := t.conn.Read(t.buf[t.have:])
	t.have += n
	if n > 0 {
		return nil // an error will come again, after these bytes are judged
	}
	if err == nil {
		err = errors.New("read nothing")
	}
	return err
}

// watch ends the exchange when the caller cancels. The returned function stops
// watching and waits, so that a late abort cannot hit the next request.
func (t *tcp) watch() func() {
	if t.ctx.Done() == nil {
		return func() {}
	}
	conn, done := t.conn, make(chan struct{})
	stop := context.AfterFunc(t.ctx, func() {
		_ = conn.SetDeadline(aborted) // fails only on a connection that is closed anyway
		close(done)
	})
	return func() {
		if !stop() {
			<-done
		}
	}
}

// lost turns an error of the connection into a failure. The stranger, if any, is a
// better explanation of silence than silence.
func (t *tcp) lost(err error, stranger string) *failure {
	part := t.have > 0
	if !isTimeout(err) {
		if part {
			return &failure{kind: ErrFrame, detail: fmt.Sprintf("ended after %d bytes of an answer", t.have), fate: rest}
		}
		return &failure{kind: ErrDown, detail: fmt.Sprintf("the connection ended without an answer: %v", err), fate: rest, hungUp: true}
	}
	if f := t.cancelled(); f != nil {
		f.fate = t.unless(part || t.settings.ZeroID)
		return f
	}
	f := &failure{kind: ErrTimeout, silent: true}
	f.detail = fmt.Sprintf("nothing within %s; is the unit id right, and the instrument on?", t.within)
	f.fate = t.unless(part || t.settings.ZeroID)
	switch {
	case part:
		f.kind, f.detail = ErrFrame, fmt.Sprintf("only %d bytes of an answer within %s", t.have, t.within)
	case stranger != "":
		f.kind, f.detail = ErrFrame, fmt.Sprintf("%s, and nobody else within %s", stranger, t.within)
	}
	return f
}

// unless keeps the connection unless its stream may be out of step.
func (t *tcp) unless(doubtful bool) fate {
	if doubtful {
		return replace
	}
	return keep
}

// cancelled is the failure of a request whose caller gave up, else nil. A passed
// deadline of the caller's is no cancellation but a time-out.
func (t *tcp) cancelled() *failure {
	if err := t.ctx.Err(); err != nil && !errors.Is(err, context.DeadlineExceeded) {
		return &failure{kind: ErrCancelled, detail: err.Error()}
	}
	return nil
}

// suffer does to the connection what a failure asks for.
func (t *tcp) suffer(f *failure) {
	if f.silent {
		if t.timeouts++; t.timeouts >= patience && f.fate == keep {
			f.fate = replace
		}
	}
	switch f.fate {
	case keep:
		t.used = t.settings.Now()
	case replace:
		t.drop()
	case rest:
		t.drop()
		t.pace.fail(f.detail)
	}
}

// drop ends the connection; what was half received goes with it.
func (t *tcp) drop() {
	if t.conn != nil {
		_ = t.conn.Close() // nothing was left unsent, so nothing can be lost
		t.conn = nil
	}
	t.have = 0
}

func isTimeout(err error) bool {
	var n net.Error
	return errors.As(err, &n) && n.Timeout()
}
