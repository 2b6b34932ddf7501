package rules

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/signal"
)

// history is what an excursion looks like second by second: one scan or none.
type history struct {
	set   Settings
	scans []second
}

type second struct {
	scan    bool
	product signal.Reading
	power   signal.Reading
	button  signal.Reading
}

// drawHistory makes runs of equal readings of random length, with missing scans, empty cells, dips and held buttons.
func drawHistory(t *rapid.T) history {
	h := history{set: Defaults()}
	seconds := func(low, high int, name string) time.Duration {
		return time.Duration(rapid.IntRange(low, high).Draw(t, name)) * time.Second
	}
	h.set.Delay = seconds(1, 30, "delay")
	h.set.Bypass = seconds(1, 30, "bypass")
	h.set.ClearDelay = seconds(0, 6, "clear delay")
	h.set.ClearBand = float64(rapid.SampledFrom([]int{0, 0, 1, 50}).Draw(t, "band")) / 1000
	h.set.KeepTrip = rapid.Bool().Draw(t, "keep")
	n := rapid.IntRange(1, 200).Draw(t, "seconds")
	h.scans = make([]second, n)
	fill := func(name string, longest int, draw func() signal.Reading, put func(*second, signal.Reading)) {
		for i := 0; i < n; {
			run, r := rapid.IntRange(1, longest).Draw(t, name+" run"), draw()
			for ; run > 0 && i < n; run, i = run-1, i+1 {
				put(&h.scans[i], r)
			}
		}
	}
	fill("product", 50, func() signal.Reading {
		v := rapid.SampledFrom([]float64{0.4, 0.949, 0.950, 0.951, 0.998, 0.999, 1.0, 1.001, 1.5}).Draw(t, "v")
		q := rapid.SampledFrom([]signal.Quality{signal.Good, signal.Good, signal.Good, signal.Uncertain, signal.Bad, signal.None}).Draw(t, "q")
		return signal.ProductConductivity.Default(v, q)
	}, func(s *second, r signal.Reading) { s.product = r })
	contact := func(name string, usual float64) func() signal.Reading {
		return func() signal.Reading {
			q := rapid.SampledFrom([]signal.Quality{signal.Good, signal.Good, signal.Good, signal.Good, signal.None, signal.Bad}).Draw(t, name+" q")
			v := usual
			if rapid.IntRange(0, 2).Draw(t, name) == 0 {
				v = 1 - usual
			}
			return signal.ControlPower.Default(v, q)
		}
	}
	fill("power", 80, contact("power", 1), func(s *second, r signal.Reading) { s.power = r })
	fill("button", 20, contact("button", 0), func(s *second, r signal.Reading) { s.button = r })
	fill("scan", 12, func() signal.Reading {
		return signal.Reading{Value: float64(rapid.IntRange(0, 3).Draw(t, "scanned"))}
	}, func(s *second, r signal.Reading) { s.scan = r.Value > 0 })
	h.scans[0].scan = true
	return h
}

// oracle states the rule from the history alone, second by second, by looking back: no timers, no deadlines.
func (h history) oracle() (lines []string) {
	var (
		delay, bypass, hold = int(h.set.Delay / time.Second), int(h.set.Bypass / time.Second), int(h.set.ClearDelay / time.Second)
		band                = signal.Counts(h.set.ClearBand, 0.001)
		power, wasPower     = true, false
		button              = -1
		class               = 0 // -1 on, +1 off
		lastOff             = -1
		offFrom             = -1 // since when off without a break
		pressed             = -1 << 30
		latched             bool
		mode                = ""
	)
	for n, s := range h.scans {
		edge := false
		if s.scan {
			if s.power.Usable() {
				power = s.power.Value != 0
			}
			if s.button.Usable() {
				edge = button == 0 && s.button.Value != 0
				button = int(s.button.Value)
			}
		}
		if !power {
			class, lastOff, offFrom, pressed = 0, -1, -1, -1<<30
			latched = latched && h.set.KeepTrip
		} else {
			if s.scan {
				counts := signal.Counts(s.product.Value, 0.001)
				first := !wasPower
				switch q := s.product.Quality; {
				case q == signal.Bad, q == signal.None && first, q != signal.None && counts >= 1000:
					class = 1
				case q == signal.Good && counts < 1000-band:
					class = -1
				case first:
					class = 1
				}
			}
			// Off spec holds for the clear delay after the last instant that was off spec.
			if class > 0 {
				lastOff = n
			}
			off := class > 0
			if class < 0 && lastOff >= 0 {
				off = n-(lastOff+1) < hold && offFrom >= 0
			}
			if !off {
				offFrom = -1
			} else if offFrom < 0 {
				offFrom = n
			}
			if edge {
				accepted := (off || latched) && n-pressed >= bypass
				if accepted {
					pressed, latched = n, false
				}
				lines = append(lines, fmt.Sprintf("%d press %v", n, accepted))
			}
			if off && n-offFrom >= delay && n-pressed >= bypass {
				latched = true
			}
			to := "service"
			switch {
			case latched:
				to = "shut"
			case n-pressed < bypass:
				to = "bypass"
			case off:
				to = "delay"
			}
			if to != mode {
				lines, mode = append(lines, fmt.Sprintf("%d %s", n, to)), to
			}
			wasPower = true
			continue
		}
		if edge {
			lines = append(lines, fmt.Sprintf("%d press false", n))
		}
		if mode != "no_power" {
			lines, mode = append(lines, fmt.Sprintf("%d no_power", n)), "no_power"
		}
		wasPower = false
	}
	return lines
}

// rule runs the same history through Step: scans only where they are, deadlines by themselves.
func (h history) rule() (lines []string, end State) {
	var out Effects
	var s State
	last := 0
	step := func(n int, in Input) {
		in.Gap = time.Duration(n-last) * time.Second
		last = n
		Step(&h.set, &s, &in, &out)
		for _, e := range out.Events {
			switch e.Kind {
			case Press:
				lines = append(lines, fmt.Sprintf("%d press %v", int(e.At.Seconds()), e.Accepted))
			case ModeChange:
				lines = append(lines, fmt.Sprintf("%d %s", int(e.At.Seconds()), e.To))
			}
		}
	}
	for n, sec := range h.scans {
		if sec.scan {
			in := Input{Scan: true}
			in.Readings[signal.ProductConductivity] = sec.product
			in.Readings[signal.ControlPower] = sec.power
			in.Readings[signal.BypassButton] = sec.button
			step(n, in)
		}
	}
	step(len(h.scans)-1, Input{})
	return lines, s
}

func TestRuleAgreesWithItsHistory(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := drawHistory(t)
		got, _ := h.rule()
		require.Equal(t, h.oracle(), got)
	})
}
