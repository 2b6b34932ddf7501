package metrics

import (
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"ionward/agent"
	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

const (
	gauge   = prometheus.GaugeValue
	counter = prometheus.CounterValue
)

// family is one metric: what it is called, and how it is taken from the view.
type family struct {
	name, help string
	kind       prometheus.ValueType
	labels     []string
	needs      func(*view) bool
	show       func(v *view, put put)
}

// put sends one sample; the labels are in the order of the family's.
type put func(value float64, labels ...string)

// families are all metrics. The first part is about the water and comes from one snapshot, the second about the agent.
var families = slices.Concat(water, house)

var water = []family{
	{"trailer_info", "Which trailer this is, and whether its instruments are simulated.", gauge,
		[]string{"trailer", "simulation"}, stepped, func(v *view, put put) {
			put(1, v.Trailer, map[bool]string{false: "false", true: "true"}[v.Simulation])
		}},
	{"state", "State of the shutdown rule: 1 for the one that holds.", gauge, []string{"state"}, stepped, states},
	{"conductivity_siemens_per_meter", "Conductivity at 25 C of the feed and the product.", gauge, []string{"point"}, stepped,
		func(v *view, put put) {
			v.reading(put, signal.FeedConductivity, siemens, "feed")
			v.reading(put, signal.ProductConductivity, siemens, "product")
		}},
	{"conductivity_endpoint_siemens_per_meter", "Endpoint: product at or above it is off spec.", gauge, nil, stepped,
		func(v *view, put put) { put(siemens(v.Settings.Endpoint)) }},
	{"temperature_celsius", "Water temperature at the conductivity sensors.", gauge, []string{"point"}, stepped,
		func(v *view, put put) {
			v.reading(put, signal.FeedTemperature, same, "feed")
			v.reading(put, signal.ProductTemperature, same, "product")
		}},
	{"flow_cubic_meters_per_second", "Flow through the trailer.", gauge, nil, stepped,
		func(v *view, put put) { v.reading(put, signal.Flow, perSecond) }},
	{"downstream_flow_cubic_meters_per_second", "Flow at a second meter downstream.", gauge, nil, stepped,
		func(v *view, put put) { v.reading(put, signal.DownstreamFlow, perSecond) }},
	{"totalizer_cubic_meters", "Reading of the flow meter's totalizer, which somebody may reset.", gauge, nil, stepped,
		func(v *view, put put) { v.reading(put, signal.Total, same) }},
	{"control_power", "1 with control power, 0 without.", gauge, nil, stepped,
		func(v *view, put put) { v.reading(put, signal.ControlPower, same) }},
	{"valve_open", "What the limit switches say: 1 open, 0 not open.", gauge, []string{"valve"}, stepped, valves},
	{"valve_expected_open", "What the shutdown rule expects of a driven valve: 1 open, 0 shut.", gauge, []string{"valve"}, stepped, expected},
	{"off_spec_delay_seconds", "How long the product has been off spec without a break, up to the limit.", gauge, nil, stepped,
		func(v *view, put put) { put(v.State.Delay.ET.Seconds()) }},
	{"off_spec_delay_limit_seconds", "Off spec for so long: the inlet shuts.", gauge, nil, stepped,
		func(v *view, put put) { put(v.Settings.Delay.Seconds()) }},
	{"bypass_remaining_seconds", "What is left of a bypass, 0 without one.", gauge, nil, stepped, func(v *view, put put) {
		left, running := v.State.Bypass.Left(v.Settings.Bypass)
		if !running {
			left = 0
		}
		put(left.Seconds())
	}},
	{"stop_remaining_seconds", "Time to a stop if the reading stays off spec and nobody presses; absent when no stop approaches.", gauge, nil, stepped,
		func(v *view, put put) {
			if left, ok := v.State.TimeLeft(&v.Settings); ok {
				put(left.Seconds())
			}
		}},
	{"alarm_active", "1 while the alarm is active.", gauge, []string{"alarm", "priority"}, stepped, alarms},
	{"signal_quality", "Quality of the newest scan: 1 for the one that holds.", gauge, []string{"signal", "quality"}, stepped, qualities},
	{"signal_timestamp_seconds", "When the signal last gave a usable reading, Unix time.", gauge, []string{"signal"}, stepped,
		func(v *view, put put) {
			for i := range signal.Count {
				if age, ok := v.State.Age(signal.ID(i)); ok {
					put(unix(v.Time().Add(-age)), signal.ID(i).String())
				}
			}
		}},
	{"volume_cubic_meters_total", "Water by what became of it.", counter, []string{"custody"}, stepped, func(v *view, put put) {
		for b := range rules.Buckets {
			put(v.State.Custody.Volume(rules.Bucket(b)), rules.Bucket(b).String())
		}
	}},
	{"unmeasured_seconds_total", "Time for which no flow reading stood.", counter, nil, stepped,
		func(v *view, put put) { put(v.State.Custody.Unmeasured.Seconds()) }},
	{"trips_total", "Stops by the shutdown rule.", counter, nil, stepped, func(v *view, put put) { put(float64(v.State.Trips)) }},
	{"bypasses_total", "Accepted presses of the bypass button.", counter, nil, stepped, func(v *view, put put) { put(float64(v.State.Bypasses)) }},
	{"presses_total", "Presses of the bypass button, accepted or not.", counter, nil, stepped, func(v *view, put put) { put(float64(v.State.Presses)) }},
	{"control_power_losses_total", "Losses of control power.", counter, nil, stepped, func(v *view, put put) { put(float64(v.State.PowerLosses)) }},
}

var house = []family{
	{"build_info", "The program and the Go release it was built with.", gauge, []string{"version", "goversion"}, always,
		func(v *view, put put) { put(1, v.version, v.golang) }},
	{"scans_total", "Scans of the instruments since the start.", counter, nil, scanned, func(v *view, put put) { put(float64(v.scans)) }},
	{"scan_timestamp_seconds", "When the newest scan was taken, Unix time.", gauge, nil, scanned, func(v *view, put put) {
		if !v.scanned.IsZero() {
			put(unix(v.scanned))
		}
	}},
	{"polls_total", "Polls of an instrument since the start.", counter, []string{"instrument"}, always, func(v *view, put put) {
		for i := range v.healths {
			put(float64(v.healths[i].Polls), v.healths[i].Instrument)
		}
	}},
	{"poll_errors_total", "Failed polls of an instrument since the start, by kind.", counter, []string{"instrument", "kind"}, always,
		func(v *view, put put) {
			for i := range v.healths {
				for kind, n := range v.healths[i].Errors {
					put(float64(n), v.healths[i].Instrument, kind)
				}
			}
		}},
	{"poll_duration_seconds", "Duration of the last good poll of an instrument.", gauge, []string{"instrument"}, always, func(v *view, put put) {
		for i := range v.healths {
			if h := &v.healths[i]; !h.LastGood.IsZero() {
				put(h.RoundTrip.Seconds(), h.Instrument)
			}
		}
	}},
	{"poll_success_timestamp_seconds", "When an instrument was last polled without an error, Unix time.", gauge, []string{"instrument"}, always,
		func(v *view, put put) {
			for i := range v.healths {
				if h := &v.healths[i]; !h.LastGood.IsZero() {
					put(unix(h.LastGood), h.Instrument)
				}
			}
		}},
	{"instrument_reconnects_total", "Connections made to an instrument's address after the first.", counter, []string{"instrument"}, always,
		func(v *view, put put) {
			for i := range v.healths {
				put(float64(v.healths[i].Reconnects), v.healths[i].Instrument)
			}
		}},
	{"instrument_losses_total", "How often an instrument stopped answering for two polls or more.", counter, []string{"instrument"}, always,
		func(v *view, put put) {
			for i := range v.healths {
				put(float64(v.healths[i].Losses), v.healths[i].Instrument)
			}
		}},
	{"instrument_withheld", "1 while readings of an instrument that answers are kept back.", gauge, []string{"instrument", "reason"}, always, withheld},
	{"instrument_setting_differs", "1 while a setting of an instrument is not as commissioned, as last read back.", gauge,
		[]string{"instrument", "setting"}, always, func(v *view, put put) {
			for i := range v.healths {
				for _, s := range v.healths[i].Settings {
					if !s.Read.IsZero() {
						put(flag(s.Differs), v.healths[i].Instrument, s.Name)
					}
				}
			}
		}},
	{"journal_size_bytes", "Size of the journal on disk.", gauge, nil, func(v *view) bool { return v.has.journal },
		func(v *view, put put) { put(float64(v.journal)) }},
	{"feed_backlog_scans", "Recorded but not yet delivered by a feed.", gauge, []string{"feed"}, always, func(v *view, put put) {
		for feed, n := range v.backlogs {
			put(float64(n), feed)
		}
	}},
}

func always(*view) bool    { return true }
func stepped(v *view) bool { return v.Snapshot != nil }
func scanned(v *view) bool { return v.has.scans }

// siemens turns uS/cm into S/m.
func siemens(v float64) float64 { return v / 1e4 }

// perSecond turns m3/h into m3/s.
func perSecond(v float64) float64 { return v / 3600 }

func same(v float64) float64 { return v }

func unix(t time.Time) float64 { return float64(t.UnixNano()) / 1e9 }

// reading puts a signal that has a usable reading in the newest scan. An old number would look like a good one on any
// graph, so without a reading there is no sample.
func (v *view) reading(put put, id signal.ID, convert func(float64) float64, labels ...string) {
	if value, ok := v.usable(id); ok {
		put(convert(value), labels...)
	}
}

func (v *view) usable(id signal.ID) (float64, bool) {
	h := &v.State.Signals[id]
	return h.Value, h.Quality == signal.Good || h.Quality == signal.Uncertain
}

func flag(on bool) float64 {
	if on {
		return 1
	}
	return 0
}

func states(v *view, put put) {
	for m := range rules.Modes {
		put(flag(v.State.Started && v.State.Mode == rules.Mode(m)), rules.Mode(m).String())
	}
}

// valves tells what was seen. The inlet may have one limit switch or two: the open one decides, the shut one alone can
// only tell that it is not open.
func valves(v *view, put put) {
	if open, ok := v.usable(signal.InletOpen); ok {
		put(open, "inlet")
	} else if shut, ok := v.usable(signal.InletShut); ok && shut != 0 {
		put(0, "inlet")
	}
	v.reading(put, signal.ReliefOpen, same, "relief")
	v.reading(put, signal.RinseOpen, same, "rinse")
	v.reading(put, signal.ProductOutletOpen, same, "product_outlet")
}

// expected leaves out a valve that is not driven: where it stands then is the spring's business.
func expected(v *view, put put) {
	if v.Outputs.Inlet != rules.NotDriven {
		put(flag(v.Outputs.Inlet == rules.Open), "inlet")
	}
	if v.Outputs.Relief != rules.NotDriven {
		put(flag(v.Outputs.Relief == rules.Open), "relief")
	}
}

// withheld always shows both reasons, so that a rule on them has a series to look at.
func withheld(v *view, put put) {
	for i := range v.healths {
		h := &v.healths[i]
		put(flag(h.Withheld == agent.WarmingUp), h.Instrument, "warm_up")
		put(flag(h.Withheld == agent.Flapping), h.Instrument, "flapping")
	}
}

// alarms leaves out the places for alarms of the unit file that none fills.
func alarms(v *view, put put) {
	for i := range v.State.Alarms {
		if v.Settings.Alarms[i].Name == "" {
			continue
		}
		put(flag(v.State.Alarms[i].Phase.Active()), alarm.ID(i).String(), v.Settings.Alarms[i].Priority.String())
	}
}

// qualities leaves out a signal that this trailer does not have: it would look like a lost one.
func qualities(v *view, put put) {
	for i := range v.State.Signals {
		h := &v.State.Signals[i]
		wired := h.Known || h.Quality != signal.None || (h.Cause != signal.NotPolled && h.Cause != signal.NoCause)
		for q := signal.None; wired && q <= signal.Bad; q++ {
			put(flag(h.Quality == q), signal.ID(i).String(), q.String())
		}
	}
}
