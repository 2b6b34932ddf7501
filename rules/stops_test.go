package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

const (
	sec  = time.Second
	mins = time.Minute
)

func TestOffSpecIsLowWhileItGoesToTheDrain(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5)
	c.run(6 * sec)
	require.Equal(t, "high", c.priority(alarm.OffSpec))
	c.order(Acknowledge, alarm.OffSpec, "")
	c.to(signal.RinseOpen, 1).run(10 * sec)
	require.Equal(t, "high", c.priority(alarm.OffSpec), "the outlet is open: some of it goes to the user")
	c.to(signal.ProductOutletOpen, 0).run(sec)
	require.Equal(t, "low", c.priority(alarm.OffSpec))
	require.Equal(t, "acknowledged", c.phase(alarm.OffSpec))
	c.quality(signal.ProductOutletOpen, signal.None).run(sec)
	require.Equal(t, "high", c.priority(alarm.OffSpec), "not seen shut any more")
	require.Equal(t, "unacknowledged", c.phase(alarm.OffSpec), "seen at Low is not seen at High")
	require.Equal(t, []string{
		"5s normal>unacknowledged high off_spec", "6s unacknowledged>acknowledged high off_spec",
		"17s acknowledged>acknowledged low off_spec", "18s acknowledged>unacknowledged high off_spec",
	}, c.changes(alarm.OffSpec))
}

func TestStorageMakesAStopMediumUntilTheTankIsEmpty(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5)
	c.run(sec).order(Storage, 0, "2h in the tank")
	c.run(10 * mins)
	require.Equal(t, Shut, c.state.Mode)
	require.Equal(t, "medium", c.priority(alarm.StoppedOffSpec))
	c.order(Acknowledge, alarm.StoppedOffSpec, "").run(2*time.Hour - 3*sec)
	require.Equal(t, "medium", c.priority(alarm.StoppedOffSpec))
	c.to(signal.ControlPower, 0).run(10 * sec)
	require.Equal(t, "high", c.priority(alarm.ControlPowerLost), "the tank has been emptying since the stop")
	c.order(Storage, 0, "1h").run(sec)
	require.Equal(t, "high", c.priority(alarm.ControlPowerLost), "less than it has lasted already")
	c.order(Storage, 0, "6h")
	require.Equal(t, "medium", c.priority(alarm.ControlPowerLost))
	c.order(Storage, 0, "0h")
	require.Equal(t, "high", c.priority(alarm.ControlPowerLost))
}

func TestAStopIsHighAgainWhenTheTankIsEmpty(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5)
	c.run(10*mins).order(Storage, 0, "30m").order(Acknowledge, alarm.StoppedOffSpec, "seen")
	c.changes(alarm.StoppedOffSpec)
	Step(&c.set, &c.state, &Input{Gap: time.Hour}, &c.out) // nobody scans: the deadline comes by itself
	c.events = c.out.Events
	require.Equal(t, []string{"40m0s acknowledged>unacknowledged high off_spec_for_delay"}, c.changes(alarm.StoppedOffSpec))
}

func TestStorageThatCannotBeReadHasNoEffect(t *testing.T) {
	c := newScene().run(sec)
	for _, text := range []string{"", "six hours", "-1h", "9000h", "6"} {
		c.order(Storage, 0, text)
		require.False(t, c.out.Events[0].Accepted, text)
		require.Zero(t, c.state.Watch.Storage)
	}
}

func TestABypassCallsAgainTwoMinutesBeforeItsEnd(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5)
	c.run(10 * sec).press().run(sec) // accepted at 11 s
	require.Equal(t, "unacknowledged", c.phase(alarm.BypassOn))
	c.order(Acknowledge, alarm.BypassOn, "").order(Silence, alarm.OffSpec, "")
	c.run(8*mins - 2*sec)
	require.Equal(t, "acknowledged", c.phase(alarm.BypassOn))
	c.run(sec)
	require.Equal(t, "unacknowledged", c.phase(alarm.BypassOn))
	c.order(Acknowledge, alarm.BypassOn, "").run(mins)
	require.Equal(t, "acknowledged", c.phase(alarm.BypassOn), "once is enough")
	require.Equal(t, []string{
		"11s normal>unacknowledged medium press_accepted", "12s unacknowledged>acknowledged medium press_accepted",
		"8m11s acknowledged>unacknowledged medium press_accepted", "8m11s unacknowledged>acknowledged medium press_accepted",
	}, c.changes(alarm.BypassOn))
}

func TestReliefRunning(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5)
	c.run(10 * mins)
	c.becomes(t, alarm.ReliefRunning, 30*mins)
	c.to(signal.ReliefOpen, 0).clears(t, alarm.ReliefRunning, 0)

	c = newScene().to(signal.ProductConductivity, 1.5)
	c.run(40*mins).to(signal.ControlPower, 0).run(sec)
	require.Equal(t, "suppressed", c.phase(alarm.ReliefRunning))
}

func TestSuppressionByDesignOfTheStop(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5)
	c.run(10 * mins)
	require.Equal(t, "suppressed", c.phase(alarm.OffSpec))
	c.to(signal.ControlPower, 0).run(3 * sec)
	for _, id := range []alarm.ID{alarm.OffSpec, alarm.StoppedOffSpec, alarm.BypassOn, alarm.ProductReadingLost} {
		require.Equal(t, "suppressed", c.phase(id), id)
	}
	require.Equal(t, "unacknowledged", c.phase(alarm.ControlPowerLost))
}

