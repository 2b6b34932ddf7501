package configs

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

func TestAlarmsAreChangedPerUnit(t *testing.T) {
	f := load(t, least+`
alarms:
  off-spec: {priority: medium, on_delay: 15s, off_delay: 2m}
  flow-too-high: {limit: 200 gpm}
  temperature: {limit: 36 F, high_limit: 100 F}
  feed-worse: {limit: 0.5 mS/cm}
  exchange-due: {limit: 72h}
  hovering: {limit: 5, on_delay: 1h}
  product-rising: {limit: 70}
  frozen: {enabled: false}
setup: {hoses: 2, relief_rate: 100 gpm, totalizer_modulus: 1000000 gal, standing: 2h, rinse_up: 0s}
`)
	want := rules.Defaults()
	d := &want.Alarms
	d[alarm.OffSpec].Priority, d[alarm.OffSpec].On, d[alarm.OffSpec].Off = alarm.Medium, 15*time.Second, 2*time.Minute
	d[alarm.FlowTooHigh].Limit = signal.GallonPerMinute.Inside(200)
	d[alarm.Temperature].Limit, d[alarm.Temperature].High = signal.Fahrenheit.Inside(36), signal.Fahrenheit.Inside(100)
	d[alarm.FeedWorse].Limit, d[alarm.ExchangeDue].Limit, d[alarm.ProductRising].Limit = 500, 72, 70
	d[alarm.Hovering].Limit, d[alarm.Hovering].On = 5, time.Hour
	d[alarm.Frozen].Disabled = true
	p := &want.Setup
	p.Hoses, p.ReliefRate, p.TotalizerModulus = 2, signal.GallonPerMinute.Inside(100), signal.Gallon.Inside(1e6)
	p.Standing, p.RinseUp = 2*time.Hour, 0
	assert.Equal(t, want, f.Rule)
}

func TestUserAlarms(t *testing.T) {
	f := load(t, least+`
user_alarms:
  feed-warm: {above: 86 F, deadband: 1, for: 5m, priority: medium, message: FEED TOO WARM, signal: feed_temperature}
  tank: {signal: total, below: 100 gal}
  outlet: {signal: product_outlet_open, not_equal: 1}
`)
	first, second, third := alarm.User(0), alarm.User(1), alarm.User(2)
	assert.Equal(t, [3]rules.User{
		{Signal: signal.FeedTemperature, Test: rules.Above}, {Signal: signal.Total, Test: rules.Below}, {Signal: signal.ProductOutletOpen, Test: rules.NotEqual},
	}, [3]rules.User(f.Rule.Users[:3]))
	assert.Equal(t, alarm.Definition{
		Name: "feed-warm", Message: "FEED TOO WARM", Priority: alarm.Medium, Second: alarm.Medium, On: 5 * time.Minute, Limit: 30, Band: 1,
	}, f.Rule.Alarms[first])
	assert.Equal(t, alarm.Definition{Name: "tank", Message: "tank", Limit: signal.Gallon.Inside(100)}, f.Rule.Alarms[second])
	assert.Equal(t, 1.0, f.Rule.Alarms[third].Limit)
	assert.Empty(t, f.Rule.Alarms[alarm.User(3)].Name)
}

func TestThereIsRoomForThirtyTwoUserAlarms(t *testing.T) {
	list := func(n int) string {
		var b strings.Builder
		b.WriteString(least + "user_alarms:\n")
		for i := range n {
			fmt.Fprintf(&b, "  a%d: {signal: flow, above: %d gpm}\n", i, i+1)
		}
		return b.String()
	}
	f := load(t, list(alarm.Users))
	assert.Equal(t, "a31", f.Rule.Alarms[alarm.User(31)].Name)
	_, err := Load("unit.yaml", []byte(list(alarm.Users+1)), nil, ForRun)
	require.ErrorContains(t, err, "user_alarms.a32: is one too many; want at most 32")
}

func TestUserAlarmsCanBeSetForOneRun(t *testing.T) {
	f, err := Default([]string{"user_alarms.warm.signal=feed_temperature", "user_alarms.warm.above=30 C", "alarms.off-spec.on_delay=0s"})
	require.NoError(t, err)
	assert.Equal(t, "warm", f.Rule.Alarms[alarm.User(0)].Name)
	assert.Zero(t, f.Rule.Alarms[alarm.OffSpec].On)
}

// A fault that only two settings together show is told where they stand, also where nothing of the rule was written.
func TestAFaultOfAnAlarmIsToldAtItsSection(t *testing.T) {
	_, err := Default([]string{"alarms.temperature.limit=50 C"})
	require.EqualError(t, err, "--set alarms.temperature.limit=50 C: alarms.temperature.high_limit: 40 must be above the limit 50 by more than twice the deadband")
}
