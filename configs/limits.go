package configs

import "ionward/rules/signal"

// checkLimits judges the plausible span of an analog signal.
func (r *reader) checkLimits(entry value, s *Signal) {
	inside := s.ID.Info().Unit
	for _, name := range []string{"low", "high"} {
		at, ok := r.written(entry.under(name))
		if ok && r.bare[at.path] && s.Unit.Symbol != inside.Symbol {
			r.warn(at, "%s without a unit is taken as %s, while the signal is in %s; want the unit beside it", at.node.Value, inside.Symbol, s.Unit.Symbol)
		}
	}
	low, haveLow := r.written(entry.under("low"))
	high, _ := r.written(entry.under("high"))
	if s.Low >= s.High {
		at := low
		if !haveLow {
			at = high
		}
		r.fault(at, "the span from low %g to high %g %s is empty; want low below high", s.Low, s.High, inside.Symbol)
		return
	}
	if s.ID == signal.ProductConductivity && haveLow && s.Low <= 0 {
		r.warn(low, "takes a float with swapped words for pure water; want a little below 0.055 uS/cm, such as %g uS/cm", lowest)
	}
}

// checkOffByOne warns of register numbers as manuals count them: 40001 is holding register 0 in many.
func (r *reader) checkOffByOne(entry value, s *Signal) {
	base := map[string]uint16{"holding": 40001, "input": 30001, "discrete": 10001}[s.Kind]
	at, ok := r.written(entry.under("register"))
	if ok && base != 0 && s.Register >= base && s.Register < base+9999 {
		r.warn(at, "is taken as address %d; if the instrument's manual counts from %d, want %d", s.Register, base, s.Register-base)
	}
}

// checkEndpoint warns of an endpoint that no plausible reading can be under: the unit could never be on spec.
func (r *reader) checkEndpoint(in *Instrument, path string, endpoint float64) {
	for _, s := range in.Signals {
		if s.ID != signal.ProductConductivity || endpoint > s.Low {
			continue
		}
		at, ok := r.written("off_spec.endpoint")
		if !ok {
			at, _ = r.written(path + ".signals." + s.ID.String() + ".low")
		}
		if at.node != nil && r.usable(at.path) {
			r.warn(at, "the endpoint %g uS/cm is not above the low limit %g uS/cm of %s: never on spec", endpoint, s.Low, s.ID)
		}
	}
}
