package story

import (
	"math"
	"time"

	"ionward/rules"
	"ionward/simulate/plant"
)

// cubicFoot is exact (0.3048 m cubed), NIST SP 811 (2008) B.8.
const cubicFoot = 0.028316846592 // m3

// first is the product of bank A as the story begins, uS/cm: rising, and some minutes from the endpoint.
const first = 0.65

// Settings are the trailer of the story: a small one on hard water, so that a bed ends within minutes, but with the
// curve, the flows and the times of a real one.
func Settings() plant.Settings {
	set := plant.Defaults()
	set.Feed.Conductivity, set.Feed.Wander = 450, 0.005
	for i := range set.Banks {
		b := &set.Banks[i]
		b.Resin, b.Spread, b.Washes, b.Used = 45*cubicFoot, 0.02, 3, 0
	}
	set.Banks[plant.A].Used = used(&set)
	return set
}

// used is the throughput of bank A as the story begins: the breakthrough curve solved for the first product.
func used(set *plant.Settings) float64 {
	a, f := &set.Banks[plant.A], &set.Feed
	x := (first - a.Base) / (f.Conductivity - a.Base)
	return a.V50(f.Conductivity/f.LoadDivisor/1000) * (1 + a.Spread*math.Log(x/(1-x)))
}

// mode waits for a mode of the wired panel.
func mode(m rules.Mode) Condition { return func(t *plant.Truth) bool { return t.Rule.Mode == m } }

// rising waits for a product that somebody who looks at the trend would see coming.
func rising(t *plant.Truth) bool { return t.Readings.ProductConductivity >= 0.8 }

// good waits for water on spec that really flows past a filled cell: a drained one reads near zero.
func good(t *plant.Truth) bool { return t.OnSpec() && t.Answering && t.Flow > 0 && t.Wet > 0.9 }

// Hands are simple and cannot fail; what may fail says so.
func hand(do func(*plant.Plant)) func(*plant.Plant) error {
	return func(p *plant.Plant) error { do(p); return nil }
}

// Steps are the story, about forty simulated minutes. Each caption says what somebody who watches should look at.
func Steps() []Step {
	const s, m = time.Second, time.Minute
	return []Step{
		{Name: "good-water", For: 20 * s},
		{Name: "rising", When: rising},
		{Name: "off-spec", When: mode(rules.Delay)},
		{Name: "stopped", When: mode(rules.Shut)},
		{Name: "outlet-shut", For: 60 * s, Act: hand(func(p *plant.Plant) { p.SetOutlet(false) })},
		{Name: "fresh-bank", For: 20 * s, Act: hand(func(p *plant.Plant) { p.SelectBanks(false, true) })},
		{Name: "rinse-open", For: 20 * s, Act: hand(func(p *plant.Plant) { p.SetRinse(true) })},
		{Name: "bypass", For: 30 * s, Act: hand(func(p *plant.Plant) { p.PressBypass(2 * s) })},
		{Name: "outlet-open", When: good, For: 2 * m, Act: hand(func(p *plant.Plant) { p.SetOutlet(true) })},
		{Name: "rinse-shut", For: 15 * s, Act: hand(func(p *plant.Plant) { p.SetRinse(false) })},
		{Name: "in-service", When: mode(rules.Service)},
		{Name: "power-lost", For: 4 * m, Act: hand(func(p *plant.Plant) { p.SetPower(false) })},
		{Name: "pump-stopped", For: 20 * s, Act: func(p *plant.Plant) error {
			p.SetOutlet(false)
			return p.SetPressure(0)
		}},
		{Name: "power-back", For: 50 * s, Act: func(p *plant.Plant) error {
			p.SetPower(true)
			p.SetRinse(true)
			return p.SetPressure(1)
		}},
		{Name: "deliver-again", When: good, For: 2 * m, Act: hand(func(p *plant.Plant) { p.SetOutlet(true) })},
		{Name: "rinse-shut-again", For: 15 * s, Act: hand(func(p *plant.Plant) { p.SetRinse(false) })},
		// The stage begins as this one leaves it.
		{Name: "scene", For: 5 * m, Act: rewind},
	}
}

// rewind sets the scene for the next round: bank A near its end again, bank B fresh. No hand could do this.
func rewind(p *plant.Plant) error {
	set := Settings()
	p.SelectBanks(true, false)
	return p.Exchange([2]float64{set.Banks[plant.A].Used, 0})
}
