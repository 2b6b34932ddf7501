package screen

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent/words"
	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// tell runs a unit by a story and gives what the screen shows.
func tell(t *testing.T, story func(u *unit)) map[string]string {
	u := newUnit()
	s := newScreen(t, u, nil)
	u.run(2, time.Second)
	story(u)
	return s.view().fields
}

func TestNumbersThatAreNotNowAreMarked(t *testing.T) {
	f := tell(t, func(u *unit) { u.lose(signal.FeedConductivity); u.run(2, time.Second) })
	assert.Equal(t, "good", f["feed.is"], "a lost poll or two is not stale yet")
	f = tell(t, func(u *unit) { u.lose(signal.FeedConductivity); u.run(40, time.Second) })
	assert.Equal(t, []string{"612.4", "old", "40 s old"}, []string{f["feed"], f["feed.is"], f["feed.note"]})
	f = tell(t, func(u *unit) {
		u.readings[signal.ProductConductivity] = signal.Reading{Quality: signal.Bad, Cause: signal.Sentinel}
		u.run(3, time.Second)
	})
	assert.Equal(t, []string{"0.084", "bad", "says no sensor", "unknown"}, []string{f["product"], f["product.is"], f["product.note"], f["bar.is"]})
	f = tell(t, func(u *unit) { u.readings[signal.Flow].Quality = signal.Uncertain; u.run(1, time.Second) })
	assert.Equal(t, []string{"148", "uncertain", "uncertain"}, []string{f["flow"], f["flow.is"], f["flow.note"]})
	f = tell(t, func(u *unit) { u.analog(signal.Flow, signal.GallonPerMinute.Inside(32)); u.run(1, time.Second) })
	assert.Equal(t, []string{"32", "yes", "LOW FLOW"}, []string{f["flow"], f["flow.low"], f["word"]})

	u := newUnit()
	u.lose(signal.FeedConductivity)
	s := newScreen(t, u, nil)
	u.run(1, time.Second)
	assert.Equal(t, "none", s.view().fields["feed.is"], "never read")
	assert.NotContains(t, s.view().fields["feed"], "0", "no number stands for a missing one")
}

func TestValvesInWords(t *testing.T) {
	f := tell(t, func(*unit) {})
	assert.Equal(t, []string{"open", "shut", "shut", "open", "in use", "standing"},
		[]string{f["inlet"], f["relief"], f["rinse"], f["outlet"], f["bank_a"], f["bank_b"]})
	assert.Equal(t, []string{"yes", "yes", "no", "no"}, []string{f["wet"], f["wet.out"], f["wet.rinse"], f["wet.relief"]})

	f = tell(t, func(u *unit) { u.analog(signal.ProductConductivity, 1.2); u.run(650, time.Second) })
	assert.Equal(t, []string{"shut", "no", "open", "no"}, []string{f["inlet"], f["inlet.odd"], f["relief"], f["relief.odd"]})
	assert.Equal(t, []string{"no", "no", "yes"}, []string{f["wet"], f["wet.out"], f["wet.relief"]})

	// Without switches nothing is claimed, only what is to be expected.
	f = tell(t, func(u *unit) { u.lose(signal.InletOpen, signal.InletShut, signal.ReliefOpen); u.run(12, time.Second) })
	assert.Equal(t, []string{"not seen", "should be open", "not seen", "yes"}, []string{f["inlet"], f["inlet.note"], f["relief"], f["wet"]})

	// Switches that contradict the rule are shown as fact, and marked.
	f = tell(t, func(u *unit) {
		u.run(40, time.Second)
		u.analog(signal.ReliefOpen, 1)
		u.state.Signals[signal.ReliefOpen].Value = 1
		u.show()
	})
	assert.Equal(t, []string{"open", "yes"}, []string{f["relief"], f["relief.odd"]})
}

func TestInletSwitches(t *testing.T) {
	w := words.DefaultWatch()
	for _, c := range []struct {
		open, shut float64 // below 0 = not wired
		want       string
	}{
		{1, 0, "open"}, {0, 1, "shut"}, {0, 0, "moving"}, {1, 1, "conflict"}, {1, -1, "open"}, {0, -1, "not_open"}, {-1, 1, "shut"},
		{-1, 0, "not_shut"}, {-1, -1, "unseen"},
	} {
		var st rules.State
		for id, v := range map[signal.ID]float64{signal.InletOpen: c.open, signal.InletShut: c.shut} {
			if v >= 0 {
				st.Signals[id] = rules.Held{Value: v, Known: true, Quality: signal.Good}
			}
		}
		assert.Equal(t, c.want, inlet(&w, &st), "open %v shut %v", c.open, c.shut)
	}
}

// White on red stays with what is High on this site.
func TestTonesFollowThePriorities(t *testing.T) {
	stop := func(u *unit) { u.analog(signal.ProductConductivity, 1.2); u.run(650, time.Second) }
	assert.Equal(t, "calm", tell(t, func(*unit) {})["tone"])
	assert.Equal(t, "medium", tell(t, func(u *unit) { u.analog(signal.ProductConductivity, 1.2); u.run(2, time.Second) })["tone"], "a dip is not yet an alarm")
	assert.Equal(t, "high", tell(t, func(u *unit) { u.analog(signal.ProductConductivity, 1.2); u.run(10, time.Second) })["tone"])
	assert.Equal(t, "high", tell(t, stop)["tone"])
	assert.Equal(t, "medium", tell(t, func(u *unit) { stop(u); u.press() })["tone"])
	assert.Equal(t, "medium", tell(t, func(u *unit) { u.set.Alarms[alarm.StoppedOffSpec].Priority = alarm.Medium; stop(u) })["tone"], "this user has a tank")
}

