package water

import (
	"cmp"
	"math"
	"time"
)

// Reason says why the trend cannot tell yet when the endpoint comes.
type Reason uint8

// The reasons, in the order in which the first that holds is given.
const (
	Told    Reason = iota // it can
	Resumed               // flow has just begun again: the first water says nothing about the bed
	TooFew                // fewer than LeastPoints points above the base
	Flat                  // the interval of the slope holds 0: nothing is seen to rise
	Noisy                 // the rise is less than three times the noise
	TooFar                // the endpoint lies further ahead than three times the stretch that was seen
	Wide                  // the ends of the band differ more than twofold
	Reasons int    = iota // how many there are
)

var reasonNames = [Reasons]string{"told", "resumed", "too_few", "flat", "noisy", "too_far", "wide"}

// String is the reason's code; the sentence for people is made from it by the phrase files.
func (r Reason) String() string {
	if int(r) >= Reasons {
		return "?"
	}
	return reasonNames[r]
}

// What a trend must have, so that it never claims a certainty that is not there. [own]
const (
	LeastPoints = 8
	leastRise   = 3 // times the noise
	mostAhead   = 3 // times the stretch seen
	mostWide    = 2 // times, of what remains
)

// Band is a throughput with its bounds, m3.
type Band struct{ Low, Likely, High Volume }

// After is what of the band still lies ahead at a throughput, none of it negative.
func (b Band) After(now Volume) Band {
	return Band{max(0, b.Low-now), max(0, b.Likely-now), max(0, b.High-now)}
}

// Times is a band of remaining volume as time at a flow. Range and errors as TimeFor.
func (b Band) Times(q Flow) (low, likely, high time.Duration, err error) {
	if low, err = TimeFor(b.Low, q); err != nil {
		return 0, 0, 0, err
	}
	if likely, err = TimeFor(b.Likely, q); err != nil {
		return 0, 0, 0, err
	}
	if high, err = TimeFor(b.High, q); err != nil {
		return 0, 0, 0, err
	}
	return low, likely, high, nil
}

// Toe says what the trend is to reach.
type Toe struct {
	Base     Conductivity // uS/cm at 25 C of the bed in service, below the rise; 0 or more
	Off      Conductivity // uS/cm that Base may be off, either way; 0 = exact
	Endpoint Conductivity // uS/cm at 25 C; above Base + Off
	Floor    Conductivity // uS/cm above Base that a point must have to count; 0 = any. On live readings a quarter of Base
	Now      Volume       // m3 of throughput
	Height   bool         // the band holds the doubt about the height of the line too: on live readings it should
	Resumed  bool         // flow has just begun again
}

func (toe *Toe) check() error {
	return cmp.Or(toe.Base.check(), within("doubt about the base", toe.Off, 0, 2e6, "uS/cm"),
		within("endpoint", toe.Endpoint, toe.Base+toe.Off+1e-9, 2e6, "uS/cm"), within("floor above the base", toe.Floor, 0, 2e6, "uS/cm"), toe.Now.check())
}

// Trend forecasts the throughput at which the product reaches the endpoint, from the toe of its breakthrough: ln(k - base)
// rises straight with the throughput. The band is that of the slope at 90 %, drawn from the middle of the points, with Height
// also that of the middle; with Off it holds the bands of Base - Off and Base + Off. Without Told it is empty. Range: toe
// as its fields say, points as Add makes them; a *RangeError otherwise. It allocates nothing. Source: Curve for the law,
// TheilSen for the line; the conditions for telling are [own].
func Trend(p *Points, toe Toe) (Band, Reason, error) {
	if err := cmp.Or(toe.check(), p.check()); err != nil {
		return Band{}, Told, err
	}
	if toe.Resumed {
		return Band{}, Resumed, nil
	}
	b, last, seen, why, err := toe.reach(p, 0)
	if err != nil || why != Told {
		return Band{}, why, err
	}
	if toe.Off > 0 {
		for _, off := range [...]Conductivity{-toe.Off, toe.Off} {
			c, _, _, why, err := toe.reach(p, off)
			if err != nil || why != Told {
				return Band{}, why, err
			}
			b.Low, b.High = min(b.Low, c.Low), max(b.High, c.High)
		}
	}
	switch {
	case b.Likely-last > mostAhead*seen:
		return Band{}, TooFar, nil
	case b.wide(toe.Now, seen):
		return Band{}, Wide, nil
	}
	return b, Told, nil
}

