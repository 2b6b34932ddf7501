package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

func TestFlowTooHigh(t *testing.T) {
	c := newScene().gpm(150).run(10 * mins)
	require.Equal(t, "normal", c.phase(alarm.FlowTooHigh), "150 gpm is what one bank carries")
	c.gpm(150.1).becomes(t, alarm.FlowTooHigh, 61*sec)
	require.Equal(t, FlowAboveOneBank, c.events[len(c.events)-1].Reason.Code)
	c.gpm(142.1).run(mins)
	require.Equal(t, "unacknowledged", c.phase(alarm.FlowTooHigh))
	c.gpm(142).clears(t, alarm.FlowTooHigh, 0)

	c = newScene().to(signal.BankB, 1).gpm(300)
	c.never(t, alarm.FlowTooHigh, 10*mins) // both banks, hoses not recorded
	c = newScene().to(signal.BankB, 1).gpm(300)
	c.set.Setup.Hoses = 1
	c.becomes(t, alarm.FlowTooHigh, 60*sec)
	require.Equal(t, FlowAboveOneHose, c.events[len(c.events)-1].Reason.Code)
	c = newScene().gpm(300)
	delete(c.values, signal.BankB)
	c.never(t, alarm.FlowTooHigh, 10*mins) // who knows whether bank B is selected
}

func TestFlowTooLow(t *testing.T) {
	c := newScene().gpm(50).run(10 * mins)
	c.gpm(49.9).becomes(t, alarm.FlowTooLow, 5*mins+sec)
	c.gpm(55).run(mins)
	require.Equal(t, "unacknowledged", c.phase(alarm.FlowTooLow))
	c.gpm(55.1).clears(t, alarm.FlowTooLow, 0)
	c.gpm(0).never(t, alarm.FlowTooLow, 10*mins) // no flow is not slow flow
	c.gpm(20).to(signal.DownstreamFlow, 4.5).run(10 * mins)
	require.Equal(t, "suppressed", c.phase(alarm.FlowTooLow), "a second meter counts")
	delete(c.values, signal.DownstreamFlow)
	c.run(5*mins + sec)
	require.True(t, c.state.Alarms[alarm.FlowTooLow].Phase.Active())
	c.to(signal.ControlPower, 0).run(sec)
	require.Equal(t, "suppressed", c.phase(alarm.FlowTooLow))
}

func TestProductRising(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 0.499).run(10 * mins)
	c.to(signal.ProductConductivity, 0.5).becomes(t, alarm.ProductRising, 5*mins+sec)
	e := c.events[len(c.events)-1]
	require.Equal(t, Reason{Code: ProductAbovePart, Value: 0.5, Limit: 0.5}, e.Reason)
	c.to(signal.ProductConductivity, 0.45).run(mins)
	require.Equal(t, "unacknowledged", c.phase(alarm.ProductRising))
	c.to(signal.ProductConductivity, 0.449).clears(t, alarm.ProductRising, 0)
	for name, unfit := range map[string]func(){
		"rinse open": func() { c.to(signal.RinseOpen, 1) },
		"no flow":    func() { c.gpm(0.5) },
		"not read":   func() { c.quality(signal.Flow, signal.None) },
	} {
		c = newScene().to(signal.ProductConductivity, 0.7)
		unfit()
		c.run(10 * mins)
		require.False(t, c.state.Alarms[alarm.ProductRising].Phase.Active(), name)
	}
}

func TestRisingGivesWayToOffSpec(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5).run(9 * mins)
	require.Empty(t, c.changes(alarm.ProductRising), "off spec says it all")
	c = newScene().to(signal.ProductConductivity, 0.7).run(6 * mins)
	c.to(signal.ProductConductivity, 1.5).run(5 * mins)
	require.Equal(t, "suppressed", c.phase(alarm.ProductRising))
	c.to(signal.ProductConductivity, 0.7).run(5 * mins)
	require.Equal(t, "normal", c.phase(alarm.ProductRising), "the on-delay begins anew")
	c.run(2 * sec)
	require.Equal(t, "unacknowledged", c.phase(alarm.ProductRising))
}

