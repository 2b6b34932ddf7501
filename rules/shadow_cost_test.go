package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules/signal"
)

// calm is a unit in service with every contact wired, two minutes after watching began.
func calm(wired bool) (*bench, Input) {
	b := newBench(Defaults())
	in := Input{Scan: true, Gap: time.Second}
	in.Readings[signal.ProductConductivity] = signal.Reading{Value: 0.4, Quality: signal.Good}
	in.Readings[signal.ControlPower] = signal.Reading{Value: 1, Quality: signal.Good}
	in.Readings[signal.BypassButton] = signal.Reading{Quality: signal.Good}
	if wired {
		in.Readings[signal.InletOpen] = signal.Reading{Value: 1, Quality: signal.Good}
		in.Readings[signal.InletShut] = signal.Reading{Quality: signal.Good}
		in.Readings[signal.ReliefOpen] = signal.Reading{Quality: signal.Good}
	}
	for range 1200 {
		Step(&b.set, &b.state, &in, &b.out)
	}
	return b, in
}

func TestGoodWaterCostsOneLook(t *testing.T) {
	for _, wired := range []bool{false, true} {
		b, in := calm(wired)
		require.True(t, b.state.Shadow.Calm)
		require.Zero(t, testing.AllocsPerRun(100, func() { b.state.shadow(&b.set, &in, false) }))
		in.Readings[signal.ProductConductivity].Value = 1.5
		require.Zero(t, testing.AllocsPerRun(1000, func() {
			in.Gap = time.Second
			Step(&b.set, &b.state, &in, &b.out)
		}))
	}
}

func BenchmarkShadow(b *testing.B) {
	for name, c := range map[string]struct {
		wired bool
		value float64
	}{"good": {false, 0.4}, "good, switches wired": {true, 0.4}, "off spec": {false, 1.5}, "off spec, switches wired": {true, 1.5}} {
		b.Run(name, func(b *testing.B) {
			unit, in := calm(c.wired)
			in.Readings[signal.ProductConductivity].Value = c.value
			for b.Loop() {
				unit.state.shadow(&unit.set, &in, false)
			}
		})
	}
}
