package modbus

import (
	"errors"
	"fmt"
	"time"
)

// hearing is how long a stream without transaction ids is listened to before each
// request: an answer nobody waits for must not become the next one.
const hearing = time.Millisecond

var errWrites = errors.New("refused to send: only reads (function codes 1 to 4) may leave")

// tcp carries Modbus TCP frames. It is the transporter under the client library; its
// calls must not overlap (a Link sees to that).
type tcp struct{ wire }

func newTCP(s Settings) *tcp { return &tcp{newWire(s)} }

// Send asks and returns the answer, checked against the request. It is called by
// the client library.
func (t *tcp) Send(request []byte) ([]byte, error) {
	if len(request) < functionAt || !readOnly(request[functionAt:]) {
		return nil, errWrites
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
	t.thrive()
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

// exchange sends the request and listens until its answer or the deadline.
func (t *tcp) exchange(request []byte) ([]byte, *failure) {
	if err := t.arm(); err != nil {
		return nil, t.lost(err, "")
	}
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
