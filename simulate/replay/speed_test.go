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
	"testing"
	"time"

	"github.com/stretchr/testify/require"

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

func replayed(t require.TestingT, text []byte) *Summary {
	r, err := trace.Read("speed", bytes.NewReader(text), trace.Settings{})
	require.NoError(t, err)
	set := Settings{Rule: rules.Defaults(), Format: JSONL, Why: func(rules.Reason) string { return "" }}
	p := printer{set: &set, reader: r, out: io.Discard}
	loop, done := newLoop(r, &set, &p)
	defer done()
	require.NoError(t, loop.Run(context.Background()))
	s := summarise(r, &loop.State)
	return &s
}

// BenchmarkReplay prints how much faster the whole replay is than a plain encoding/csv pass with only the timer, over
// the same bytes in the same run, in turn; "reuse" is the same pass with its record reused.
func BenchmarkReplay(b *testing.B) {
	const rows = 200_000
	text := recording(rows)
	require.Positive(b, tenMinutes(bytes.NewReader(text), false))
	require.Positive(b, replayed(b, text).Trips)
	var ours, plain, reuse time.Duration
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		start := time.Now()
		tenMinutes(bytes.NewReader(text), false)
		plain += time.Since(start)
		start = time.Now()
		tenMinutes(bytes.NewReader(text), true)
		reuse += time.Since(start)
		start = time.Now()
		replayed(b, text)
		ours += time.Since(start)
	}
	b.ReportMetric(plain.Seconds()/ours.Seconds(), "x_encoding/csv")
	b.ReportMetric(reuse.Seconds()/ours.Seconds(), "x_encoding/csv_reuse")
	b.ReportMetric(float64(ours.Nanoseconds())/float64(b.N)/rows, "ns/row")
}

// A replay keeps no rows: ten times the trace takes no more memory.
func TestReplayDoesNotGrowWithTheTrace(t *testing.T) {
	peak := func(rows int) uint64 {
		text := recording(rows)
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		replayed(t, text)
		runtime.ReadMemStats(&after)
		return after.TotalAlloc - before.TotalAlloc
	}
	small, large := peak(20_000), peak(200_000)
	require.Less(t, large, small*3, "allocated in all: %d B for 20,000 rows, %d B for 200,000", small, large)
}
