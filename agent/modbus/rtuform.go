package modbus

import (
	"encoding/binary"
	"slices"
	"time"
)

const (
	// mostExtra is how many registers (or bytes of bits) a read may be longer than asked.
	mostExtra = 4
	// mostShapes is how many different reads of a unit are kept apart.
	mostShapes = 64
	// mostRounds is how often the longer read must fail, and the read itself succeed,
	// before the longer one is given up: other troubles look like that for a while.
	mostRounds = 3
	// againAfter is when one that was only silent is tried again.
	againAfter = 10 * time.Minute
)

// shape is how a read goes over the line. Two reads of one unit whose answers have the
// same form could be taken for each other: a copy of an answer that comes late, as
// adapters that gather bytes make it, would be another register's number. So each read
// of a unit has a form of its own, by asking for a register more than is wanted.
type shape struct {
	request []byte // as asked for
	longer  []byte // as sent; nil = as it is
	works   bool   // longer was answered once
	failed  int    // times that longer was not answered, since the read itself was
	rounds  int    // times that the read itself was answered after that
	spared  []byte // longer that was given up for silence
	since   time.Time
}

// shape finds or makes the shape of a read.
func (u *rtuUnit) shape(request []byte) *shape {
	for _, s := range u.shapes {
		if slices.Equal(s.request, request) {
			return s
		}
	}
	s := &shape{request: slices.Clone(request)}
	free := func(f form) bool {
		return !slices.ContainsFunc(u.shapes, func(o *shape) bool { return o.form() == f })
	}
	if !free(s.form()) {
		for extra := 1; extra <= mostExtra && s.longer == nil; extra++ {
			if l := longer(request, extra); l != nil && free(formOf(l)) {
				s.longer = l
			}
		}
	}
	// Who reads more than that is searching, and meets each register once.
	if len(u.shapes) < mostShapes {
		u.shapes = append(u.shapes, s)
	}
	return s
}

func (s *shape) form() form {
	if s.longer != nil {
		return formOf(s.longer)
	}
	return formOf(s.request)
}

// plain gives up the longer read, for good or, if it was only silent, for a while.
func (s *shape) plain(forGood bool) {
	if !forGood {
		s.spared, s.since = s.longer, time.Now()
	}
	s.longer = nil
}

// ripe takes the longer read up again when its time has come.
func (s *shape) ripe() {
	if s.spared != nil && time.Since(s.since) > againAfter {
		s.longer, s.spared, s.failed, s.rounds = s.spared, nil, 0, mostRounds-1
	}
}

// longer is a read of some registers more, or nil where there is no room.
func longer(request []byte, extra int) []byte {
	step, most := 1, MaxRegisters
	if request[1] <= 2 { // bits, eight to the byte
		step, most = 8, MaxBits
	}
	n := int(binary.BigEndian.Uint16(request[4:])) + step*extra
	if n > most || int(binary.BigEndian.Uint16(request[2:]))+n > 1<<16 {
		return nil
	}
	l := slices.Clone(request)
	binary.BigEndian.PutUint16(l[4:], uint16(n))
	seal(l)
	return l
}

// answer reads in a form of its own, as far as the unit takes it.
func (r *rtu) answer(u *rtuUnit, request []byte) ([]byte, *failure) {
	s := u.shape(request)
	s.ripe()
	if s.longer == nil {
		return r.believe(u, request)
	}
	// One more failure in each round, so that what comes and goes in turns is not taken
	// for a matter of length.
	if !s.works && s.failed > s.rounds {
		return r.bare(u, s)
	}
	got, f := r.believe(u, s.longer)
	switch {
	case f != nil:
		s.failed++
		return nil, f
	case refused(got) == 0:
		s.works = true
		return cutTo(got, request), nil
	case !s.works && (refused(got) == IllegalAddress || refused(got) == IllegalValue):
		s.plain(true)
		return r.believe(u, request)
	}
	return got, nil
}

// bare asks the read itself, to see whether it is the longer one that the unit minds.
func (r *rtu) bare(u *rtuUnit, s *shape) ([]byte, *failure) {
	got, f := r.believe(u, s.request)
	if s.failed = 0; f == nil {
		if s.rounds++; s.rounds == mostRounds {
			s.plain(false)
		}
	}
	return got, f
}

// cutTo makes the answer to a longer read that to the read itself.
func cutTo(frame, request []byte) []byte {
	n := wanted(request[1 : rtuRequest-2])
	frame = frame[:rtuRefusal+n]
	frame[2] = byte(n)
	if rest := binary.BigEndian.Uint16(request[4:]) % 8; request[1] <= 2 && rest != 0 {
		frame[2+n] &= 1<<rest - 1 // bits beyond the quantity are zero (Modbus Application Protocol, 6.1)
	}
	seal(frame)
	return frame
}
