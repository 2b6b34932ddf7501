package signal

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestSignalsAreNamedOnceAndFound(t *testing.T) {
	require.Len(t, Names(), 16)
	seen := map[string]bool{}
	for i, name := range Names() {
		require.False(t, seen[name], name)
		seen[name] = true
		id, ok := Parse(name)
		require.True(t, ok)
		require.Equal(t, ID(i), id)
		info := id.Info()
		require.Equal(t, id.Contact(), info.Contact, name)
		require.Positive(t, info.Resolution, name)
		require.Less(t, info.Low, info.High, name)
		if !info.Contact {
			require.NotEmpty(t, info.Unit.Symbol, name)
		}
	}
	_, ok := Parse("conductivity")
	require.False(t, ok)
	require.Empty(t, ID(Count).String())
}

func TestQualitiesAndCausesHaveNames(t *testing.T) {
	for q := None; q <= Bad; q++ {
		got, ok := ParseQuality(q.String())
		require.True(t, ok)
		require.Equal(t, q, got)
	}
	_, ok := ParseQuality("fine")
	require.False(t, ok)
	seen := map[string]bool{}
	for c := NoCause; c <= Reported; c++ {
		require.False(t, seen[c.String()], c.String())
		seen[c.String()] = true
	}
	require.Equal(t, "?", Cause(200).String())
	require.Equal(t, "?", Quality(200).String())
}

func TestJudge(t *testing.T) {
	for name, c := range map[string]struct {
		value float64
		q     Quality
		want  Reading
	}{
		"good":           {0.4, Good, Reading{Value: 0.4, Quality: Good}},
		"rounded":        {0.99949, Good, Reading{Value: 0.999, Quality: Good}},
		"half away":      {0.9995, Good, Reading{Value: 1, Quality: Good}},
		"uncertain":      {0.4, Uncertain, Reading{Value: 0.4, Quality: Uncertain, Cause: Reported}},
		"said to be bad": {0.4, Bad, Reading{Quality: Bad, Cause: Reported}},
		"none":           {0.4, None, Reading{}},
		"not a number":   {math.NaN(), Good, Reading{Quality: Bad, Cause: NotANumber}},
		"infinite":       {math.Inf(1), Uncertain, Reading{Quality: Bad, Cause: NotANumber}},
		"negative":       {-0.0001, Good, Reading{Quality: Bad, Cause: Negative}},
		"too high":       {3000.0001, Good, Reading{Quality: Bad, Cause: OutOfSpan}},
		"at the top":     {3000, Good, Reading{Value: 3000, Quality: Good}},
	} {
		t.Run(name, func(t *testing.T) {
			require.Equal(t, c.want, ProductConductivity.Default(c.value, c.q))
		})
	}
	require.Equal(t, OutOfSpan, Judge(0.01, Good, 0.02, 10, 0.001).Cause)
	require.InDelta(t, -10, FeedTemperature.Default(-10, Good).Value, 0, "below zero is a temperature")
	require.True(t, Reading{Value: 1, Quality: Uncertain}.On())
	require.False(t, Reading{Value: 1, Quality: Bad}.On())
}

