package words

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules"
	"ionward/rules/signal"
)

// unit is a trailer whose readings a test sets by hand and whose rule really steps.
type unit struct {
	set      rules.Settings
	state    rules.State
	readings signal.Set
	at       time.Time
	out      rules.Effects
	stuck    bool // the valves stay where they are
}

func newUnit() *unit {
	u := &unit{set: rules.Defaults(), at: time.Date(2031, 3, 9, 14, 0, 0, 0, time.UTC)}
	u.put(signal.ProductConductivity, 0.084)
	u.put(signal.FeedConductivity, 612)
	u.put(signal.Flow, signal.GallonPerMinute.Inside(148))
	for _, id := range []signal.ID{signal.ControlPower, signal.InletOpen, signal.ProductOutletOpen} {
		u.put(id, 1)
	}
	for _, id := range []signal.ID{signal.BypassButton, signal.InletShut, signal.ReliefOpen, signal.RinseOpen} {
		u.put(id, 0)
	}
	return u
}

func (u *unit) put(id signal.ID, v float64) { u.readings[id] = id.Default(v, signal.Good) }

func (u *unit) run(n int, every time.Duration) {
	for range n {
		u.at = u.at.Add(every)
		rules.Step(&u.set, &u.state, &rules.Input{Gap: every, Scan: true, Readings: u.readings}, &u.out)
		if u.stuck {
			continue
		}
		open := map[bool]float64{true: 1}
		u.put(signal.InletOpen, open[u.out.Outputs.Inlet == rules.Open])
		u.put(signal.InletShut, open[u.out.Outputs.Inlet != rules.Open])
		u.put(signal.ReliefOpen, open[u.out.Outputs.Relief == rules.Open])
	}
}

func (u *unit) press() {
	u.put(signal.BypassButton, 1)
	u.run(1, time.Second)
	u.put(signal.BypassButton, 0)
	u.run(1, time.Second)
}

// product runs on a product reading for some seconds.
func (u *unit) product(v float64, seconds int) {
	u.put(signal.ProductConductivity, v)
	u.run(seconds, time.Second)
}

func (u *unit) without(id signal.ID, r signal.Reading, seconds int) {
	u.readings[id] = r
	u.run(seconds, time.Second)
}

// stories lead a unit into each situation by way of the rule.
var stories = map[Situation]func(u *unit){
	Starting: func(*unit) {},
	Blind:    func(u *unit) { u.run(5, time.Second); u.readings, u.stuck = signal.Set{}, true; u.run(12, time.Second) },
	Good:     func(u *unit) { u.run(5, time.Second) },
	Rising:   func(u *unit) { u.product(0.5, 5) },
	Rinsing:  func(u *unit) { u.put(signal.RinseOpen, 1); u.run(5, time.Second) },
	NoFlow:   func(u *unit) { u.put(signal.Flow, 0); u.run(5, time.Second) },
	LowFlow:  func(u *unit) { u.put(signal.Flow, signal.GallonPerMinute.Inside(49)); u.run(5, time.Second) },
	NotOpened: func(u *unit) {
		u.stuck = true
		u.put(signal.InletOpen, 0)
		u.put(signal.InletShut, 1)
		u.run(35, time.Second)
	},
	Lost:          func(u *unit) { u.run(1, time.Second); u.without(signal.ProductConductivity, signal.Reading{}, 12) },
	OffSpec:       func(u *unit) { u.product(1.2, 60) },
	OffSpecBad:    func(u *unit) { u.without(signal.ProductConductivity, signal.Reading{Quality: signal.Bad}, 5) },
	OffSpecUnread: func(u *unit) { u.product(1.2, 5); u.without(signal.ProductConductivity, signal.Reading{}, 12) },
	OffSpecNone:   func(u *unit) { u.without(signal.ProductConductivity, signal.Reading{}, 5) },
	OffSpecRinse:  func(u *unit) { u.put(signal.RinseOpen, 1); u.product(1.2, 5) },
	BypassOff:     func(u *unit) { u.product(1.2, 5); u.press() },
	BypassRinse:   func(u *unit) { u.put(signal.RinseOpen, 1); u.product(1.2, 5); u.press() },
	BypassUnread: func(u *unit) {
		u.product(1.2, 5)
		u.press()
		u.without(signal.ProductConductivity, signal.Reading{}, 12)
	},
	BypassOn:      func(u *unit) { u.product(1.2, 5); u.press(); u.product(0.4, 5) },
	StoppedDelay:  func(u *unit) { u.product(1.2, 700) },
	StoppedBypass: func(u *unit) { u.product(1.2, 700); u.press(); u.run(700, time.Second) },
	StoppedKept: func(u *unit) {
		u.set.KeepTrip = true
		u.product(1.2, 700)
		u.put(signal.ControlPower, 0)
		u.run(5, time.Second)
		u.put(signal.ControlPower, 1)
		u.run(5, time.Second)
	},
	PowerLost: func(u *unit) { u.run(1, time.Second); u.put(signal.ControlPower, 0); u.run(40, time.Second) },
	NotShut:   func(u *unit) { u.stuck = true; u.product(1.2, 700) },
	ReliefNotOpen: func(u *unit) {
		u.stuck = true
		u.put(signal.InletOpen, 0)
		u.product(1.2, 600)
		u.put(signal.InletShut, 1)
		u.run(100, time.Second)
	},
}

