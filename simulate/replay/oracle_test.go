package replay

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent/trace"
	"ionward/configs"
	"ionward/rules"
)

// told is what the independent statement says of a trace.
type told struct {
	lines  []string
	in     map[string]int // ticks
	m3     map[string]float64
	counts [3]int // trips, bypasses, power losses
}

// tell walks the trace tick by tick and looks back at what was; it has no timers and no deadlines.
func (d *drawn) tell() told {
	w := walker{
		d: d, power: true, pressed: never, offFrom: -1, fell: never, button: "?", flowAt: never,
		told: told{in: map[string]int{}, m3: map[string]float64{}},
	}
	next := 0
	for now := d.rows[0].at; ; now++ {
		if d.rows[next].at > now {
			w.decide(now, false, false)
		}
		for ; next < len(d.rows) && d.rows[next].at == now; next++ {
			w.decide(now, true, w.read(d.rows[next], now))
		}
		if next == len(d.rows) {
			return w.told
		}
		w.in[w.mode]++
		if now-w.flowAt < 60*tick {
			w.m3[w.bucket()] += w.flow / 3600 / tick
		}
	}
}

const never = math.MinInt32

type walker struct {
	told
	d              *drawn
	power, was     bool
	button         string
	bad, none      bool
	uncertain      bool
	counts3        int
	class          int // -1 on, 1 off, 0 not classified
	offFrom, fell  int // off spec since; class left off spec at
	pressed        int
	latched, rinse bool
	mode           string
	flow           float64
	flowAt         int
}

func (w *walker) read(r drawnRow, now int) (edge bool) {
	if r.power != "" {
		w.power = r.power == "1"
	}
	if r.button == "0" || r.button == "1" {
		edge = w.button == "0" && r.button == "1"
		w.button = r.button
	}
	if r.rinse != "" {
		w.rinse = r.rinse == "1"
	}
	if r.flow != "" {
		_, _ = fmt.Sscan(r.flow, &w.flow)
		w.flowAt = now
	}
	v := math.NaN()
	if r.product != "" && r.product != "NaN" {
		_, _ = fmt.Sscan(r.product, &v)
	}
	w.none = r.product == "" && r.quality != "bad"
	w.bad = !w.none && (r.quality == "bad" || math.IsNaN(v) || v < 0 || v > 3000)
	w.uncertain = r.quality == "uncertain"
	if !w.bad && !w.none {
		// Half away from zero, in decimal: five digits behind the point are all there are.
		w.counts3 = (int(math.Round(v*100000)) + 50) / 100
	}
	return edge
}

func (w *walker) classify(now int) {
	first := !w.was
	was := w.class
	switch {
	case w.bad, w.none && first, !w.none && w.counts3 >= w.d.end:
		w.class = 1
	case !w.none && !w.uncertain && w.counts3 < w.d.end-w.d.band:
		w.class = -1
	case first:
		w.class = 1
	}
	if was > 0 && w.class < 0 {
		w.fell = now
	}
}

func (w *walker) decide(now int, scan, edge bool) {
	if !w.power {
		w.class, w.offFrom, w.fell, w.pressed = 0, -1, never, never
		w.latched = w.latched && w.d.keep
		if w.was {
			w.counts[2]++
		}
		if edge {
			w.lines = append(w.lines, fmt.Sprintf("%d press false", now))
		}
		w.enter(now, "no_power")
		w.was = false
		return
	}
	if scan {
		w.classify(now)
	}
	w.was = true
	off := w.class > 0 || now-w.fell < w.d.hold
	if !off {
		w.offFrom = -1
	} else if w.offFrom < 0 {
		w.offFrom = now
	}
	runs := now-w.pressed < w.d.bypass
	if edge {
		ok := !runs && (off || w.latched)
		if ok {
			w.pressed, w.latched, runs = now, false, true
			w.counts[1]++
		}
		w.lines = append(w.lines, fmt.Sprintf("%d press %v", now, ok))
	}
	if off && now-w.offFrom >= w.d.delay && !runs && !w.latched {
		w.latched = true
		w.counts[0]++
	}
	switch {
	case w.latched:
		w.enter(now, "shut")
	case runs:
		w.enter(now, "bypass")
	case off:
		w.enter(now, "delay")
	default:
		w.enter(now, "service")
	}
}

func (w *walker) enter(now int, mode string) {
	if w.mode != mode {
		w.mode = mode
		w.lines = append(w.lines, fmt.Sprintf("%d %s", now, mode))
	}
}

func (w *walker) bucket() string {
	switch {
	case w.mode == "shut" || w.mode == "no_power":
		return "inlet_shut"
	case w.rinse:
		return "rinse"
	case w.bad || w.none || w.uncertain:
		return "unknown"
	case w.offFrom < 0:
		return "on_spec"
	case w.mode == "bypass":
		return "off_spec_bypass"
	}
	return "off_spec_delay"
}

// printed is one line of the jsonl output.
type printed struct {
	T               float64
	Kind, State     string
	Accepted        bool
	Trips, Bypasses int
	PowerLosses     int                `json:"power_losses"`
	In              map[string]float64 `json:"seconds_in"`
	M3              map[string]float64 `json:"m3"`
}

func TestReplayAgreesWithAnIndependentStatement(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		file, err := configs.Default(d.sets)
		require.NoError(t, err)
		r, err := trace.Read("drawn", strings.NewReader(d.text()), trace.Settings{})
		require.NoError(t, err)
		var out bytes.Buffer
		why := func(rules.Reason) string { return "" }
		require.NoError(t, Run(context.Background(), r, Settings{Rule: file.Rule, Format: JSONL, Why: why}, &out))

		want := d.tell()
		var got []string
		var sum printed
		for _, text := range strings.Split(strings.TrimSpace(out.String()), "\n") {
			var l printed
			require.NoError(t, json.Unmarshal([]byte(text), &l), text)
			at := d.rows[0].at + int(math.Round(l.T*tick))
			switch l.Kind {
			case "state":
				got = append(got, fmt.Sprintf("%d %s", at, l.State))
			case "press":
				got = append(got, fmt.Sprintf("%d press %v", at, l.Accepted))
			case "summary":
				sum = l
			}
		}
		require.Equal(t, want.lines, got)
		require.Equal(t, want.counts, [3]int{sum.Trips, sum.Bypasses, sum.PowerLosses})
		for mode, spent := range sum.In {
			require.InDelta(t, float64(want.in[mode])/tick, spent, 1e-9, mode)
		}
		for bucket, m3 := range sum.M3 {
			require.InDelta(t, want.m3[bucket], m3, 1e-6, bucket)
		}
	})
}
