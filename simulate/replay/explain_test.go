package replay

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent"
	"ionward/agent/words"
	"ionward/configs"
	"ionward/rules"
)

// explained runs Explain over a trace.
func explained(t require.TestingT, text, at string, rule rules.Settings, format Format) (string, error) {
	when, err := ParseInstant(at)
	require.NoError(t, err)
	phrases := words.English()
	var out bytes.Buffer
	set := Settings{Rule: rule, Format: format, Why: phrases.Why, State: phrases.State}
	err = Explain(context.Background(), open(t, text), set, phrases, when, &out)
	return out.String(), err
}

func TestExplainTellsWhatWasSeenDecidedAndAwaited(t *testing.T) {
	for name, at := range map[string]string{
		"service": "22:10:03", "delay": "22:25:00", "bypass": "23:10:05", "shut": "00:30:00", "no-power": "2026-03-02T00:47:00.5Z",
	} {
		t.Run(name, func(t *testing.T) {
			text, err := explained(t, recorded(true), at, fewAlarms(rules.Defaults()), Text)
			require.NoError(t, err)
			golden(t, "explain-"+name+".txt", withoutTimer(text))
		})
	}
	// Qualities, held values, a clear delay, and times without dates.
	file, err := configs.Default([]string{"off_spec.clear_delay=30s"})
	require.NoError(t, err)
	trace := "time,product_conductivity,product_conductivity.quality,flow,feed_temperature\n" +
		"0,1.5,,40,\n10,0.4,uncertain,,20\n20,0.4,good,41,\n40,,,,\n45,-3,,,\n"
	for i, at := range []string{"0:00:15", "0:00:25.5", "42", "45"} {
		text, err := explained(t, trace, at, fewAlarms(file.Rule), Text)
		require.NoError(t, err)
		golden(t, fmt.Sprintf("explain-held-%d.txt", i), withoutTimer(text))
	}
}

// withoutTimer leaves out when the next of all the alarms looks again: it hangs on every alarm there is.
func withoutTimer(text string) []byte {
	return regexp.MustCompile(`(?m)^  a timer of an alarm .*\n`).ReplaceAll([]byte(text), nil)
}

// cut gives the rows up to an instant and then the rest of the time in pieces, as a loop that wakes now and then.
type cut struct {
	from agent.Source
	goal time.Duration
	now  time.Duration
	row  rules.Input
	has  bool
	t    *rapid.T
}

func (c *cut) Next(ctx context.Context, within time.Duration, in *rules.Input) error {
	if !c.has {
		if err := c.from.Next(ctx, within, &c.row); err != nil && !errors.Is(err, io.EOF) {
			return err
		} else if err != nil {
			c.row.Gap = agent.Never
		}
		c.has = true
	}
	if c.row.Gap <= c.goal-c.now {
		c.now += c.row.Gap
		*in, c.has = c.row, false
		return nil
	}
	if c.now == c.goal {
		return io.EOF
	}
	gap := min(within, c.goal-c.now, time.Duration(rapid.IntRange(1, 20).Draw(c.t, "piece"))*time.Second/tick)
	c.now += gap
	c.row.Gap -= gap
	*in = rules.Input{Gap: gap}
	return nil
}

