// Package water computes what water and hydraulics say about a mobile demineralizer: the conductivity of pure water,
// temperature compensation, feed load, capacity and run length, breakthrough and its forecast, water classes, friction
// in hoses and beds, and the blending of product into the user's tank.
//
// It guarantees that each function names its range, units, errors and source; that an input out of range gives an error
// (a *RangeError) and never a silent number; that types carry units: inside ones (uS/cm, C, m3, m3/h, kPa, m, and for
// ions kg or mg/L as CaCO3), with a constructor and a method of one name for each unit of the trade (Gallons(1), v.Gallons());
// and that a forecast that cannot be made says why. Where published sources disagree, both are here or the difference
// is named.
//
// It never reads a clock, does I/O, starts a goroutine or keeps state, and it makes no sentences for operators.
//
// Sources, as cited: [R11-24] IAPWS R11-24, ionization constant of H2O; [Kell] J. Chem. Eng. Data 20 (1975) 97;
// [Kestin] J. Phys. Chem. Ref. Data 7 (1978) 941; [McC11] McCleskey, J. Chem. Eng. Data 56 (2011) 317; [McC12] McCleskey
// et al., Geochim. Cosmochim. Acta 77 (2012) 369; [CRC] CRC Handbook of Chemistry and Physics; [ISO 7888] ISO 7888:1985,
// EN 27888:1993; [IEC 60746-3] IEC 60746-3:2002; [Sen] J. Am. Stat. Assoc. 63 (1968) 1379; [10S] Ten States
// Standards; [DOE] DOE-HDBK-1015/2-93; [mem] from memory; [own] a choice made here.
package water
