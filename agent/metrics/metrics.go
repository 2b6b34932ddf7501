// Package metrics shows the newest snapshot of the agent to Prometheus, for those who run the machines.
//
// It guarantees that the numbers of one scrape about the water come from one and the same step, that a signal without
// a usable reading is absent rather than old, that units are base units and named, and that a scrape never makes the
// loop wait. The endpoint is a metric too, so that no alert rule needs to hold a copy of it.
//
// It never stamps a sample with a time of its own, never counts what it does not know, and it is not the record: a
// scrape that was missed is gone, the journal is what counts.
package metrics

import (
	"net/http"
	"runtime"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"ionward/agent"
)

// Settings say where the numbers come from. Latest is required; a nil function leaves its metrics out. The functions
// are called once a scrape, from any goroutine, and must not block.
type Settings struct {
	Latest  *agent.Latest
	Version string // of the program; empty = "unknown"

	Scans        func() (n uint64, newest time.Time) // scans so far and the UTC of the newest (zero = none)
	Healths      agent.Healths                       // of the instruments; names must differ
	Backlogs     func() map[string]uint64            // by feed: scans recorded but not yet delivered
	JournalBytes func() int64                        // size of the journal on disk, bytes
}

// Collector makes metrics of the newest snapshot; it implements prometheus.Collector.
type Collector struct {
	settings Settings
	descs    []*prometheus.Desc // one for each of families
	latency  *prometheus.Desc   // the one histogram
}

// New makes a collector.
func New(s Settings) *Collector {
	if s.Version == "" {
		s.Version = "unknown"
	}
	c := &Collector{settings: s}
	for _, f := range families {
		c.descs = append(c.descs, prometheus.NewDesc(prefix+f.name, f.help, f.labels, nil))
	}
	c.latency = prometheus.NewDesc(prefix+"poll_round_trip_seconds", "How long good polls of an instrument took.", []string{"instrument"}, nil)
	return c
}

const prefix = "ionward_"

// Describe sends every metric that there can be.
func (c *Collector) Describe(out chan<- *prometheus.Desc) {
	for _, d := range c.descs {
		out <- d
	}
	out <- c.latency
}

// Collect sends what is known now.
func (c *Collector) Collect(out chan<- prometheus.Metric) {
	v := c.view()
	for i, f := range families {
		if f.needs(v) {
			f.show(v, func(value float64, labels ...string) {
				for k := range labels {
					labels[k] = valid(labels[k])
				}
				out <- prometheus.MustNewConstMetric(c.descs[i], f.kind, value, labels...)
			})
		}
	}
	for i := range v.healths {
		h := &v.healths[i]
		out <- prometheus.MustNewConstHistogram(c.latency, h.Latency.Count, h.Latency.Sum.Seconds(), classes(&h.Latency), valid(h.Instrument))
	}
}

// valid makes a label of a name from outside, which must not spoil the whole scrape.
func valid(name string) string { return strings.ToValidUTF8(name, "?") }

// classes are a histogram as Prometheus counts: at or below each bound.
func classes(l *agent.Latency) map[float64]uint64 {
	all, below := make(map[float64]uint64, len(agent.LatencyBounds)), uint64(0)
	for i, bound := range agent.LatencyBounds {
		below += l.Counts[i]
		all[bound.Seconds()] = below
	}
	return all
}

// view is all that one scrape looks at, taken once.
type view struct {
	*agent.Snapshot // nil before the first step
	version, golang string
	scans           uint64
	scanned         time.Time
	healths         []agent.Health
	backlogs        map[string]uint64
	journal         int64
	has             struct{ scans, journal bool }
}

func (c *Collector) view() *view {
	s := &c.settings
	v := &view{version: s.Version, golang: runtime.Version()}
	v.Snapshot, _ = s.Latest.Get()
	if s.Scans != nil {
		v.scans, v.scanned = s.Scans()
		v.has.scans = true
	}
	if s.Healths != nil {
		v.healths = s.Healths()
	}
	if s.Backlogs != nil {
		v.backlogs = s.Backlogs()
	}
	if s.JournalBytes != nil {
		v.journal = s.JournalBytes()
		v.has.journal = true
	}
	return v
}

// Handler serves the exposition of a registry of its own: the collector, the Go runtime and the process. A fault in
// it answers 500, never half an exposition.
func Handler(s Settings) http.Handler {
	registry := prometheus.NewPedanticRegistry()
	registry.MustRegister(New(s), collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return promhttp.HandlerFor(registry, promhttp.HandlerOpts{ErrorHandling: promhttp.HTTPErrorOnError})
}