// What is explained is the state of a loop that has come to that instant in small steps, and its time left is exact: with
// the reading held the stop comes then.
func TestExplainIsTheStateAtThatInstant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		file, err := configs.Default(d.sets)
		require.NoError(t, err)
		length := d.rows[len(d.rows)-1].at - d.rows[0].at
		goal := rapid.IntRange(0, length).Draw(t, "instant")
		out, err := explained(t, d.text(), fmt.Sprint(float64(goal)/tick), file.Rule, JSONL)
		require.NoError(t, err)
		var x struct {
			T, Since      float64
			Row           int
			State         string
			Tripped       bool
			Off           bool               `json:"off_spec"`
			Waits         map[string]float64 `json:"waits_for"`
			Next          *float64           `json:"next_deadline"`
			Left          *float64           `json:"time_left"`
			Readings      map[string]struct{ Age *float64 }
			Inlet, Relief string
		}
		require.NoError(t, json.Unmarshal([]byte(out), &x), out)

		loop := agent.Loop{Settings: file.Rule, Source: &cut{from: open(t, d.text()), goal: time.Duration(goal) * time.Second / tick, t: t}}
		require.NoError(t, loop.Run(context.Background()))
		s := &loop.State
		require.InDelta(t, s.Elapsed.Seconds(), x.T, 1e-9)
		require.Equal(t, s.Mode.String(), x.State)
		require.InDelta(t, s.Since.Seconds(), x.Since, 1e-9)
		require.Equal(t, s.Tripped, x.Tripped)
		require.Equal(t, s.Powered && s.Off(), x.Off)
		same := func(name string, want time.Duration, runs bool, got *float64) {
			require.Equal(t, runs, got != nil, name)
			if runs {
				require.InDelta(t, want.Seconds(), *got, 1e-9, name)
			}
		}
		next, ok := s.NextDeadline(&file.Rule)
		same("next deadline", next, ok, x.Next)
		left, ok := s.TimeLeft(&file.Rule)
		same("time left", left, ok, x.Left)
		least := math.Inf(1)
		for _, v := range x.Waits {
			least = min(least, v)
		}
		require.Equal(t, x.Next == nil, math.IsInf(least, 1), "what runs out next is named")
		if x.Next != nil {
			require.InDelta(t, *x.Next, least, 1e-9)
		}
		if ok && s.Class == rules.ClassOff {
			after := *s
			var effects rules.Effects
			rules.Step(&file.Rule, &after, &rules.Input{Gap: left}, &effects)
			require.Equal(t, rules.Shut, after.Mode)
			require.Equal(t, s.Elapsed+left, after.Since)
		}
	})
}

func TestInstants(t *testing.T) {
	dated, plain := recorded(true), recorded(false)
	for _, c := range []struct{ text, at, want string }{
		{plain, "0", `"t":0,`}, {plain, "10800", `"t":10800,`}, {plain, "0:30:00.25", `"t":1800.25,`}, {plain, "2:59:59", `"t":10799,`},
		{dated, "22:00:00", `"t":0,"at":"2026-03-01T22:00:00Z"`}, {dated, "00:30:01", `"t":9001,"at":"2026-03-02T00:30:01Z"`},
		{dated, "2026-03-02T01:30:00+01:00", `"t":9000,`}, {dated, "90.5", `"t":90.5,"at":"2026-03-01T22:01:30.5Z"`},
	} {
		out, err := explained(t, c.text, c.at, rules.Defaults(), JSONL)
		require.NoError(t, err, c.at)
		require.Contains(t, out, c.want, c.at)
	}
	for _, c := range []struct{ text, at, want string }{
		{plain, "10800.001", "10800.001 is after the last row, 3:00:00 after its first row: what would come then is not known"},
		{dated, "21:59:59", "21:59:59 is after the last row, 2026-03-02T01:00:00Z"},
		{dated, "24:00:00", "24:00:00 is no time of day"},
		{dated, "2026-03-01T21:00:00Z", "2026-03-01T21:00:00Z is before the first row, 2026-03-01T22:00:00Z"},
		{plain, "2026-03-01T21:00:00Z", "is a date, and the times of the trace have none"},
		{"time,product_conductivity\n", "0", "the trace has no rows"},
	} {
		_, err := explained(t, c.text, c.at, rules.Defaults(), JSONL)
		require.ErrorContains(t, err, c.want, c.at)
		var fault *InstantFault
		require.ErrorAs(t, err, &fault)
	}
	for _, text := range []string{"", "noon", "12:34", "1:2:3", "12:60:00", "12:00:60", "12:00:0x1", "-1", "1e3", "12:00:00Z", "2026-03-01", ":00:00", "5s", "1.2.3"} {
		_, err := ParseInstant(text)
		require.ErrorContains(t, err, "is no instant", text)
	}
}

// A damaged row behind the instant is no matter, one before it is.
func TestExplainReadsNoFurtherThanItMust(t *testing.T) {
	text := "time,product_conductivity\n0,1\n10,1\n20,1\n30,x\n"
	_, err := explained(t, text, "15", rules.Defaults(), Text)
	require.NoError(t, err)
	_, err = explained(t, text, "25", rules.Defaults(), Text)
	require.ErrorContains(t, err, "trace:5:4", "whether the stretch ends at 25 is not known")
	when, err := ParseInstant("0")
	require.NoError(t, err)
	set := Settings{Rule: rules.Defaults(), Why: words.English().Why, State: words.English().State}
	require.ErrorContains(t, Explain(context.Background(), open(t, text), set, words.English(), when, full{}), "cannot write the result")
}
