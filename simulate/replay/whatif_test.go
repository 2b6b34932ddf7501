package replay

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"pgregory.net/rapid"

	"ionward/agent/trace"
	"ionward/configs"
	"ionward/rules"
	"ionward/rules/alarm"
)

var update = flag.Bool("update", false, "write what the tests print into testdata")

func open(t require.TestingT, text string) *trace.Reader {
	r, err := trace.Read("trace", strings.NewReader(text), trace.Settings{})
	require.NoError(t, err)
	return r
}

// alone replays a trace under one set of settings: its sums, and how often an alarm was raised, taken from the lines.
func alone(t require.TestingT, text string, rule rules.Settings) (Summary, int) {
	var out bytes.Buffer
	set := Settings{Rule: rule, Format: JSONL, Why: func(rules.Reason) string { return "" }}
	require.NoError(t, Run(context.Background(), open(t, text), set, &out))
	raised := strings.Count(out.String(), `"to":"unacknowledged"`)
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	var s Summary
	require.NoError(t, json.Unmarshal([]byte(secondsAsWhole(lines[len(lines)-1])), &s))
	return s, raised
}

// secondsAsWhole lets the sums be read back: a Summary writes seconds, and holds nanoseconds.
func secondsAsWhole(line string) string {
	var all map[string]any
	d := json.NewDecoder(strings.NewReader(line))
	d.UseNumber()
	_ = d.Decode(&all)
	whole := func(m map[string]any) {
		for k, v := range m {
			if n, ok := v.(json.Number); ok && (k == "seconds" || k == "seconds_not_measured" || m["service"] != nil) {
				d, _ := time.ParseDuration(n.String() + "s")
				m[k] = int64(d)
			}
		}
	}
	whole(all)
	whole(all["seconds_in"].(map[string]any))
	text, _ := json.Marshal(all)
	return string(text)
}

// All combinations in one pass give what each gives alone.
func TestWhatIfGivesWhatEachReplayGivesAlone(t *testing.T) {
	defer goleak.VerifyNone(t)
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		text := d.text()
		var cases []Case
		for i := range rapid.IntRange(1, 5).Draw(t, "cases") {
			file, err := configs.Default(append(d.sets[:len(d.sets):len(d.sets)],
				fmt.Sprintf("off_spec.delay=%ds", rapid.IntRange(1, 60).Draw(t, "delay")),
				fmt.Sprintf("off_spec.endpoint=%g", float64(rapid.IntRange(50, 3000).Draw(t, "endpoint"))/1000)))
			require.NoError(t, err)
			cases = append(cases, Case{Set: []Setting{{"n", fmt.Sprint(i)}}, Rule: file.Rule})
		}
		outcomes, err := WhatIf(context.Background(), open(t, text), cases, nil)
		require.NoError(t, err)
		require.Len(t, outcomes, len(cases))
		for i, o := range outcomes {
			want, raised := alone(t, text, cases[i].Rule)
			require.Equal(t, raised, o.Alarms)
			require.Equal(t, want.Alarms.Raised, o.Alarms, "the figures count the same")
			want.Alarms = nil // a comparison counts alarms and keeps no figures
			require.Equal(t, want, o.Summary)
			require.Equal(t, setText{{"n", fmt.Sprint(i)}}, o.Set)
			require.InDelta(t, time.Duration(want.In.Shut+want.In.NoPower).Minutes(), o.dry(), 1e-9)
			// One US gallon is 3.785411784 L (NIST SP 811).
			require.InDelta(t, (want.M3.OffSpecDelay+want.M3.OffSpecBypass)/0.003785411784, o.GallonsOffSpec, 1e-6*(1+o.GallonsOffSpec))
			if o.Seconds > 0 {
				require.InDelta(t, float64(raised)*86400/time.Duration(want.Seconds).Seconds(), *o.AlarmsADay, 1e-6*(1+*o.AlarmsADay))
			}
		}
	})
}

// An outcome is best where nothing of its endpoint is at least as good in both and better in one.
func TestBestIsWhatNothingBeats(t *testing.T) {
	make := func(endpoint, minutes, gallons float64) Outcome {
		return Outcome{endpoint: endpoint, MinutesShut: minutes, GallonsOffSpec: gallons}
	}
	list := []Outcome{make(1, 10, 5), make(1, 5, 10), make(1, 10, 6), make(1, 5, 10), make(1, 11, 11), make(0.5, 50, 50)}
	markBest(list)
	var best []bool
	for _, o := range list {
		best = append(best, o.Best)
	}
	require.Equal(t, []bool{true, true, false, true, false, true}, best)
}

