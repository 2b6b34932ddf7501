package plant_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules"
	"ionward/simulate/plant"
)

// deed is one thing that a hand or the world does to a plant.
type deed struct {
	name string
	do   func(*plant.Plant) error
}

var deeds = []deed{
	{"rinse open", func(p *plant.Plant) error { p.SetRinse(true); return nil }},
	{"rinse shut", func(p *plant.Plant) error { p.SetRinse(false); return nil }},
	{"outlet open", func(p *plant.Plant) error { p.SetOutlet(true); return nil }},
	{"outlet shut", func(p *plant.Plant) error { p.SetOutlet(false); return nil }},
	{"bank A", func(p *plant.Plant) error { p.SelectBanks(true, false); return nil }},
	{"bank B", func(p *plant.Plant) error { p.SelectBanks(false, true); return nil }},
	{"both banks", func(p *plant.Plant) error { p.SelectBanks(true, true); return nil }},
	{"no bank", func(p *plant.Plant) error { p.SelectBanks(false, false); return nil }},
	{"power off", func(p *plant.Plant) error { p.SetPower(false); return nil }},
	{"power on", func(p *plant.Plant) error { p.SetPower(true); return nil }},
	{"press", func(p *plant.Plant) error { p.PressBypass(700 * time.Millisecond); return nil }},
	{"long press", func(p *plant.Plant) error { p.PressBypass(90 * time.Second); return nil }},
	{"pump off", func(p *plant.Plant) error { return p.SetPressure(0) }},
	{"pump on", func(p *plant.Plant) error { return p.SetPressure(1) }},
	{"weak pump", func(p *plant.Plant) error { return p.SetPressure(0.02) }},
	{"hard feed", func(p *plant.Plant) error {
		return p.SetFeed(plant.Feed{Conductivity: 900, Temperature: 12, LoadDivisor: 2.5})
	}},
}

// day draws a sequence of deeds and the times between them.
func day(t *rapid.T) (does []deed, waits []time.Duration) {
	for range rapid.IntRange(0, 25).Draw(t, "deeds") {
		does = append(does, rapid.SampledFrom(deeds).Draw(t, "deed"))
		waits = append(waits, time.Duration(rapid.Int64Range(1, int64(15*time.Minute)).Draw(t, "wait")))
	}
	return does, waits
}

// nearly is a trailer whose bank A is about to break through, so that a day sees delays and stops.
func nearly(seed uint64) plant.Settings {
	set := plant.Defaults()
	set.Seed, set.Banks[plant.A].Used = seed, 540
	return set
}

func near(t *rapid.T, what string, a, b float64) {
	if math.Abs(a-b) > 1e-9*max(1, math.Abs(a)) {
		t.Fatalf("%s: %g is not %g", what, a, b)
	}
}

// Whatever is done: the ions fed are retained or passed, the water that enters leaves, and volumes never shrink.
func TestConservation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, err := plant.New(nearly(1))
		require.NoError(t, err)
		from := p.Truth()
		before := from
		does, waits := day(t)
		for i, d := range does {
			require.NoError(t, d.do(p))
			p.Step(waits[i])
			now := p.Truth()
			through := 0.0
			for j, b := range now.Banks {
				near(t, "kg fed = retained + passed", b.Fed, b.Retained+b.Passed)
				through += b.Through - from.Banks[j].Through
				if b.Fed < before.Banks[j].Fed || b.Passed < before.Banks[j].Passed || b.Retained < before.Banks[j].Retained-1e-9 {
					t.Fatalf("after %q bank %d lost ions: %+v, before %+v", d.name, j, b, before.Banks[j])
				}
			}
			v, w := now.Volumes, before.Volumes
			near(t, "in = through the banks", v.In, through)
			near(t, "in = delivered + rinsed", v.In, v.Delivered+v.Rinsed)
			if v.Counted > v.In+1e-9 || v.Delivered < w.Delivered || v.Rinsed < w.Rinsed || v.Relieved < w.Relieved || v.Counted < w.Counted {
				t.Fatalf("after %q the volumes make no sense: %+v, before %+v", d.name, v, w)
			}
			before = now
		}
	})
}

// Cutting time into steps of any size, and looking meanwhile, changes no bit.
func TestCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64().Draw(t, "seed")
		whole, err := plant.New(nearly(seed))
		require.NoError(t, err)
		cut, err := plant.New(nearly(seed))
		require.NoError(t, err)
		does, waits := day(t)
		for i, d := range does {
			require.NoError(t, d.do(whole))
			require.NoError(t, d.do(cut))
			whole.Step(waits[i])
			for left := waits[i]; left > 0; {
				piece := min(left, time.Duration(rapid.Int64Range(1, int64(5*time.Minute)).Draw(t, "piece")))
				cut.Step(piece)
				cut.Truth()
				left -= piece
			}
			if a, b := whole.Truth(), cut.Truth(); a != b {
				t.Fatalf("after %q at %v:\nwhole %+v\ncut   %+v", d.name, whole.Now(), a, b)
			}
		}
	})
}

// The panel is the rule: open needs power, the relief is driven open only by a trip, and the valves follow.
func TestPanelLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, err := plant.New(nearly(3))
		require.NoError(t, err)
		does, waits := day(t)
		for i, d := range does {
			require.NoError(t, d.do(p))
			for range int(min(waits[i], 90*time.Second) / time.Second) {
				p.Step(time.Second)
				now := p.Truth()
				if now.Outputs != now.Mode().Outputs() || (now.Mode() == rules.NoPower) == now.Powered {
					t.Fatalf("after %q in %v with power %v the panel drives %+v", d.name, now.Mode(), now.Powered, now.Outputs)
				}
				if now.Inlet.Shut && now.Flow != 0 || now.Relief.Shut && now.ReliefFlow != 0 || !now.Answering && now.Signals[0].Usable() {
					t.Fatalf("after %q water passes a shut valve or a dark analyzer answers: %+v", d.name, now)
				}
			}
		}
	})
}

// The seed makes the noise and nothing else.
func TestSeed(t *testing.T) {
	one, same, other := start(t, nearly(1)), start(t, nearly(1)), start(t, nearly(2))
	differs := 0
	for range 120 {
		for _, p := range []*plant.Plant{one, same, other} {
			p.Step(time.Second)
		}
		a, b, c := one.Truth(), same.Truth(), other.Truth()
		require.Equal(t, a, b)
		require.Equal(t, a.Volumes, c.Volumes)
		require.Equal(t, a.Banks, c.Banks)
		require.InDelta(t, a.Product*a.Wet, c.Readings.ProductConductivity, 0.001*(a.Product+0.3))
		if a.Readings.ProductConductivity != c.Readings.ProductConductivity {
			differs++
		}
	}
	require.Greater(t, differs, 110)
}
