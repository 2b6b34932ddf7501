package words

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

func TestReasonsOfAlarmsHaveTheirUnits(t *testing.T) {
	us := English()
	metric := us.With(Settings{Metric: true})
	flow := rules.Reason{Code: rules.FlowAboveOneBank, Value: signal.GallonPerMinute.Inside(160), Limit: signal.GallonPerMinute.Inside(150)}
	assert.Equal(t, "flow 160 gpm is above 150 gpm and one bank is selected", us.Why(flow))
	assert.Equal(t, "flow 606 L/min is above 568 L/min and one bank is selected", metric.Why(flow))
	cold := rules.Reason{Code: rules.WaterTooCold, Value: 1.5, Limit: 2}
	assert.Equal(t, "water at 34.7 F, below 35.6 F", us.Why(cold))
	assert.Equal(t, "water at 1.5 C, below 2.0 C", metric.Why(cold))
	assert.Equal(t, "the delay began anew 3 times in 30 min", us.Why(rules.Reason{Code: rules.DelayRestarted, Value: 3, For: 30 * time.Minute}))
	assert.Equal(t, "product 0.450 uS/cm is above feed 0.300 uS/cm", us.Why(rules.Reason{Code: rules.ProductAboveFeed, Value: 0.45, Limit: 0.3}))
	assert.Equal(t, "in 1 h the totalizer counted 24.9 m3 and the flow gives 22.7 m3", metric.Why(rules.Reason{Code: rules.TotalsDiffer, Value: 24.9, Limit: 22.7, For: time.Hour}))
}

func TestALoweredAlarmMaySayAnotherThing(t *testing.T) {
	p := English()
	assert.Equal(t, "RINSING - off spec", p.LoweredAlarm(alarm.OffSpec))
	assert.Equal(t, p.Alarm(alarm.StoppedOffSpec), p.LoweredAlarm(alarm.StoppedOffSpec))
	assert.NotEmpty(t, p.AlarmCause(alarm.Swapped))
	assert.Equal(t, "needs maintenance", p.Status(signal.MaintenanceRequired))
}
