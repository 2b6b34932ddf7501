package metrics_test

import (
	"flag"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent"
	"ionward/agent/metrics"
	"ionward/rules"
	"ionward/rules/signal"
)

var update = flag.Bool("update", false, "write the golden exposition anew")

const golden = "testdata/exposition.txt"

// start is the UTC of the first scan of every test.
var start = time.Date(2026, 3, 14, 9, 26, 53, 500_000_000, time.UTC)

// stand steps the real rule and keeps the newest snapshot, as the loop does.
type stand struct {
	settings rules.Settings
	state    rules.State
	effects  rules.Effects
	at       time.Time
	latest   agent.Latest
}

func newStand() *stand { return &stand{settings: rules.Defaults(), at: start} }

func (s *stand) step(gap time.Duration, readings signal.Set) {
	s.at = s.at.Add(gap)
	in := rules.Input{Gap: gap, At: s.at.UnixNano(), Scan: true, Readings: readings}
	rules.Step(&s.settings, &s.state, &in, &s.effects)
	s.latest.Put(&agent.Snapshot{
		Trailer: "T-17", Epoch: "e", Seq: 1, At: in.At, Settings: s.settings, State: s.state, Outputs: s.effects.Outputs,
	})
}

func good(v float64) signal.Reading { return signal.Reading{Value: v, Quality: signal.Good} }

// wired is a scan of a trailer with most contacts wired and no downstream meter.
func wired(product signal.Reading) signal.Set {
	return signal.Set{
		signal.FeedConductivity: good(412.5), signal.ProductConductivity: product, signal.FeedTemperature: good(18.25),
		signal.ProductTemperature: good(18.5), signal.Flow: good(36), signal.Total: good(1234.5), signal.ControlPower: good(1),
		signal.BypassButton: good(0), signal.InletOpen: good(1), signal.InletShut: good(0), signal.ReliefOpen: good(0), signal.RinseOpen: good(0),
		signal.ProductOutletOpen: good(1), signal.DownstreamFlow: {Cause: signal.NotPolled},
		signal.BankA: {Cause: signal.NotPolled}, signal.BankB: {Cause: signal.NotPolled},
	}
}

// inBypass is three minutes of good water, ten off spec, a stop, a press and a minute of bypass with the feed analyzer lost.
func inBypass() *stand {
	s := newStand()
	for range 180 {
		s.step(time.Second, wired(good(0.5)))
	}
	for range 601 {
		s.step(time.Second, wired(good(1.25)))
	}
	pressed := wired(good(1.25))
	pressed[signal.BypassButton] = good(1)
	s.step(time.Second, pressed)
	for range 60 {
		lost := wired(good(1.25))
		lost[signal.FeedConductivity] = signal.Reading{Cause: signal.TimedOut}
		lost[signal.FeedTemperature] = signal.Reading{Quality: signal.Bad, Cause: signal.Sentinel}
		s.step(time.Second, lost)
	}
	return s
}

func (s *stand) with(settings metrics.Settings) metrics.Settings {
	settings.Latest = &s.latest
	return settings
}

func full() metrics.Settings {
	return metrics.Settings{
		Version: "1.2.3",
		Scans:   func() (uint64, time.Time) { return 842, start.Add(842 * time.Second) },
		Healths: func() []agent.Health {
			return []agent.Health{
				{
					Instrument: "analyzer", Polls: 842, Errors: map[string]uint64{"timeout": 58, "frame": 2}, LastGood: start, RoundTrip: 3500 * time.Microsecond,
					Latency: latency(3*time.Millisecond, 3500*time.Microsecond, 40*time.Millisecond, 7*time.Second), Reconnects: 3, Losses: 2, Withheld: agent.WarmingUp,
					Settings: []agent.Setting{{Name: "cell_constant", Read: start, Differs: true}, {Name: "range", Read: start}, {Name: "never_read"}},
				},
				{Instrument: "contacts", Polls: 842},
			}
		},
		Backlogs:     func() map[string]uint64 { return map[string]uint64{"mqtt": 12} },
		JournalBytes: func() int64 { return 1 << 20 },
	}
}

func latency(took ...time.Duration) (l agent.Latency) {
	for _, d := range took {
		l.Add(d)
	}
	return l
}

// exposition scrapes the collector alone, without the runtime's own metrics.
func exposition(t testing.TB, s metrics.Settings) string {
	registry := prometheus.NewPedanticRegistry()
	require.NoError(t, registry.Register(metrics.New(s)))
	return scrape(t, promhttp.HandlerFor(registry, promhttp.HandlerOpts{}))
}

