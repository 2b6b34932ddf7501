package trace

import (
	"bytes"
	"encoding/binary"
	"math/bits"

	"ionward/rules"
	"ionward/rules/signal"
)

// change is a reading that differs from the row before, or may: a signal without one has kept its reading.
type change struct {
	value   float64
	quality signal.Quality
	cause   signal.Cause
	id      signal.ID
}

// enter writes the reading where it belongs.
func (c *change) enter(in *rules.Input) {
	r := &in.Readings[c.id]
	r.Value, r.Quality, r.Cause = c.value, c.quality, c.cause
}

// quick is what the quick way needs of a column at hand.
type quick struct {
	// The newest text of the column's cell with the mark behind it, where both fit eight bytes: the same text means the
	// same again.
	mask, text uint64
	size       int      // bytes
	most       [8]int64 // by places behind the point: the greatest number that needs no judging; -1 = each does
	role       role
	id         signal.ID
	mark       byte // behind the cell
}

// forget makes the next row be read in full.
func (r *Reader) forget() {
	for i := range r.quick {
		q := &r.quick[i]
		q.mask, q.text, q.size = 0, 1, 0 // never found again
	}
}

// hasten prepares the quick way, once the first row has decided what time is.
func (r *Reader) hasten() {
	r.quick = make([]quick, len(r.columns))
	for i := range r.columns {
		c, q := &r.columns[i], &r.quick[i]
		q.role, q.id, q.mark = c.role, c.id, ','
		if i == len(r.columns)-1 {
			q.mark = '\n'
		}
		for places := range q.most {
			switch {
			case c.role == timed && !r.Dated:
				q.most[places] = 9e9*whole[places] - 1
			case (c.role == analog || c.role == contact) && !c.convert && places <= c.places && c.info.Low <= 0:
				q.most[places] = int64(c.info.High * tens[places])
			default:
				q.most[places] = -1
			}
		}
	}
	r.forget()
}

// plain reads the usual row at the beginning of the window in one pass over its bytes: undamaged, unquoted, plain decimal
// numbers, good quality. It gives the length of the row with its end and what changed against the row before. It gives up
// with length 0 at anything else, also where the window may end inside the row; the careful way then reads the row from
// its start, and both ways give the same readings.
//
// Its loop is the whole cost of a long replay. It calls nothing for a number of up to seven bytes, which it reads all at
// once; what is longer or odd is for cell.
func (r *Reader) plain(window []byte, list []change) (int, []change) {
	at := 0
	for i := range r.quick {
		q := &r.quick[i]
		if at+8 > len(window) {
			return 0, list
		}
		word := binary.LittleEndian.Uint64(window[at:])
		if word&q.mask == q.text {
			at += q.size
			continue
		}
		digits, others := apart(word)
		if q.role > lastNumber || others == 0 {
			goto odd
		}
		{
			point := bits.TrailingZeros64(others) & 56 // places in the word, in bits
			end, count, places := point, point, 0
			if byte(word>>point) == '.' {
				if others &= others - 1; others == 0 {
					goto odd
				}
				end = bits.TrailingZeros64(others) & 56
				count, places = end-8, (end-point)>>3-1
				before := uint64(1)<<point - 1
				digits = digits&before | digits>>8&^before // the point taken out
			}
			if count == 0 || byte(word>>end) != q.mark {
				goto odd
			}
			m := int64(eight(digits << (64 - count))) // leading zeros in front, what follows the number pushed out
			if m > q.most[places&7] {
				goto odd
			}
			if q.role == timed {
				r.row.at = m * whole[9-places&7]
			} else {
				v := float64(m)
				if places > 0 {
					v /= tens[places&7]
				}
				list = append(list, change{value: v, quality: signal.Good, id: q.id})
			}
			if size := end>>3 + 1; size != q.size {
				q.mask, q.size = ^uint64(0)>>(56-end), size
			}
			// Where the size is the old one the processor need not wait for the new one to begin with the next cell.
			q.text = word & q.mask
			at += q.size
			continue
		}
	odd:
		size := 0
		if size, list = r.cell(i, window[at:], list); size == 0 {
			return 0, list
		}
		q.mask, q.text, q.size = 0, 1, 0
		if size <= 8 {
			q.mask, q.size = ^uint64(0)>>(64-8*size), size
			q.text = word & q.mask
		}
		at += size
	}
	return at, list
}

const each = 0x0101010101010101 // a byte in all eight

