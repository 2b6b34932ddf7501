package chart

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func texts(s scale) (list []string) {
	for _, t := range s.ticks {
		list = append(list, t.text)
	}
	return list
}

func TestTicks(t *testing.T) {
	for name, c := range map[string]struct {
		axis    Axis
		numbers []float64
		want    string
	}{
		"from zero":                  {Axis{}, []float64{3, 97}, "0 20 40 60 80 100"},
		"not from zero":              {Axis{}, []float64{90, 97}, "90 92 94 96 98"},
		"thousands":                  {Axis{}, []float64{0, 45_000}, "0 10,000 20,000 30,000 40,000 50,000"},
		"small":                      {Axis{}, []float64{0, 0.003}, "0.000 0.001 0.002 0.003"},
		"below zero":                 {Axis{}, []float64{-10, 10}, "-10 -5 0 5 10"},
		"all below zero":             {Axis{}, []float64{-100, -10}, "-100 -80 -60 -40 -20 0"},
		"one number":                 {Axis{}, []float64{7}, "0 2 4 6 8"},
		"one number below zero":      {Axis{}, []float64{-7}, "-8 -6 -4 -2 0"},
		"zeros":                      {Axis{}, []float64{0, 0}, "0.0 0.2 0.4 0.6 0.8 1.0"},
		"nothing":                    {Axis{}, nil, "0.0 0.2 0.4 0.6 0.8 1.0"},
		"only what is finite counts": {Axis{}, []float64{math.NaN(), math.Inf(1), 5}, "0 1 2 3 4 5"},
		"decades":                    {Axis{Log: true}, []float64{0.02, 4000}, "0.01 0.1 1 10 100 1,000 10,000"},
		"few decades":                {Axis{Log: true}, []float64{3, 80}, "2 5 10 20 50 100"},
		"one number, logarithmic":    {Axis{Log: true}, []float64{10}, "10 20"},
		"a logarithm has no zero":    {Axis{Log: true}, []float64{0, 4}, "0 1 2 3 4"},
	} {
		t.Run(name, func(t *testing.T) {
			s := newScale(c.axis, c.numbers, 5)
			require.Equal(t, c.want, strings.Join(texts(s), " "))
		})
	}
}

// Whatever the numbers: the ticks rise evenly in place, say what they stand for, and hold the numbers between them.
func TestScalesHoldTheirNumbers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		numbers := rapid.SliceOfN(rapid.Float64Range(-1e7, 1e7), 1, 20).Draw(t, "numbers")
		if rapid.Bool().Draw(t, "above zero") {
			for i := range numbers {
				numbers[i] = math.Abs(numbers[i]) + 1e-4
			}
		}
		low, high := numbers[0], numbers[0]
		for _, v := range numbers {
			low, high = min(low, v), max(high, v)
		}
		if high-low < 1e-6*max(math.Abs(high), math.Abs(low)) && high != low {
			t.Skip("a span that no label can tell")
		}
		s := newScale(Axis{Log: rapid.Bool().Draw(t, "log")}, numbers, 5)
		s.from, s.to = 0, 100
		require.GreaterOrEqual(t, len(s.ticks), 2)
		require.LessOrEqual(t, len(s.ticks), 15)
		require.InDelta(t, 0, s.place(s.ticks[0].at), 1e-6)
		require.InDelta(t, 100, s.place(s.ticks[len(s.ticks)-1].at), 1e-6)
		for i, tick := range s.ticks {
			said, err := strconv.ParseFloat(strings.ReplaceAll(tick.text, ",", ""), 64)
			require.NoError(t, err)
			require.InDelta(t, s.place(tick.at), s.place(said), 0.5, "%v", s.ticks)
			if i > 0 {
				require.Greater(t, s.place(tick.at), s.place(s.ticks[i-1].at))
				require.NotEqual(t, tick.text, s.ticks[i-1].text)
			}
		}
		for _, v := range numbers {
			require.GreaterOrEqual(t, s.place(v), -1e-6)
			require.LessOrEqual(t, s.place(v), 100+1e-6)
		}
	})
}

func TestNumbersHaveTheirThousandsApart(t *testing.T) {
	for _, c := range []struct {
		v        float64
		decimals int
		want     string
	}{{0, 0, "0"}, {999, 0, "999"}, {1000, 0, "1,000"}, {-1234567.5, 1, "-1,234,567.5"}, {-0.0001, 2, "0.00"}, {100000, 0, "100,000"}} {
		require.Equal(t, c.want, number(c.v, c.decimals))
	}
}