func scrape(t testing.TB, h http.Handler) string {
	recorder := httptest.NewRecorder()
	h.ServeHTTP(recorder, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	require.Equal(t, http.StatusOK, recorder.Code, recorder.Body)
	require.Contains(t, recorder.Header().Get("Content-Type"), "text/plain")
	return recorder.Body.String()
}

func TestExpositionOfABypass(t *testing.T) {
	got := strings.ReplaceAll(exposition(t, inBypass().with(full())), runtime.Version(), "GO")
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(got), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	assert.Equal(t, string(want), got, "run with -update and look at the difference")
}

// The golden file is only as good as the eyes on it: these lines are worked out by hand.
func TestUnitsWorkedOutByHand(t *testing.T) {
	text := exposition(t, inBypass().with(full()))
	for _, line := range []string{
		`ionward_state{state="bypass"} 1`,
		`ionward_state{state="service"} 0`,
		`ionward_conductivity_siemens_per_meter{point="product"} 0.000125`, // 1.25 uS/cm
		`ionward_conductivity_endpoint_siemens_per_meter 0.0001`,           // 1 uS/cm
		`ionward_flow_cubic_meters_per_second 0.01`,                        // 36 m3/h
		`ionward_off_spec_delay_seconds 600`,
		`ionward_bypass_remaining_seconds 540`,
		`ionward_stop_remaining_seconds 540`,
		`ionward_trips_total 1`,
		`ionward_bypasses_total 1`,
		`ionward_volume_cubic_meters_total{custody="on_spec"} 1.8`,         // 180 s of 36 m3/h
		`ionward_volume_cubic_meters_total{custody="off_spec_delay"} 6`,    // 600 s
		`ionward_volume_cubic_meters_total{custody="inlet_shut"} 0.01`,     // the scan between stop and press
		`ionward_volume_cubic_meters_total{custody="off_spec_bypass"} 0.6`, // 60 s
		`ionward_valve_open{valve="inlet"} 1`,
		`ionward_valve_expected_open{valve="relief"} 0`,
		`ionward_signal_quality{quality="none",signal="feed_conductivity"} 1`,
		`ionward_signal_quality{quality="bad",signal="feed_temperature"} 1`,
		`ionward_poll_errors_total{instrument="analyzer",kind="timeout"} 58`,
		`ionward_trailer_info{simulation="false",trailer="T-17"} 1`,
	} {
		assert.Contains(t, text, line+"\n")
	}
	for _, absent := range []string{
		`siemens_per_meter{point="feed"}`,              // lost: absent, not old
		`temperature_celsius{point="feed"}`,            // bad
		`downstream`,                                   // not wired
		`poll_duration_seconds{instrument="contacts"}`, // never answered
	} {
		assert.NotContains(t, text, absent)
	}
	assert.Contains(t, text, `ionward_signal_timestamp_seconds{signal="feed_conductivity"}`, "its age must be visible")
}

// A sample with a time of its own would be refused or go stale by other rules than the rest.
func TestSamplesCarryNoTime(t *testing.T) {
	for line := range strings.Lines(exposition(t, inBypass().with(full()))) {
		if !strings.HasPrefix(line, "#") {
			assert.Len(t, strings.Fields(line[strings.LastIndex(line, "}")+1:]), 1+bare(line), "%q", line)
		}
	}
}

// bare is 1 for a line without labels, in which the name is a field too.
func bare(line string) int {
	if strings.Contains(line, "}") {
		return 0
	}
	return 1
}

func TestBeforeTheFirstStep(t *testing.T) {
	text := exposition(t, newStand().with(metrics.Settings{}))
	assert.Contains(t, text, `ionward_build_info{goversion="`+runtime.Version()+`",version="unknown"} 1`)
	assert.Equal(t, 1, strings.Count(text, "# TYPE"), "nothing is known of the water yet:\n%s", text)
}

func TestWithoutControlPower(t *testing.T) {
	s := newStand()
	s.step(0, wired(good(0.5)))
	off := wired(good(0.5))
	off[signal.ControlPower], off[signal.InletOpen], off[signal.InletShut] = good(0), signal.Reading{}, good(1)
	s.step(time.Second, off)
	text := exposition(t, s.with(metrics.Settings{}))
	assert.Contains(t, text, "ionward_control_power 0\n")
	assert.Contains(t, text, `ionward_state{state="no_power"} 1`)
	assert.Contains(t, text, `ionward_valve_open{valve="inlet"} 0`, "the other switch tells")
	assert.Contains(t, text, `ionward_valve_expected_open{valve="inlet"} 0`)
	assert.NotContains(t, text, `ionward_valve_expected_open{valve="relief"}`, "not driven")
	assert.NotContains(t, text, "stop_remaining")
}

func TestHandler(t *testing.T) {
	text := scrape(t, metrics.Handler(inBypass().with(full())))
	assert.Contains(t, text, "ionward_trips_total 1\n")
	assert.Contains(t, text, "go_goroutines ")
}

// promtool is Prometheus's own opinion of names, types, units and help texts; it prints nothing when content.
func TestPromtoolIsSilent(t *testing.T) {
	need(t, "promtool")
	for name, s := range map[string]metrics.Settings{"full": inBypass().with(full()), "new": newStand().with(metrics.Settings{})} {
		check := exec.CommandContext(t.Context(), "promtool", "check", "metrics")
		check.Stdin = strings.NewReader(scrape(t, metrics.Handler(s)))
		out, err := check.CombinedOutput()
		require.NoError(t, err, "%s: %s", name, out)
		assert.Empty(t, string(out), name)
	}
}

// need skips where a program is missing, except where somebody insists that nothing is skipped.
func need(t *testing.T, program string) {
	t.Helper()
	if _, err := exec.LookPath(program); err != nil {
		if os.Getenv("IONWARD_NO_SKIP") != "" {
			t.Fatalf("%s is missing, and IONWARD_NO_SKIP is set: %v", program, err)
		}
		t.Skipf("%s is not installed (Debian: apt-get install prometheus)", program)
	}
}

func TestNamesFromOutsideCannotSpoilAScrape(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		name := string(rapid.SliceOf(rapid.Byte()).Draw(rt, "name"))
		s := newStand().with(metrics.Settings{Backlogs: func() map[string]uint64 { return map[string]uint64{name: 7} }})
		registry := prometheus.NewPedanticRegistry()
		require.NoError(rt, registry.Register(metrics.New(s)))
		_, err := registry.Gather()
		require.NoError(rt, err)
	})
}
