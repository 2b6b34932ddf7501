package water

import (
	"math"
	"slices"
)

// Class is a class of water that a standard names: a possible endpoint.
type Class struct {
	Name string       // as people write it
	Most Conductivity // uS/cm at 25 C
	Note string       // what else the class asks for; this computation does not see it
}

// classes in the order of their sources. ASTM's Roman numbers are not in the order of purity: III is purer than II.
var classes = []Class{
	{"ASTM D1193 type I", 0.056, "TOC 50 ug/L; Na 1, Cl 1, SiO2 3 ug/L"},
	{"ASTM D1193 type II", 1.0, "TOC 50 ug/L; Na 5, Cl 5, SiO2 3 ug/L"},
	{"ASTM D1193 type III", 0.25, "TOC 200 ug/L; Na 10, Cl 10, SiO2 500 ug/L"},
	{"ASTM D1193 type IV", 5.0, "pH 5.0 to 8.0; Na 50, Cl 50 ug/L"},
	{"ISO 3696 grade 1", 0.1, "SiO2 0.01 mg/L"},
	{"ISO 3696 grade 2", 1.0, "SiO2 0.02 mg/L; residue 1 mg/kg"},
	{"ISO 3696 grade 3", 5.0, "pH 5.0 to 7.5 (some copies print 7.0); residue 2 mg/kg"},
	{"JIS K 0557 A1", 5.0, ""},
	{"JIS K 0557 A2-A4", 1.0, "measured in line"},
	{"DOE pure", 10, "electrolyte 2 to 5 mg/L"},
	{"DOE very pure", 1, "electrolyte 0.2 to 0.5 mg/L"},
	{"DOE ultrapure", 0.1, "electrolyte 0.01 to 0.02 mg/L"},
	{"DOE theoretically pure", 0.054, "electrolyte 0; other sources give pure water 0.055"},
	{"power-boiler make-up", 0.1, "SiO2 below 10 ug/L"},
	{"USP <645> stage 2", 2.1, "at 25 C after it has taken up the carbon dioxide of the air"},
}

// Classes lists the classes. Source: ASTM D1193 and ISO 3696:1987 by public copies, JIS K 0557, [DOE] table 3, USP <645>
// stage 2; boiler make-up from an industry abstract. Stages 1 and 3 depend on temperature and pH: USPStage1, USPStage3.
func Classes() []Class { return slices.Clone(classes) }

// FindClass finds a class by its name as Classes writes it.
func FindClass(name string) (Class, bool) {
	for _, c := range classes {
		if c.Name == name {
			return c, true
		}
	}
	return Class{}, false
}

// Met reports whether a conductivity at 25 C is at most that of the class. Range: 0 to 2e6 uS/cm; a *RangeError outside.
// Source: at Classes.
func (c Class) Met(k25 Conductivity) (bool, error) {
	if err := k25.check(); err != nil {
		return false, err
	}
	return k25 <= c.Most, nil
}

// stage1 holds the limits of USP <645> stage 1 from 0 C in steps of 5 C, uS/cm.
var stage1 = [...]Conductivity{0.6, 0.8, 0.9, 1.0, 1.1, 1.3, 1.4, 1.5, 1.7, 1.8, 1.9, 2.1, 2.2, 2.4, 2.5, 2.7, 2.7, 2.7, 2.7, 2.9, 3.1}

// USPStage1 is the limit for the conductivity in line WITHOUT compensation at a temperature: that of the next lower row of
// the table. Range: 0 to 100 C; a *RangeError outside. Source: USP <645> stage 1, by two public copies that agree.
func USPStage1(t Celsius) (Conductivity, error) {
	if err := t.liquid(); err != nil {
		return 0, err
	}
	return stage1[int(t/5)], nil
}

// stage3 holds the limits of USP <645> stage 3 from pH 5.0 in steps of 0.1, uS/cm.
var stage3 = [...]Conductivity{4.7, 4.1, 3.6, 3.3, 3.0, 2.8, 2.6, 2.5, 2.4, 2.4, 2.4, 2.4, 2.5, 2.4, 2.3, 2.2, 2.1, 2.6, 3.1, 3.8, 4.6}

// USPStage3 is the limit at 25 C by the pH of the sample, to the nearest 0.1. Range: pH 5.0 to 7.0; a *RangeError outside, for
// such water fails. Source: USP <645> stage 3, by a public copy that heads the column 20 C; two manuals have 25 C, which is
// right [mem].
func USPStage3(pH float64) (Conductivity, error) {
	if err := within("pH", pH, 5.0-1e-9, 7.0+1e-9, ""); err != nil {
		return 0, err
	}
	return stage3[int(math.Round(pH*10))-50], nil
}
