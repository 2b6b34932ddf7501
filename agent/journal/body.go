package journal

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"time"

	"ionward/agent"
	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// The forms of a value: none is 0, counts are whole steps of the signal's resolution, raw is the float64 itself.
const (
	noValue = iota
	counts
	raw
)

const (
	scanFlag = 1 << iota
	estimatedFlag
	factsFlag // facts follow the readings
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

var errDamaged = errors.New("it is damaged")

// checksum covers the key as well, so that a body under a wrong key is found out.
func checksum(seq uint64, at int64, body []byte) uint32 {
	var key [16]byte
	binary.LittleEndian.PutUint64(key[:8], seq)
	binary.LittleEndian.PutUint64(key[8:], uint64(at))
	return crc32.Update(crc32.Checksum(key[:], castagnoli), castagnoli, body)
}

// pack appends the body of an entry: everything but the key and the events.
func (w *words) pack(b []byte, e *agent.Entry) ([]byte, error) {
	start := len(b)
	flags := byte(0)
	if e.Scan {
		flags |= scanFlag
	}
	if e.Estimated {
		flags |= estimatedFlag
	}
	if e.Facts != (rules.Facts{}) {
		flags |= factsFlag
	}
	b = append(b, flags)
	b = binary.AppendVarint(b, int64(e.Gap))
	b = binary.AppendVarint(b, int64(e.State.Elapsed))
	b = binary.AppendVarint(b, int64(e.State.Since))
	mode, err := w.number(modeWord, int(e.State.Mode))
	if err != nil {
		return nil, err
	}
	b = binary.AppendUvarint(b, mode)
	if b, err = w.packReadings(b, &e.Readings); err != nil {
		return nil, err
	}
	if flags&factsFlag != 0 {
		b = append(b, byte(e.Facts.Known), byte(e.Facts.Set))
		b = binary.AppendVarint(b, int64(e.Facts.Left))
	}
	b = binary.AppendUvarint(b, uint64(len(e.Orders)))
	for i := range e.Orders {
		o := &e.Orders[i]
		if int(o.Verb) >= rules.Verbs || int(o.Alarm) >= alarm.Count {
			return nil, fmt.Errorf("order %d of %q is unknown", o.Verb, o.Who)
		}
		b = appendText(b, o.Who)
		b = appendText(b, o.Verb.String())
		b = appendText(b, o.Alarm.String())
		b = appendText(b, o.Text)
	}
	return binary.LittleEndian.AppendUint32(b, checksum(e.Seq, e.At, b[start:])), nil
}

func appendText(b []byte, s string) []byte {
	return append(binary.AppendUvarint(b, uint64(len(s))), s...)
}

func (w *words) number(kind, n int) (uint64, error) {
	if n >= len(w.toFile[kind]) {
		return 0, fmt.Errorf("%s %d has no name", wordKindNames[kind], n)
	}
	return w.toFile[kind][n], nil
}

// packReadings leaves out what is the zero Reading: most trailers have only some of the signals.
func (w *words) packReadings(b []byte, set *signal.Set) ([]byte, error) {
	present := 0
	for i := range set {
		if !absent(set[i]) {
			present++
		}
	}
	b = binary.AppendUvarint(b, uint64(present))
	for i := range set {
		r := &set[i]
		if absent(*r) {
			continue
		}
		quality, err := w.number(qualityWord, int(r.Quality))
		if err != nil {
			return nil, err
		}
		cause, err := w.number(causeWord, int(r.Cause))
		if err != nil {
			return nil, err
		}
		how, n := form(r.Value, signal.ID(i).Info().Resolution)
		b = binary.AppendUvarint(b, w.toFile[signalWord][i])
		b = binary.AppendUvarint(b, quality<<2|uint64(how))
		b = binary.AppendUvarint(b, cause)
		switch how {
		case counts:
			b = binary.AppendVarint(b, n)
		case raw:
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(r.Value))
		}
	}
	return b, nil
}

