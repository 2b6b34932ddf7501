package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/configs"
	"ionward/rules/signal"
)

// odd is an analyzer with an odd but legal map: input or holding registers alike, from 100 on, words swapped, a hole,
// and an integer in hundredths.
func odd() *bench {
	b := &bench{words: map[uint16]uint16{}}
	put := func(at uint16, v float32) {
		bits := math.Float32bits(v)
		b.words[at], b.words[at+1] = uint16(bits), uint16(bits>>16)
	}
	put(100, 301.37)
	put(102, 0.058713)
	put(104, 18.421)
	b.words[110] = 13924 // gpm in hundredths
	return b
}

func narrow(t *testing.T, text string) {
	t.Helper()
	for _, row := range strings.Split(text, "\n") {
		assert.LessOrEqual(t, utf8.RuneCountInString(row), 60, "%q is too wide for a phone", row)
	}
}

func TestProbeFindsWhatTheDisplayShows(t *testing.T) {
	at := odd().serve(t)
	for shown, want := range map[string]string{
		"0.0587": "register 102, f32 CDAB",
		"301.4":  "register 100, f32 CDAB",
		"18.42":  "register 104, f32 CDAB",
		"139.24": "register 110, u16 x 0.01",
	} {
		status, out, errOut := ionward(t, "probe", at, "--registers", "95-115", "--kind", "input", "--find", shown)
		require.Zero(t, status, errOut)
		first := ""
		for _, row := range strings.Split(out, "\n") {
			if strings.HasPrefix(row, " 1 ") {
				first = row
			}
		}
		assert.Contains(t, first, want, out)
		assert.Contains(t, out, "not read: 95 to 99")
		narrow(t, out)
	}
	status, out, errOut := ionward(t, "probe", at, "--registers", "100-105", "--find", "77")
	assert.Equal(t, 1, status)
	assert.Empty(t, out)
	assert.Contains(t, errOut, "no register shows 77 within 1%")
}

func TestProbeShowsEveryTypeAndMarksThePlausible(t *testing.T) {
	at := odd().serve(t)
	status, out, errOut := ionward(t, "probe", at, "--registers", "98-111", "--for", "product_conductivity", "--wide")
	require.Zero(t, status, errOut)
	narrow(t, out)
	_, block, ok := strings.Cut(out, "@102  ")
	require.True(t, ok, out)
	block, _, _ = strings.Cut(block, "@103")
	assert.Contains(t, block, "*0.05871", "the product, words swapped")
	rows := map[string]bool{}
	for _, row := range strings.Split(block, "\n")[1:] {
		if name, _, ok := strings.Cut(row, " "); ok {
			rows[name] = true
		}
	}
	for _, name := range []string{"f32", "u32", "i32", "u16", "i16", "u64", "i64"} {
		assert.True(t, rows[name], "%s is not shown in\n%s", name, block)
	}
	assert.Contains(t, out, " 1     0.05871 uS/cm   register 102, f32 CDAB\n")
	assert.Contains(t, out, "not read: 106 to 109\n  exception 02 (illegal data address)\n")
	assert.Contains(t, errOut, "unit 1, holding 98 to 111")
}

func TestProbeTellsProgress(t *testing.T) {
	b := &bench{words: map[uint16]uint16{}}
	for at := range uint16(200) {
		b.words[at] = 0
	}
	status, out, errOut := ionward(t, "probe", b.serve(t), "--registers", "0-199")
	require.Zero(t, status, errOut)
	assert.Contains(t, errOut, "read 50 of 200\n")
	assert.Equal(t, 200, strings.Count(out, "  0\n"), "zeros take a line each")
}

func TestProbeShowsBits(t *testing.T) {
	b := &bench{words: map[uint16]uint16{3: 1, 4: 0, 5: 1, 6: 1, 12: 1}}
	status, out, errOut := ionward(t, "probe", b.serve(t), "--registers", "3-12", "--kind", "discrete")
	require.Zero(t, status, errOut)
	assert.Equal(t, "       01234 56789\n0         10 11---\n10     --1\nnot read: 7 to 11\n  exception 02 (illegal data address)\n", out)
}