// One alarm is shown, the one that most wants somebody; its button does what is possible next.
func TestTheAlarmThatIsShown(t *testing.T) {
	u := newUnit()
	s := newScreen(t, u, nil)
	pick := func(keys ...string) (list []string) {
		f := s.view().fields
		for _, k := range keys {
			list = append(list, f[k])
		}
		return list
	}
	order := func(v rules.Verb, id alarm.ID) {
		u.orders = []rules.Order{{Who: here, Verb: v, Alarm: id}}
		u.run(1, time.Second)
	}
	u.run(1, time.Second)
	assert.Equal(t, []string{"No alarm", "none", ""}, pick("alarm", "alarm.is", "alarm.verb"))
	u.analog(signal.ProductConductivity, 1.2)
	u.run(650, time.Second)
	assert.Equal(t, []string{"stopped-off-spec", "high", "acknowledge", "Acknowledge"}, pick("alarm.name", "alarm.is", "alarm.verb", "alarm.button"))
	order(rules.Acknowledge, alarm.StoppedOffSpec)
	assert.Equal(t, []string{"stopped-off-spec", "acknowledged", ""}, pick("alarm.name", "alarm.phase", "alarm.verb"))
	u.press()
	assert.Equal(t, "bypass-on", pick("alarm.name")[0], "what nobody acknowledged comes first")
	order(rules.Acknowledge, alarm.BypassOn)
	u.analog(signal.ProductConductivity, 0.2)
	u.run(700, time.Second)
	for range alarm.Count { // whatever else came up on the way
		if f := s.view().fields; f["alarm.verb"] == "acknowledge" {
			id, ok := alarm.Parse(f["alarm.name"])
			require.True(t, ok)
			order(rules.Acknowledge, id)
		}
	}
	assert.Equal(t, []string{"stopped-off-spec", "reset", "Reset"}, pick("alarm.name", "alarm.verb", "alarm.button"))
	order(rules.Reset, alarm.StoppedOffSpec)
	assert.Equal(t, []string{"No alarm"}, pick("alarm"))
}

func TestWhyTellsTheReasonAndSinceWhen(t *testing.T) {
	f := tell(t, func(u *unit) { u.analog(signal.ProductConductivity, 1.2); u.run(650, time.Second) })
	assert.Equal(t, "Off spec for 10 min without a break.", f["why"])
	assert.Equal(t, "STOPPED since 13:30:03", f["why.since"])
}

// A reader hears a change once, not every number and every second.
func TestWhatIsAnnouncedHasNoNumbers(t *testing.T) {
	u := newUnit()
	s := newScreen(t, u, nil)
	u.analog(signal.ProductConductivity, 1.2)
	u.run(30, time.Second)
	said := s.view().fields["announce"]
	for i := range 20 {
		u.analog(signal.ProductConductivity, 1.2+float64(i)/100)
		u.run(1, time.Second)
		assert.Equal(t, said, s.view().fields["announce"])
	}
	assert.Equal(t, "OFF SPEC. HIGH: OFF SPEC, not acknowledged", said)
}

// The law of the screen, for any history: off spec is never shown calm, on spec never shown as the endpoint or above, a
// countdown stands exactly while a stop approaches, and the state word fits.
func TestWhatTheScreenNeverDoes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := newUnit()
		s := New(Settings{Latest: &u.latest, Silence: time.Hour})
		for range rapid.IntRange(1, 15).Draw(t, "stretches") {
			id := rapid.SampledFrom([]signal.ID{
				signal.ProductConductivity, signal.ProductConductivity, signal.ControlPower, signal.BypassButton, signal.Flow, signal.RinseOpen,
			}).Draw(t, "signal")
			q := rapid.SampledFrom([]signal.Quality{signal.Good, signal.Good, signal.Uncertain, signal.Bad, signal.None}).Draw(t, "quality")
			r := signal.Reading{Quality: q}
			if r.Usable() {
				r = id.Default(float64(rapid.IntRange(0, 2500).Draw(t, "value"))/1000, q)
				if id.Contact() {
					r.Value = float64(rapid.IntRange(0, 1).Draw(t, "contact"))
				}
			}
			u.readings[id] = r
			u.run(rapid.IntRange(1, 30).Draw(t, "scans"), time.Duration(rapid.IntRange(1, 40).Draw(t, "s"))*time.Second)
			v, st := s.view(), &u.state
			off := st.Mode != rules.Service && !(st.Mode == rules.Bypass && !st.Off())
			if off {
				require.NotEqual(t, "calm", v.fields["tone"], st.Mode)
				require.NotEqual(t, "GOOD WATER", v.fields["word"], st.Mode)
			}
			if st.Powered && !st.Off() && st.Signals[signal.ProductConductivity].Known {
				require.Less(t, v.fields["product"], "1.000")
			}
			left, approaches := st.TimeLeft(&u.set)
			if v.fields["tone"] != "blind" && v.fields["word"] != "NO WATER" {
				require.Equal(t, approaches, v.left >= 0)
				if approaches {
					require.InDelta(t, left.Seconds(), v.left.Seconds(), 5)
				}
			}
			require.LessOrEqual(t, len(v.fields["word"]), 12)
		}
	})
}
