package rules

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// scene is a trailer whose readings a test moves by hand, scanned once a second.
type scene struct {
	set    Settings
	state  State
	out    Effects
	in     Input
	values map[signal.ID]signal.Reading
	events []Event
	begun  bool
}

// newScene is a trailer in service: bank A at 100 gpm, good water, every contact wired.
func newScene() *scene {
	c := &scene{set: Defaults(), values: map[signal.ID]signal.Reading{}}
	for id, v := range map[signal.ID]float64{
		signal.FeedConductivity: 300, signal.ProductConductivity: 0.2, signal.FeedTemperature: 20, signal.ProductTemperature: 20,
		signal.ControlPower: 1, signal.BankA: 1, signal.BankB: 0, signal.RinseOpen: 0, signal.ProductOutletOpen: 1,
		signal.BypassButton: 0,
	} {
		c.to(id, v)
	}
	c.gpm(100)
	return c
}

func (c *scene) to(id signal.ID, v float64) *scene {
	c.values[id] = id.Default(v, signal.Good)
	return c
}

func (c *scene) quality(id signal.ID, q signal.Quality) *scene {
	c.values[id] = id.Default(c.values[id].Value, q)
	return c
}

func (c *scene) gpm(v float64) *scene { return c.to(signal.Flow, signal.GallonPerMinute.Inside(v)) }

// step lets d pass with one scan at its end, and what a test puts into it.
func (c *scene) step(d time.Duration, with ...func(*Input)) *scene {
	c.in = Input{Scan: true, Gap: d}
	for id, r := range c.values {
		c.in.Readings[id] = r
	}
	for _, w := range with {
		w(&c.in)
	}
	Step(&c.set, &c.state, &c.in, &c.out)
	c.events = append(c.events, c.out.Events...)
	return c
}

// run scans every second for d.
func (c *scene) run(d time.Duration) *scene {
	if !c.begun {
		c.begun = true
		c.step(0)
	}
	for ; d >= time.Second; d -= time.Second {
		c.step(time.Second)
	}
	if d > 0 {
		c.step(d)
	}
	return c
}

func (c *scene) order(verb Verb, id alarm.ID, text string) *scene {
	return c.step(0, func(in *Input) { in.Orders = []Order{{Who: "Ana Rey", Verb: verb, Alarm: id, Text: text}} })
}

// press holds the bypass button for a second.
func (c *scene) press() *scene {
	c.to(signal.BypassButton, 1).run(time.Second)
	return c.to(signal.BypassButton, 0)
}

func (c *scene) phase(id alarm.ID) string { return c.state.Alarms[id].Phase.String() }

func (c *scene) priority(id alarm.ID) string {
	return c.state.Alarms[id].Priority(&c.set.Alarms[id]).String()
}

// changes tells the changes of one alarm since the last call for any, as "at was>now priority code".
func (c *scene) changes(id alarm.ID) (list []string) {
	for _, e := range c.events {
		if e.Kind == AlarmChange && e.Alarm == id {
			list = append(list, fmt.Sprintf("%v %s>%s %s %s", e.At, e.Was, e.Now, e.Priority, e.Reason.Code))
		}
	}
	c.events = nil
	return list
}

// becomes requires that an alarm is normal until just before an instant and active from then on.
func (c *scene) becomes(t *testing.T, id alarm.ID, after time.Duration) {
	t.Helper()
	c.run(after - time.Second)
	require.Equal(t, "normal", c.phase(id), "%s a second before its time", id)
	c.run(time.Second)
	require.Equal(t, "unacknowledged", c.phase(id), "%s after %v", id, after)
}

// never requires that an alarm is not raised within d.
func (c *scene) never(t *testing.T, id alarm.ID, d time.Duration) {
	t.Helper()
	c.run(d)
	require.False(t, c.state.Alarms[id].Phase.Active(), "%s is %s", id, c.phase(id))
}

// clears requires that an alarm is active until just before an instant and not from then on.
func (c *scene) clears(t *testing.T, id alarm.ID, after time.Duration) {
	t.Helper()
	if after > 0 {
		c.run(after - time.Second)
		require.True(t, c.state.Alarms[id].Phase.Active(), "%s a second before its time", id)
	}
	c.run(time.Second)
	require.False(t, c.state.Alarms[id].Phase.Active(), "%s is %s", id, c.phase(id))
}

func TestAServiceWithoutTroubleRaisesNothing(t *testing.T) {
	c := newScene()
	total := 1000.0
	for i := range 3 * 3600 {
		total += signal.GallonPerMinute.Inside(100) / 3600
		c.to(signal.ProductConductivity, 0.2+float64(i%7)/1000).to(signal.Total, total)
		c.run(time.Second)
	}
	for _, e := range c.events {
		require.NotEqual(t, AlarmChange, e.Kind, "%v %s %s", e.At, e.Alarm, e.Now)
	}
}