// recorded is a trace of excursions: one that ends by itself, one that is bypassed, one that stops, a small one.
func recorded(dated bool) string {
	var b strings.Builder
	b.WriteString("time,product_conductivity,flow[gpm],bypass_button,control_power\n")
	for s := 0; s <= 3*3600; s += 10 {
		product, button, power := 0.3, 0, 1
		switch {
		case s >= 1200 && s < 1600, s >= 3600 && s < 5400, s >= 7200 && s < 9600:
			product = 1.2
		case s >= 10200 && s < 10700:
			product = 0.8
		}
		if s >= 4000 && s < 4020 {
			button = 1
		}
		if s >= 10000 && s < 10100 {
			power = 0
		}
		at := fmt.Sprint(s)
		if dated {
			at = time.Date(2026, 3, 1, 22, 0, s, 0, time.UTC).Format(time.RFC3339)
		}
		fmt.Fprintf(&b, "%s,%.3f,%d,%d,%d\n", at, product, 100, button, power)
	}
	return b.String()
}

// fewAlarms leaves the alarms that concern a stop of the water, so that what is printed does not hang on all the others.
func fewAlarms(rule rules.Settings) rules.Settings {
	for i := range rule.Alarms {
		rule.Alarms[i].Disabled = alarm.ID(i) > alarm.ProductReadingLost
	}
	return rule
}

// compared tries delays and endpoints on the recorded trace.
func compared(t *testing.T) []Outcome {
	var cases []Case
	for _, endpoint := range []string{"0.5", "1"} {
		for _, delay := range []string{"5m", "10m", "20m", "45m"} {
			file, err := configs.Default([]string{"off_spec.endpoint=" + endpoint, "off_spec.delay=" + delay})
			require.NoError(t, err)
			cases = append(cases, Case{Set: []Setting{{"off_spec.endpoint", endpoint}, {"off_spec.delay", delay}}, Rule: fewAlarms(file.Rule)})
		}
	}
	told := 0
	outcomes, err := WhatIf(context.Background(), open(t, recorded(true)), cases, func(rows int) { told = rows })
	require.NoError(t, err)
	require.Equal(t, outcomes[0].Rows, told)
	return outcomes
}

func golden(t *testing.T, name string, got []byte) {
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, got, 0o600))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got), "look at it; if it is right, run the test with -update")
}

func TestComparisonIsPrintedForPeopleAndPrograms(t *testing.T) {
	outcomes := compared(t)
	var text, objects, rows bytes.Buffer
	require.NoError(t, PrintOutcomes(&text, outcomes, Text))
	golden(t, "what-if.txt", text.Bytes())

	require.NoError(t, PrintOutcomes(&objects, outcomes, JSONL))
	lines := strings.Split(strings.TrimSpace(objects.String()), "\n")
	require.Len(t, lines, len(outcomes))
	require.NoError(t, PrintOutcomes(&rows, outcomes, CSV))
	table, err := csv.NewReader(&rows).ReadAll()
	require.NoError(t, err)
	require.Len(t, table, len(outcomes)+1)
	for i, line := range lines {
		require.True(t, strings.HasPrefix(line, fmt.Sprintf(`{"set":{"off_spec.endpoint":%q,"off_spec.delay":%q},`, outcomes[i].Set[0].Value, outcomes[i].Set[1].Value)), line)
		var o map[string]any
		require.NoError(t, json.Unmarshal([]byte(line), &o))
		// The columns of the table are the fields of the object, by the same names and with the same numbers.
		for k, name := range table[0] {
			var v any = o
			if k < 2 {
				v = o["set"].(map[string]any)[name]
			} else {
				for _, part := range strings.Split(name, ".") {
					v = v.(map[string]any)[part]
				}
			}
			want, err := json.Marshal(v)
			require.NoError(t, err)
			require.Equal(t, strings.Trim(string(want), `"`), table[i+1][k], name)
		}
	}
	require.ErrorContains(t, PrintOutcomes(full{}, outcomes, Text), "cannot write the result")

	text.Reset()
	require.NoError(t, PrintOutcomes(&text, nil, Text))
	require.Equal(t, "the trace has no rows\n", text.String())
}

// full is an output that takes nothing.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, os.ErrClosed }

func TestPlot(t *testing.T) {
	var picture bytes.Buffer
	require.NoError(t, Plot(&picture, "T-07", compared(t)))
	golden(t, "what-if.svg", picture.Bytes())
	require.ErrorContains(t, Plot(full{}, "", nil), "cannot write the plot")
}

func TestAFaultOfTheTraceEndsAComparison(t *testing.T) {
	defer goleak.VerifyNone(t)
	_, err := WhatIf(context.Background(), open(t, "time,product_conductivity\n0,1\n1,x\n"), []Case{{Rule: rules.Defaults()}}, nil)
	require.ErrorContains(t, err, "trace:3:3")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err = WhatIf(ctx, open(t, recorded(false)), []Case{{Rule: rules.Defaults()}}, nil)
	require.ErrorIs(t, err, context.Canceled)
}

func TestThousandsAreApart(t *testing.T) {
	for want, v := range map[string]float64{"0.0": 0, "999.9": 999.9, "1,000.0": 1000, "-1,234.5": -1234.5, "1,234,567.0": 1234567} {
		require.Equal(t, want, thousands(v, 1))
	}
	require.Equal(t, "47:59:59", long(48*time.Hour-time.Second))
	require.Equal(t, "2.5 days", long(60*time.Hour))
}
