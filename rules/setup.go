package rules

import (
	"fmt"
	"math"
	"time"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// Setup is how the trailer is set up, as far as no contact shows it. The defaults are common practice of the trade.
type Setup struct {
	Hoses            int           // on each side, 1 or 2; 0 = not recorded
	NoFlow           float64       // m3/h; below it water stands
	Standing         time.Duration // a bed that stood for so long gives worse water at first
	RinseUp          time.Duration // ... for so long; 0 = it does not
	ReliefRate       float64       // m3/h that the relief lets out, as agreed; 0 = not agreed
	TotalizerModulus float64       // m3 at which the totalizer begins anew; 0 = never
	TotalizerMost    float64       // m3/h, the most that can pass the flow meter
}

// DefaultSetup is what holds on a unit of which nothing else was recorded.
func DefaultSetup() Setup {
	return Setup{
		NoFlow: signal.GallonPerMinute.Inside(1), Standing: 30 * time.Minute, RinseUp: 15 * time.Minute,
		TotalizerMost: signal.GallonPerMinute.Inside(500),
	}
}

func (p *Setup) check() []Fault {
	var faults []Fault
	add := func(bad bool, path, what string) {
		if bad {
			faults = append(faults, Fault{"setup." + path, fmt.Errorf("%s", what)})
		}
	}
	number := func(v float64) bool { return v >= 0 && v <= math.MaxFloat64 }
	add(p.Hoses < 0 || p.Hoses > 2, "hoses", "must be 1 or 2 on each side, or 0 for not recorded")
	add(!number(p.NoFlow) || p.NoFlow == 0, "no_flow", "must be above 0 m3/h")
	add(p.Standing < 0, "standing", "must not be negative")
	add(p.RinseUp < 0, "rinse_up", "must not be negative")
	add(!number(p.ReliefRate), "relief_rate", "must not be negative")
	add(!number(p.TotalizerModulus), "totalizer_modulus", "must not be negative")
	add(!number(p.TotalizerMost), "totalizer_most", "must not be negative")
	return faults
}

// setup are the alarms about how the trailer is run.
func (s *State) setup(set *Settings, b *Bits) {
	s.flowTooHigh(set, b)
	s.flowTooLow(set, b)
	s.rising(set, b)
	d := &set.Alarms[alarm.Hovering]
	at, often := s.Watch.Delays.restart(int(d.Limit))
	b.set(alarm.Hovering, often && s.until(at+d.On))
	// Once it is active, water that goes off spec again keeps it so: it clears after a time on spec without a break.
	b.set(alarm.BypassRepeated, s.Chain >= max(1, int(set.Alarms[alarm.BypassRepeated].Limit)) ||
		s.Alarms[alarm.BypassRepeated].Under.Active() && s.Powered && s.Off())
}

// narrow says what holds the flow back: the code of the reason, NoReason where nothing does as far as is known.
func (s *State) narrow(set *Settings) Code {
	a, b := s.reads(signal.BankA), s.reads(signal.BankB)
	switch {
	case a && b && s.On(signal.BankA) != s.On(signal.BankB):
		return FlowAboveOneBank
	case set.Setup.Hoses == 1:
		return FlowAboveOneHose
	}
	return NoReason
}

// flowTooHigh: one bank and one hose carry only so much.
func (s *State) flowTooHigh(set *Settings, b *Bits) {
	d := &set.Alarms[alarm.FlowTooHigh]
	b.set(alarm.FlowTooHigh, s.narrow(set) != NoReason && s.reads(signal.Flow) &&
		s.passes(signal.Flow, s.level(alarm.FlowTooHigh, d.Limit, d.Deadband())))
}

// flowTooLow: the paddle wheel turns and does not count truly. A second meter downstream takes its place.
func (s *State) flowTooLow(set *Settings, b *Bits) {
	b.set(alarm.FlowTooLow, s.crawls(set, s.stands(alarm.FlowTooLow)))
	b.quiet(alarm.FlowTooLow, s.stopped() || s.reads(signal.DownstreamFlow))
}

// crawls reports a flow above nothing and below what the meter can read; behind the deadband where it stood already.
func (s *State) crawls(set *Settings, stood bool) bool {
	d := &set.Alarms[alarm.FlowTooLow]
	if !s.reads(signal.Flow) || !s.passes(signal.Flow, 0) {
		return false
	}
	if stood {
		return !s.passes(signal.Flow, d.Limit+d.Deadband())
	}
	return !s.reaches(signal.Flow, d.Limit)
}

// rising: product has passed a part of the endpoint while water flows. Once it is off spec that alarm says more: this one
// is not raised then, and one that was is suppressed.
func (s *State) rising(set *Settings, b *Bits) {
	d, off := &set.Alarms[alarm.ProductRising], s.Powered && s.Off()
	part := s.level(alarm.ProductRising, d.Limit, d.Deadband()) / 100
	b.set(alarm.ProductRising, d.Limit > 0 && s.reads(signal.ProductConductivity) && s.reads(signal.Flow) && !s.dry(set) &&
		s.reaches(signal.ProductConductivity, part*set.Endpoint) && (!off || s.raised(alarm.ProductRising)))
	b.quiet(alarm.ProductRising, off || s.stopped() || s.shows(signal.RinseOpen, true) || s.rinsesUp())
}
