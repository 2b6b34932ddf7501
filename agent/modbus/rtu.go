package modbus

import (
	"fmt"
	"time"
)

// rtu carries RTU frames, over a serial line or a converter on the network. It is the
// transporter under the client library; its calls must not overlap.
//
// A frame does not tell which request it answers. Three things make up for that. Before
// each request the line is listened to until it is silent, and what comes then is
// thrown away. The reads of one unit differ in the length of their answers, see shape:
// the answer to the one can never pass for the answer to another. And a unit that once
// owed an answer is not believed until it has proved to be in step, see rtuUnit: so an
// old number of the right register is not taken for a new one.
type rtu struct {
	wire
	silence time.Duration // T3.5
	wary    bool          // something may still be under way: listen for longer
	reused  bool          // the connection lay open before this request
	again   bool          // a broken answer was asked for again
	units   map[byte]*rtuUnit
}

// networkSilence stands in for T3.5 behind a converter: it is the converter that
// paces the line, here the pause only lets stray answers arrive.
const networkSilence = 5 * time.Millisecond

func newRTU(s Settings) *rtu {
	r := &rtu{wire: newWire(s), silence: networkSilence, wary: true, units: map[byte]*rtuUnit{}}
	if s.at.Device != "" {
		r.silence = s.at.Silence()
	}
	return r
}

// Send asks and returns the answer, checked against the request. It is called by the
// client library.
func (r *rtu) Send(request []byte) ([]byte, error) {
	if len(request) != rtuRequest || !readOnly(request[1:rtuRequest-2]) {
		return nil, errWrites
	}
	u := r.unit(request[0])
	if f := u.pace.held(); f != nil {
		// A dead unit must not eat the time of its neighbours on the line.
		f.kind = ErrTimeout
		return nil, f
	}
	if r.settings.at.Device == "" && r.conn != nil && r.settings.Now().Sub(r.used) > r.settings.Idle {
		r.drop()
	}
	got, f := r.answer(u, request)
	if f != nil {
		r.suffer(f)
		u.suffer(f)
		return nil, f
	}
	r.thrive()
	u.thrive()
	return got, nil
}

// believe asks until an answer can be believed.
func (r *rtu) believe(u *rtuUnit, request []byte) ([]byte, *failure) {
	r.reused, r.again = r.conn != nil, false
	if !u.doubt {
		return r.insist(u, request)
	}
	if u.provable() {
		got, f := r.prove(u, request)
		if f != nil || got != nil {
			return got, f
		}
		return r.insist(u, request)
	}
	for asked := 0; ; asked++ {
		begun := time.Now()
		got, f := r.insist(u, request)
		if f != nil || asked == mostOwed {
			u.helped = u.helped || f == nil
			return got, f
		}
		u.dangling = false
		if time.Until(r.deadline) < time.Since(begun) {
			return nil, &failure{kind: ErrTimeout, detail: fmt.Sprintf("the answer may be an earlier request's, and %s are too short to ask again", r.within)}
		}
	}
}

// prove ends the doubt, or gives the failure or the refusal that stands for an answer
// to the request too.
func (r *rtu) prove(u *rtuUnit, request []byte) ([]byte, *failure) {
	proof := u.proof(request)
	for again := false; ; again = true {
		got, f := r.insist(u, proof)
		if f != nil {
			u.unproved++
			u.dangling = true
			return nil, f
		}
		switch code := refused(got); {
		case code == 0, (code == IllegalAddress || code == IllegalValue) && !u.dangling:
			u.clear()
			return nil, nil
		case again:
			u.unproved++
			return got, nil
		}
		// Busy, or a gateway's word, or the refusal of a proof before: it may be late as
		// well, but hardly twice.
	}
}

// insist asks once more after a hang-up on a connection that had lain open, and after
// a broken answer: a read does no harm.
func (r *rtu) insist(u *rtuUnit, request []byte) ([]byte, *failure) {
	for {
		got, f := r.ask(u, request)
		switch {
		case f != nil && f.hungUp && r.reused:
			r.drop()
			r.reused = false
		case f != nil && f.garbled && !r.again:
			r.again = true
		default:
			return got, f
		}
	}
}

// ask connects if need be, waits for silence, and makes one exchange.
func (r *rtu) ask(u *rtuUnit, request []byte) ([]byte, *failure) {
	if f := r.connect(); f != nil {
		return nil, f
	}
	if err := r.arm(); err != nil {
		return nil, r.lost(err, "")
	}
	if u.sends(request, 10*r.window()) {
		r.wary = true
	}
	if f := r.hush(); f != nil {
		return nil, f
	}
	if err := r.arm(); err != nil {
		return nil, r.lost(err, "")
	}
	var got []byte
	var f *failure
	if _, err := r.conn.Write(request); err != nil {
		f = r.lost(err, "") // but a part may be on its way
	} else {
		got, f = r.listen(u, request)
	}
	if f != nil {
		r.wary = true
		if !f.answered {
			u.owe(request)
		}
	}
	return got, f
}

// suffer is as a wire's, but a serial line is not opened anew for a silence: it could
// not be in better order, and some adapters reset what hangs on them.
func (r *rtu) suffer(f *failure) {
	if r.settings.at.Device != "" && f.silent {
		r.timeouts = 0
	}
	r.wire.suffer(f)
}
