package water_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"ionward/rules/water"
)

// line is one row of a published or computed table; its head comment names the source.
type line struct {
	t     testing.TB
	cells map[string]string
}

// table reads a file of testdata/water.
func table(t testing.TB, name string) []line {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "water", name))
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1, "%s holds nothing to compare with", name)
	var lines []line
	for _, row := range rows[1:] {
		l := line{t, map[string]string{}}
		for i, cell := range row {
			l.cells[rows[0][i]] = cell
		}
		lines = append(lines, l)
	}
	return lines
}

func (l line) has(column string) bool { return l.text(column) != "" }

func (l line) text(column string) string {
	l.t.Helper()
	cell, ok := l.cells[column]
	require.True(l.t, ok, "no column %s", column)
	return cell
}

func (l line) number(column string) float64 {
	l.t.Helper()
	v, err := strconv.ParseFloat(l.text(column), 64)
	require.NoError(l.t, err, column)
	return v
}

// ok gives a result that must not fail; a panic names what did.
func ok[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// out asserts that an input was refused for its range, and that nothing was returned.
func out[T comparable](t testing.TB, what string) func(v T, err error) {
	t.Helper()
	return func(v T, err error) {
		t.Helper()
		var wrong *water.RangeError
		require.ErrorAs(t, err, &wrong, what)
		require.ErrorContains(t, err, what)
		var zero T
		require.Equal(t, zero, v, "a refused input gives no number")
	}
}

// percent is how far a lies from b.
func percent(a, b float64) float64 { return 100 * (a/b - 1) }
