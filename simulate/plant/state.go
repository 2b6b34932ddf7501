package plant

import (
	"math"
	"time"

	"ionward/rules"
)

// state is the whole plant as plain values: a copy of it is a plant of its own.
type state struct {
	now      time.Duration // simulated time since the start; of the last event settled
	banks    [2]bank
	selected [2]bool
	inlet    valve
	relief   valve
	outlet   valve
	rinse    valve
	powered  bool
	warm     time.Duration // instant from which analyzer and flow meter answer
	button   bool
	release  time.Duration // instant at which the button is let go
	pressure float64       // of the feed, relative to nominal; 0 = pump off or no supply
	feed     Feed

	product  float64 // uS/cm in the product header
	warmth   float64 // C in the product header
	wet      float64 // how far the product cell is filled, 0 to 1
	volumes  Volumes
	readings Readings
	scans    uint64
	rule     rules.State
	ruled    time.Duration // instant of the panel's last step
	outputs  rules.Outputs
}

// Volumes is where the water went since the start, m3.
type Volumes struct {
	In        float64 // by the inlet
	Delivered float64 // by the product outlet
	Rinsed    float64 // by the rinse valve, to drain
	Relieved  float64 // by the relief; never entered
	Counted   float64 // what the flow meter's totalizer shows
}

// feedNow is the conductivity of the raw water at an instant, uS/cm.
func (s *state) feedNow(at time.Duration) float64 {
	f := &s.feed
	if f.Wander == 0 {
		return f.Conductivity
	}
	return f.Conductivity * (1 + f.Wander*math.Sin(2*math.Pi*ratio(at%f.Period, f.Period)))
}

// load is what a feed of a conductivity brings, kg/m3 as CaCO3.
func (f *Feed) load(conductivity float64) float64 { return conductivity / f.LoadDivisor / 1000 }

func (s *state) openings() openings {
	return openings{s.inlet.opening(), s.relief.opening(), s.outlet.opening(), s.rinse.opening()}
}

// next is the instant of the next thing that happens by itself: a scan, an arrival, the button let go, instruments warm,
// a deadline of the panel.
func (s *state) next(set *Settings) time.Duration {
	at := s.now - s.now%set.Scan + set.Scan
	for _, v := range [...]*valve{&s.inlet, &s.relief, &s.outlet, &s.rinse} {
		if left, ok := v.arrives(); ok {
			at = min(at, s.now+left)
		}
	}
	if s.button {
		at = min(at, s.release)
	}
	if s.powered && s.warm > s.now {
		at = min(at, s.warm)
	}
	// The panel has settled what is due now; only what is still to come counts.
	if left, ok := s.rule.NextDeadline(&set.Rule); ok && left > 0 {
		at = min(at, s.ruled+left)
	}
	return at
}

// advance lets the water run for dt, in which no event lies.
func (s *state) advance(set *Settings, dt time.Duration) {
	if dt <= 0 {
		return
	}
	f := s.flows(set, openings{s.inlet.advance(dt), s.relief.advance(dt), s.outlet.advance(dt), s.rinse.advance(dt)})
	hours := dt.Hours()
	feed := s.feedNow(s.now + dt/2)
	load := s.feed.load(feed)
	mixed := 0.0
	for i := range s.banks {
		b := &s.banks[i]
		if v := f.banks[i] * hours; v > 0 {
			mixed += f.banks[i] * b.pass(&set.Banks[i], feed, load, v)
		} else {
			b.stand(&set.Banks[i], dt)
		}
	}
	q := f.through()
	s.volumes.In += q * hours
	s.volumes.Delivered += f.outlet * hours
	s.volumes.Rinsed += f.rinse * hours
	s.volumes.Relieved += f.relief * hours
	if s.powered {
		s.volumes.Counted += set.meter(q) * hours
	}
	if q > 0 {
		s.sweep(set, mixed/q, q*hours)
	} else {
		s.still(set, dt)
	}
	s.now += dt
}

// sweep lets v m3 of a mixed conductivity through header and cell.
func (s *state) sweep(set *Settings, mixed, v float64) {
	s.product += (mixed - s.product) * fraction(v, set.Header)
	s.wet += (1 - s.wet) * fraction(v, set.Cell)
	// The beds hold far more heat than the pipe: their voids set the pace.
	s.warmth += (s.feed.Temperature - s.warmth) * fraction(v, set.Banks[0].wash()+set.Banks[1].wash())
}

// still is dt without flow: the cell drains where the relief lets the line run empty, and the water takes the
// temperature of the place within hours.
func (s *state) still(set *Settings, dt time.Duration) {
	if s.relief.place > 0 {
		s.wet *= math.Exp(-ratio(dt, set.Drain))
	}
	s.warmth -= (set.Ambient - s.warmth) * math.Expm1(-ratio(dt, 2*time.Hour))
}

// fraction of a volume's content that v m3 replace, well mixed; all of it where there is no volume.
func fraction(v, volume float64) float64 {
	if volume <= 0 {
		return 1
	}
	return -math.Expm1(-v / volume)
}

// mixed is what leaves the banks at this instant, weighted by flow; ok is false where nothing flows. uS/cm.
func (s *state) mixed(set *Settings, f *flows) (k float64, ok bool) {
	feed, q := s.feedNow(s.now), f.through()
	if q == 0 {
		return 0, false
	}
	for i := range s.banks {
		k += f.banks[i] / q * s.banks[i].product(&set.Banks[i], feed)
	}
	return k, true
}
