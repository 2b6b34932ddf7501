package metrics_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/agent/metrics"
	"ionward/rules/signal"
)

// Each step's product reading is ten times its feed reading: a scrape that mixes two steps would show another ratio.
func TestScrapesAreNeverTorn(t *testing.T) {
	s := newStand()
	put := func(n int) {
		set := wired(good(float64(n)))
		set[signal.FeedConductivity] = good(float64(10 * n))
		s.step(time.Second, set)
	}
	put(1)
	registry := prometheus.NewPedanticRegistry()
	require.NoError(t, registry.Register(metrics.New(s.with(full()))))
	done := make(chan struct{})
	var group sync.WaitGroup
	group.Go(func() {
		defer close(done)
		for n := range 2000 {
			put(n%300 + 1)
		}
	})
	for range 2 {
		group.Go(func() {
			for running := true; running; {
				select {
				case <-done:
					running = false
				default:
				}
				feed, product, err := ratio(registry)
				if !assert.NoError(t, err) || !assert.InEpsilon(t, 10, feed/product, 1e-9) {
					return
				}
			}
		})
	}
	group.Wait()
}

func ratio(registry prometheus.Gatherer) (feed, product float64, err error) {
	all, err := registry.Gather()
	if err != nil {
		return 0, 0, err
	}
	for _, f := range all {
		if f.GetName() == "ionward_conductivity_siemens_per_meter" {
			for _, m := range f.GetMetric() {
				if m.GetLabel()[0].GetValue() == "feed" {
					feed = m.GetGauge().GetValue()
				} else {
					product = m.GetGauge().GetValue()
				}
			}
			return feed, product, nil
		}
	}
	return 0, 0, fmt.Errorf("no conductivity among %d families", len(all))
}

func BenchmarkGather(b *testing.B) {
	registry := prometheus.NewPedanticRegistry()
	require.NoError(b, registry.Register(metrics.New(inBypass().with(full()))))
	for b.Loop() {
		if _, err := registry.Gather(); err != nil {
			b.Fatal(err)
		}
	}
}