// absent is the zero Reading by its bits: a negative zero is a value.
func absent(r signal.Reading) bool {
	return r.Quality == signal.None && r.Cause == signal.NoCause && math.Float64bits(r.Value) == 0
}

// form chooses counts only where they give back the very same bits.
func form(v, resolution float64) (byte, int64) {
	const exact = 1 << 53
	bits := math.Float64bits(v)
	if bits == 0 {
		return noValue, 0
	}
	if math.Abs(v) < exact*resolution { // false for NaN
		if n := signal.Counts(v, resolution); math.Float64bits(signal.Value(n, resolution)) == bits {
			return counts, n
		}
	}
	return raw, 0
}

// unpack fills an entry from its body; Seq and At are set already.
func (w *words) unpack(body []byte, e *agent.Entry) error {
	end := len(body) - 4
	if end < 0 || binary.LittleEndian.Uint32(body[end:]) != checksum(e.Seq, e.At, body[:end]) {
		return errDamaged
	}
	r := reader{b: body[:end]}
	flags := r.bytes(1)
	if r.bad {
		return errDamaged
	}
	e.Scan, e.Estimated = flags[0]&scanFlag != 0, flags[0]&estimatedFlag != 0
	e.Gap = time.Duration(r.varint())
	e.State.Elapsed = time.Duration(r.varint())
	e.State.Since = time.Duration(r.varint())
	e.State.Mode = rules.Mode(w.known(&r, modeWord, r.uvarint()))
	w.unpackReadings(&r, &e.Readings)
	if flags[0]&factsFlag != 0 {
		if f := r.bytes(2); !r.bad {
			e.Facts = rules.Facts{Known: rules.Fact(f[0]), Set: rules.Fact(f[1]), Left: time.Duration(r.varint())}
		}
	}
	for n := r.uvarint(); n > 0 && !r.bad; n-- {
		o := rules.Order{Who: r.text()}
		verb, okVerb := rules.ParseVerb(r.text())
		id, okAlarm := alarm.Parse(r.text())
		o.Verb, o.Alarm, o.Text = verb, id, r.text()
		r.bad = r.bad || !okVerb || !okAlarm
		e.Orders = append(e.Orders, o)
	}
	if r.bad || len(r.b) != 0 {
		return errDamaged
	}
	return nil
}

func (w *words) unpackReadings(r *reader, set *signal.Set) {
	for n := r.uvarint(); n > 0 && !r.bad; n-- {
		scale, known := w.signals[r.uvarint()]
		head := r.uvarint()
		reading := signal.Reading{
			Quality: signal.Quality(w.known(r, qualityWord, head>>2)),
			Cause:   signal.Cause(w.known(r, causeWord, r.uvarint())),
		}
		switch head & 3 {
		case counts:
			reading.Value = signal.Value(r.varint(), scale.resolution)
		case raw:
			if bits := r.bytes(8); !r.bad {
				reading.Value = math.Float64frombits(binary.LittleEndian.Uint64(bits))
			}
		}
		if !known {
			r.bad = true
			return
		}
		set[scale.id] = reading
	}
}

func (w *words) known(r *reader, kind int, id uint64) int {
	n, ok := w.fromFile[kind][id]
	r.bad = r.bad || !ok
	return n
}

// reader takes a body apart; once it is bad it stays so and gives zeros.
type reader struct {
	b   []byte
	bad bool
}

func (r *reader) varint() int64 {
	v, n := binary.Varint(r.b)
	return v * r.step(n)
}

func (r *reader) uvarint() uint64 {
	v, n := binary.Uvarint(r.b)
	return v * uint64(r.step(n))
}

func (r *reader) step(n int) int64 {
	if n <= 0 {
		r.bad = true
		return 0
	}
	r.b = r.b[n:]
	return 1
}

func (r *reader) bytes(n uint64) []byte {
	if n > uint64(len(r.b)) {
		r.bad = true
		return nil
	}
	v := r.b[:n]
	r.b = r.b[n:]
	return v
}

func (r *reader) text() string { return string(r.bytes(r.uvarint())) }
