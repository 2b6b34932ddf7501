// Package probe reads a device whose map of registers is not known, and helps a person find which register holds what.
//
// It guarantees that it only reads, that it asks one question at a time and no more than its limits say, and that a
// guess is only ever a guess: it names what would fit, best first, and decides nothing. What a device refuses is told
// apart from what it holds.
//
// It writes nothing to a device, keeps nothing, and knows no unit file but the block that it prints.
package probe

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"ionward/agent/modbus"
)

// Reader is a link to a device; *modbus.Link is one.
type Reader interface {
	Read(ctx context.Context, r modbus.Request) ([]byte, error)
}

// Settings of a reading.
type Settings struct {
	UnitID  uint8
	Kind    modbus.Kind
	Range   Range
	Most    int           // most registers in one request, 1 to 125; 0 = 50, which most devices give
	Timeout time.Duration // for one request; 0 = the link's own
	Pause   time.Duration // between two requests, so that a device has room for others
	// Progress is told how many of how many addresses are done; nil = nobody.
	Progress func(done, of int)
}

// Range is a run of addresses, both ends included.
type Range struct{ First, Last int }

// Len is how many addresses it has.
func (r Range) Len() int { return r.Last - r.First + 1 }

// ParseRange reads 0-40 or 7, within limits, of at most so many addresses.
func ParseRange(text string, least, greatest, most int) (Range, error) {
	first, last, two := strings.Cut(text, "-")
	if !two {
		last = first
	}
	a, wrongA := strconv.Atoi(strings.TrimSpace(first))
	b, wrongB := strconv.Atoi(strings.TrimSpace(last))
	r := Range{a, b}
	switch {
	case wrongA != nil || wrongB != nil:
		return r, fmt.Errorf("%q: want a range such as %d-%d", text, least, min(greatest, least+40))
	case a > b || a < least || b > greatest:
		return r, fmt.Errorf("%q: want a range within %d to %d, the smaller first", text, least, greatest)
	case r.Len() > most:
		return r, fmt.Errorf("%q: has %d addresses; want at most %d, one part after another", text, r.Len(), most)
	}
	return r, nil
}

// Table is what a device holds: registers, or bits as 0 and 1.
type Table struct {
	Kind    modbus.Kind
	Range   Range
	Words   map[int]uint16 // what could be read
	Refused []Refusal      // what could not, by address
}

// Refusal is a run of addresses that the device does not give, and why.
type Refusal struct {
	Range
	Why error
}

// attempts is how often a request is repeated that was not answered or met a busy device. A device that stays silent so
// often is not there.
const attempts = 3

// Read reads the whole range. What the device refuses is asked for in halves, down to single addresses, so that holes in
// its map are found. A device that does not answer at all is an error; what was read by then comes with it.
func Read(ctx context.Context, link Reader, s Settings) (*Table, error) {
	if s.Most <= 0 || s.Most > modbus.MaxRegisters {
		s.Most = 50
	}
	t := &Table{Kind: s.Kind, Range: s.Range, Words: map[int]uint16{}}
	most := s.Most
	if s.Kind.Bits() {
		most *= 16
	}
	for at := s.Range.First; at <= s.Range.Last; at += most {
		if err := t.read(ctx, link, &s, at, min(most, s.Range.Last-at+1)); err != nil {
			return t, err
		}
		if s.Progress != nil {
			s.Progress(min(at+most, s.Range.Last+1)-s.Range.First, s.Range.Len())
		}
	}
	return t, nil
}

// read reads one run, halving it where it is refused.
func (t *Table) read(ctx context.Context, link Reader, s *Settings, at, n int) error {
	data, err := ask(ctx, link, s, at, n)
	var refusal *modbus.Exception
	switch {
	case err == nil:
		t.keep(data, at, n)
		return nil
	// A broken answer too may be that of a device that gives fewer than were asked for.
	case !errors.As(err, &refusal) && !errors.Is(err, modbus.ErrFrame), errors.As(err, &refusal) && !modbus.Bad(err):
		return err
	case n > 1 && !refuses(refusal):
		if err := t.read(ctx, link, s, at, n/2); err != nil {
			return err
		}
		return t.read(ctx, link, s, at+n/2, n-n/2)
	}
	t.refuse(at, n, err)
	return nil
}

// refuses reports whether an exception is about the table rather than the addresses: smaller runs would be refused too.
func refuses(e *modbus.Exception) bool { return e != nil && e.Code == modbus.IllegalFunction }

// ask makes one request, patiently.
func ask(ctx context.Context, link Reader, s *Settings, at, n int) (data []byte, err error) {
	r := modbus.Request{UnitID: s.UnitID, Kind: s.Kind, Address: uint16(at), Quantity: uint16(n), Timeout: s.Timeout}
	for range attempts {
		if err := pause(ctx, s.Pause); err != nil {
			return nil, err
		}
		data, err = link.Read(ctx, r)
		var refusal *modbus.Exception
		busy := errors.As(err, &refusal) && !modbus.Bad(err)
		if !busy && !errors.Is(err, modbus.ErrTimeout) {
			break
		}
	}
	return data, err
}

func pause(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (t *Table) keep(data []byte, at, n int) {
	for k := range n {
		if t.Kind.Bits() {
			t.Words[at+k] = uint16(data[k/8] >> (k % 8) & 1)
			continue
		}
		t.Words[at+k] = uint16(data[2*k])<<8 | uint16(data[2*k+1])
	}
}

// refuse notes a run; runs that touch and have the same reason become one.
func (t *Table) refuse(at, n int, why error) {
	var refusal *modbus.Exception
	if errors.As(why, &refusal) {
		why = refusal // without the addresses, which the run names
	}
	if k := len(t.Refused) - 1; k >= 0 && t.Refused[k].Last == at-1 && t.Refused[k].Why.Error() == why.Error() {
		t.Refused[k].Last = at + n - 1
		return
	}
	t.Refused = append(t.Refused, Refusal{Range{at, at + n - 1}, why})
}