// 0.3 - 0.1 is 0.19999999999999998 in floats; in counts of 0.001 it is 200.
func TestCountsAreDecimal(t *testing.T) {
	require.EqualValues(t, 200, Counts(0.3-0.1, 0.001))
	require.EqualValues(t, -1, Counts(-0.0005, 0.001), "halves away from zero on both sides")
	require.EqualValues(t, 1, Counts(0.0005, 0.001))
	require.EqualValues(t, 20, Counts(1.0, 0.05))
	require.EqualValues(t, 3, Counts(5.0, 2))
	require.InDelta(t, 6, Value(3, 2), 0)
	rapid.Check(t, func(t *rapid.T) {
		places := rapid.IntRange(0, 6).Draw(t, "places")
		resolution := math.Pow10(-places)
		n := rapid.Int64Range(-3_000_000, 3_000_000).Draw(t, "counts")
		text := strconv.FormatInt(n, 10) + "e-" + strconv.Itoa(places)
		v, err := strconv.ParseFloat(text, 64)
		require.NoError(t, err)
		require.Equal(t, n, Counts(v, resolution))
		require.Equal(t, v, Value(n, resolution), "the nearest float to the decimal")
		half, err := strconv.ParseFloat(strconv.FormatInt(n, 10)+"5e-"+strconv.Itoa(places+1), 64)
		require.NoError(t, err)
		away := n + 1
		if n < 0 {
			away = n - 1
		}
		if n != 0 {
			require.Equal(t, away, Counts(half, resolution), "a half goes away from zero")
		}
		r := Round(v+rapid.Float64Range(-0.4, 0.4).Draw(t, "off")*resolution, resolution)
		require.Equal(t, r, Round(r, resolution), "rounding twice changes nothing")
	})
}

// The factors of testdata/water/units.csv are definitions and values of NIST SP 811 (2008), appendix B.8.
func TestUnitsHaveTheirPublishedFactors(t *testing.T) {
	f, err := os.Open("../../testdata/water/units.csv")
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	symbol := map[string]string{
		"US gallon": "gal", "cubic foot": "ft3", "ft H2O (conventional)": "ftH2O", "degF": "F",
	}
	known := func(name string) (Unit, bool) {
		if s, ok := symbol[name]; ok {
			name = s
		}
		return ParseUnit(name)
	}
	checked := 0
	for _, row := range rows[1:] {
		from, okFrom := known(row[0])
		to, okTo := known(row[1])
		if !okFrom || !okTo {
			continue // a unit of sizing and reports, not of signals
		}
		checked++
		factor, err := strconv.ParseFloat(row[2], 64)
		require.NoError(t, err)
		require.Equal(t, from.Quantity, to.Quantity, row[0])
		require.InEpsilon(t, factor, to.From(from.Inside(1)), 1e-9, "%s -> %s", row[0], row[1])
	}
	require.GreaterOrEqual(t, checked, 10)
	require.InDelta(t, 0.22712470704, GallonPerMinute.Inside(1), 1e-16, "exact: 231 in3 a minute")
	require.InDelta(t, 25, Fahrenheit.Inside(77), 1e-12, "exact: (F - 32)/1.8")
	require.InDelta(t, 0.055, MegohmCm.Inside(18.1818181818), 1e-9, "resistivity is the reciprocal")
}

func TestUnitsRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.SampledFrom(units).Draw(t, "unit")
		v := rapid.Float64Range(0.001, 1e6).Draw(t, "value")
		require.InEpsilon(t, v, u.From(u.Inside(v)), 1e-9, u.Symbol)
		same, ok := ParseUnit(u.Symbol)
		require.True(t, ok)
		require.Equal(t, u, same)
	})
}

func TestQuantitiesAreReadWithTheirUnits(t *testing.T) {
	for text, want := range map[string]float64{
		"1.0 uS/cm": 1, "1.0 \u00b5S/cm": 1, "0.5": 0.5, " 2 mS/m ": 20, "10 MOhm.cm": 0.1, "1e-1uS/cm": 0.1,
	} {
		v, err := ParseQuantity(text, Conductivity)
		require.NoError(t, err, text)
		require.InDelta(t, want, v, 1e-12, text)
	}
	v, err := ParseQuantity("300 gpm", FlowRate)
	require.NoError(t, err)
	require.InDelta(t, 68.137412112, v, 1e-9)
	for text, what := range map[string]string{
		"one": "is not a number with a unit", "": "is not a number", "NaN": "is not a number", "1 gpm": `"gpm" is not a unit of conductivity (use one of uS/cm`, "1 US/CM": "is not a unit",
	} {
		_, err := ParseQuantity(text, Conductivity)
		require.ErrorContains(t, err, what, text)
	}
	require.True(t, strings.HasPrefix(strings.Join(Units(Pressure), " "), "kPa"))
}
