package screen

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/agent"
	"ionward/agent/words"
	"ionward/rules"
	"ionward/rules/signal"
)

// unit is a trailer whose readings a test sets by hand and whose rule really steps.
type unit struct {
	latest   agent.Latest
	set      rules.Settings
	state    rules.State
	readings signal.Set
	at       time.Time
	out      rules.Effects
	orders   []rules.Order
	eyes     *Screen // sees every step, nil = nobody
}

func newUnit() *unit {
	u := &unit{set: rules.Defaults(), at: time.Date(2031, 3, 9, 13, 20, 0, 0, time.UTC)}
	u.analog(signal.FeedConductivity, 612.4)
	u.analog(signal.ProductConductivity, 0.084)
	u.analog(signal.Flow, signal.GallonPerMinute.Inside(148))
	for _, id := range []signal.ID{signal.ControlPower, signal.BankA, signal.InletOpen, signal.ProductOutletOpen} {
		u.analog(id, 1)
	}
	for _, id := range []signal.ID{signal.BypassButton, signal.BankB, signal.InletShut, signal.ReliefOpen, signal.RinseOpen} {
		u.analog(id, 0)
	}
	return u
}

// analog sets a good reading.
func (u *unit) analog(id signal.ID, v float64) { u.readings[id] = id.Default(v, signal.Good) }

// lose makes signals unread.
func (u *unit) lose(ids ...signal.ID) {
	for _, id := range ids {
		u.readings[id] = signal.Reading{Cause: signal.TimedOut}
	}
}

// run steps n scans of a length and lets the valves follow the rule at once.
func (u *unit) run(n int, every time.Duration) {
	for range n {
		u.at = u.at.Add(every)
		in := rules.Input{Gap: every, At: u.at.UnixNano(), Scan: true, Readings: u.readings, Orders: u.orders}
		rules.Step(&u.set, &u.state, &in, &u.out)
		u.orders = nil
		u.follow()
		u.show()
	}
}

// follow moves the switches that are wired to where the rule drives the valves.
func (u *unit) follow() {
	move := func(id signal.ID, on bool) {
		if u.readings[id].Quality == signal.Good {
			u.analog(id, map[bool]float64{true: 1}[on])
		}
	}
	move(signal.InletOpen, u.out.Outputs.Inlet == rules.Open)
	move(signal.InletShut, u.out.Outputs.Inlet != rules.Open)
	move(signal.ReliefOpen, u.out.Outputs.Relief == rules.Open)
}

func (u *unit) show() {
	snap := &agent.Snapshot{
		Trailer: "T-17", Simulation: true, Epoch: "e", At: u.at.UnixNano(), Settings: u.set, State: u.state,
		Outputs: u.out.Outputs,
	}
	u.latest.Put(snap)
	if u.eyes != nil {
		u.eyes.see(snap)
	}
}

// press holds the bypass button for one scan.
func (u *unit) press() {
	u.analog(signal.BypassButton, 1)
	u.run(1, time.Second)
	u.analog(signal.BypassButton, 0)
	u.run(1, time.Second)
}

// breakthrough lets product climb from good water to a value, with noise that no random number makes.
func (u *unit) breakthrough(to float64, minutes int) {
	from := u.readings[signal.ProductConductivity].Value
	for i := range minutes * 12 {
		f := float64(i+1) / float64(minutes*12)
		u.analog(signal.ProductConductivity, from+(to-from)*f*f*f+0.012*float64((i*7)%5-2)*f)
		u.run(1, 5*time.Second)
	}
}

// phrases of the test site: invented numbers from the range kept for fiction.
func phrases(t testing.TB, language string) *words.Phrases {
	p, err := words.Load(language)
	require.NoError(t, err)
	return p.With(words.Settings{User: "555-0142", Service: "555-0117", ControlRoom: "555-0100"})
}

func newScreen(t testing.TB, u *unit, change func(*Settings)) *Screen {
	set := Settings{Latest: &u.latest, Phrases: phrases(t, "en"), Simulation: true, AgreedBy: "R. Okonjo, 3 Mar", Version: "0.1", Silence: time.Hour}
	if change != nil {
		change(&set)
	}
	s := New(set)
	u.eyes = s
	return s
}