// The block that --yaml writes is a unit file that check accepts, and the agent reads the right numbers with it.
func TestProbeWritesAUnitFile(t *testing.T) {
	at := odd().serve(t)
	for name, args := range map[string][]string{
		"guessed": {"--for", "product_conductivity,feed_conductivity", "--for", "product_temperature"},
		"found":   {"--for", "product_conductivity", "--find", "0.0587 uS/cm"},
	} {
		t.Run(name, func(t *testing.T) {
			status, out, errOut := ionward(t, append([]string{"probe", at, "--registers", "100-111", "--kind", "input", "--yaml"}, args...)...)
			require.Zero(t, status, errOut)
			narrow(t, out)
			file := filepath.Join(t.TempDir(), "unit.yaml")
			require.NoError(t, os.WriteFile(file, []byte(out), 0o600))
			f, err := configs.LoadFile(file, nil, configs.ForRun)
			require.NoError(t, err, out)
			require.Len(t, f.Instruments, 1)
			assert.Equal(t, "CDAB", f.Instruments[0].WordOrder)
			where := map[string]string{}
			for _, s := range f.Instruments[0].Signals {
				where[s.ID.String()] = fmt.Sprint(s.Kind, " ", s.Register, " ", s.Type, " ", s.Unit.Symbol)
			}
			assert.Equal(t, "input 102 f32 uS/cm", where["product_conductivity"])
			if name == "guessed" {
				assert.Equal(t, "input 100 f32 uS/cm", where["feed_conductivity"])
				assert.Equal(t, "input 104 f32 C", where["product_temperature"])
			}
			status, _, errOut = ionward(t, "check", file)
			require.Zero(t, status, errOut)
			status, out, errOut = ionward(t, "check", "--live", file)
			require.Zero(t, status, errOut+out)
			assert.Regexp(t, `product_conductivity +0\.05900 uS/cm +good`, out)
		})
	}
}

// A scaled meter in gallons a minute.
func TestProbeWritesScales(t *testing.T) {
	at := odd().serve(t)
	status, out, errOut := ionward(t, "probe", at, "--registers", "110", "--yaml", "--for", "flow", "--find", "139.24 gpm")
	require.Zero(t, status, errOut)
	f, err := configs.Load("x.yaml", []byte(out), nil, configs.ForRule)
	require.NoError(t, err)
	s := f.Instruments[0].Signals[0]
	assert.Equal(t, signal.Flow, s.ID)
	assert.Equal(t, []any{uint16(110), "u16", 0.01, "gpm"}, []any{s.Register, s.Type, s.Scale, s.Unit.Symbol})
}

func TestProbeRefusesWrongUse(t *testing.T) {
	for want, args := range map[string][]string{
		"probe takes one address":        {"probe"},
		"want tcp://host:port":           {"probe", "http://192.0.2.1"},
		"--kind: kind \"x\"":             {"probe", "192.0.2.1:502", "--kind", "x"},
		"has 2001 addresses":             {"probe", "192.0.2.1:502", "--registers", "0-2000"},
		"want a signal that is a number": {"probe", "192.0.2.1:502", "--for", "control_power"},
		"want a number, or a number and": {"probe", "192.0.2.1:502", "--find", "much"},
		"\"parsec\" is not a unit":       {"probe", "192.0.2.1:502", "--find", "3 parsec"},
		"gpm is no unit of product_":     {"probe", "192.0.2.1:502", "--find", "3 gpm", "--for", "product_conductivity"},
		"say its unit, as it is shown":   {"probe", "192.0.2.1:502", "--find", "3", "--for", "flow"},
		"want at most 50%":               {"probe", "192.0.2.1:502", "--find", "3", "--tolerance", "51%"},
		"one number is one signal":       {"probe", "192.0.2.1:502", "--find", "3", "--for", "flow,total"},
		"say with --for which":           {"probe", "192.0.2.1:502", "--yaml"},
		"bits are no numbers":            {"probe", "192.0.2.1:502", "--kind", "coil", "--find", "3"},
		"--units: \"0-256\"":             {"probe", "192.0.2.1:502", "--units", "0-256"},
		"want 10ms to 1m":                {"probe", "192.0.2.1:502", "--timeout", "2m"},
		"invalid argument":               {"probe", "192.0.2.1:502", "--unit", "256"},
	} {
		status, out, errOut := ionward(t, args...)
		assert.Equal(t, 2, status, want)
		assert.Contains(t, errOut, want)
		assert.Empty(t, out)
	}
}
