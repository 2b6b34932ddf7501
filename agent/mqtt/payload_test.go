package mqtt

import (
	"encoding/json"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent"
	"ionward/agent/forward/forwardtest"
	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

func decode(t *testing.T, payload []byte) map[string]any {
	t.Helper()
	var m map[string]any
	require.NoError(t, json.Unmarshal(payload, &m), "%s", payload)
	for name, v := range m {
		switch v.(type) {
		case map[string]any, []any:
			assert.Fail(t, "not flat", "%s is %v", name, v)
		}
	}
	return m
}

func TestLogPayload(t *testing.T) {
	set := Settings{Trailer: "T-100", Simulation: true}
	e := forwardtest.Entry(7, false)
	e.Epoch, e.Estimated = "0123456789abcdef", true
	e.Readings[signal.Flow] = signal.Reading{Quality: signal.Bad, Cause: signal.OutOfSpan}
	e.Readings[signal.FeedTemperature] = signal.Reading{Cause: signal.TimedOut}
	e.Readings[signal.ProductTemperature] = signal.Reading{Value: 19.5, Quality: signal.Uncertain, Cause: signal.Reported}
	m := decode(t, set.logOf(e))
	for name, want := range map[string]any{
		"schema": 1.0, "trailer": "T-100", "epoch": "0123456789abcdef", "seq": 7.0, "at": "2031-03-01T06:00:07.000Z", "state": "service",
		"simulation": true, "estimated": true,
		"product_conductivity": 0.084, "product_conductivity_unit": "uS/cm", "product_conductivity_quality": "good",
		"flow": nil, "flow_unit": "m3/h", "flow_quality": "bad", "flow_cause": "out_of_span",
		"feed_temperature": nil, "feed_temperature_unit": "Cel", "feed_temperature_quality": "none", "feed_temperature_cause": "timeout",
		"product_temperature": 19.5, "product_temperature_quality": "uncertain", "product_temperature_cause": "reported",
		"control_power": 1.0, "control_power_unit": "1", "bank_a": nil, "total": 0.007, "total_unit": "m3",
	} {
		got, there := m[name]
		assert.True(t, there, name)
		assert.Equal(t, want, got, name)
	}
	assert.NotContains(t, m, "product_conductivity_cause")
	assert.NotContains(t, decode(t, (&Settings{}).logOf(e)), "simulation")
	for i := range signal.Count {
		for _, suffix := range []string{"", "_unit", "_quality"} {
			assert.Contains(t, m, signal.ID(i).String()+suffix)
		}
	}
}

// Numbers and texts survive the payload exactly, whatever they are.
func TestObjectIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64().Draw(t, "number")
		text := rapid.String().Draw(t, "text")
		o := &object{}
		o.number("v", v, true)
		o.text("t", text)
		o.number("gone", v, false)
		o.number("nan", math.NaN(), true)
		o.number("inf", math.Inf(-1), true)
		var m struct {
			V              float64
			T              string
			Gone, Nan, Inf *float64
		}
		require.NoError(t, json.Unmarshal(o.end(), &m))
		require.Equal(t, math.Float64bits(v), math.Float64bits(m.V))
		require.Equal(t, text, m.T)
		require.Nil(t, m.Gone)
		require.Nil(t, m.Nan)
		require.Nil(t, m.Inf)
	})
}

func TestStateAndAlarmPayload(t *testing.T) {
	set, s, out := rules.Defaults(), rules.State{}, rules.Effects{}
	in := rules.Input{Scan: true, At: time.Date(2031, 3, 1, 6, 0, 0, 0, time.UTC).UnixNano()}
	in.Readings[signal.ProductConductivity] = signal.ProductConductivity.Default(1.5, signal.Good)
	rules.Step(&set, &s, &in, &out)
	in.Gap, in.At = 90*time.Second, in.At+int64(90*time.Second)
	rules.Step(&set, &s, &in, &out)
	snap := &agent.Snapshot{Epoch: "e", Seq: 2, At: in.At, Settings: set, State: s, Outputs: out.Outputs}
	m := decode(t, (&Settings{Trailer: "T-100"}).stateOf(snap))
	for name, want := range map[string]any{
		"state": "delay", "since": "2031-03-01T06:00:00.000Z", "at": "2031-03-01T06:01:30.000Z", "reason": "off_spec",
		"time_left_s": 510.0, "off_spec": true, "endpoint": 1.0, "endpoint_unit": "uS/cm", "inlet": "open", "relief": "shut",
		"product_conductivity": 1.5, "flow": nil, "alarm_off_spec": "unacknowledged", "alarm_bypass_on": "normal", "seq": 2.0,
	} {
		assert.Equal(t, want, m[name], name)
	}
	require.Len(t, out.Events, 1)
	e := &agent.Entry{Epoch: "e", Seq: 2, At: in.At, State: s, Events: out.Events}
	require.Equal(t, []int{0}, alarms(e))
	m = decode(t, (&Settings{Trailer: "T-100"}).alarmOf(e, 0))
	for name, want := range map[string]any{
		// five seconds of on-delay after the water went off spec: its own instant, not that of the scan
		"at": "2031-03-01T06:00:05.000Z", "alarm": "off-spec", "from": "normal", "to": "unacknowledged", "priority": "high",
		"active": true, "n": 0.0, "seq": 2.0, "epoch": "e", "state": "delay", "reason": "off_spec",
	} {
		assert.Equal(t, want, m[name], name)
	}
	snap.State = rules.State{}
	require.Nil(t, decode(t, (&Settings{}).stateOf(snap))["time_left_s"])
}

// The package comment is the payload's documentation: every member is in it.
func TestPayloadIsDocumented(t *testing.T) {
	doc, err := os.ReadFile("doc.go")
	require.NoError(t, err)
	set := Settings{Simulation: true}
	e := forwardtest.Entry(1, true)
	e.Estimated = true
	payloads := [][]byte{set.logOf(e), set.alarmOf(e, 0), set.stateOf(&agent.Snapshot{}), set.availOf(true, "birth", "b", 1, time.Now())}
	for _, p := range payloads {
		for name := range decode(t, p) {
			base := strings.TrimSuffix(strings.TrimSuffix(strings.TrimSuffix(name, "_unit"), "_quality"), "_cause")
			if _, isSignal := signal.Parse(base); isSignal {
				continue
			}
			if strings.HasPrefix(name, "alarm_") {
				_, known := alarm.Parse(strings.ReplaceAll(strings.TrimPrefix(name, "alarm_"), "_", "-"))
				require.True(t, known, name)
				continue
			}
			require.Contains(t, string(doc), name)
		}
	}
}
