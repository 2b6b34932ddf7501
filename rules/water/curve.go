package water

import (
	"cmp"
	"math"
)

func exp[T ~float64](x T) float64 { return math.Exp(float64(x)) }
func ln[T ~float64](x T) float64  { return math.Log(float64(x)) }

// softplus is ln(1+exp(x)) without overflow.
func softplus(x float64) float64 { return max(x, 0) + math.Log1p(math.Exp(-math.Abs(x))) }

// Curve is how ions break through a bed at a constant load: the share of the feed that slips through after V is
// X = 1/(1+exp(-(V-Mid)/Spread)), the logistic curve that Thomas (J. Am. Chem. Soc. 66 (1944) 1664) and Bohart and Adams
// come to. Its toe is exponential in the volume: what the forecast rests on.
type Curve struct {
	Mid    Volume // at which half slips through: working capacity over load; above 0
	Spread Volume // usually 0.02 to 0.05 of Mid [mem]; above 0
}

func (c Curve) check() error { return cmp.Or(c.Mid.positive(), c.Spread.positive()) }

// CurveOf makes the curve of a bed from its capacity and load; spread is Spread/Mid. Range: amount above 0 to 1e9 kg, load above
// 0 to 1e6 mg/L, spread above 0 to 1; a *RangeError outside. Source: the definition of Mid.
func CurveOf(work Amount, l Load, spread float64) (Curve, error) {
	mid, err := RunLength(work, l)
	if err = cmp.Or(err, within("spread", spread, tiny, 1, "")); err != nil {
		return Curve{}, err
	}
	c := Curve{mid, mid * Volume(spread)}
	if err := c.check(); err != nil {
		return Curve{}, err
	}
	return c, nil
}

// Slip is the share X of the ions that slips through after a volume. Range: fields as they say, volume 0 to 1e9 m3; a
// *RangeError outside. Source: at Curve.
func (c Curve) Slip(v Volume) (float64, error) {
	if err := cmp.Or(c.check(), v.check()); err != nil {
		return 0, err
	}
	return c.slip(v), nil
}

func (c Curve) slip(v Volume) float64 { return 1 / (1 + exp(-(v-c.Mid)/c.Spread)) }

// Held is the volume whose ions the bed holds after a volume: the integral of 1-X in closed form, which comes to
// Spread ln(1+exp(Mid/Spread)) in the end. Range, errors and source as Slip.
func (c Curve) Held(v Volume) (Volume, error) {
	if err := cmp.Or(c.check(), v.check()); err != nil {
		return 0, err
	}
	return c.Spread * Volume(softplus(float64(c.Mid/c.Spread))-softplus(float64((c.Mid-v)/c.Spread))), nil
}

// At is the volume at which a share slips through; 0 where it does from the start. Range: fields as they say, share above 0
// and below 1; a *RangeError outside. Source: the inverse of the curve, Mid - Spread ln(1/X - 1).
func (c Curve) At(share float64) (Volume, error) {
	if err := cmp.Or(c.check(), within("share of the feed", share, 1e-12, 1-1e-12, "")); err != nil {
		return 0, err
	}
	return max(0, c.Mid-c.Spread*Volume(ln(1/share-1))), nil
}

// Zone is the volume between 5 and 95 % of breakthrough, 2 Spread ln 19. Range and errors as Slip's fields. Source: the
// inverse of the curve.
func (c Curve) Zone() (Volume, error) {
	if err := c.check(); err != nil {
		return 0, err
	}
	return 2 * c.Spread * Volume(math.Log(19)), nil
}

// Waters are the conductivities between which a curve runs, uS/cm at 25 C.
type Waters struct {
	Feed     Conductivity // above Endpoint
	Base     Conductivity // of a bed in service; 0 or more
	Endpoint Conductivity // above Base
}

func (w Waters) check() error {
	const gap = Conductivity(1e-9)
	return cmp.Or(w.Base.check(), within("endpoint", w.Endpoint, w.Base+gap, 2e6, "uS/cm"), within("feed conductivity", w.Feed, w.Endpoint+gap, 2e6, "uS/cm"))
}

func (w Waters) product(slip float64) Conductivity {
	return w.Base + (w.Feed-w.Base)*Conductivity(slip)
}

// Product is the conductivity after a volume. Range: as Slip, and the waters in order; a *RangeError outside. Source: the
// curve, linear mixing.
func (c Curve) Product(w Waters, v Volume) (Conductivity, error) {
	slip, err := c.Slip(v)
	if err = cmp.Or(err, w.check()); err != nil {
		return 0, err
	}
	return w.product(slip), nil
}

// End is the volume at which the product reaches the endpoint; 0 where it is there from the start. Range, errors and source
// as Product.
func (c Curve) End(w Waters) (Volume, error) {
	if err := w.check(); err != nil {
		return 0, err
	}
	return c.At(float64((w.Endpoint - w.Base) / (w.Feed - w.Base)))
}

// Branch is one of the banks that share a flow.
type Branch struct {
	Curve Curve
	Share float64 // of the flow; 0 to 1
	Used  Volume  // that passed it before
}

// Crossing is the total volume from now on at which the mixed product of two banks side by side reaches the endpoint;
// 0 where it has. Unequal banks end early: 45 and 55 % of the capacity lose a tenth of the run, 60 and 40 % of the flow
// 15 %. Range: shares that sum to 1, curves and waters as Product; a *RangeError outside. Source: the flow-weighted mean of
// the products; solved by halving to 1e-12 of the volume.
func Crossing(banks [2]Branch, w Waters) (Volume, error) {
	if err := cmp.Or(w.check(), within("sum of the shares of the flow", banks[0].Share+banks[1].Share, 1-1e-9, 1+1e-9, "")); err != nil {
		return 0, err
	}
	high := Volume(math.MaxFloat64)
	for i := range banks {
		b := &banks[i]
		if err := cmp.Or(fraction("share of the flow", b.Share), b.Used.check(), b.Curve.check()); err != nil {
			return 0, err
		}
		if b.Share > 0 {
			end, _ := b.Curve.End(w)
			high = min(high, max(end-b.Used, tiny)/Volume(b.Share))
		}
	}
	mix := func(v Volume) Conductivity {
		slip := 0.0
		for i := range banks {
			slip += banks[i].Share * banks[i].Curve.slip(banks[i].Used+v*Volume(banks[i].Share))
		}
		return w.product(slip)
	}
	if mix(0) >= w.Endpoint {
		return 0, nil
	}
	low := Volume(0)
	for range 64 { // from where the first bank is at the endpoint to where the mix is
		if mix(high) >= w.Endpoint {
			break
		}
		low, high = high, 2*high
	}
	for range 200 {
		mid := (low + high) / 2
		if mid <= low || mid >= high || high-low <= 1e-12*high {
			break
		}
		if mix(mid) >= w.Endpoint {
			high = mid
		} else {
			low = mid
		}
	}
	return high, nil
}