func TestTheEndpointMovesTheRisingAlarm(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 0.3).run(10 * mins)
	require.Equal(t, "normal", c.phase(alarm.ProductRising))
	c.set.Endpoint = 0.5
	c.becomes(t, alarm.ProductRising, 5*mins+sec)
}

// bed lets the water stand for d and flow again, with product at a value that would be rising.
func bed(stood time.Duration) *scene {
	c := newScene().to(signal.ProductConductivity, 0.7).run(sec).gpm(0).run(stood)
	return c.gpm(100).run(sec)
}

func TestABedThatStoodMayRinseUpFirst(t *testing.T) {
	c := bed(30 * mins)
	c.run(15*mins - 2*sec)
	require.NotEqual(t, "unacknowledged", c.phase(alarm.ProductRising))
	c.run(5*mins + 2*sec)
	require.Equal(t, "unacknowledged", c.phase(alarm.ProductRising))
	require.Empty(t, c.state.Advice(&c.set, nil))

	c = bed(29 * mins)
	c.run(5 * mins)
	require.Equal(t, "unacknowledged", c.phase(alarm.ProductRising), "a short stand spoils nothing")

	c = bed(30 * mins)
	require.Equal(t, []Reason{{Code: BedStood, For: 30 * mins, Left: 15 * mins}}, c.state.Advice(&c.set, nil))
	c.set.Setup.RinseUp = 0
	c.gpm(0).run(time.Hour).gpm(100).run(sec + 20*mins)
	require.Empty(t, c.state.Advice(&c.set, nil), "a unit that needs no rinse-up")
}

func TestEachBankStandsByItself(t *testing.T) {
	c := newScene().run(time.Hour).to(signal.BankB, 1).run(sec)
	list := c.state.Advice(&c.set, nil)
	require.Len(t, list, 1)
	require.Equal(t, BedStood, list[0].Code, "bank B stood for an hour beside the one in use")
	require.Equal(t, time.Hour+sec, list[0].For)
	c.to(signal.BankA, 0).run(20*mins).to(signal.BankA, 1).run(sec)
	require.Empty(t, c.state.Advice(&c.set, nil))
}

func TestHovering(t *testing.T) {
	c := newScene().run(sec)
	spell := func() {
		c.to(signal.ProductConductivity, 1.1).run(mins)
		c.to(signal.ProductConductivity, 0.9).run(mins)
	}
	spell()
	spell()
	spell()
	require.Equal(t, "normal", c.phase(alarm.Hovering), "the first delay and two restarts")
	spell()
	require.Equal(t, "unacknowledged", c.phase(alarm.Hovering))
	require.Equal(t, []string{"6m2s normal>unacknowledged low delay_restarted"}, c.changes(alarm.Hovering))
	// The third restart from the end came at 2 min 2 s: it leaves the window at 32 min 2 s, and two hours later it is over.
	c.order(Acknowledge, alarm.Hovering, "").run(2*time.Hour + 30*mins + 2*sec - c.state.Elapsed)
	require.Equal(t, "acknowledged", c.phase(alarm.Hovering))
	c.run(2*mins + sec)
	require.Equal(t, "normal", c.phase(alarm.Hovering))
}

func TestSlowRestartsAreNoHovering(t *testing.T) {
	c := newScene().run(sec)
	for range 6 {
		c.to(signal.ProductConductivity, 1.1).run(mins)
		c.to(signal.ProductConductivity, 0.5).run(15 * mins)
	}
	require.Equal(t, "normal", c.phase(alarm.Hovering))
}

func TestAStopIsNoRestart(t *testing.T) {
	c := newScene().run(sec)
	for range 4 {
		c.to(signal.ProductConductivity, 1.1).run(sec)
		c.to(signal.ControlPower, 0).run(sec)
		c.to(signal.ControlPower, 1).run(sec)
	}
	require.Zero(t, c.state.Watch.Delays.Count)
}

