package replay

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/agent/trace"
	"ionward/rules"
)

// hand is a clock that is turned by hand.
type hand struct{ time.Time }

func (h *hand) turn(b *Bar) *Bar {
	h.Time = time.Unix(1000, 0)
	b.now = func() time.Time { return h.Time }
	b.began, b.last = h.Time, h.Time
	return b
}

// half is a trace on disk of which about half has been read.
func half(t *testing.T) *trace.Reader {
	name := filepath.Join(t.TempDir(), "t.csv")
	text := "time,product_conductivity\n" + strings.Repeat("1,0.4\n", (1<<19-26)/6) // twice of what is read at once
	require.NoError(t, os.WriteFile(name, []byte(text), 0o600))
	r, err := trace.Open(name, trace.Settings{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, r.Close()) })
	return r
}

func TestBarTellsRowsPercentAndTimeLeft(t *testing.T) {
	var out bytes.Buffer
	var clock hand
	b := clock.turn(NewBar(&out, true, true))
	b.Rows(10)
	require.Empty(t, out.String(), "nothing within the first fifth of a second")
	clock.Time = clock.Add(refresh)
	b.Rows(1234567)
	require.Equal(t, "\r1,234,567 rows", out.String(), "no trace yet")
	out.Reset()
	b.Watch(half(t))
	clock.Time = clock.Add(refresh - 1)
	b.Rows(2e6)
	require.Empty(t, out.String(), "at most five a second")
	clock.Time = clock.Add(1)
	b.Rows(2e6)
	require.Equal(t, "\r[############............]  50 %  2,000,000 rows", out.String(), "too early for a time left")
	out.Reset()
	clock.Time = clock.Add(10*time.Second - 2*refresh)
	b.Rows(3e6)
	require.Equal(t, "\r[############............]  50 %  3,000,000 rows  0:00:10 left", out.String())
	out.Reset()
	line := len("[############............]  50 %  3,000,000 rows  0:00:10 left")
	fmt.Fprint(b, "t.csv:7: damaged\n")
	require.Equal(t, "\r"+strings.Repeat(" ", line)+"\rt.csv:7: damaged\n", out.String(), "what is written is not glued to the bar")
	out.Reset()
	b.Done()
	require.Empty(t, out.String(), "the bar is gone already")
	clock.Time = clock.Add(refresh)
	b.Rows(3e6)
	b.Done()
	require.True(t, strings.HasSuffix(out.String(), "\r"), "nothing stays behind")
}

// A shorter line leaves nothing of the longer one before.
func TestBarDrawsOverALongerLine(t *testing.T) {
	var out bytes.Buffer
	var clock hand
	b := clock.turn(NewBar(&out, true, true))
	clock.Time = clock.Add(refresh)
	b.Rows(1000)
	clock.Time = clock.Add(refresh)
	b.Rows(1)
	require.Equal(t, "\r1,000 rows\r1 rows    ", out.String())
}

func TestBarIsLinesWhereThereIsNoTerminal(t *testing.T) {
	var out bytes.Buffer
	var clock hand
	b := clock.turn(NewBar(&out, true, false))
	for i := range 3 {
		clock.Time = clock.Add(refresh)
		b.Rows(i)
	}
	b.Done()
	require.Equal(t, "0 rows\n1 rows\n2 rows\n", out.String())
}

func TestBarThatIsNotShownOnlyPassesOn(t *testing.T) {
	var out, other bytes.Buffer
	var clock hand
	b := clock.turn(NewBar(&out, false, true))
	clock.Time = clock.Add(time.Hour)
	b.Rows(5)
	b.Done()
	fmt.Fprint(b, "x")
	fmt.Fprint(b.Around(&other), "y")
	require.Equal(t, "x", out.String())
	require.Equal(t, "y", other.String())
}

// Damage is listed from the core that reads while the bar is drawn from the one that steps.
func TestBarMayBeUsedFromBothCores(t *testing.T) {
	var out bytes.Buffer
	b := NewBar(&out, true, true)
	var both sync.WaitGroup
	both.Go(func() {
		for i := range 1000 {
			b.Rows(i)
		}
	})
	both.Go(func() {
		for range 1000 {
			fmt.Fprintln(b, "damaged")
		}
	})
	both.Wait()
	require.Equal(t, 1000, strings.Count(out.String(), "damaged\n"))
}

// A replay tells its progress every few thousand rows.
func TestARunTellsItsProgress(t *testing.T) {
	var told []int
	set := Settings{Rule: rules.Defaults(), Why: func(rules.Reason) string { return "" }, State: rules.Mode.String, Progress: func(rows int) { told = append(told, rows) }}
	text := "time,product_conductivity\n" + strings.Repeat("1,0.4\n", 2*rowsAtATime+5)
	require.NoError(t, Run(t.Context(), open(t, text), set, &bytes.Buffer{}))
	require.Equal(t, []int{rowsAtATime, 2 * rowsAtATime}, told)
}
