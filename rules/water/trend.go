package water

import (
	"cmp"
	"math"
	"slices"
)

// MaxPoints is the most points that a trend is drawn through.
const MaxPoints = 64

const pairs = MaxPoints * (MaxPoints - 1) / 2

// Z90 is the normal deviate of a two-sided interval of 90 %.
const Z90 = 1.6448536269514722

// Line is a straight line through points with an interval of its slope.
type Line struct {
	Slope     float64 // the median of the slopes of all pairs
	Low, High float64 // interval of the slope
	MidX      float64 // the median of x
	MidY      float64 // the median of y
	Noise     float64 // scatter about the line: 1.4826 times the median distance of the residuals from their median
}

// Intercept is where the line meets x = 0.
func (l Line) Intercept() float64 { return l.MidY - l.Slope*l.MidX }

// TheilSen draws a line that up to 29 % of outliers do not bend. x and y: 2 to MaxPoints finite numbers each, with two
// different x at least; z is the normal deviate of the interval, 0 to 10, such as Z90; a *RangeError otherwise. It allocates nothing.
// Source: median of pair slopes (Theil 1950) with the interval of [Sen], C = z sqrt(n(n-1)(2n+5)/18) less the ties, ranks (N -+
// C)/2, as a public statistics library rounds them.
func TheilSen(x, y []float64, z float64) (Line, error) {
	if err := usable(x, y, z); err != nil {
		return Line{}, err
	}
	var slopes [pairs]float64
	n := 0
	for i := range x {
		for j := range i {
			if d := x[i] - x[j]; d != 0 {
				slopes[n] = (y[i] - y[j]) / d
				n++
			}
		}
	}
	if n == 0 {
		return Line{}, &RangeError{What: "number of different x", Value: 1, Low: 2, High: MaxPoints}
	}
	s := slopes[:n]
	c := z * math.Sqrt(max(0, spread(len(y))-ties(x)-ties(y))/18)
	low := max(int(math.RoundToEven((float64(n)-c)/2))-1, 0)
	high := min(int(math.RoundToEven((float64(n)+c)/2)), n-1)
	var l Line
	// From low to high, so that each choice works only on what the last left above it.
	l.Low = nth(s, low)
	l.Slope = median(s)
	l.High = nth(s, high)
	if err := cmp.Or(within("slope", l.Low, -1e30, 1e30, ""), within("slope", l.High, -1e30, 1e30, "")); err != nil {
		return Line{}, err // two x so close that the quotient has no meaning
	}
	var buffer [MaxPoints]float64
	b := buffer[:len(x)]
	copy(b, x)
	l.MidX = median(b)
	copy(b, y)
	l.MidY = median(b)
	// Of normal noise this is the standard deviation, and outliers do not spoil it. About the median and not about the line:
	// outliers that lie all on one side shift the middle of the line.
	for i := range b {
		b[i] = y[i] - l.Slope*x[i]
	}
	mid := median(b)
	for i := range b {
		b[i] = math.Abs(y[i] - l.Slope*x[i] - mid)
	}
	l.Noise = 1.4826 * median(b)
	return l, nil
}

func usable(x, y []float64, z float64) error {
	if err := within("number of points", len(x), 2, MaxPoints, ""); err != nil {
		return err
	}
	if err := within("number of y", len(y), len(x), len(x), ""); err != nil {
		return err
	}
	for i := range x {
		if err := within("x", x[i], -1e15, 1e15, ""); err != nil {
			return err
		}
		if err := within("y", y[i], -1e15, 1e15, ""); err != nil {
			return err
		}
	}
	return within("normal deviate", z, 0, 10, "")
}

// spread is 18 times the variance of Kendall's S among n numbers.
func spread(n int) float64 { return float64(n * (n - 1) * (2*n + 5)) }

// ties is what equal numbers take from the variance.
func ties(v []float64) float64 {
	var buffer [MaxPoints]float64
	b := buffer[:len(v)]
	copy(b, v)
	slices.Sort(b)
	sum, run := 0.0, 1
	for i := 1; i <= len(b); i++ {
		if i < len(b) && b[i] == b[i-1] {
			run++
			continue
		}
		sum += spread(run)
		run = 1
	}
	return sum
}

// median reorders v. Of an even number it is the mean of the middle two.
func median(v []float64) float64 {
	upper := nth(v, len(v)/2)
	if len(v)%2 == 1 {
		return upper
	}
	return (slices.Max(v[:len(v)/2]) + upper) / 2
}

// nth is the kth smallest of v, counted from 0. It reorders v so that nothing before k is greater and nothing after it
// less: Hoare's selection. A refit with it takes some 0.6 of the time that sorting would.
func nth(v []float64, k int) float64 {
	low, high := 0, len(v)-1
	for low < high {
		// The median of three keeps sorted input, which a trend is, from being the worst case.
		mid := low + (high-low)/2
		pivot := max(min(v[low], v[high]), min(max(v[low], v[high]), v[mid]))
		i, j := low, high
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return v[k]
		}
	}
	return v[k]
}
