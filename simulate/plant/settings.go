package plant

import (
	"errors"
	"fmt"
	"math"
	"time"

	"ionward/rules"
	"ionward/rules/signal"
)

// Settings describe one trailer and where it stands. Inside units: m3, m3/h, uS/cm at 25 C, C, kg as CaCO3.
type Settings struct {
	Seed  uint64         // of the measuring noise
	Rule  rules.Settings // what the wired panel is set to
	Banks [2]Bank        // A, B
	Feed  Feed

	// A path is described by the flow that would pass it alone at the nominal feed pressure, m3/h; paths in series
	// add as the squares of their reciprocals (turbulent loss).
	Inlet  float64 // inlet valve and feed hoses, m3/h
	Outlet float64 // product outlet valve, product hoses and the user's line, m3/h
	Rinse  float64 // rinse valve and its hose to drain, m3/h
	Relief float64 // relief valve; it tees off before the inlet and the flow meter, m3/h

	InletTravel  time.Duration // from limit switch to limit switch
	ReliefTravel time.Duration
	HandTravel   time.Duration // product outlet and rinse valve, turned by hand
	ReliefSpring bool          // without control power the relief's spring opens it (else it shuts it)

	Header  float64       // m3 of pipe between the banks and the product cell; 0 = none
	Cell    float64       // m3 that must pass to fill a drained product cell; 0 = at once
	Drain   time.Duration // time constant with which the product cell drains while the relief is open and nothing flows
	Dry     float64       // uS/cm that a drained cell shows; near zero, which is not good water
	Ambient float64       // C
	WarmUp  time.Duration // from control power back until analyzer and flow meter answer

	MeterTrue float64       // m3/h; below it the paddle wheel reads low
	MeterZero float64       // m3/h; below it the paddle wheel stands still
	Noise     float64       // relative measuring noise, peak; 0 = none
	Scan      time.Duration // between two readings of the panel's instruments; above 0
}

// Feed is the raw water.
type Feed struct {
	Conductivity float64       // uS/cm at 25 C; above 0
	Temperature  float64       // C
	LoadDivisor  float64       // mg/L as CaCO3 = conductivity / divisor; 2.0 to 2.5 (trade rule of thumb)
	Wander       float64       // slow relative swing of the conductivity, peak; 0 to 0.5
	Period       time.Duration // of the swing; above 0 where Wander is
}

// Bank is a group of resin tanks in parallel.
type Bank struct {
	Resin    float64       // m3
	Capacity float64       // kg as CaCO3 for each m3 of resin
	Spread   float64       // s / V50 of the breakthrough curve; 0.02 to 0.05 is usual
	Base     float64       // uS/cm of leakage from a fresh bed; 0.06 to 0.2 for mixed beds
	Standing float64       // uS/cm of the first water after a long stand; 1 to 5
	Stand    time.Duration // time constant with which standing water picks up ions; above 0
	Void     float64       // void fraction of the bed
	Washes   float64       // void volumes that carry the standing water off to 1/e; 1 to 3
	Flow     float64       // m3/h that would pass the bank alone at the nominal feed pressure
	Used     float64       // m3 of the feed that passed before the start; 0 = fresh and standing
}

// 1 kgr = 1000 grains of 64.79891 mg (exact); 1 ft3 = 0.028316846592 m3 (exact); NIST SP 811 (2008) B.8.
const (
	cubicFoot         = 0.028316846592
	kilograinsPerFoot = 0.06479891 / cubicFoot // kg/m3 for each kgr/ft3
)

// Defaults are a trailer of two mixed-bed banks of 120 ft3 with a working capacity of 10 kgr/ft3, on medium-soft water:
// bank A some days in service, bank B fresh.
func Defaults() Settings {
	bank := Bank{
		Resin: 120 * cubicFoot, Capacity: 10 * kilograinsPerFoot, Spread: 0.025, Base: 0.08,
		Standing: 4, Stand: 4 * time.Hour, Void: 0.38, Washes: 2, Flow: 40,
	}
	used := bank
	used.Used = 120
	gpm := signal.GallonPerMinute.Inside
	return Settings{
		Seed: 1, Rule: rules.Defaults(), Banks: [2]Bank{used, bank},
		Feed:  Feed{Conductivity: 300, Temperature: 16, LoadDivisor: 2.5, Wander: 0.01, Period: 23 * time.Minute},
		Inlet: 100, Outlet: 60, Rinse: 40, Relief: 35,
		InletTravel: 8 * time.Second, ReliefTravel: 4 * time.Second, HandTravel: 5 * time.Second,
		Header: 0.1, Cell: 0.05, Drain: 40 * time.Second, Dry: 0.03, Ambient: 22, WarmUp: 3 * time.Second,
		MeterTrue: gpm(50), MeterZero: gpm(10), Noise: 0.001, Scan: time.Second,
	}
}

// Check names what the model cannot work with.
func (s *Settings) Check() error {
	var faults []error
	add := func(bad bool, what string, args ...any) {
		if bad {
			faults = append(faults, fmt.Errorf("cannot simulate the trailer: "+what, args...))
		}
	}
	for _, f := range s.Rule.Check() {
		add(true, "%s %w", f.Path, f.Err)
	}
	positive := func(v float64) bool { return v > 0 && !math.IsInf(v, 0) }
	notNegative := func(v float64) bool { return v >= 0 && !math.IsInf(v, 0) }
	for i := range s.Banks {
		b, name := &s.Banks[i], 'A'+rune(i)
		add(!positive(b.Resin*b.Capacity*b.Spread), "bank %c needs resin, capacity and spread above 0", name)
		add(!positive(b.Void*b.Washes) || b.Stand <= 0, "bank %c needs void, washes and stand above 0", name)
		add(!notNegative(b.Flow) || !notNegative(b.Used), "bank %c needs flow and use of 0 or more", name)
		add(!notNegative(b.Base) || b.Standing < b.Base, "bank %c needs a base of 0 or more uS/cm and standing water no better than it", name)
	}
	add(!positive(s.Feed.Conductivity) || !positive(s.Feed.LoadDivisor), "the feed needs a conductivity and a load divisor above 0")
	add(s.Feed.Wander < 0 || s.Feed.Wander > 0.5 || (s.Feed.Wander > 0 && s.Feed.Period <= 0), "the feed may wander by 0 to 0.5 with a period above 0")
	for _, q := range []float64{s.Inlet, s.Outlet, s.Rinse, s.Relief, s.Header, s.Cell, s.Dry, s.Noise, s.MeterZero, s.MeterTrue - s.MeterZero} {
		add(!notNegative(q), "%g is negative or no number, where a flow, a volume or a reading is wanted", q)
	}
	add(s.InletTravel <= 0 || s.ReliefTravel <= 0 || s.HandTravel <= 0, "every valve needs a travel time above 0s")
	add(s.Scan <= 0 || s.Drain <= 0 || s.WarmUp < 0, "scan and drain must be above 0s, warm-up not negative")
	return errors.Join(faults...)
}
