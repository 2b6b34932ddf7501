package water

import "math"

// Points are thinned readings of the product over throughput: plain values, for a state that is copied. They slide: when
// all places are taken the oldest goes. The zero value is empty and takes each reading that is later than the last.
type Points struct {
	Count   int                     `json:"count"`
	Through [MaxPoints]Volume       `json:"through"` // m3 of throughput, rising
	Product [MaxPoints]Conductivity `json:"product"` // uS/cm at 25 C
	Apart   Volume                  `json:"apart"`   // m3 that lie between two points at least; a four hundredth of a run spans the toe
}

// Add takes a reading if it lies far enough after the last point, and reports whether it did. A reading out of range
// (throughput 0 to 1e9 m3, conductivity 0 to 2e6 uS/cm) or not after the last one is not taken. Source: [own].
func (p *Points) Add(through Volume, product Conductivity) bool {
	if through.check() != nil || product.check() != nil || p.Count < 0 || p.Count > MaxPoints {
		return false
	}
	if p.Count > 0 {
		if d := through - p.Through[p.Count-1]; d <= 0 || d < p.Apart {
			return false
		}
	}
	if p.Count == MaxPoints {
		copy(p.Through[:], p.Through[1:])
		copy(p.Product[:], p.Product[1:])
		p.Count--
	}
	p.Through[p.Count], p.Product[p.Count] = through, product
	p.Count++
	return true
}

// check fails for points that Add did not make.
func (p *Points) check() error {
	if err := within("number of points", p.Count, 0, MaxPoints, ""); err != nil {
		return err
	}
	least := Volume(0)
	for i := range p.Count {
		if err := within("throughput of a point", p.Through[i], least, 1e9, "m3"); err != nil {
			return err
		}
		if err := p.Product[i].check(); err != nil {
			return err
		}
		least = Volume(math.Nextafter(float64(p.Through[i]), math.MaxFloat64))
	}
	return nil
}

// Level is the conductivity of a bed in service, from points that do not rise: their median, and how far that may be off
// at 90 %. level is false where the points rise or fall or are fewer than LeastPoints: then they do not show the base.
// The lowest level of a run is the base that Trend asks for; too high a base makes the forecast early, too low a one makes
// it late. Range: points as Add makes them; a *RangeError otherwise. It allocates nothing. Source: TheilSen; the
// standard error of a median, 1.2533 sigma/sqrt(n).
func (p *Points) Level() (base, off Conductivity, level bool, err error) {
	if err := p.check(); err != nil || p.Count < LeastPoints {
		return 0, 0, false, err
	}
	var x, y [MaxPoints]float64
	for i := range p.Count {
		x[i], y[i] = float64(p.Through[i]), float64(p.Product[i])
	}
	l, err := TheilSen(x[:p.Count], y[:p.Count], Z90)
	if err != nil || l.Low > 0 || l.High < 0 {
		return 0, 0, false, err
	}
	return Conductivity(l.MidY), Conductivity(Z90 * l.middle(p.Count)), true, nil
}

// middle is the standard error of the line's height at its middle.
func (l Line) middle(n int) float64 { return 1.2533 * l.Noise / math.Sqrt(float64(n)) }
