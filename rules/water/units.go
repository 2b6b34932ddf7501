package water

// The types hold inside units, those of package signal where it has them.
type (
	Conductivity float64 // uS/cm
	Resistivity  float64 // MOhm.cm
	Celsius      float64 // degrees Celsius
	Density      float64 // kg/m3
	Volume       float64 // m3
	Flow         float64 // m3/h
	Length       float64 // m
	Area         float64 // m2
	Velocity     float64 // m/h, flow over the whole cross section
	SpecificFlow float64 // bed volumes an hour
	Pressure     float64 // kPa
	Load         float64 // mg/L as CaCO3 (equal to g/m3)
	Amount       float64 // kg as CaCO3
	Capacity     float64 // kg as CaCO3 for each m3 of resin
)

// Exact by definition, NIST SP 811 (2008) appendix B.8, but for the molar mass of CaCO3 (100.087 g/mol, IUPAC masses).
const (
	foot       = 0.3048                   // m
	inch       = foot / 12                // m
	gallon     = 231 * inch * inch * inch // m3
	cubicFoot  = foot * foot * foot       // m3
	squareFoot = foot * foot              // m2
	gpm        = gallon * 60              // m3/h
	psi        = 6.894757293168361        // kPa, from exact lbf and inch
	grain      = 64.79891e-6              // kg
	equivalent = 0.0500435                // kg of CaCO3 in one equivalent
)

// Gallons makes a volume of US gallons. As all conversions here it takes any number and has no error.
func Gallons(v float64) Volume { return Volume(v * gallon) }

// Gallons is the volume in US gallons.
func (v Volume) Gallons() float64 { return float64(v) / gallon }

// CubicFeet makes a volume of cubic feet.
func CubicFeet(v float64) Volume { return Volume(v * cubicFoot) }

// CubicFeet is the volume in cubic feet.
func (v Volume) CubicFeet() float64 { return float64(v) / cubicFoot }

// GPM makes a flow of US gallons a minute.
func GPM(q float64) Flow { return Flow(q * gpm) }

// GPM is the flow in US gallons a minute.
func (q Flow) GPM() float64 { return float64(q) / gpm }

// Feet makes a length of feet.
func Feet(l float64) Length { return Length(l * foot) }

// Feet is the length in feet.
func (l Length) Feet() float64 { return float64(l) / foot }

// Inches makes a length of inches.
func Inches(l float64) Length { return Length(l * inch) }

// Inches is the length in inches.
func (l Length) Inches() float64 { return float64(l) / inch }

// SquareFeet makes an area of square feet.
func SquareFeet(a float64) Area { return Area(a * squareFoot) }

// SquareFeet is the area in square feet.
func (a Area) SquareFeet() float64 { return float64(a) / squareFoot }

// FeetPerSecond makes a velocity of feet a second, the unit for pipes.
func FeetPerSecond(v float64) Velocity { return Velocity(v * foot * 3600) }

// FeetPerSecond is the velocity in feet a second.
func (v Velocity) FeetPerSecond() float64 { return float64(v) / (foot * 3600) }

// GPMPerSquareFoot makes a velocity of gallons a minute through each square foot, the unit for beds.
func GPMPerSquareFoot(v float64) Velocity { return Velocity(v * gpm / squareFoot) }

// GPMPerSquareFoot is the velocity in gallons a minute through each square foot.
func (v Velocity) GPMPerSquareFoot() float64 { return float64(v) * squareFoot / gpm }

// GPMPerCubicFoot makes a specific flow of gallons a minute for each cubic foot of resin.
func GPMPerCubicFoot(q float64) SpecificFlow { return SpecificFlow(q * gpm / cubicFoot) }

// GPMPerCubicFoot is the specific flow in gallons a minute for each cubic foot of resin.
func (q SpecificFlow) GPMPerCubicFoot() float64 { return float64(q) * cubicFoot / gpm }

// PSI makes a pressure of pounds to the square inch.
func PSI(p float64) Pressure { return Pressure(p * psi) }

// PSI is the pressure in pounds to the square inch.
func (p Pressure) PSI() float64 { return float64(p) / psi }

// GrainsPerGallon makes a load of grains (as CaCO3) in a US gallon.
func GrainsPerGallon(l float64) Load { return Load(l * grain * 1000 / gallon) }

// GrainsPerGallon is the load in grains (as CaCO3) in a US gallon.
func (l Load) GrainsPerGallon() float64 { return float64(l) * gallon / (grain * 1000) }

// Milliequivalents makes a load of meq/L.
func Milliequivalents(l float64) Load { return Load(l * equivalent * 1000) }

// Milliequivalents is the load in meq/L.
func (l Load) Milliequivalents() float64 { return float64(l) / (equivalent * 1000) }

// Kilograins makes an amount of thousands of grains as CaCO3.
func Kilograins(a float64) Amount { return Amount(a * grain * 1000) }

// Kilograins is the amount in thousands of grains as CaCO3.
func (a Amount) Kilograins() float64 { return float64(a) / (grain * 1000) }

// Equivalents makes an amount of equivalents.
func Equivalents(a float64) Amount { return Amount(a * equivalent) }

// Equivalents is the amount in equivalents.
func (a Amount) Equivalents() float64 { return float64(a) / equivalent }

// KilograinsPerCubicFoot makes a capacity of thousands of grains as CaCO3 for each cubic foot of resin.
func KilograinsPerCubicFoot(c float64) Capacity { return Capacity(c * grain * 1000 / cubicFoot) }

// KilograinsPerCubicFoot is the capacity in thousands of grains as CaCO3 for each cubic foot of resin.
func (c Capacity) KilograinsPerCubicFoot() float64 { return float64(c) * cubicFoot / (grain * 1000) }

// EquivalentsPerLitre makes a capacity of equivalents for each litre of resin.
func EquivalentsPerLitre(c float64) Capacity { return Capacity(c * equivalent * 1000) }

// EquivalentsPerLitre is the capacity in equivalents for each litre of resin.
func (c Capacity) EquivalentsPerLitre() float64 { return float64(c) / (equivalent * 1000) }

// Resistivity is the reciprocal of the conductivity, MOhm.cm. Range: above 0 to 2e6 uS/cm; a *RangeError outside.
// Source: the definition.
func (k Conductivity) Resistivity() (Resistivity, error) {
	if err := within("conductivity", k, tiny, 2e6, "uS/cm"); err != nil {
		return 0, err
	}
	return Resistivity(1 / k), nil
}

// Conductivity is the reciprocal of the resistivity, uS/cm. Range: 5e-7 to 1e12 MOhm.cm; a *RangeError outside.
// Source: the definition.
func (r Resistivity) Conductivity() (Conductivity, error) {
	if err := within("resistivity", r, 5e-7, 1/tiny, "MOhm.cm"); err != nil {
		return 0, err
	}
	return Conductivity(1 / r), nil
}