// apart turns the digits among eight bytes into their values; others has the highest bit of each byte that is none.
func apart(word uint64) (digits, others uint64) {
	digits = word ^ '0'*each // anything else becomes more than 9, and 9 + 0x76 is the last sum below 0x80
	return digits, (digits&(0x7f*each) + 0x76*each | digits) & (0x80 * each)
}

// eight makes one number of eight digits: four pairs, then two fours, then the whole.
func eight(digits uint64) uint64 {
	const pairs = 0x000000ff000000ff
	digits = digits*10 + digits>>8
	return (digits&pairs*(100+1000000<<32) + digits>>16&pairs*(1+10000<<32)) >> 32
}

// cell reads any plain cell; it gives its length with the mark behind it, 0 = not plain.
func (r *Reader) cell(i int, window []byte, list []change) (int, []change) {
	c := &r.columns[i]
	n := 0
	switch {
	case c.role == analog || c.role == contact:
		m, places, length := digits(window)
		if n = length; n > 0 {
			v := float64(m)
			if places > 0 {
				v /= tens[places]
			}
			list = append(list, c.judge(&cell{value: c.inside(v), present: true}))
		} else if n == 0 {
			list = append(list, change{id: c.id})
		}
	case c.role == timed && !r.Dated:
		n = r.plainSeconds(window)
	default:
		n = r.plainText(c, window)
	}
	if n < 0 || n >= len(window) {
		return 0, list
	}
	switch last := i == len(r.columns)-1; {
	case window[n] == r.quick[i].mark:
		return n + 1, list
	case last && window[n] == '\r' && n+1 < len(window) && window[n+1] == '\n':
		return n + 2, list
	}
	return 0, list
}

// plainText takes a cell that is no number; it gives its length, -1 = not plain.
func (r *Reader) plainText(c *column, window []byte) int {
	if c.role == timed {
		return r.plainDate(window)
	}
	n := 0
	for n < len(window) && window[n] != ',' && window[n] != '\n' && window[n] != '\r' {
		if n++; window[n-1] == '"' {
			return -1
		}
	}
	if ok := n == 0 || c.role == skipped || (c.role == quality && string(window[:n]) == "good"); !ok {
		return -1
	}
	return n
}

// plainDate takes a date that ends in Z; it gives its length, -1 = not plain.
func (r *Reader) plainDate(window []byte) int {
	const seconds, zone = 17, 19 // where they stand in 2026-03-01T12:34:56Z
	if len(window) <= zone || r.minute.zone != 'Z' || string(window[:seconds]) != string(r.minute.text[:]) || window[zone] != 'Z' {
		n := bytes.IndexByte(window[:min(len(window), 40)], ',')
		if n < 0 || bytes.IndexByte(window[:n], '\n') >= 0 || bytes.IndexByte(window[:n], '"') >= 0 {
			return -1
		}
		at, what := r.moment(window[:n])
		if what != "" {
			return -1
		}
		r.row.at = at
		return n
	}
	ten, one := window[seconds]-'0', window[seconds+1]-'0'
	if ten > 5 || one > 9 {
		return -1
	}
	r.row.at = r.minute.base + int64(ten*10+one)*1e9
	return zone + 1
}

// plainSeconds takes a time in seconds; it gives the length of the cell, -1 = not plain.
func (r *Reader) plainSeconds(window []byte) int {
	m, places, n := digits(window)
	if n <= 0 || places > 9 || int64(m) >= 9e9*whole[places] {
		return -1
	}
	r.row.at = int64(m) * whole[9-places]
	return n
}

// Powers of ten as whole numbers.
var whole = [...]int64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

// digits reads digits and a point of any length: the digits as a whole number, how many stand behind the point, and how
// many bytes that took. n is 0 for an empty cell and -1 for anything without a digit, for one that the window cuts off,
// and for more digits than a float holds exactly.
func digits(window []byte) (mantissa uint64, places, n int) {
	point, i := -1, 0
	for ; i < len(window) && i <= 16; i++ {
		if d := window[i] - '0'; d <= 9 {
			mantissa = mantissa*10 + uint64(d)
		} else if window[i] == '.' && point < 0 {
			point = i
		} else {
			break
		}
	}
	count := i
	if point >= 0 {
		count, places = i-1, i-1-point
	}
	if i == len(window) || count > 15 || (count == 0 && i > 0) {
		return 0, 0, -1
	}
	return mantissa, places, i
}

// inside converts to the inside unit of the signal.
func (c *column) inside(v float64) float64 {
	if c.convert {
		return c.unit.Inside(v)
	}
	return v
}
