package modbus

import (
	"bytes"
	"fmt"
	"time"
)

// window is how long the line must be silent after something went wrong; a short
// time-out leaves no more than a quarter of itself for that.
func (r *rtu) window() time.Duration {
	return max(r.silence, min(r.settings.LateWindow, r.within/4))
}

// hush throws away what comes until the line is silent.
func (r *rtu) hush() *failure {
	pause := r.silence
	if r.wary {
		pause = r.window()
	}
	r.have = 0
	for {
		until := time.Now().Add(pause)
		if err := r.conn.SetReadDeadline(earlier(until, r.deadline)); err != nil {
			return r.lost(err, "")
		}
		err := r.gone()
		if err == nil {
			err = r.receive()
		}
		switch {
		case err == nil:
			r.trim()
			pause = r.window()
		case !isTimeout(err):
			r.have = 0
			f := r.lost(err, "")
			f.detail = fmt.Sprintf("the line ended while it was silent: %v", err)
			return f
		case r.gone() == nil && until.Before(r.deadline):
			r.have, r.wary = 0, false
			return nil
		case r.have > 0:
			return &failure{kind: ErrFrame, detail: "the line does not fall silent; does another client use it?"}
		default:
			return r.lost(errGone, "")
		}
	}
}

// trim makes room where nothing made sense for long: a frame that has begun is within
// the last bytes.
func (r *rtu) trim() {
	if r.have > len(r.buf)-rtuFrame {
		r.have = copy(r.buf[:], r.buf[r.have-rtuFrame:r.have])
	}
}

// listen waits for the answer until the deadline.
func (r *rtu) listen(u *rtuUnit, request []byte) ([]byte, *failure) {
	size := rtuRefusal + wanted(request[1:rtuRequest-2])
	echo, stranger := true, "" // the request itself may come back first
	for {
		if echo && r.have >= rtuRequest {
			echo = false
			if bytes.Equal(r.buf[:rtuRequest], request) {
				r.have = copy(r.buf[:], r.buf[rtuRequest:r.have])
			} else if r.settings.Echo {
				return nil, &failure{kind: ErrFrame, detail: "what was sent came back changed; do two speak at once?", garbled: true}
			}
		}
		frame, after := scan(r.buf[:r.have])
		if frame == nil || echo && r.settings.Echo {
			if f := r.more(request, size, stranger); f != nil {
				return nil, f
			}
			continue
		}
		got := bytes.Clone(frame)
		r.have = copy(r.buf[:], after)
		v, why := weighRTU(request, got)
		if bytes.Equal(got, request) {
			continue // an echo behind noise; some have the form of an answer
		}
		switch {
		case v == answer:
			r.wary = r.have > 0
			got[0] = request[0] // the library insists on it; it was judged here
			seal(got)
			return got, nil
		case v == foreign || u.doubt || u.asks(got): // another's, or an earlier request's
			stranger = why
		default:
			return nil, &failure{kind: ErrFrame, detail: why, answered: true}
		}
	}
}

// more waits for more bytes. Once there are enough for an answer and yet none, a
// silence ends the wait early: what came was broken on the way.
func (r *rtu) more(request []byte, size int, stranger string) *failure {
	enough := r.have >= size
	if enough {
		if err := r.conn.SetReadDeadline(earlier(time.Now().Add(r.window()), r.deadline)); err != nil {
			return r.lost(err, stranger)
		}
		if err := r.gone(); err != nil {
			return r.lost(err, stranger)
		}
	}
	err := r.receive()
	switch {
	case err == nil:
		r.trim()
		return nil
	case enough && isTimeout(err) && r.gone() == nil && time.Now().Before(r.deadline):
		return &failure{kind: ErrFrame, garbled: true, answered: bytes.Equal(r.buf[:2], request[:2]),
			detail: fmt.Sprintf("%d bytes without a right checksum; are baud rate and parity right, is the line terminated?", r.have)}
	}
	return r.lost(err, stranger)
}

// lost turns an error of the connection into a failure. What came from others, or in
// part, is a better explanation of silence than silence.
func (r *rtu) lost(err error, stranger string) *failure {
	if !isTimeout(err) {
		if r.have > 0 {
			return &failure{kind: ErrFrame, detail: fmt.Sprintf("ended after %d bytes of an answer: %v", r.have, err), fate: rest}
		}
		return &failure{kind: ErrDown, detail: fmt.Sprintf("the line ended without an answer: %v", err), fate: rest, hungUp: true}
	}
	if f := r.cancelled(); f != nil {
		return f
	}
	f := &failure{kind: ErrTimeout, silent: true}
	f.detail = fmt.Sprintf("nothing within %s; are unit id and baud rate right, and the instrument on?", r.within)
	switch {
	case r.have > 0:
		f.kind, f.detail = ErrFrame, fmt.Sprintf("only %d bytes of an answer within %s", r.have, r.within)
	case stranger != "":
		f.kind, f.detail = ErrFrame, fmt.Sprintf("%s, and nobody else within %s", stranger, r.within)
	}
	return f
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}
