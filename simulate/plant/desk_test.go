package plant_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules/signal"
	"ionward/simulate/plant"
)

// still is a trailer without what blurs a law: no noise, no wander, no standing water, no pipe between bed and cell.
func still() plant.Settings {
	set := plant.Defaults()
	set.Noise, set.Feed.Wander, set.Header, set.Cell = 0, 0, 0, 0
	for i := range set.Banks {
		set.Banks[i].Used = 0
		set.Banks[i].Base, set.Banks[i].Standing = 0.1, 0.1
	}
	return set
}

func start(t testing.TB, set plant.Settings) *plant.Plant {
	t.Helper()
	p, err := plant.New(set)
	require.NoError(t, err)
	return p
}

// until steps by seconds until the plant is as wanted.
func until(t testing.TB, p *plant.Plant, limit time.Duration, wanted func(plant.Truth) bool) plant.Truth {
	t.Helper()
	for end := p.Now() + limit; p.Now() < end; p.Step(time.Second) {
		if now := p.Truth(); wanted(now) {
			return now
		}
	}
	require.FailNow(t, "the plant never came to the state that was waited for", "within %v; it is %+v", limit, p.Truth())
	return plant.Truth{}
}

// table reads a published or computed table of numbers; lines that begin with # name its source.
func table(t *testing.T, name string) [][]float64 {
	t.Helper()
	f, err := os.Open("../../testdata/water/" + name)
	require.NoError(t, err)
	defer func() { _ = f.Close() }()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	numbers := make([][]float64, 0, len(rows))
	for _, row := range rows[1:] {
		line := make([]float64, len(row))
		for i, cell := range row {
			line[i], err = strconv.ParseFloat(cell, 64)
			require.NoError(t, err)
		}
		numbers = append(numbers, line)
	}
	require.NotEmpty(t, numbers)
	return numbers
}

func gal(m3 float64) float64 { return signal.Gallon.From(m3) }
func m3(gal float64) float64 { return signal.Gallon.Inside(gal) }
func gpm(q float64) float64  { return signal.GallonPerMinute.From(q) }
