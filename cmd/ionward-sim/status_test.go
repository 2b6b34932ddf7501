package main

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ionward/cmd/line"
)

// broken is standard output that cannot be written, as a full disk.
type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, os.ErrClosed }

// 0 done; 2 wrong use, or a trace or unit file that cannot be read; 1 anything else.
func TestExitStatus(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		return path
	}
	trace := file("good.csv", "time,product_conductivity\n0,0.4\n1,0.4\n")
	for name, c := range map[string]struct {
		args []string
		out  io.Writer
		want int
	}{
		"done":              {[]string{"replay", trace}, io.Discard, 0},
		"help":              {[]string{"replay", "--help"}, io.Discard, 0},
		"unknown command":   {[]string{"reply"}, io.Discard, 2},
		"unknown flag":      {[]string{"replay", trace, "--fast"}, io.Discard, 2},
		"value of a flag":   {[]string{"replay", trace, "--pace", "fast"}, io.Discard, 2},
		"two traces":        {[]string{"replay", trace, trace}, io.Discard, 2},
		"format":            {[]string{"replay", trace, "--format", "xml"}, io.Discard, 2},
		"setting":           {[]string{"replay", trace, "--set", "off_spec.delay=soon"}, io.Discard, 2},
		"config":            {[]string{"replay", trace, "--config", file("bad.yaml", "off_spec: [1]\n")}, io.Discard, 2},
		"no config":         {[]string{"replay", trace, "--config", filepath.Join(dir, "none.yaml")}, io.Discard, 2},
		"no trace":          {[]string{"replay", filepath.Join(dir, "none.csv")}, io.Discard, 2},
		"header":            {[]string{"replay", file("bad.csv", "seconds\n")}, io.Discard, 2},
		"damaged later":     {[]string{"replay", file("late.csv", "time,product_conductivity\n0,0.4\n1,?\n")}, io.Discard, 2},
		"output is broken":  {[]string{"replay", trace}, broken{}, 1},
		"list":              {[]string{"replay", trace, "--set", "off_spec.delay=5m,10m"}, io.Discard, 0},
		"value in a list":   {[]string{"replay", trace, "--set", "off_spec.delay=5m,soon"}, io.Discard, 2},
		"plot of one":       {[]string{"replay", trace, "--plot", filepath.Join(dir, "one.svg")}, io.Discard, 2},
		"plot to nowhere":   {[]string{"replay", trace, "--set", "off_spec.delay=5m,10m", "--plot", filepath.Join(dir, "no", "where.svg")}, io.Discard, 1},
		"list is broken":    {[]string{"replay", trace, "--set", "off_spec.delay=5m,10m"}, broken{}, 1},
		"explain":           {[]string{"replay", trace, "--explain", "1"}, io.Discard, 0},
		"explain when":      {[]string{"replay", trace, "--explain", "later"}, io.Discard, 2},
		"explain too late":  {[]string{"replay", trace, "--explain", "2"}, io.Discard, 2},
		"explain damage":    {[]string{"replay", file("harm.csv", "time,product_conductivity\n0,?\n"), "--explain", "2"}, io.Discard, 2},
		"pace of the plant": {[]string{"plant", "--pace", "-1"}, io.Discard, 2},
		"pace of the demo":  {[]string{"demo", "--pace", "quick"}, io.Discard, 2},
	} {
		t.Run(name, func(t *testing.T) {
			got := line.Execute(context.Background(), root(), c.args, strings.NewReader(""), c.out, io.Discard)
			require.Equal(t, c.want, got)
		})
	}
}
