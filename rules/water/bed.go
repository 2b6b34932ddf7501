package water

import (
	"cmp"
	"time"
)

// Beads are the resin beads of a bed.
type Beads struct {
	Diameter Length  // m; 0.0001 to 0.005
	Void     float64 // share of the bed that is water between the beads; 0.2 to 0.8
}

// UsualBeads are those of common ion exchange resins in a settled bed. [mem]
var UsualBeads = Beads{Diameter: 0.00065, Void: 0.38}

// Drop is the pressure drop over a clean bed. Range: velocity 0 to 1000 m/h, depth 0 to 1e5 m, 0 to 100 C, beads as
// their fields say; a *RangeError outside. Source: Ergun (Chem. Eng. Prog. 48 (1952) 89) with the density of [Kell] and
// the viscosity of [Kestin].
func (b Beads) Drop(v Velocity, depth Length, t Celsius) (Pressure, error) {
	err := cmp.Or(within("velocity", v, 0, 1000, "m/h"), depth.check(), t.liquid(), within("bead diameter", b.Diameter, 0.0001, 0.005, "m"),
		within("void fraction", b.Void, 0.2, 0.8, ""))
	if err != nil {
		return 0, err
	}
	viscosity, _ := ViscosityOf(t) // the range is checked
	u, d, e := float64(v)/3600, float64(b.Diameter), b.Void
	viscous := 150 * viscosity / 1000 * (1 - e) * (1 - e) * u / (e * e * e * d * d)
	inertial := 1.75 * density(float64(t)) * (1 - e) * u * u / (e * e * e * d)
	return Pressure((viscous + inertial) * float64(depth) / 1000), nil
}

// Standing is the first water out of a bed after it stood: it has picked up ions and washes out.
type Standing struct {
	First Conductivity // uS/cm of the first water; usually 1 to 5 [mem]; not below Base
	Base  Conductivity // uS/cm of the bed in service
	Wash  Volume       // m3 that carries it off to 1/e: usually 1 to 3 void volumes of the bed [mem]; above 0
}

func (s Standing) check() error {
	return cmp.Or(s.Base.check(), within("conductivity of the first water", s.First, s.Base, 2e6, "uS/cm"), s.Wash.positive())
}

// After is the conductivity after a volume. Range: fields as they say, volume 0 to 1e9 m3; a *RangeError outside. Source:
// k = kb + (k0 - kb) exp(-V/Vw), the wash-out of a stirred volume.
func (s Standing) After(v Volume) (Conductivity, error) {
	if err := cmp.Or(s.check(), v.check()); err != nil {
		return 0, err
	}
	return s.Base + (s.First-s.Base)*Conductivity(exp(-v/s.Wash)), nil
}

// Until is the volume after which the water is within a conductivity above 0 of the base; 0 if it is from the start.
// Until then it says nothing about the bed and is kept out of a forecast. Range, errors and source as After.
func (s Standing) Until(above Conductivity) (Volume, error) {
	if err := cmp.Or(s.check(), within("conductivity above the base", above, tiny, 2e6, "uS/cm")); err != nil {
		return 0, err
	}
	if s.First-s.Base <= above {
		return 0, nil
	}
	return s.Wash * Volume(ln((s.First-s.Base)/above)), nil
}

// ServiceTime is when a bed of a depth reaches a share c/c0 of the feed, by Bohart and Adams: N0 Z/(c0 u) - ln(c0/c -
// 1)/(k c0). capacity is N0; rate is k, m3 for each kg as CaCO3 and hour. Range: velocity and load above 0, depth 0 to 1e5 m,
// capacity 0.1 to 200 kg/m3, rate above 0 to 1e9, share above 0 and below 1; a *RangeError outside, also where the bed would be
// past that share from the start. Source: Bohart and Adams, J. Am. Chem. Soc. 42 (1920) 523. Curve is the same law in volumes.
func ServiceTime(capacity Capacity, depth Length, v Velocity, l Load, rate, share float64) (time.Duration, error) {
	err := cmp.Or(within("working capacity", capacity, 0.1, 200, "kg/m3 as CaCO3"), depth.check(), within("velocity", v, tiny, 1000, "m/h"),
		l.positive(), within("rate", rate, tiny, 1e9, "m3/(kg h)"), within("share of the feed", share, 1e-12, 1-1e-12, ""))
	if err != nil {
		return 0, err
	}
	c := float64(l) / 1000
	hours := float64(capacity)*float64(depth)/(c*float64(v)) - ln(1/share-1)/(rate*c)
	if err := within("service time", hours, 0, 100*365.25*24, "h"); err != nil {
		return 0, err
	}
	return time.Duration(hours * float64(time.Hour)), nil
}