func TestBypassRepeated(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5).run(sec)
	for range 2 {
		c.press().run(10 * mins)
	}
	require.Equal(t, "normal", c.phase(alarm.BypassRepeated))
	c.press()
	require.Equal(t, "unacknowledged", c.phase(alarm.BypassRepeated))
	require.Contains(t, c.state.Advice(&c.set, nil), Reason{Code: BypassesInARow, Value: 3})
	c.run(10*mins).to(signal.ProductConductivity, 0.5).run(mins)
	require.Equal(t, Shut, c.state.Mode)
	c.press().run(11 * mins) // the fourth, and it ends on good water
	require.Equal(t, Service, c.state.Mode)
	c.run(10*mins).to(signal.ProductConductivity, 1.5).run(5 * mins)
	c.to(signal.ProductConductivity, 0.5).run(30*mins - sec)
	require.True(t, c.state.Alarms[alarm.BypassRepeated].Phase.Active(), "half an hour on spec without a break")
	c.run(2 * sec)
	require.False(t, c.state.Alarms[alarm.BypassRepeated].Phase.Active())
}

func TestAdviceOnTheFlow(t *testing.T) {
	advice := func(set func(*scene)) []Code {
		c := newScene()
		set(c)
		c.run(sec)
		var codes []Code
		for _, r := range c.state.Advice(&c.set, nil) {
			codes = append(codes, r.Code)
		}
		return codes
	}
	both := func(c *scene) *scene { return c.to(signal.BankB, 1) }
	require.Empty(t, advice(func(c *scene) {}))
	require.Equal(t, []Code{FlowAboveOneBank}, advice(func(c *scene) { c.gpm(151) }), "at once, the alarm waits")
	require.Equal(t, []Code{FlowAboveOneHose}, advice(func(c *scene) { both(c).gpm(151).set.Setup.Hoses = 1 }))
	require.Equal(t, []Code{FlowNeedsTwoHoses}, advice(func(c *scene) { both(c).gpm(151) }))
	require.Empty(t, advice(func(c *scene) { both(c).gpm(300).set.Setup.Hoses = 2 }))
	require.Equal(t, []Code{FlowNeedsNextMeter}, advice(func(c *scene) { c.gpm(49) }))
	require.Empty(t, advice(func(c *scene) { c.gpm(49).to(signal.DownstreamFlow, 11) }))
	require.Empty(t, advice(func(c *scene) { c.gpm(0) }))
	require.Equal(t, []Code{EndpointNear}, advice(func(c *scene) { c.to(signal.ProductConductivity, 0.95) }))
	require.Empty(t, advice(func(c *scene) { c.to(signal.ProductConductivity, 0.89) }))
	var s State
	set := Defaults()
	require.Empty(t, s.Advice(&set, nil), "before the first scan")
}

func TestPowerCycledWhileShut(t *testing.T) {
	cycled := Reason{Code: PowerCycledShut}
	c := newScene().to(signal.ProductConductivity, 1.5)
	c.run(10*mins).to(signal.ControlPower, 0).run(sec)
	require.NotContains(t, c.state.Advice(&c.set, nil), cycled)
	c.to(signal.ControlPower, 1).run(mins)
	require.Equal(t, Delay, c.state.Mode)
	require.Contains(t, c.state.Advice(&c.set, nil), cycled)
	c.to(signal.ProductConductivity, 0.5).run(sec)
	require.NotContains(t, c.state.Advice(&c.set, nil), cycled, "good water is what counts")

	c = newScene().to(signal.ProductConductivity, 1.5)
	c.set.KeepTrip = true
	c.run(10*mins).to(signal.ControlPower, 0).run(sec).to(signal.ControlPower, 1).run(sec)
	require.NotContains(t, c.state.Advice(&c.set, nil), cycled, "the stop was kept: nothing was bought")

	c = newScene().to(signal.ProductConductivity, 1.5)
	c.run(mins).to(signal.ControlPower, 0).run(sec).to(signal.ControlPower, 1).run(sec)
	require.NotContains(t, c.state.Advice(&c.set, nil), cycled, "power lost in the delay is no trick")
}
