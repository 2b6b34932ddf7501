package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

func TestSwapped(t *testing.T) {
	c := newScene().to(signal.FeedConductivity, 0.2).to(signal.ProductConductivity, 0.2).run(10 * mins)
	require.Equal(t, "normal", c.phase(alarm.Swapped), "equal is not above")
	c.to(signal.ProductConductivity, 0.21).becomes(t, alarm.Swapped, 5*mins+sec)
	c.to(signal.ProductConductivity, 0.19).run(10 * mins)
	require.Equal(t, "unacknowledged", c.phase(alarm.Swapped), "within the band")
	c.to(signal.ProductConductivity, 0.18).run(sec)
	require.Equal(t, "latched-unacknowledged", c.phase(alarm.Swapped))
	c.gpm(10).run(mins)
	require.Equal(t, "latched-unacknowledged", c.phase(alarm.Swapped), "no flow proves nothing and hides nothing")
	c.order(Acknowledge, alarm.Swapped, "").order(Reset, alarm.Swapped, "cells put right")
	require.Equal(t, "normal", c.phase(alarm.Swapped))
}

func TestSwappedIsOnlyJudgedWhereWaterTells(t *testing.T) {
	for name, unfit := range map[string]func(*scene){
		"flow below 50 gpm": func(c *scene) { c.gpm(49.9) },
		"no flow reading":   func(c *scene) { c.quality(signal.Flow, signal.None) },
		"rinse open":        func(c *scene) { c.to(signal.RinseOpen, 1) },
		"feed not read":     func(c *scene) { c.quality(signal.FeedConductivity, signal.Bad) },
		"no power":          func(c *scene) { c.to(signal.ControlPower, 0) },
	} {
		t.Run(name, func(t *testing.T) {
			c := newScene().to(signal.FeedConductivity, 0.1).run(sec)
			unfit(c)
			c.never(t, alarm.Swapped, 20*mins)
			c.to(signal.ControlPower, 1).to(signal.RinseOpen, 0).gpm(100).to(signal.FeedConductivity, 0.1)
			c.run(5*mins + sec)
			require.Equal(t, "unacknowledged", c.phase(alarm.Swapped))
		})
	}
}

func TestTooLow(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 0.05).run(10 * mins)
	c.to(signal.ProductConductivity, 0.049).becomes(t, alarm.TooLow, 5*mins+sec)
	c.to(signal.ProductConductivity, 0.059).run(mins)
	require.Equal(t, "unacknowledged", c.phase(alarm.TooLow))
	c.to(signal.ProductConductivity, 0.06).clears(t, alarm.TooLow, 0)
	c.to(signal.ProductConductivity, 0.02).gpm(0).run(mins)
	require.Equal(t, "suppressed", c.phase(alarm.TooLow), "a dry cell after a stop reads so")
}

func TestFrozen(t *testing.T) {
	c := newScene()
	c.becomes(t, alarm.Frozen, 30*mins)
	c.to(signal.ProductConductivity, 0.201).clears(t, alarm.Frozen, 0)
	c.run(29*mins).to(signal.ProductTemperature, 20.001).run(sec)
	require.Equal(t, "returned", c.phase(alarm.Frozen), "a change of the temperature is life too")
	c.run(30*mins - sec)
	require.Equal(t, "returned", c.phase(alarm.Frozen))
	c.run(sec)
	require.Equal(t, "unacknowledged", c.phase(alarm.Frozen))
	c.gpm(20).run(sec)
	require.False(t, c.state.Alarms[alarm.Frozen].Phase.Active(), "standing water may well read the same")
	c.run(time.Hour).gpm(100).run(29 * mins)
	require.False(t, c.state.Alarms[alarm.Frozen].Phase.Active(), "counted from when water flows")
	c.run(mins + sec)
	require.Equal(t, "unacknowledged", c.phase(alarm.Frozen))
}

func TestTemperature(t *testing.T) {
	for name, x := range map[string]struct {
		fine, out, band, clear float64
		code                   Code
	}{
		"cold": {2, 1.999, 2.9, 3, WaterTooCold},
		"hot":  {40, 40.001, 39.1, 39, WaterTooHot},
	} {
		t.Run(name, func(t *testing.T) {
			c := newScene().to(signal.FeedTemperature, x.fine).run(5 * mins)
			c.to(signal.FeedTemperature, x.out).becomes(t, alarm.Temperature, 61*sec)
			require.Equal(t, x.code, c.events[len(c.events)-1].Reason.Code)
			c.to(signal.FeedTemperature, x.band).run(mins)
			require.True(t, c.state.Alarms[alarm.Temperature].Phase.Active())
			c.to(signal.FeedTemperature, x.clear).clears(t, alarm.Temperature, 0)
		})
	}
}

