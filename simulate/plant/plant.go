package plant

import (
	"fmt"
	"time"

	"ionward/rules"
)

// The banks, as the selector names them.
const (
	A = 0
	B = 1
)

// Plant is one trailer beside its user. Controls act at the present instant, as hands would.
type Plant struct {
	set Settings
	now time.Duration
	s   state // as of the last event; Truth brings a copy up to now
	in  rules.Input
	out rules.Effects
}

// New puts a trailer in service: bank A selected, outlet open, power and feed on, everything warm and running.
func New(set Settings) (*Plant, error) {
	if err := set.Check(); err != nil {
		return nil, err
	}
	p := &Plant{set: set}
	s := &p.s
	s.feed, s.pressure, s.powered, s.wet = set.Feed, 1, true, 1
	s.selected[A] = true
	for i := range s.banks {
		s.banks[i].fresh(&set.Banks[i], s.feed.load(s.feed.Conductivity), set.Banks[i].Used)
	}
	s.inlet, s.relief = newValve(set.InletTravel, true), newValve(set.ReliefTravel, false)
	s.outlet, s.rinse = newValve(set.HandTravel, true), newValve(set.HandTravel, false)
	s.product, s.warmth = s.banks[A].product(&set.Banks[A], s.feed.Conductivity), s.feed.Temperature
	s.measure(&p.set)
	p.panel()
	return p, nil
}

// Now is the simulated time since the start.
func (p *Plant) Now() time.Duration { return p.now }

// Step lets dt pass. How time is cut into steps changes nothing.
func (p *Plant) Step(dt time.Duration) {
	p.now += max(dt, 0)
	for {
		at := p.s.next(&p.set)
		if at > p.now {
			return
		}
		p.s.advance(&p.set, at-p.s.now)
		p.happen()
	}
}

// happen settles an event at the present instant.
func (p *Plant) happen() {
	s := &p.s
	if s.button && s.now >= s.release {
		s.button = false
	}
	// Readings are refreshed in the dark too, so that instruments that have become warm show no old water.
	if s.now%p.set.Scan == 0 {
		s.measure(&p.set)
	}
	p.panel()
}

// act brings the plant to the present, lets a hand do something, and lets the panel see it at once: relays do not scan.
func (p *Plant) act(hand func(*state)) {
	p.s.advance(&p.set, p.now-p.s.now)
	hand(&p.s)
	p.panel()
}

// PressBypass holds the bypass button down for a time; pressed again while held it stays down for the longer of both.
func (p *Plant) PressBypass(hold time.Duration) {
	p.act(func(s *state) {
		s.button, s.release = true, max(s.release, s.now+max(hold, 1))
	})
}

// SetPower switches the control power supply. Without it the inlet shuts by its spring.
func (p *Plant) SetPower(on bool) {
	p.act(func(s *state) {
		if on && !s.powered {
			s.warm = s.now + p.set.WarmUp
		}
		s.powered = on
	})
}

// SetRinse turns the rinse valve by hand.
func (p *Plant) SetRinse(open bool) { p.act(func(s *state) { s.rinse.opens = open }) }

// SetOutlet turns the product outlet valve by hand.
func (p *Plant) SetOutlet(open bool) { p.act(func(s *state) { s.outlet.opens = open }) }

// SelectBanks turns the bank selector. With neither selected nothing flows.
func (p *Plant) SelectBanks(a, b bool) { p.act(func(s *state) { s.selected = [2]bool{a, b} }) }

// SetPressure sets the feed pressure relative to nominal, 0 to 4; 0 is a stopped pump or no supply.
func (p *Plant) SetPressure(relative float64) error {
	if !(relative >= 0 && relative <= 4) {
		return fmt.Errorf("cannot set the feed pressure to %g of nominal: use 0 to 4", relative)
	}
	p.act(func(s *state) { s.pressure = relative })
	return nil
}

// SetFeed changes the raw water.
func (p *Plant) SetFeed(f Feed) error {
	changed := p.set
	changed.Feed = f
	if err := changed.Check(); err != nil {
		return err
	}
	p.act(func(s *state) { s.feed = f })
	return nil
}

// Exchange puts other resin into both banks: used is the m3 of the present feed that have passed each (0 = fresh and
// standing). Totalizer, valves and panel stay as they are.
func (p *Plant) Exchange(used [2]float64) error {
	changed := p.set
	for i := range used {
		changed.Banks[i].Used = used[i]
	}
	if err := changed.Check(); err != nil {
		return err
	}
	p.act(func(s *state) {
		for i := range s.banks {
			s.banks[i].fresh(&p.set.Banks[i], s.feed.load(s.feed.Conductivity), used[i])
		}
	})
	return nil
}
