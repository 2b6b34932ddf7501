package plant

import (
	"math"
	"time"
)

// bank is what a group of resin tanks remembers. Breakthrough is a function of the load fed so far, not of the volume,
// so that a change of the feed neither makes nor loses capacity.
type bank struct {
	through float64 // m3 since the resin was fresh
	fed     float64 // kg as CaCO3
	passed  float64 // kg as CaCO3 that slipped through
	excess  float64 // uS/cm above the leakage, of the water that stands in the bed
}

// capacity is what the bed takes up to its mid-point, kg as CaCO3.
func (b *Bank) capacity() float64 { return b.Resin * b.Capacity }

// wash is the volume that carries standing water off to 1/e, m3.
func (b *Bank) wash() float64 { return b.Resin * b.Void * b.Washes }

// V50 is the throughput (m3) at which half the ions of a feed of the given load (kg/m3 as CaCO3) slip through.
func (b *Bank) V50(load float64) float64 { return b.capacity() / load }

// at is the place on the breakthrough curve in units of its spread: 0 at the mid-point.
func (b *Bank) at(fed float64) float64 {
	return (fed - b.capacity()) / (b.capacity() * b.Spread)
}

// Slip is the fraction X = c/c0 of the ions that slip through once fed kg as CaCO3 went in: the logistic curve, which
// is the Thomas form of breakthrough, X = 1/(1+exp(-(V-V50)/s)) with V = fed/load.
func (b *Bank) Slip(fed float64) float64 { return 1 / (1 + math.Exp(-b.at(fed))) }

// Retained is what the bed holds once fed kg went in: the closed integral of (1-X) over the load, kg as CaCO3.
func (b *Bank) Retained(fed float64) float64 {
	s := b.capacity() * b.Spread
	return s * (softplus(-b.at(0)) - softplus(-b.at(fed)))
}

// meanSlip is the mean of X between two loads, from its closed integral, so that no step size loses ions.
func (b *Bank) meanSlip(from, to float64) float64 {
	x1, x2 := b.at(from), b.at(to)
	if x2-x1 < 1e-6 {
		return b.Slip((from + to) / 2) // the difference of two integrals would lose its digits
	}
	return (softplus(x2) - softplus(x1)) / (x2 - x1)
}

// softplus is ln(1+exp(x)), the integral of the logistic curve, without overflow.
func softplus(x float64) float64 {
	if x > 0 {
		return x + math.Log1p(math.Exp(-x))
	}
	return math.Log1p(math.Exp(x))
}

// fresh fills the bank with resin through which used m3 of a feed of the given load have passed.
func (b *bank) fresh(set *Bank, load, used float64) {
	*b = bank{through: used, fed: used * load}
	b.passed = b.fed - set.Retained(b.fed)
	if used == 0 {
		b.excess = set.Standing - set.Base
	}
}

// pass lets v m3 of feed through and gives the mean conductivity of what leaves, uS/cm.
func (b *bank) pass(set *Bank, feed, load, v float64) float64 {
	if v <= 0 {
		return b.product(set, feed)
	}
	to := b.fed + load*v
	slip := set.meanSlip(b.fed, to)
	b.through += v
	b.passed += slip * (to - b.fed)
	b.fed = to
	// Standing water washes out as k = kb + (k0-kb) exp(-V/(N Vvoid)); expm1 keeps its digits in a small step.
	w := set.wash()
	lost := -b.excess * math.Expm1(-v/w)
	b.excess -= lost
	return set.Base + (feed-set.Base)*slip + lost*w/v
}

// stand lets the water in the bed pick up ions for dt.
func (b *bank) stand(set *Bank, dt time.Duration) {
	b.excess -= (set.Standing - set.Base - b.excess) * math.Expm1(-ratio(dt, set.Stand))
}

// product is the conductivity of the water that leaves the bank at this instant, uS/cm.
func (b *bank) product(set *Bank, feed float64) float64 {
	return set.Base + (feed-set.Base)*set.Slip(b.fed) + b.excess
}

func ratio(a, b time.Duration) float64 { return float64(a) / float64(b) }
