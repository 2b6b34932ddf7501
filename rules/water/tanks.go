package water

import (
	"cmp"
	"fmt"
	"time"
)

// Resin is the kind of resin in the tanks of a bank.
type Resin uint8

// The kinds.
const (
	MixedBed Resin = iota // cation and anion resin mixed in each tank
	TwoBed                // half the tanks hold cation resin, the other half, after them, anion resin
	Softener              // cation resin in the sodium form: hardness only, the conductivity stays
	Resins   int   = iota // how many there are
)

var resinNames = [Resins]string{"mixed_bed", "two_bed", "softener"}

// String is the kind's name in settings.
func (r Resin) String() string {
	if int(r) >= Resins {
		return "?"
	}
	return resinNames[r]
}

// ParseResin finds a kind by its name.
func ParseResin(name string) (Resin, bool) {
	for i, n := range resinNames {
		if n == name {
			return Resin(i), true
		}
	}
	return MixedBed, false
}

// Usual gives the working capacity that is usual for the kind; a *RangeError for what is no kind. Source: MixedBed 9
// (regenerated) to 10 (new) kgr/ft3, worked examples of a public article on service deionization; TwoBed 10 to 14, type I
// anion resin, which ends first [mem] (strong acid cation resin: 17 after sulfuric acid at 8 lb/ft3, 21 after
// hydrochloric acid at 10, public data sheets); Softener up to 20 [10S], although public articles also sell 30.
func (r Resin) Usual() (low, high Capacity, err error) {
	switch r {
	case MixedBed:
		return KilograinsPerCubicFoot(9), KilograinsPerCubicFoot(10), nil
	case TwoBed:
		return KilograinsPerCubicFoot(10), KilograinsPerCubicFoot(14), nil
	case Softener:
		return KilograinsPerCubicFoot(15), KilograinsPerCubicFoot(20), nil
	}
	return 0, 0, &RangeError{What: "number for a kind of resin", Value: float64(r), High: float64(Resins - 1)}
}

// Tanks describes the tanks of one bank. Banks stand in parallel.
type Tanks struct {
	Count    int      // tanks in the bank: 1 to 64, even for TwoBed
	Series   bool     // tanks of one kind are passed one after the other; else the flow divides among them
	Resin    Resin    // what they hold
	Each     Volume   // m3 of resin in each tank: 0.001 to 100
	Area     Area     // m2 of cross section of each tank: 0.001 to 100
	Capacity Capacity // kg as CaCO3 for each m3 of the resin that ends first: 0.1 to 200, usually 20 to 30
}

// Check lists all faults, each a *RangeError.
func (s *Tanks) Check() []error {
	var faults []error
	for _, err := range []error{
		within("number of tanks in a bank", s.Count, 1, 64, ""),
		within("number for a kind of resin", int(s.Resin), 0, Resins-1, ""),
		within("volume of resin in a tank", s.Each, 0.001, 100, "m3"),
		within("cross section of a tank", s.Area, 0.001, 100, "m2"),
		within("working capacity", s.Capacity, 0.1, 200, "kg/m3 as CaCO3"),
	} {
		if err != nil {
			faults = append(faults, err)
		}
	}
	if s.Resin == TwoBed && s.Count%2 != 0 {
		faults = append(faults, fmt.Errorf("cannot use %d tanks for cation and anion resin in turn: want an even number", s.Count))
	}
	return faults
}

func (s *Tanks) check() error {
	if faults := s.Check(); len(faults) > 0 {
		return faults[0]
	}
	return nil
}

// kinds is how many kinds of tanks the water passes one after the other.
func (s *Tanks) kinds() int {
	if s.Resin == TwoBed {
		return 2
	}
	return 1
}

// stages is how many tanks a drop of water passes, and paths how many ways it has.
func (s *Tanks) stages() int {
	if s.Series {
		return s.Count
	}
	return s.kinds()
}

func (s *Tanks) paths() int { return s.Count / s.stages() }

// Bed is the resin in the bank. Errors: the first of Check, as for all methods of Tanks.
func (s *Tanks) Bed() (Volume, error) {
	if err := s.check(); err != nil {
		return 0, err
	}
	return Volume(s.Count) * s.Each, nil
}

// Work is the working capacity of the bank: that of all tanks, for TwoBed of the half whose resin ends first. Series or
// not makes no difference to it: the tanks take up their load one after the other or side by side.
func (s *Tanks) Work() (Amount, error) {
	if err := s.check(); err != nil {
		return 0, err
	}
	return Amount(float64(s.Capacity) * float64(s.Each) * float64(s.Count/s.kinds())), nil
}

// Depth is the depth of the resin in a tank. Ten States Standards ask for 3 ft or more.
func (s *Tanks) Depth() (Length, error) {
	if err := s.check(); err != nil {
		return 0, err
	}
	return Length(s.Each) / Length(s.Area), nil
}

// Velocity is the flow over the cross section of the tanks that share it. Range: flow 0 to 1e6 m3/h through the bank; a
// *RangeError outside. Source: the definition.
func (s *Tanks) Velocity(q Flow) (Velocity, error) {
	if err := cmp.Or(s.check(), q.check()); err != nil {
		return 0, err
	}
	return Velocity(float64(q) / (float64(s.Area) * float64(s.paths()))), nil
}

// Specific is the flow over the resin that it passes: bed volumes an hour. For TwoBed the resin of one kind counts. Range
// and errors as Velocity. Source: the definition.
func (s *Tanks) Specific(q Flow) (SpecificFlow, error) {
	if err := cmp.Or(s.check(), q.check()); err != nil {
		return 0, err
	}
	return SpecificFlow(float64(q) / (float64(s.Each) * float64(s.Count/s.kinds()))), nil
}

// Drop is the pressure drop over the clean beds of the bank, without pipes and distributors. Range: flow as Velocity, 0 to
// 100 C, beads as Beads.Drop has them; a *RangeError outside. Source: as Beads.Drop.
func (s *Tanks) Drop(q Flow, t Celsius, b Beads) (Pressure, error) {
	v, err := s.Velocity(q)
	if err != nil {
		return 0, err
	}
	depth, _ := s.Depth() // checked with the velocity
	return b.Drop(v, depth*Length(s.stages()), t)
}

// Run is how long a bank lasts.
type Run struct {
	Work   Amount        // kg as CaCO3; Kilograins and Equivalents give the trade's units
	Volume Volume        // m3
	Time   time.Duration // at the flow
}

// Run is the run of a fresh bank at a load and a flow. Range and errors as RunLength and TimeFor. Source: theirs.
func (s *Tanks) Run(l Load, q Flow) (Run, error) {
	work, err := s.Work()
	if err != nil {
		return Run{}, err
	}
	v, err := RunLength(work, l)
	if err != nil {
		return Run{}, err
	}
	d, err := TimeFor(v, q)
	if err != nil {
		return Run{}, err
	}
	return Run{work, v, d}, nil
}
