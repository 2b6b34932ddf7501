package trace

import (
	"bytes"
	"time"
)

// minute remembers the text of the last dated minute, "2026-03-01T12:34:" and its zone, since rows are seconds apart.
type minute struct {
	text [17]byte
	zone byte // 'Z', or 0 when nothing is remembered
	base int64
}

// moment reads a time cell: plain seconds or an RFC 3339 date, as the first row decided.
func (r *Reader) moment(b []byte) (int64, string) {
	b = bytes.TrimSpace(b)
	dated := len(b) > 10 && b[4] == '-' && b[7] == '-'
	if !r.placed {
		r.Dated = dated
	}
	switch {
	case len(b) == 0:
		return 0, "there is no time"
	case !dated && r.set.NeedDates:
		return 0, "is no date, and a record is kept by date: use RFC 3339, such as 2026-03-01T12:34:56Z"
	case dated != r.Dated:
		return 0, "dates and plain seconds are mixed in one trace"
	case dated:
		return r.date(b)
	}
	return seconds(b)
}

// seconds reads plain seconds into whole nanoseconds, further digits cut off.
func seconds(b []byte) (int64, string) {
	m, places, negative, ok := decimal(b)
	if !ok {
		v, isNumber := number(b)
		if !isNumber || !(v > -9e9 && v < 9e9) {
			return 0, "is neither plain seconds nor an RFC 3339 date such as 2026-03-01T12:34:56Z"
		}
		return int64(v * 1e9), ""
	}
	if whole := float64(m) / tens[places]; whole >= 9e9 {
		return 0, "is too far from zero for plain seconds"
	}
	for ; places < 9; places++ {
		m *= 10
	}
	for ; places > 9; places-- {
		m /= 10
	}
	if negative {
		return -int64(m), ""
	}
	return int64(m), ""
}

// date reads an RFC 3339 date into nanoseconds since 1970.
func (r *Reader) date(b []byte) (int64, string) {
	if len(b) >= 20 && b[len(b)-1] == 'Z' && r.minute.zone == 'Z' && string(b[:17]) == string(r.minute.text[:]) {
		if ns, ok := secondsOfMinute(b[17 : len(b)-1]); ok {
			return r.minute.base + ns, ""
		}
	}
	text := string(bytes.ToUpper(b))
	if len(text) > 10 && text[10] == ' ' {
		text = text[:10] + "T" + text[11:]
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return 0, "is not an RFC 3339 date such as 2026-03-01T12:34:56Z (with its zone)"
	}
	if y := t.Year(); y < 1700 || y > 2250 {
		return 0, "is out of range: years 1700 to 2250"
	}
	if b[len(b)-1] == 'Z' && b[10] == 'T' {
		copy(r.minute.text[:], b)
		r.minute.zone, r.minute.base = 'Z', t.Truncate(time.Minute).UnixNano()
	}
	return t.UnixNano(), ""
}

// secondsOfMinute reads "56" or "56.789".
func secondsOfMinute(b []byte) (int64, bool) {
	m, places, negative, ok := decimal(b)
	if !ok || negative || places > 9 || len(b) < 2 || b[0] == '+' || (len(b) > 2 && b[2] != '.') {
		return 0, false
	}
	for ; places < 9; places++ {
		m *= 10
	}
	return int64(m), m < 60e9
}