// An alarm that is normal has nothing to suppress: a stop must not bury what matters under such records.
func TestNormalAlarmsAreNotRecordedAsSuppressed(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 0.4).run(sec).to(signal.ControlPower, 0).gpm(0).run(sec)
	for _, e := range c.events {
		if e.Kind == AlarmChange {
			require.NotZero(t, recorded>>e.Alarm&1, "%s", e.Alarm)
		}
	}
}

func TestOrders(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5).run(6 * sec)
	for _, o := range []struct {
		verb     Verb
		id       alarm.ID
		text     string
		accepted bool
		phase    string
		code     Code
	}{
		{Shelve, alarm.OffSpec, "", false, "unacknowledged", ShelfTime},
		{Shelve, alarm.OffSpec, "9h too long", false, "unacknowledged", ShelfTime},
		{Shelve, alarm.OffSpec, "0s", false, "unacknowledged", ShelfTime},
		{Shelve, alarm.OffSpec, "2h we know", true, "shelved", OffSpec},
		{Acknowledge, alarm.OffSpec, "", false, "shelved", OffSpec},
		{Shelve, alarm.OffSpec, "8h", true, "shelved", OffSpec},
		{Unshelve, alarm.OffSpec, "", true, "unacknowledged", OffSpec},
		{Unshelve, alarm.OffSpec, "", false, "unacknowledged", OffSpec},
		{Silence, alarm.OffSpec, "", true, "unacknowledged", OffSpec},
		{Silence, alarm.OffSpec, "", false, "unacknowledged", OffSpec},
		{OutOfService, alarm.OffSpec, "being mended", true, "out-of-service", OffSpec},
		{Shelve, alarm.OffSpec, "1h", false, "out-of-service", ShelfTime},
		{OutOfService, alarm.OffSpec, "", false, "out-of-service", OffSpec},
		{InService, alarm.OffSpec, "", true, "normal", OffSpec},
		{InService, alarm.OffSpec, "", false, "normal", OffSpec},
		{Reset, alarm.OffSpec, "", false, "normal", OffSpec},
		{Acknowledge, alarm.User(3), "there is none", false, "normal", NoReason},
		{Note, alarm.OffSpec, "rinsed by hand", true, "normal", NoReason},
		{AnswerYes, alarm.OffSpec, "nobody asked", false, "normal", OffSpec},
	} {
		c.order(o.verb, o.id, o.text)
		e := c.out.Events[len(c.out.Events)-1]
		for _, x := range c.out.Events {
			if x.Kind == OrderDone {
				e = x
			}
		}
		require.Equal(t, OrderDone, e.Kind)
		require.Equal(t, o.accepted, e.Accepted, "%v %q", o.verb, o.text)
		require.Equal(t, o.code, e.Reason.Code, "%v %q", o.verb, o.text)
		require.Equal(t, o.phase, c.phase(o.id), "%v %q", o.verb, o.text)
		require.Equal(t, "Ana Rey", e.Order.Who)
	}
	c.run(5 * sec)
	require.Equal(t, "unacknowledged", c.phase(alarm.OffSpec), "back in service the on-delay begins anew")
}

func TestTheHorn(t *testing.T) {
	c := newScene().run(sec)
	_, sounds := c.state.Sounds(&c.set)
	require.False(t, sounds)
	c.to(signal.ProductConductivity, 1.5).to(signal.FeedTemperature, 41).run(6 * mins) // off spec High, temperature Low
	loudest, sounds := c.state.Sounds(&c.set)
	require.True(t, sounds)
	require.Equal(t, alarm.High, loudest)
	c.order(Silence, alarm.OffSpec, "")
	loudest, sounds = c.state.Sounds(&c.set)
	require.True(t, sounds)
	require.Equal(t, alarm.Low, loudest)
	c.order(Acknowledge, alarm.Temperature, "")
	_, sounds = c.state.Sounds(&c.set)
	require.False(t, sounds)
}

func TestAShelfGivesTheAlarmBackByItself(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5).run(6 * sec)
	c.order(Acknowledge, alarm.OffSpec, "").order(Shelve, alarm.OffSpec, "5m looked at")
	left, ok := c.state.NextDeadline(&c.set)
	require.True(t, ok)
	require.LessOrEqual(t, left, 5*mins)
	c.changes(alarm.OffSpec)
	Step(&c.set, &c.state, &Input{Gap: 6 * mins}, &c.out)
	c.events = c.out.Events
	require.Equal(t, []string{"5m6s shelved>unacknowledged high shelf_over"}, c.changes(alarm.OffSpec))
}

func TestAnAlarmThatIsNotEnabledIsNeverRaised(t *testing.T) {
	c := newScene()
	c.set.Alarms[alarm.OffSpec].Disabled = true
	c.to(signal.ProductConductivity, 1.5).never(t, alarm.OffSpec, 9*mins)
}

func TestAnOrderBeforeTheFirstScanHolds(t *testing.T) {
	c := newScene()
	c.in = Input{Orders: []Order{{Who: "x", Verb: Shelve, Alarm: alarm.OffSpec, Text: "1h"}}}
	Step(&c.set, &c.state, &c.in, &c.out)
	c.to(signal.ProductConductivity, 1.5).run(9 * mins)
	require.Equal(t, "shelved", c.phase(alarm.OffSpec))
}
