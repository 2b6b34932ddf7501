package replay

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"runtime"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/agent"
	"ionward/agent/trace"
	"ionward/rules"
)

// recording is a trace of six columns at 1 Hz: product and feed with noise, an excursion every hour, a press now and then.
func recording(rows int) []byte {
	var b bytes.Buffer
	b.WriteString("time,feed_conductivity,product_conductivity,flow,control_power,bypass_button\n")
	for i := range rows {
		noise := float64((i*7919)%97) / 1000
		product := 0.2 + noise
		if i%3600 > 1800 && i%3600 < 2600 {
			product += 1.3
		}
		button := 0
		if i%3600 > 2450 && i%3600 < 2453 {
			button = 1
		}
		fmt.Fprintf(&b, "%d,%.1f,%.3f,%.2f,1,%d\n", i, 300+10*noise, product, 40+noise, button)
	}
	return b.Bytes()
}

// tenMinutes is the least that anybody would write: encoding/csv and a ten-minute timer.
func tenMinutes(in io.Reader, reuse bool) (trips int) {
	r := csv.NewReader(in)
	r.ReuseRecord = reuse
	_, _ = r.Read()
	since := math.Inf(1)
	tripped := false
	for {
		row, err := r.Read()
		if err != nil {
			return trips
		}
		at, _ := strconv.ParseFloat(row[0], 64)
		v, _ := strconv.ParseFloat(row[2], 64)
		switch {
		case v < 1:
			since, tripped = math.Inf(1), false
		case math.IsInf(since, 1):
			since = at
		case at-since >= 600 && !tripped:
			tripped = true
			trips++
		}
	}
}

func replayed(t require.TestingT, text []byte, rule rules.Settings) *Summary {
	r, err := trace.Read("speed", bytes.NewReader(text), trace.Settings{})
	require.NoError(t, err)
	set := Settings{Rule: rule, Format: JSONL, Why: func(rules.Reason) string { return "" }}
	p := printer{set: &set, reader: r, out: io.Discard}
	loop, done := newLoop(r, &set, &p)
	defer done()
	require.NoError(t, loop.Run(context.Background()))
	s := summarise(r, &set.Rule, &loop.State)
	return &s
}

// parsed reads a trace and does nothing with it.
func parsed(t require.TestingT, text []byte) {
	r, err := trace.Read("speed", bytes.NewReader(text), trace.Settings{})
	require.NoError(t, err)
	var in rules.Input
	for err == nil {
		err = r.Next(context.Background(), agent.Never, &in)
	}
	require.ErrorIs(t, err, io.EOF)
}

// shutdownAlone are settings under which no alarm ever stands: the shutdown rule and the custody of the water are left.
func shutdownAlone() rules.Settings {
	rule := rules.Defaults()
	for i := range rule.Alarms {
		rule.Alarms[i].Disabled = true
	}
	return rule
}

// BenchmarkReplay prints how much faster the replay is than a plain encoding/csv pass with only the timer, over the same
// bytes in the same run, in turn; "reuse" is the same pass with its record reused. all is the whole set of rules, alone
// the shutdown rule. Of each the fastest run counts, since a run is only ever made slower from outside. The shares are of
// the time of one core: parsing, and the rules.
func BenchmarkReplay(b *testing.B) {
	const rows = 500_000
	text := recording(rows)
	require.Positive(b, tenMinutes(bytes.NewReader(text), false))
	require.Positive(b, replayed(b, text, rules.Defaults()).Trips)
	best := map[string]time.Duration{}
	timed := func(name string, work func()) {
		start := time.Now()
		work()
		if spent := time.Since(start); best[name] == 0 || spent < best[name] {
			best[name] = spent
		}
	}
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		timed("csv", func() { tenMinutes(bytes.NewReader(text), false) })
		timed("reuse", func() { tenMinutes(bytes.NewReader(text), true) })
		timed("all", func() { replayed(b, text, rules.Defaults()) })
		timed("alone", func() { replayed(b, text, shutdownAlone()) })
		timed("parse", func() { parsed(b, text) })
		timed("rules", func() { stepped(b, rows) })
	}
	for _, name := range []string{"all", "alone"} {
		b.ReportMetric(best["csv"].Seconds()/best[name].Seconds(), name+"_x_csv")
		b.ReportMetric(best["reuse"].Seconds()/best[name].Seconds(), name+"_x_csv_reuse")
	}
	for _, name := range []string{"all", "parse", "rules"} {
		b.ReportMetric(float64(best[name].Nanoseconds())/rows, name+"_ns/row")
	}
	b.ReportMetric(100*best["parse"].Seconds()/(best["parse"]+best["rules"]).Seconds(), "parse_%")
}

// stepped lets all rules step through rows that are in memory already.
func stepped(t require.TestingT, rows int) {
	hour := hourOnce()
	set, s, out := rules.Defaults(), rules.State{}, rules.Effects{}
	for i := range rows {
		rules.Step(&set, &s, &hour[i%len(hour)], &out)
	}
	require.Positive(t, s.Trips)
}

// hourOnce is the first hour of the recording as inputs; its first row comes with a gap, so that the hours can follow
// one another.
var hourOnce = sync.OnceValue(func() []rules.Input {
	r, err := trace.Read("hour", bytes.NewReader(recording(3600)), trace.Settings{})
	if err != nil {
		panic(err)
	}
	list := make([]rules.Input, 0, 3600)
	for {
		var in rules.Input
		if r.Next(context.Background(), agent.Never, &in) != nil {
			list[0].Gap = time.Second
			return list
		}
		list = append(list, in)
	}
})

// A replay keeps no rows: ten times the trace takes no more memory.
func TestReplayDoesNotGrowWithTheTrace(t *testing.T) {
	peak := func(rows int) uint64 {
		text := recording(rows)
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		replayed(t, text, rules.Defaults())
		runtime.ReadMemStats(&after)
		return after.TotalAlloc - before.TotalAlloc
	}
	small, large := peak(20_000), peak(200_000)
	require.Less(t, large, small*3, "allocated in all: %d B for 20,000 rows, %d B for 200,000", small, large)
}
