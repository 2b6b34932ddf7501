package water

import (
	"cmp"
	"math"
)

const kelvin = 273.15 // K at 0 C

// DensityOf is the density of air-free pure water at one atmosphere. Range: 0 to 100 C; a *RangeError outside.
// Source: [Kell], stated good to 0.01 kg/m3 in this range; it differs from IAPWS-IF97 by less than 0.02 kg/m3.
func DensityOf(t Celsius) (Density, error) {
	if err := t.liquid(); err != nil {
		return 0, err
	}
	return Density(density(float64(t))), nil
}

// density is Kell's rational polynomial, kg/m3.
func density(t float64) float64 {
	return (999.83952 + t*(16.945176+t*(-7.9870401e-3+t*(-46.170461e-6+t*(105.56302e-9-t*280.54253e-12))))) / (1 + 16.879850e-3*t)
}

// ViscosityOf is the dynamic viscosity of pure water at one atmosphere, mPa.s. Range: 0 to 100 C; a *RangeError outside.
// Source: [Kestin], the equation for -8 to 150 C, with 1.002 mPa.s at 20 C; stated good to 1 %, and within
// 0.3 % of IAPWS R12-08 here.
func ViscosityOf(t Celsius) (float64, error) {
	if err := t.liquid(); err != nil {
		return 0, err
	}
	d := 20 - float64(t)
	return 1.002 * math.Pow(10, d/(float64(t)+96)*(1.2378+d*(-1.303e-3+d*(3.06e-6+d*2.55e-8)))), nil
}

// PKw is -log10 of the ion product of water, on the molal scale. Range: 0 to 1000 C, 0 to 1250 kg/m3; a *RangeError
// outside. Source: [R11-24]. The release that it replaced, R11-07, differs by less than 0.0006 at 0 to 60 C and
// 0.002 at 100 C, but by more than 0.5 in thin steam.
func PKw(rho Density, t Celsius) (float64, error) {
	if err := cmp.Or(within("temperature", t, 0, 1000, "C"), within("density", rho, 0, 1250, "kg/m3")); err != nil {
		return 0, err
	}
	return pKw(float64(rho)/1000, float64(t)+kelvin), nil
}

// pKw takes g/cm3 and K.
func pKw(d, T float64) float64 {
	const massPerMole = 0.018015268 // kg/mol
	z := 0.0
	if d > 0 {
		z = d * math.Exp(-0.702132+8681.05/T-24145.1*math.Cbrt(d*d)/(T*T))
	}
	gas := 0.61415 + 48251.33/T - 67707.93/(T*T) + 1.01021e7/(T*T*T)
	return -12*(math.Log10(1+z)-z/(1+z)*d*(0.813876-51.4471/T-0.469920*d)) + gas + 2*math.Log10(massPerMole)
}

// Pure is the conductivity of pure water at its temperature (not compensated). Range: 0 to 100 C; a *RangeError outside.
// Source: kappa = Lambda d sqrt(Kw), with Kw of [R11-24], the density of [Kell] and the ionic conductivities of H+ and
// OH- of [McC12], scaled so that 25 C gives 0.0550 uS/cm (18.18 MOhm.cm), where published values agree; unscaled they
// give 0.0548, with the values of [CRC] 0.0550. Published formulations differ by up to 6 % away from 25 C.
func Pure(t Celsius) (Conductivity, error) {
	if err := t.liquid(); err != nil {
		return 0, err
	}
	return Conductivity(pure(float64(t))), nil
}

// scaled brings the limiting conductivities of H+ and OH- to 0.0550 uS/cm at 25 C.
const scaled = 1.00415

func pure(t float64) float64 {
	d := density(t) / 1000
	lambda := scaled * (ions[Hydrogen].limiting(t) + ions[Hydroxide].limiting(t))
	return 1000 * lambda * d * math.Exp(-math.Ln10/2*pKw(d, t+kelvin))
}

// pure25 is pure(25), kept as a number so that compensation at each reading need not work it out; a test compares.
const pure25 = 0.05499827498619957

// MarshStokes is the conductivity of pure water at its temperature by a published polynomial of the third degree, for
// comparison. Range: 0 to 60 C; a *RangeError outside. Source: Marsh and Stokes, as printed in a public description of
// a laboratory algorithm. It agrees with Pure within 1 % at 10 to 30 C, 2.2 % to 60 C, 3 % at 5 C, 10.5 % at 0 C.
func MarshStokes(t Celsius) (Conductivity, error) {
	if err := within("temperature", t, 0, 60, "C"); err != nil {
		return 0, err
	}
	x := t - 25
	return Conductivity(0.05498 + x*(2.9326e-3+x*(6.0629e-5+x*4.2690e-7))), nil
}

// airSaturated holds water in balance with the carbon dioxide of the air, uS/cm, by temperature in C.
var airSaturated = []row{
	{0, 0.58}, {5, 0.68}, {10, 0.79}, {15, 0.89}, {18, 0.95}, {20, 0.99}, {25, 1.10}, {30, 1.2}, {35, 1.3}, {40, 1.4}, {45, 1.51}, {50, 1.61},
}

// AirSaturated is the conductivity, at its temperature, of pure water in balance with the carbon dioxide of the air: a
// tank open to air comes to some 1.1 uS/cm at 25 C whatever is fed to it. Range: 0 to 50 C; a *RangeError outside.
// Source: [CRC], the table of KCl standards, after Wu, Koch and Pratt (1991); interpolated between its rows. More carbon
// dioxide in the air since then gives somewhat more.
func AirSaturated(t Celsius) (Conductivity, error) {
	if err := within("temperature", t, 0, 50, "C"); err != nil {
		return 0, err
	}
	return Conductivity(between(airSaturated, float64(t))), nil
}

// row is one line of a table that is read with straight lines between its rows.
type row struct{ x, y float64 }

// between interpolates. x must lie within the table.
func between(table []row, x float64) float64 {
	i := 1
	for i < len(table)-1 && x > table[i].x {
		i++
	}
	a, b := table[i-1], table[i]
	return a.y + (b.y-a.y)*(x-a.x)/(b.x-a.x)
}
