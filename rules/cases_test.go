package rules

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules/signal"
)

// timedCase is one line of testdata/rules/cases.txt.
type timedCase struct {
	name     string
	settings Settings
	verbs    map[int][]string // by second
	expect   map[int]string
	last     int
}

func readCases(t *testing.T) []timedCase {
	t.Helper()
	f, err := os.Open("../testdata/rules/cases.txt")
	require.NoError(t, err)
	defer f.Close()
	var cases []timedCase
	for sc := bufio.NewScanner(f); sc.Scan(); {
		line := strings.TrimSpace(sc.Text())
		if line == "" || line[0] == '#' {
			continue
		}
		name, body, ok := strings.Cut(line, "|")
		require.True(t, ok, line)
		c := timedCase{name: strings.TrimSpace(name), settings: Defaults(), verbs: map[int][]string{}, expect: map[int]string{}}
		for _, part := range strings.Split(body, ";") {
			c.part(t, strings.TrimSpace(part))
		}
		cases = append(cases, c)
	}
	return cases
}

func (c *timedCase) part(t *testing.T, part string) {
	if cfg, ok := strings.CutPrefix(part, "cfg "); ok {
		key, value, _ := strings.Cut(cfg, "=")
		n, _ := strconv.Atoi(value)
		switch key {
		case "clear":
			c.settings.ClearDelay = time.Duration(n) * time.Second
		case "band":
			c.settings.ClearBand = float64(n) / 1000
		case "bypass":
			c.settings.Bypass = time.Duration(n) * time.Second
		case "retain":
			c.settings.KeepTrip = true
		default:
			require.Fail(t, "unknown cfg "+cfg)
		}
		return
	}
	at, what, ok := strings.Cut(part, " ")
	require.True(t, ok, part)
	second, err := strconv.Atoi(at)
	require.NoError(t, err, part)
	c.last = max(c.last, second)
	if expect, ok := strings.CutPrefix(what, "? "); ok {
		c.expect[second] = expect
		return
	}
	c.verbs[second] = append(c.verbs[second], what)
}

// bench steps one case: a hand on every input, and a state.
type bench struct {
	set     Settings
	state   State
	out     Effects
	in      Input
	now     time.Duration
	value   float64
	quality signal.Quality
	power   float64
	button  float64
}

func newBench(set Settings) *bench {
	return &bench{set: set, quality: signal.Good, power: 1, in: Input{Scan: true}}
}

func (b *bench) verb(t *testing.T, verb string) {
	key, value, _ := strings.Cut(verb, "=")
	n, _ := strconv.Atoi(value)
	switch key {
	case "v":
		b.value = float64(n) / 1000
	case "q":
		b.quality = map[string]signal.Quality{"G": signal.Good, "U": signal.Uncertain, "B": signal.Bad}[value]
		require.NotZero(t, b.quality, verb)
	case "pw":
		b.power = float64(n)
	case "btn":
		b.button = float64(n)
	case "e":
		b.set.Endpoint = float64(n) / 1000
	case "save":
		text, err := json.Marshal(b.state)
		require.NoError(t, err)
		b.state = State{}
		require.NoError(t, json.Unmarshal(text, &b.state))
	case "gap":
	default:
		require.Fail(t, "unknown verb "+verb)
	}
}

func (b *bench) scan(at time.Duration) {
	b.in.Gap, b.in.Scan = at-b.now, true
	b.in.Readings = signal.Set{}
	b.in.Readings[signal.ProductConductivity] = signal.ProductConductivity.Default(b.value, b.quality)
	b.in.Readings[signal.ControlPower] = signal.Reading{Value: b.power, Quality: signal.Good}
	b.in.Readings[signal.BypassButton] = signal.Reading{Value: b.button, Quality: signal.Good}
	b.now = at
	Step(&b.set, &b.state, &b.in, &b.out)
}

func (b *bench) tick(at time.Duration) {
	b.in.Gap, b.in.Scan = at-b.now, false
	b.now = at
	Step(&b.set, &b.state, &b.in, &b.out)
}

func (b *bench) describe(expect string) string {
	words := strings.Fields(expect)
	got := []string{b.state.Mode.String()}
	for _, w := range words[1:] {
		switch key, _, _ := strings.Cut(w, "="); key {
		case "left":
			left, ok := b.state.TimeLeft(&b.set)
			if !ok {
				left = -time.Second
			}
			got = append(got, fmt.Sprintf("left=%g", left.Seconds()))
		case "chain":
			got = append(got, fmt.Sprintf("chain=%d", b.state.Chain))
		case "relief":
			relief := 0
			if b.out.Outputs.Relief == Open {
				relief = 1
			}
			got = append(got, fmt.Sprintf("relief=%d", relief))
		}
	}
	return strings.Join(got, " ")
}

// run steps a case with a scan at every input and every so many seconds; 0 = at inputs only. What is expected between
// scans is read after a step without one. cut adds steps without a scan in between.
func (c *timedCase) run(t *testing.T, every int, cut time.Duration) {
	b := newBench(c.settings)
	resume := 0
	for second := 0; second <= c.last; second++ {
		at := time.Duration(second) * time.Second
		verbs := c.verbs[second]
		for _, v := range verbs {
			b.verb(t, v)
			if n, ok := strings.CutPrefix(v, "gap="); ok {
				resume, _ = strconv.Atoi(n)
			}
		}
		inGap := second < resume && !containsGap(verbs)
		if !inGap && (len(verbs) > 0 || second == resume || (every > 0 && second%every == 0)) {
			if cut > 0 {
				for b.now+cut < at {
					b.tick(b.now + cut)
				}
			}
			b.scan(at)
		}
		if want, ok := c.expect[second]; ok {
			if b.now < at {
				b.tick(at)
			}
			require.Equal(t, want, b.describe(want), "%s at t=%d", c.name, second)
		}
	}
}

func containsGap(verbs []string) bool {
	for _, v := range verbs {
		if strings.HasPrefix(v, "gap=") {
			return true
		}
	}
	return false
}

func TestTimedCases(t *testing.T) {
	cases := readCases(t)
	require.Len(t, cases, 36)
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			require.NotEmpty(t, c.expect)
			for _, every := range []int{1, 7, 60, 0} {
				t.Run(fmt.Sprintf("scan every %d s", every), func(t *testing.T) { c.run(t, every, 0) })
			}
			t.Run("gaps cut", func(t *testing.T) { c.run(t, 7, 300*time.Millisecond) })
		})
	}
}
