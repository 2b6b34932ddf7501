package water

// Strain is one way in which a flow does not suit a bank; a set of bits.
type Strain uint8

// The strains.
const (
	TooFast   Strain = 1 << iota // more than MostVelocity through the bed
	TooShort                     // more than 5 gpm/ft3: the ions have no time to reach the beads
	TooSlow                      // less than 1 gpm/ft3: the water finds channels
	TooFlat                      // the resin is less than LeastDepth deep
	Meagre                       // the working capacity set is below what is usual: the run is estimated with care
	Ambitious                    // the working capacity set is above what is usual: the run may be shorter
)

// Limits of good practice.
const (
	MostVelocity  = Velocity(7 * gpm / squareFoot)    // 7 gpm/ft2 [10S]; MIL-HDBK-1164 has 6 to 7
	LeastDepth    = Length(3 * foot)                  // [10S]
	LeastSpecific = SpecificFlow(1 * gpm / cubicFoot) // 1 gpm/ft3 [mem]
	MostSpecific  = SpecificFlow(5 * gpm / cubicFoot) // 5 gpm/ft3 [mem]
)

// Strain is how a flow through the bank offends good practice; 0 for not at all. Range and errors as Velocity. Source: at
// the limits. A limit that is just met is kept.
func (s *Tanks) Strain(q Flow) (Strain, error) {
	v, err := s.Velocity(q)
	if err != nil {
		return 0, err
	}
	depth, _ := s.Depth()
	specific, _ := s.Specific(q)
	low, high, _ := s.Resin.Usual()
	const slack = 1e-9 // a limit computed another way may differ in its last bit
	var strain Strain
	for _, c := range []struct {
		is  bool
		bit Strain
	}{
		{v > MostVelocity*(1+slack), TooFast},
		{specific > MostSpecific*(1+slack), TooShort},
		{specific < LeastSpecific*(1-slack), TooSlow},
		{depth < LeastDepth*(1-slack), TooFlat},
		{s.Capacity < low*(1-slack), Meagre},
		{s.Capacity > high*(1+slack), Ambitious},
	} {
		if c.is {
			strain |= c.bit
		}
	}
	return strain, nil
}