func TestPipesFreezeWhenPowerIsLost(t *testing.T) {
	c := newScene().to(signal.FeedTemperature, 4).to(signal.ProductTemperature, 6).run(10 * mins)
	require.Equal(t, "normal", c.phase(alarm.Temperature))
	for _, id := range []signal.ID{signal.FeedTemperature, signal.ProductTemperature, signal.FeedConductivity, signal.ProductConductivity, signal.Flow} {
		delete(c.values, id)
	}
	c.to(signal.ControlPower, 0).becomes(t, alarm.Temperature, 61*sec)
	e := c.changes(alarm.Temperature)
	require.Equal(t, []string{"11m1s normal>unacknowledged low water_too_cold"}, e)
}

func TestFlowWhileShut(t *testing.T) {
	c := newScene().to(signal.ProductConductivity, 1.5)
	c.run(10 * mins)
	c.becomes(t, alarm.FlowWhileShut, 2*mins)
	c.gpm(10).run(29 * sec)
	require.True(t, c.state.Alarms[alarm.FlowWhileShut].Phase.Active())
	c.run(2 * sec)
	require.Equal(t, "returned", c.phase(alarm.FlowWhileShut))

	c = newScene().run(mins).to(signal.InletShut, 1)
	c.becomes(t, alarm.FlowWhileShut, 61*sec)

	c = newScene().to(signal.ProductConductivity, 1.5)
	c.set.Profile.ReliefTee.Seen = true
	c.run(20 * mins)
	require.Equal(t, "suppressed", c.phase(alarm.FlowWhileShut), "the meter sees the relief")
}

func TestFeedWorse(t *testing.T) {
	c := newScene().to(signal.FeedConductivity, 900)
	c.never(t, alarm.FeedWorse, time.Hour) // nothing agreed
	c = newScene().to(signal.FeedConductivity, 500)
	c.set.Alarms[alarm.FeedWorse].Limit = 500
	c.run(time.Hour)
	c.to(signal.FeedConductivity, 500.1).becomes(t, alarm.FeedWorse, 15*mins+sec)
	c.to(signal.FeedConductivity, 475.1).run(mins)
	require.Equal(t, "unacknowledged", c.phase(alarm.FeedWorse))
	c.to(signal.FeedConductivity, 475).clears(t, alarm.FeedWorse, 0)
	c.to(signal.FeedConductivity, 600).run(20*mins).quality(signal.FeedConductivity, signal.Bad).run(sec)
	require.Equal(t, "suppressed", c.phase(alarm.FeedWorse))
}

func TestFacts(t *testing.T) {
	c := newScene()
	tell := func(known, set Fact) {
		c.step(0, func(in *Input) { in.Facts = Facts{Known: known, Set: set} })
	}
	tell(OnBattery|StoreFailing, OnBattery|StoreFailing)
	c.becomes(t, alarm.OnBattery, 10*sec)
	c.becomes(t, alarm.StoreFull, 50*sec)
	tell(OnBattery, 0)
	require.True(t, c.state.Alarms[alarm.StoreFull].Phase.Active(), "what is not told stands")
	c.run(9 * sec)
	require.True(t, c.state.Alarms[alarm.OnBattery].Phase.Active())
	c.run(sec)
	require.Equal(t, "returned", c.phase(alarm.OnBattery))

	tell(FunctionCheck, FunctionCheck)
	tell(SettingsChanged, SettingsChanged)
	require.False(t, c.state.Alarms[alarm.SettingsChanged].Phase.Active(), "while somebody works on the instruments")
	tell(FunctionCheck, 0)
	require.Equal(t, "unacknowledged", c.phase(alarm.SettingsChanged))
	tell(SettingsChanged, 0)
	require.Equal(t, "latched-unacknowledged", c.phase(alarm.SettingsChanged))
	tell(FunctionCheck, FunctionCheck)
	require.Equal(t, "latched-unacknowledged", c.phase(alarm.SettingsChanged))
}

func TestFactsCanComeWithoutAScan(t *testing.T) {
	c := newScene().run(sec)
	Step(&c.set, &c.state, &Input{Facts: Facts{Known: SettingsChanged, Set: SettingsChanged}}, &c.out)
	require.Len(t, c.out.Events, 1)
	require.Equal(t, ConstantsDiffer, c.out.Events[0].Reason.Code)
}

func TestExchangeDue(t *testing.T) {
	c := newScene()
	forecast := func(left time.Duration, known Fact) {
		c.step(0, func(in *Input) { in.Facts = Facts{Known: Forecast, Set: known, Left: left} })
	}
	forecast(time.Hour, Forecast)
	c.never(t, alarm.ExchangeDue, time.Hour) // no lead time set
	c = newScene()
	c.set.Alarms[alarm.ExchangeDue].Limit = 48
	forecast(48*time.Hour, Forecast)
	c.never(t, alarm.ExchangeDue, time.Hour)
	forecast(47*time.Hour, Forecast)
	c.becomes(t, alarm.ExchangeDue, 30*mins)
	forecast(59*time.Hour, Forecast)
	require.True(t, c.state.Alarms[alarm.ExchangeDue].Phase.Active())
	forecast(60*time.Hour, Forecast)
	require.Equal(t, "returned", c.phase(alarm.ExchangeDue))
	forecast(time.Hour, 0)
	c.never(t, alarm.ExchangeDue, time.Hour) // cannot tell
}
