package water_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/water"
)

func columns(t testing.TB, name, x, y string) (xs, ys []float64) {
	for _, l := range table(t, name) {
		xs, ys = append(xs, l.number(x)), append(ys, l.number(y))
	}
	return xs, ys
}

// Can be followed by hand: 21 slopes, median 1.05; ranks 4 and 16 of the sorted slopes (counted from 0) after Sen 1968,
// the same as a public statistics library gives.
func TestTheilSenByHand(t *testing.T) {
	x, y := columns(t, "theil_sen_hand.csv", "x", "y")
	l := ok(water.TheilSen(x, y, 1.645))
	assert.InDelta(t, 1.05, l.Slope, 1e-12)
	assert.InDelta(t, 0.966667, l.Low, 1e-6)
	assert.InDelta(t, 3.8, l.High, 1e-12)
	assert.InDelta(t, 4, l.MidX, 0)
	assert.InDelta(t, 4.2, l.MidY, 0)
	assert.InDelta(t, 4.2-1.05*4, l.Intercept(), 1e-12)
}

func TestTheilSenOnAFlatTrend(t *testing.T) {
	x, y := columns(t, "forecast_flat.csv", "V_gal", "kappa_uS_cm")
	l := ok(water.TheilSen(x, y, water.Z90))
	assert.InEpsilon(t, 2.491e-8, l.Slope, 5e-4)
	assert.InEpsilon(t, -6.667e-8, l.Low, 5e-4)
	assert.InEpsilon(t, 1.565e-7, l.High, 5e-4)
}

// The plain way: all slopes, sorted.
func plain(x, y []float64, z float64) (slope, low, high float64) {
	var s []float64
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			if x[i] != x[j] {
				s = append(s, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
	}
	slices.Sort(s)
	n := len(x)
	variance := float64(n * (n - 1) * (2*n + 5))
	for _, v := range [][]float64{x, y} {
		count := map[float64]int{}
		for _, e := range v {
			count[e]++
		}
		for _, k := range count {
			variance -= float64(k * (k - 1) * (2*k + 5))
		}
	}
	c := z * math.Sqrt(max(0, variance)/18)
	rank := func(r float64) float64 { return s[int(max(0, min(r, float64(len(s)-1))))] }
	middle := (s[(len(s)-1)/2] + s[len(s)/2]) / 2
	return middle, rank(math.RoundToEven((float64(len(s))-c)/2) - 1), rank(math.RoundToEven((float64(len(s)) + c) / 2))
}

func TestTheilSenIsWhatThePlainWayGives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, water.MaxPoints).Draw(t, "n")
		x, y := make([]float64, n), make([]float64, n)
		ties := rapid.Bool().Draw(t, "ties")
		for i := range n {
			x[i], y[i] = float64(i), rapid.Float64Range(-1e3, 1e3).Draw(t, "y")
			if ties {
				x[i], y[i] = math.Floor(x[i]/2), math.Round(y[i]/300)
			}
		}
		if x[0] == x[n-1] {
			x[n-1]++
		}
		if rapid.Bool().Draw(t, "backwards") {
			slices.Reverse(x)
			slices.Reverse(y)
		}
		given := slices.Clone(y)
		l := ok(water.TheilSen(x, y, water.Z90))
		slope, low, high := plain(x, y, water.Z90)
		require.InDelta(t, slope, l.Slope, 1e-12*math.Abs(slope))
		require.Equal(t, low, l.Low)
		require.Equal(t, high, l.High)
		require.LessOrEqual(t, l.Low, l.Slope)
		require.LessOrEqual(t, l.Slope, l.High)
		require.GreaterOrEqual(t, l.Noise, 0.0)
		require.Equal(t, given, y, "the points are left alone")
	})
}

// Up to 29 % of the points may be anything.
func TestTheilSenBearsOutliers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x, y := make([]float64, 40), make([]float64, 40)
		for i := range x {
			x[i], y[i] = float64(i), 2*float64(i)+1
		}
		for range 8 {
			y[rapid.IntRange(0, 39).Draw(t, "at")] = rapid.Float64Range(-1e6, 1e6).Draw(t, "y")
		}
		l := ok(water.TheilSen(x, y, water.Z90))
		require.InDelta(t, 2, l.Slope, 1e-9)
		require.InDelta(t, 0, l.Noise, 1e-9)
	})
}

func TestTheilSenRefuses(t *testing.T) {
	out[water.Line](t, "number of points")(water.TheilSen([]float64{1}, []float64{1}, 1))
	out[water.Line](t, "number of points")(water.TheilSen(make([]float64, 65), make([]float64, 65), 1))
	out[water.Line](t, "number of y")(water.TheilSen([]float64{1, 2}, []float64{1}, 1))
	out[water.Line](t, "number of different x")(water.TheilSen([]float64{1, 1}, []float64{1, 2}, 1))
	out[water.Line](t, "x of NaN")(water.TheilSen([]float64{1, math.NaN()}, []float64{1, 2}, 1))
	out[water.Line](t, "y of +Inf")(water.TheilSen([]float64{1, 2}, []float64{math.Inf(1), 2}, 1))
	out[water.Line](t, "normal deviate")(water.TheilSen([]float64{1, 2}, []float64{1, 2}, -1))
	out[water.Line](t, "slope")(water.TheilSen([]float64{0, 5e-324}, []float64{1, 2}, 1))
}