func TestEverySituationIsReached(t *testing.T) {
	w := DefaultWatch()
	for i := range Situations {
		x := Situation(i)
		t.Run(x.String(), func(t *testing.T) {
			story, ok := stories[x]
			require.True(t, ok, "needs a story")
			u := newUnit()
			story(u)
			assert.Equal(t, x.String(), w.Situation(&u.set, &u.state).String())
		})
	}
}

func TestSentencesTellNumbersAndTimes(t *testing.T) {
	p, w := English().With(site), DefaultWatch()
	say := func(x Situation) Advice {
		u := newUnit()
		stories[x](u)
		return p.Advise(x, &w, &u.set, &u.state, u.at)
	}
	// Off spec for 60 s at 14:01:00, ten minutes from the first bad reading at 14:00:01.
	assert.Equal(t, "BAD WATER GOES TO THE USER. Product 1.200 uS/cm, limit 1.000 uS/cm. The unit stops it at 14:10 if it stays bad.", say(OffSpec).Sentence)
	assert.Equal(t, "WATER STOPPED at 14:10: product was 1.200 uS/cm, limit 1.000 uS/cm, for 10 min. Relief is running.", say(StoppedDelay).Sentence)
	assert.Equal(t, "WATER STOPPED: no control power since 14:00, the inlet shuts by itself. Not a water quality stop.", say(PowerLost).Sentence)
	assert.Equal(t, "THIS SCREEN KNOWS NOTHING OF THE UNIT since 14:00.", say(Blind).Sentence)
	assert.Equal(t, "Press RUN ON on the wired panel (10 min).", say(StoppedBypass).Steps[3])
	assert.Equal(t, "Tell the user of the water: 555-0142.", say(StoppedBypass).Steps[0])
	assert.Equal(t, "FLOW IS BELOW WHAT THIS METER CAN READ (50 gpm). Gallons are not true. Product is on spec.", say(LowFlow).Sentence)
	assert.Equal(t, "Product 0.400 uS/cm is on spec again, below 1.000 uS/cm. BYPASS time runs for another 9:54.", say(BypassOn).Sentence)

	u := newUnit()
	u.readings[signal.ReliefOpen] = signal.Reading{}
	u.stuck = true
	u.product(1.2, 601)
	assert.Contains(t, p.Advise(StoppedDelay, &w, &u.set, &u.state, u.at).Sentence, "Relief should be running.")
}

// A stop on a bad reading has no number to tell, and an old good one would lie.
func TestAStopOnABadReadingTellsNoNumber(t *testing.T) {
	p, w, u := English(), DefaultWatch(), newUnit()
	u.run(5, time.Second)
	u.without(signal.ProductConductivity, signal.Reading{Quality: signal.Bad, Cause: signal.Sentinel}, 700)
	assert.Contains(t, p.Advise(w.Situation(&u.set, &u.state), &w, &u.set, &u.state, u.at).Sentence, "product was no reading")
}

// Whatever comes in, there is a situation, and one that fits the mode: no calm word while the water is off spec, without
// power or stopped.
func TestSituationFitsTheMode(t *testing.T) {
	fits := map[rules.Mode][]Situation{
		rules.Service: {Blind, Good, Rising, Rinsing, NoFlow, LowFlow, NotOpened, Lost},
		rules.Delay:   {Blind, NotOpened, OffSpec, OffSpecBad, OffSpecUnread, OffSpecNone, OffSpecRinse},
		rules.Bypass:  {Blind, NotOpened, BypassOff, BypassRinse, BypassUnread, BypassOn},
		rules.Shut:    {Blind, StoppedDelay, StoppedBypass, StoppedKept, NotShut, ReliefNotOpen},
		rules.NoPower: {Blind, PowerLost, NotShut},
	}
	w := DefaultWatch()
	rapid.Check(t, func(t *rapid.T) {
		u := newUnit()
		u.stuck = true
		for range rapid.IntRange(1, 12).Draw(t, "stretches") {
			id := signal.ID(rapid.IntRange(0, signal.Count-1).Draw(t, "signal"))
			r := signal.Reading{Quality: signal.Quality(rapid.IntRange(0, 3).Draw(t, "quality"))}
			if r.Usable() {
				r = id.Default(rapid.SampledFrom([]float64{0, 1, 1.5, 0.2}).Draw(t, "value"), r.Quality)
			}
			u.readings[id] = r
			u.run(rapid.IntRange(1, 20).Draw(t, "scans"), time.Duration(rapid.IntRange(1, 90).Draw(t, "s"))*time.Second)
			x := w.Situation(&u.set, &u.state)
			require.Contains(t, fits[u.state.Mode], x, "%s in %s", x, u.state.Mode)
		}
	})
}
