package screen

import (
	"strconv"
	"strings"
	"time"
)

// The trend covers 30 min in buckets of 4 s, about one a pixel; each keeps the lowest and the highest reading, so that a
// short peak is never lost.
const (
	trendSpan   = 30 * time.Minute
	trendStep   = 4 * time.Second
	trendSize   = int(trendSpan / trendStep)
	trendBridge = int64(30 * time.Second / trendStep) // readings further apart than this are not joined
	trendScale  = 3                                   // full scale is so many endpoints
)

// lost marks a bucket in which the reading was known to be missing or bad; conductivity is never negative.
const lost = -1

// bucket is one step of the trend. The zero bucket is empty.
type bucket struct {
	key    int64 // UTC ns since 1970 / trendStep
	lo, hi float64
}

// trend is a ring of buckets, bounded whatever comes in.
type trend struct {
	ring   [trendSize]bucket
	newest int64 // key of the newest bucket; 0 = none
}

// add takes in one reading (uS/cm) at a UTC instant (ns since 1970).
func (t *trend) add(at int64, value float64, usable bool) {
	key := at / int64(trendStep)
	if at <= 0 || key <= t.newest-int64(trendSize) {
		return
	}
	t.newest = max(t.newest, key)
	b := &t.ring[key%int64(trendSize)]
	switch {
	case b.key != key && usable:
		*b = bucket{key: key, lo: value, hi: value}
	case b.key != key:
		*b = bucket{key: key, lo: lost, hi: lost}
	case !usable:
		// A bucket that holds a reading keeps it: the gap shows in the next one.
	case b.lo == lost:
		b.lo, b.hi = value, value
	default:
		b.lo, b.hi = min(b.lo, value), max(b.hi, value)
	}
}

// since lists the filled buckets from a key on, oldest first.
func (t *trend) since(key int64) []bucket {
	var list []bucket
	for k := max(key, t.newest-int64(trendSize)+1); k <= t.newest; k++ {
		if b := t.ring[((k%int64(trendSize))+int64(trendSize))%int64(trendSize)]; b.key == k && k > 0 {
			list = append(list, b)
		}
	}
	return list
}

// The drawing is trendSize wide and 300 high: one unit a bucket, the endpoint at 200.
const trendHeight = 300

// paths draws the trend for the first page: the line, and the marks where it is off scale. top is full scale, uS/cm.
// The page's own script draws the same way from then on.
func (t *trend) paths(top float64) (line, off string) {
	var l, o strings.Builder
	last := int64(0)
	for _, b := range t.since(0) {
		if b.lo == lost {
			last = 0
			continue
		}
		x := b.key - t.newest + int64(trendSize) - 1
		verb := "L"
		if last == 0 || b.key-last > trendBridge {
			verb = "M"
		}
		last = b.key
		l.WriteString(verb + point(x, height(b.lo, top)) + "L" + point(x, height(b.hi, top)))
		if b.hi > top {
			o.WriteString("M" + point(x, 0) + "v12")
		}
	}
	return l.String(), o.String()
}

// height is where a value stands in the drawing, from the top.
func height(v, top float64) int64 { return int64(trendHeight * (1 - min(v/top, 1))) }

func point(x, y int64) string { return strconv.FormatInt(x, 10) + " " + strconv.FormatInt(y, 10) }
