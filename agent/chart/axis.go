package chart

import (
	"math"
	"strconv"
	"strings"
)

// Axis is one axis of a chart.
type Axis struct {
	Label string
	Unit  string // in square brackets behind the label; "" = a plain count
	Log   bool   // logarithmic where all numbers are above zero and within twelve decades, else linear
}

// tick is a number along an axis.
type tick struct {
	at   float64
	text string
}

// scale turns numbers into places between from and to on the canvas.
type scale struct {
	low, high float64 // of the numbers; logarithms of them when log
	from, to  float64
	log       bool
	ticks     []tick
}

// newScale covers the numbers with about so many ticks; numbers that are not finite are left out.
func newScale(a Axis, numbers []float64, about int) scale {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range numbers {
		if finite(v) {
			low, high = min(low, v), max(high, v)
		}
	}
	if low > high {
		low, high = 0, 1
	}
	if a.Log && low > 0 && high/low < 1e12 { // more decades than that could not be told apart
		return logarithmic(low, high)
	}
	return linear(low, high, about)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// linear begins at zero where that costs less than half of the height, and ends on a tick at both ends.
func linear(low, high float64, about int) scale {
	const speck = 1e-9 // a whole span of less is nothing: its labels would be longer than the axis
	switch {
	case low > -speck && high < speck:
		low, high = 0, 1
	case low >= 0 && low <= high/2 || low == high && low > 0:
		low = 0
	case high <= 0 && high >= low/2 || low == high:
		high = 0
	}
	step := nice((high - low) / float64(about))
	s := scale{low: math.Floor(low/step+1e-9) * step, high: math.Ceil(high/step-1e-9) * step}
	decimals := max(0, int(-math.Floor(math.Log10(step)+1e-9)))
	if step/math.Pow(10, math.Floor(math.Log10(step)+1e-9)) == 2.5 {
		decimals++
	}
	for i := 0; ; i++ { // counted, so that no sum of steps drifts
		v := s.low + float64(i)*step
		if v > s.high+step/2 {
			return s
		}
		s.ticks = append(s.ticks, tick{v, number(v, decimals)})
	}
}

// nice is the smallest of 1, 2, 5 times a power of ten that is not below v.
func nice(v float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, n := range []float64{1, 2, 5} {
		if v <= n*power*(1+1e-9) {
			return n * power
		}
	}
	return 10 * power
}

// logarithmic covers whole decades, or the steps 1, 2, 5 where there are few.
func logarithmic(low, high float64) scale {
	marks := []float64{1, 2, 5}
	if high/low > 1000 {
		marks = marks[:1]
	}
	var all []float64
	for decade := math.Floor(math.Log10(low)) - 1; decade <= math.Ceil(math.Log10(high))+1; decade++ {
		for _, m := range marks {
			all = append(all, m*math.Pow(10, decade))
		}
	}
	first, last := 0, len(all)-1
	for all[first+1] <= low*(1+1e-9) {
		first++
	}
	for last > first+1 && all[last-1] >= high*(1-1e-9) {
		last--
	}
	s := scale{low: math.Log10(all[first]), high: math.Log10(all[last]), log: true}
	for _, v := range all[first : last+1] {
		s.ticks = append(s.ticks, tick{v, number(v, max(0, -int(math.Floor(math.Log10(v)+1e-9))))})
	}
	return s
}

// place is where a number stands on the canvas.
func (s *scale) place(v float64) float64 {
	if s.log {
		v = math.Log10(v)
	}
	return s.from + (v-s.low)/(s.high-s.low)*(s.to-s.from)
}

// number writes a number with its thousands apart.
func number(v float64, decimals int) string {
	text := strconv.FormatFloat(math.Abs(v), 'f', decimals, 64)
	whole, fraction, _ := strings.Cut(text, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if fraction != "" {
		whole += "." + fraction
	}
	if v < 0 && strings.Trim(text, "0.") != "" {
		return "-" + whole
	}
	return whole
}

// title is the label with its unit.
func (a Axis) title() string {
	if a.Unit == "" {
		return a.Label
	}
	return a.Label + " [" + a.Unit + "]"
}
