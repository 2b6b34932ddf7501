package plant

import (
	"ionward/rules"
	"ionward/rules/signal"
)

// Readings are what the panel's instruments show: taken at each scan, with measuring noise.
type Readings struct {
	FeedConductivity    float64 // uS/cm at 25 C
	ProductConductivity float64 // uS/cm at 25 C
	FeedTemperature     float64 // C
	ProductTemperature  float64 // C
	Flow                float64 // m3/h
}

// floor is the reading, uS/cm or C, at which the noise of an instrument stops shrinking with the reading.
const floor = 0.3

// measure takes the instruments' readings of this instant.
func (s *state) measure(set *Settings) {
	s.scans++
	channel := uint64(0)
	noisy := func(v, share float64) float64 {
		channel++
		return v + (v+floor)*share*set.Noise*noise(set.Seed, s.scans, channel)
	}
	f := s.flows(set, s.openings())
	s.readings.FeedConductivity = noisy(s.feedNow(s.now), 1)
	s.readings.ProductConductivity = noisy(s.wet*s.product+(1-s.wet)*set.Dry, 1)
	s.readings.FeedTemperature = noisy(s.feed.Temperature, 1)
	s.readings.ProductTemperature = noisy(s.warmth, 1)
	s.readings.Flow = 0
	// A paddle wheel that stands gives no pulses: nothing to be noisy. One that turns is rougher than an analyzer.
	if q := set.meter(f.through()); q > 0 {
		s.readings.Flow = max(0, noisy(q, 3))
	}
}

// noise is an even-tempered random number from -1 to 1 (triangular) that depends on its arguments alone: the state of
// a generator would have to be part of the plant's state. The mixing is the published splitmix64 finaliser.
func noise(seed, scan, channel uint64) float64 {
	z := seed + scan*0x9e3779b97f4a7c15 + channel*0xd1b54a32d192ed03
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	z ^= z >> 31
	const unit = 1.0 / (1 << 32)
	return float64(z>>32)*unit + float64(z&0xffffffff)*unit - 1
}

// answering reports whether analyzer and flow meter have anything to say: they are on control power.
func (s *state) answering() bool { return s.powered && s.now >= s.warm }

// signals is what a perfect acquisition would read of the panel's instruments and contacts now.
func (s *state) signals() signal.Set {
	var r signal.Set
	set := func(id signal.ID, v float64) { r[id] = id.Default(v, signal.Good) }
	contact := func(id signal.ID, on bool) {
		r[id] = signal.Reading{Quality: signal.Good}
		if on {
			r[id].Value = 1
		}
	}
	if s.answering() {
		set(signal.FeedConductivity, s.readings.FeedConductivity)
		set(signal.ProductConductivity, s.readings.ProductConductivity)
		set(signal.FeedTemperature, s.readings.FeedTemperature)
		set(signal.ProductTemperature, s.readings.ProductTemperature)
		set(signal.Flow, s.readings.Flow)
		set(signal.Total, s.volumes.Counted)
	}
	inlet := s.inlet.position()
	contact(signal.ControlPower, s.powered)
	contact(signal.BypassButton, s.button)
	contact(signal.BankA, s.selected[0])
	contact(signal.BankB, s.selected[1])
	contact(signal.InletOpen, inlet.Open)
	contact(signal.InletShut, inlet.Shut)
	contact(signal.ReliefOpen, s.relief.position().Open)
	contact(signal.RinseOpen, s.rinse.position().Open)
	contact(signal.ProductOutletOpen, s.outlet.position().Open)
	return r
}

// panel lets the wired panel see this instant and drives the valves as it says.
func (p *Plant) panel() {
	s := &p.s
	p.in.Gap, p.in.Scan, p.in.Readings = s.now-s.ruled, true, s.signals()
	rules.Step(&p.set.Rule, &s.rule, &p.in, &p.out)
	s.ruled, s.outputs = s.now, p.out.Outputs
	s.inlet.opens = s.outputs.Inlet == rules.Open
	switch s.outputs.Relief {
	case rules.NotDriven:
		s.relief.opens = p.set.ReliefSpring
	default:
		s.relief.opens = s.outputs.Relief == rules.Open
	}
}
