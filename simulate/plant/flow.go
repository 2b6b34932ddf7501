package plant

import "math"

// openings of the four valves, 0 to 1.
type openings struct{ inlet, relief, outlet, rinse float64 }

// flows are where the water goes, m3/h.
type flows struct {
	banks  [2]float64
	outlet float64
	rinse  float64
	relief float64
}

// through is what enters by the inlet, m3/h; the same leaves by outlet and rinse.
func (f *flows) through() float64 { return f.banks[0] + f.banks[1] }

// flows shares the feed out over the paths that are open. Banks in parallel share by how easily each lets water pass,
// and so do outlet and rinse.
func (s *state) flows(set *Settings, o openings) flows {
	var f flows
	drive := math.Sqrt(s.pressure)
	f.relief = drive * o.relief * set.Relief
	var easy [2]float64
	for i := range easy {
		if s.selected[i] {
			easy[i] = set.Banks[i].Flow
		}
	}
	banks, outlet, rinse := easy[0]+easy[1], o.outlet*set.Outlet, o.rinse*set.Rinse
	q := drive * series(o.inlet*set.Inlet, banks, outlet+rinse)
	if q == 0 {
		return f
	}
	for i := range easy {
		f.banks[i] = q * easy[i] / banks
	}
	f.outlet, f.rinse = q*outlet/(outlet+rinse), q*rinse/(outlet+rinse)
	return f
}

// series is what passes three paths one after another at the nominal pressure: losses go with the square of the flow.
func series(a, b, c float64) float64 {
	if a <= 0 || b <= 0 || c <= 0 {
		return 0
	}
	return 1 / math.Sqrt(1/(a*a)+1/(b*b)+1/(c*c))
}

// meter is what a paddle wheel reads of a flow: true above its least speed, low below it, nothing near standstill.
func (set *Settings) meter(q float64) float64 {
	switch {
	case q >= set.MeterTrue:
		return q
	case q <= set.MeterZero:
		return 0
	default:
		return q * (q - set.MeterZero) / (set.MeterTrue - set.MeterZero)
	}
}
