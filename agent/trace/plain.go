package trace

import (
	"bytes"

	"ionward/rules"
	"ionward/rules/signal"
)

// plain reads the usual row in one pass over its bytes: undamaged, unquoted, plain decimal numbers, good quality. It
// gives up (false) at anything else, and the careful way reads the row from its start; both ways give the same readings.
func (r *Reader) plain(line []byte, in *rules.Input) bool {
	if !r.placed { // the first row decides what time is
		return false
	}
	if in != r.into { // from then on only what has a column is written
		in.Readings, r.into = signal.Set{}, in
	}
	at, last := 0, len(r.columns)-1
	for i := range r.columns {
		c := &r.columns[i]
		n := -1
		switch {
		case c.role == contact && at+1 < len(line) && line[at+1] == ',' && line[at]&^1 == '0':
			in.Readings[c.id] = signal.Reading{Value: float64(line[at] & 1), Quality: signal.Good}
			n = 1
		case c.role == analog || c.role == contact:
			n = c.plain(line[at:], &in.Readings[c.id])
		case c.role == timed && !r.Dated:
			n = r.plainSeconds(line[at:])
		default:
			n = r.plainCell(c, line[at:])
		}
		if n < 0 {
			return false
		}
		at += n
		if i == last {
			break
		}
		if at == len(line) || line[at] != ',' {
			return false
		}
		at++
	}
	r.row.hurt, r.row.lost = false, false
	return at == len(line)
}

// plainCell takes a cell that is no number; it gives its length, -1 = not plain.
func (r *Reader) plainCell(c *column, line []byte) int {
	n := bytes.IndexByte(line, ',')
	if n < 0 {
		n = len(line)
	}
	text, ok := line[:n], false
	switch c.role {
	case timed:
		var what string
		r.row.at, what = r.moment(text)
		ok = what == ""
	case orders:
		ok = n == 0
	case quality:
		ok = n == 0 || string(text) == "good"
	default:
		ok = bytes.IndexByte(text, '"') < 0
	}
	if !ok {
		return -1
	}
	return n
}

// digits reads digits and a point up to the next comma or the end of the line: the digits as a whole number, how many
// stand behind the point, and how many bytes that took. n is 0 for an empty cell and -1 for anything else, also for more
// digits than a float holds exactly.
func digits(line []byte) (mantissa uint64, places, n int) {
	point, i := -1, 0
	for ; i < len(line); i++ {
		if d := line[i] - '0'; d <= 9 {
			mantissa = mantissa*10 + uint64(d)
		} else if line[i] == '.' && point < 0 {
			point = i
		} else {
			break
		}
	}
	count := i
	if point >= 0 {
		count, places = i-1, i-1-point
	}
	if (i < len(line) && line[i] != ',') || count > 15 || (count == 0 && i > 0) {
		return 0, 0, -1
	}
	return mantissa, places, i
}

// plainSeconds takes a time in seconds; it gives the length of the cell, -1 = not plain.
func (r *Reader) plainSeconds(line []byte) int {
	m, places, n := digits(line)
	if n <= 0 || places > 9 || int64(m) >= 9e9*whole[places] {
		return -1
	}
	r.row.at = int64(m) * whole[9-places]
	return n
}

// Powers of ten as whole numbers.
var whole = [...]int64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

// plain takes the number of a signal; it gives the length of the cell, -1 = not plain.
func (c *column) plain(line []byte, out *signal.Reading) int {
	m, places, n := digits(line)
	if n <= 0 {
		*out = signal.Reading{}
		return n
	}
	v := float64(m)
	if places > 0 {
		v /= tens[places]
	}
	if c.convert || places > c.places || v < c.info.Low || v > c.info.High || (c.role == contact && m > 1) {
		*out = c.judge(&cell{value: c.inside(v), present: true})
		return n
	}
	*out = signal.Reading{Value: v, Quality: signal.Good}
	return n
}

// inside converts to the inside unit of the signal.
func (c *column) inside(v float64) float64 {
	if c.convert {
		return c.unit.Inside(v)
	}
	return v
}
