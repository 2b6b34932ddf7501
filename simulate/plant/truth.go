package plant

import (
	"time"

	"ionward/rules"
	"ionward/rules/signal"
)

// Truth is the plant at one instant, as nobody beside a real one could know it. It shares nothing with the plant.
type Truth struct {
	Now       time.Duration
	Rule      rules.State   // of the wired panel, as of its last step
	Outputs   rules.Outputs // of the wired panel
	Powered   bool          // control power
	Answering bool          // analyzer and flow meter answer: powered and warm
	Button    bool          // the bypass button is held
	Pressure  float64       // of the feed, relative to nominal

	Inlet, Relief, Outlet, Rinse Position

	Feed               float64 // uS/cm
	Product            float64 // uS/cm in the product header
	Mixed              float64 // uS/cm that leaves the banks now, weighted by flow; only where Flow > 0
	FeedTemperature    float64 // C
	ProductTemperature float64 // C
	Wet                float64 // how far the product cell is filled, 0 to 1
	Flow               float64 // m3/h by the inlet
	ReliefFlow         float64 // m3/h by the relief
	Volumes            Volumes
	Banks              [2]BankTruth

	Readings Readings   // what the instruments show
	Signals  signal.Set // what a perfect acquisition would read now
}

// BankTruth is one bank at one instant.
type BankTruth struct {
	Selected bool
	Flow     float64 // m3/h
	Through  float64 // m3 since the resin was fresh
	Fed      float64 // kg as CaCO3 that went in
	Passed   float64 // kg as CaCO3 that slipped through
	Retained float64 // kg as CaCO3 that the bed holds, from the closed curve
	Product  float64 // uS/cm of what leaves the bank
	V50      float64 // m3 of the present feed to the mid-point of the breakthrough
}

// Truth is the plant at its present instant.
func (p *Plant) Truth() Truth {
	s := p.s // a copy: looking must not change what is seen
	s.advance(&p.set, p.now-s.now)
	f := s.flows(&p.set, s.openings())
	t := Truth{
		Now: s.now, Rule: s.rule, Outputs: s.outputs, Powered: s.powered, Answering: s.answering(), Button: s.button, Pressure: s.pressure,
		Inlet: s.inlet.position(), Relief: s.relief.position(), Outlet: s.outlet.position(), Rinse: s.rinse.position(),
		Feed: s.feedNow(s.now), Product: s.product, FeedTemperature: s.feed.Temperature, ProductTemperature: s.warmth,
		Wet: s.wet, Flow: f.through(), ReliefFlow: f.relief, Volumes: s.volumes, Readings: s.readings, Signals: s.signals(),
	}
	t.Mixed, _ = s.mixed(&p.set, &f)
	load := s.feed.load(t.Feed)
	for i := range s.banks {
		b, set := &s.banks[i], &p.set.Banks[i]
		t.Banks[i] = BankTruth{
			Selected: s.selected[i], Flow: f.banks[i], Through: b.through, Fed: b.fed, Passed: b.passed,
			Retained: set.Retained(b.fed), Product: b.product(set, t.Feed), V50: set.V50(load),
		}
	}
	return t
}

// Mode is the mode of the wired panel.
func (t *Truth) Mode() rules.Mode { return t.Rule.Mode }

// OnSpec reports whether the panel counts the product as on spec.
func (t *Truth) OnSpec() bool { return t.Powered && !t.Rule.Off() }
