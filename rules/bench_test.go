package rules

import (
	"testing"
	"time"

	"ionward/rules/signal"
)

func BenchmarkStep(b *testing.B) {
	bench := newBench(Defaults())
	bench.value = 0.4
	bench.scan(0)
	in := bench.in
	in.Gap = time.Second
	in.Readings[signal.Flow] = signal.Reading{Value: 40, Quality: signal.Good}
	in.Present = 1<<signal.ProductConductivity | 1<<signal.Flow | 1<<signal.ControlPower | 1<<signal.BypassButton
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		i++
		in.Readings[signal.ProductConductivity].Value = 0.4 + float64(i&7)/1000
		Step(&bench.set, &bench.state, &in, &bench.out)
	}
}

// Every analog moves with every scan, as water does; each half hour brings an excursion, each hour a press.
func BenchmarkStepMoving(b *testing.B) {
	bench := newBench(Defaults())
	in := Input{Scan: true, Gap: time.Second}
	for _, id := range []signal.ID{signal.ProductConductivity, signal.FeedConductivity, signal.Flow, signal.ControlPower, signal.BypassButton} {
		in.Present |= 1 << id
		in.Readings[id] = signal.Reading{Quality: signal.Good}
	}
	in.Readings[signal.ControlPower].Value = 1
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		noise := float64((i*7919)%97) / 1000
		in.Readings[signal.FeedConductivity].Value = 300 + 10*noise
		in.Readings[signal.Flow].Value = 22 + noise
		in.Readings[signal.ProductConductivity].Value = 0.2 + noise
		if i%3600 > 1800 && i%3600 < 2600 {
			in.Readings[signal.ProductConductivity].Value = 1.5 + noise
		}
		in.Readings[signal.BypassButton].Value = float64(i % 3600 / 3599)
		Step(&bench.set, &bench.state, &in, &bench.out)
	}
}
