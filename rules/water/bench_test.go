package water_test

import (
	"slices"
	"testing"

	"ionward/rules/water"
)

// An hourly refit at one step a second may cost 20 ns a step: the ratio is printed, and judged by people.
func BenchmarkTrend(b *testing.B) {
	p := &water.Points{}
	curve := water.Curve{Mid: 400, Spread: 10}
	for i := range water.MaxPoints {
		v := water.Volume(300 + i)
		k := ok(curve.Product(waters, v))
		p.Add(v, k*water.Conductivity(1+0.05*float64(i*i%7-3)/3))
	}
	toe := water.Toe{Base: 0.08, Endpoint: 1, Now: 364}
	for name, off := range map[string]water.Conductivity{"base known": 0, "base doubted": 0.001} {
		toe.Off = off
		b.Run(name, func(b *testing.B) { refit(b, p, toe) })
	}
}

func refit(b *testing.B, p *water.Points, toe water.Toe) {
	if _, why, err := water.Trend(p, toe); why != water.Told || err != nil {
		b.Fatal(why, err)
	}
	b.ReportAllocs()
	for b.Loop() {
		_, _, _ = water.Trend(p, toe)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/3600, "ns/step-hourly")
}

// The plain way to the same line, for comparison: sort all slopes.
func BenchmarkTrendBySorting(b *testing.B) {
	var x, y [water.MaxPoints]float64
	for i := range x {
		x[i], y[i] = float64(i), float64(i)+5*float64(i*i%7)
	}
	slopes := make([]float64, 0, 2016)
	b.ReportAllocs()
	for b.Loop() {
		slopes = slopes[:0]
		for i := range x {
			for j := range i {
				slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
		slices.Sort(slopes)
	}
}

func BenchmarkCompensation(b *testing.B) {
	for m := range water.Mode(water.Modes) {
		b.Run(m.String(), func(b *testing.B) {
			c := water.Compensation{Mode: m, Slope: 0.02}
			b.ReportAllocs()
			for b.Loop() {
				_, _ = c.To25(1, 18)
			}
		})
	}
}

func BenchmarkPure(b *testing.B) {
	for b.Loop() {
		_, _ = water.Pure(18)
	}
}
