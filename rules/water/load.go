package water

import (
	"cmp"
	"math"
	"time"
)

// Carbon dioxide and silica in mg/L as CaCO3 as a strong base anion resin takes them, with one charge. Printed tables
// give 2.27 for carbon dioxide, as if it had two. [mem], a convention of the trade.
const (
	co2AsCaCO3    = 1.137
	silicaAsCaCO3 = 0.833
)

// Loads is what a feed puts on the resins. Each resin ends by its own.
type Loads struct {
	Cation Load // all cations but H+
	Anion  Load // all anions but OH-, and carbon dioxide and silica
}

// Greater is the one that ends a mixed bed.
func (l Loads) Greater() Load { return max(l.Cation, l.Anion) }

// Loads gives the load from an analysis whose charges balance to the tolerance (0 to 1, usually Balanced). Errors as Check.
// Source: 50.0435 z/M for ions; [mem] for carbon dioxide and silica.
func (a *Analysis) Loads(tolerance float64) (Loads, error) {
	if err := a.Check(tolerance); err != nil {
		return Loads{}, err
	}
	l := Loads{Anion: Load(a.CO2*co2AsCaCO3 + a.Silica*silicaAsCaCO3)}
	for i, c := range a.Ions {
		switch load := Load(c * Ion(i).AsCaCO3()); {
		case Ion(i) == Hydrogen || Ion(i) == Hydroxide: // what the resins give
		case ions[i].charge > 0:
			l.Cation += load
		default:
			l.Anion += load
		}
	}
	return l, nil
}

// Divisors turn a conductivity at 25 C into a load: mg/L as CaCO3 = k/divisor. The lowest divisor gives the greatest load.
type Divisors struct{ Low, Likely, High float64 }

// Divisors of the trade [mem]; invented waters computed by [McC12] fall within them.
var (
	AnyFeed         = Divisors{2.0, 2.5, 2.5} // the rule of thumb is 2.5, the lenient end
	BicarbonateFeed = Divisors{2.0, 2.1, 2.2}
	ChlorideFeed    = Divisors{2.3, 2.4, 2.5}
)

// LoadBand is a load with its bounds.
type LoadBand struct{ Low, Likely, High Load }

// LoadOf estimates the load from a conductivity at 25 C. It knows nothing of carbon dioxide and silica, so an analysis is
// better. Range: 0 to 2e6 uS/cm, divisors 1 to 10 in order; a *RangeError outside. Source: the divisors' [mem].
func LoadOf(k25 Conductivity, d Divisors) (LoadBand, error) {
	err := cmp.Or(k25.check(), within("lowest divisor", d.Low, 1, 10, ""), within("likely divisor", d.Likely, d.Low, 10, ""),
		within("highest divisor", d.High, d.Likely, 10, ""))
	if err != nil {
		return LoadBand{}, err
	}
	k := float64(k25)
	return LoadBand{Low: Load(k / d.High), Likely: Load(k / d.Likely), High: Load(k / d.Low)}, nil
}

// Fed is the amount that a volume brings at a load. Range: volume 0 to 1e9 m3, load above 0 to 1e6 mg/L; a *RangeError
// outside. Source: the definition.
func Fed(v Volume, l Load) (Amount, error) {
	if err := cmp.Or(v.check(), l.positive()); err != nil {
		return 0, err
	}
	return Amount(float64(v) * float64(l) / 1000), nil
}

// RunLength is the volume that an amount of working capacity treats at a load. Range: amount 0 to 1e9 kg, load above 0 to
// 1e6 mg/L; a *RangeError outside. Source: gallons = kgr/ft3 x ft3 x 1000 / grains per gallon, common practice.
func RunLength(work Amount, l Load) (Volume, error) {
	if err := cmp.Or(work.check(), l.positive()); err != nil {
		return 0, err
	}
	v := Volume(float64(work) * 1000 / float64(l))
	if err := v.check(); err != nil {
		return 0, err
	}
	return v, nil
}

// TimeFor is how long a volume takes at a flow. Range: volume 0 to 1e9 m3, flow above 0 to 1e6 m3/h, and up to 100 years;
// a *RangeError outside: whoever asks at next to no flow gets no date. Source: the definition.
func TimeFor(v Volume, q Flow) (time.Duration, error) {
	if err := cmp.Or(v.check(), q.positive()); err != nil {
		return 0, err
	}
	hours := float64(v) / float64(q)
	if err := within("time", hours, 0, 100*365.25*24, "h"); err != nil {
		return 0, err
	}
	return time.Duration(math.Round(hours * float64(time.Hour))), nil
}