// reach draws the line with the base off by so much; seen is the stretch that it was drawn through, last its end.
func (toe *Toe) reach(p *Points, off Conductivity) (b Band, last, seen Volume, why Reason, err error) {
	var x, y [MaxPoints]float64
	n := 0
	for i := range p.Count {
		// Which points count must not depend on off, and none may come to the base.
		if above := p.Product[i] - toe.Base; above > 0 && above >= toe.Floor && above > toe.Off {
			x[n], y[n] = float64(p.Through[i]), ln(above-off)
			n++
		}
	}
	if n < LeastPoints {
		return b, 0, 0, TooFew, nil
	}
	l, err := TheilSen(x[:n], y[:n], Z90)
	if err != nil {
		return b, 0, 0, Told, err
	}
	last, seen = Volume(x[n-1]), Volume(x[n-1]-x[0])
	switch {
	case l.Low <= 0:
		return b, 0, 0, Flat, nil
	case l.Slope*float64(seen) < leastRise*l.Noise:
		return b, 0, 0, Noisy, nil
	}
	up := ln(toe.Endpoint-toe.Base-off) - l.MidY
	at := func(slope float64) Volume { return Volume(l.MidX + up/slope) }
	b = Band{at(l.High), at(l.Slope), at(l.Low)}
	if b.Low > b.High { // the points lie above the endpoint: the steeper line meets it later
		b.Low, b.High = b.High, b.Low
	}
	if toe.Height {
		d := Z90 * l.middle(n) / l.Slope
		b.Low = b.Likely - Volume(math.Hypot(float64(b.Likely-b.Low), d))
		b.High = b.Likely + Volume(math.Hypot(float64(b.High-b.Likely), d))
	}
	return b, last, seen, Told, nil
}

// wide reports whether the ends of what remains differ more than twofold. Close to the endpoint they always do, so a band
// that is narrow beside the stretch seen is not called wide.
func (b Band) wide(now, seen Volume) bool {
	left := b.After(now)
	return left.High > mostWide*left.Low && left.High-left.Low > seen/8
}

// CapacityBand is how far the working capacity of a bank may be off, either way. [mem]
const CapacityBand = 0.20

// Left is the volume that a bank still treats by mass balance: (efficiency x capacity - fed)/load, none of it negative.
// band is how far efficiency x capacity may be off, usually CapacityBand. Range: amounts 0 to 1e9 kg, load above 0 to 1e6 mg/L,
// efficiency and band 0 to 1; a *RangeError outside. Source: mass balance; the efficiency is what of the capacity a bank
// gives until the endpoint.
func Left(capacity, fed Amount, l Load, efficiency, band float64) (Band, error) {
	err := cmp.Or(capacity.check(), fed.check(), l.positive(), fraction("efficiency", efficiency), fraction("band of the capacity", band))
	if err != nil {
		return Band{}, err
	}
	at := func(share float64) Volume {
		return Volume(max(0, share*efficiency*float64(capacity)-float64(fed)) * 1000 / float64(l))
	}
	b := Band{at(1 - band), at(1), at(1 + band)}
	if err := b.High.check(); err != nil {
		return Band{}, err
	}
	return b, nil
}

// Basis says what a forecast rests on.
type Basis uint8

// The bases.
const (
	ByBalance Basis = iota // mass balance: always there
	ByTrend                // the trend of the toe
)

// Earlier chooses from what remains by trend (if it is Told) and by mass balance the one that ends earlier. Source: [own]:
// of two honest forecasts the one that costs less if wrong.
func Earlier(trend Band, why Reason, balance Band) (Band, Basis) {
	if why == Told && trend.Likely < balance.Likely {
		return trend, ByTrend
	}
	return balance, ByBalance
}
