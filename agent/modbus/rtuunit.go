package modbus

import (
	"encoding/binary"
	"slices"
	"time"
)

const (
	// mostOwed is how many answers a unit is thought to owe when that cannot be proved.
	mostOwed = 3
	// mostProofs is how many proofs may fail before a unit is asked without.
	mostProofs = 2
	// provedAnew is how long after that the next is tried, if reads come through.
	provedAnew = 10 * time.Second
)

// rtuUnit is what is known of one unit id on a line.
//
// A request without an answer leaves a doubt: the answer may come yet, any time, and
// look like that to the next request. A unit answers in order, so the doubt ends with
// the answer to a request that was sent later and is answered in another form: a
// proof is the read of a few registers less or more, or the refusal of it. A unit that
// answers reads but no proof is asked the same so often that the last answer must be to
// the question.
type rtuUnit struct {
	doubt    bool
	owed     []form    // of answers that may still come
	unproved int       // proofs that failed in a row
	dangling bool      // the last one was sent, and nothing was answered since
	tried    time.Time // when the last one did
	insisted int       // times that the unit was asked without a proof since then
	helped   bool      // and that brought an answer

	shapes []*shape // of the reads asked for
	recent []recent // requests, one for each form

	timeouts int // in a row
	pace     pace
}

// recent is the last request whose answer has its form.
type recent struct {
	form    form
	request []byte
	at      time.Time
}

// form is what tells one answer from another: function code and bytes of data.
type form struct {
	function byte
	count    int
}

func formOf(request []byte) form { return form{request[1], wanted(request[1 : rtuRequest-2])} }

// unit finds or begins what is known of a unit.
func (r *rtu) unit(id byte) *rtuUnit {
	u := r.units[id]
	if u == nil {
		// A unit rests for half as long as a line at most: it is often one of several.
		u = &rtuUnit{pace: pace{least: r.settings.RetryLeast, most: max(r.settings.RetryMost/2, r.settings.RetryLeast), now: r.settings.Now}}
		r.units[id] = u
	}
	return u
}

// sends notes a request, and reports whether another one of the same form was sent within
// the time given: a copy of its answer would look like the answer to this one.
func (u *rtuUnit) sends(request []byte, within time.Duration) bool {
	f, now := formOf(request), time.Now()
	for i := range u.recent {
		if o := &u.recent[i]; o.form == f {
			alike := now.Sub(o.at) < within && !slices.Equal(o.request, request)
			o.request, o.at = append(o.request[:0], request...), now
			return alike
		}
	}
	u.recent = append(u.recent, recent{f, slices.Clone(request), now})
	return false
}

// sentOf reports whether a request of a form was sent lately.
func (u *rtuUnit) sentOf(f form) bool {
	return slices.ContainsFunc(u.recent, func(r recent) bool { return r.form == f && time.Since(r.at) < time.Minute })
}

// asks reports whether a frame has the form of an answer to one of the reads asked for:
// then it may be a copy.
func (u *rtuUnit) asks(frame []byte) bool {
	return slices.ContainsFunc(u.shapes, func(s *shape) bool { return s.form() == form{frame[1], int(frame[2])} })
}

// owe notes that a request got no answer.
func (u *rtuUnit) owe(request []byte) {
	u.doubt = true
	if f := formOf(request); !slices.Contains(u.owed, f) {
		u.owed = append(u.owed, f)
	}
}

// clear ends the doubt.
func (u *rtuUnit) clear() { u.doubt, u.owed, u.unproved, u.dangling = false, u.owed[:0], 0, false }

// provable reports whether a proof should be tried. After several that failed proofs
// and insistence take turns; where insistence helps, proofs are tried rarely.
func (u *rtuUnit) provable() bool {
	if u.unproved >= mostProofs && (u.insisted < mostProofs || u.helped && time.Since(u.tried) < provedAnew) {
		u.insisted++
		return false
	}
	u.tried, u.insisted, u.helped = time.Now(), 0, false
	return true
}

// proof is a read of the same unit and table whose answer has a form that is neither
// owed nor the request's own. It asks for as little beyond the request as it can.
func (u *rtuUnit) proof(request []byte) []byte {
	step, most := 1, MaxRegisters
	if request[1] <= 2 { // bits, eight to the byte
		step, most = 8, MaxBits
	}
	quantity := int(binary.BigEndian.Uint16(request[4:]))
	for distance := step; distance < most; distance += step {
		for _, n := range []int{quantity - distance, quantity + distance} {
			if n < 1 || n > most {
				continue
			}
			p := slices.Clone(request)
			address := min(binary.BigEndian.Uint16(p[2:]), uint16(1<<16-n))
			binary.BigEndian.PutUint16(p[2:], address)
			binary.BigEndian.PutUint16(p[4:], uint16(n))
			if f := formOf(p); !slices.Contains(u.owed, f) && !u.sentOf(f) {
				seal(p)
				return p
			}
		}
	}
	return request // all forms there are cannot be owed
}

// suffer lets a unit rest that was silent too often.
func (u *rtuUnit) suffer(f *failure) {
	if !f.silent {
		return
	}
	if u.timeouts++; u.timeouts >= patience {
		u.pace.fail(f.detail)
	}
}

// thrive notes a believed answer.
func (u *rtuUnit) thrive() {
	u.timeouts = 0
	u.pace.good()
}
