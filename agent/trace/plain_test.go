package trace

import (
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent"
	"ionward/rules"
)

// source is what both ways of reading a trace have.
type source interface {
	Next(ctx context.Context, within time.Duration, in *rules.Input) error
}

// drain reads to the end into one Input, as a loop does; the inputs are copies.
func drain(s source) ([]rules.Input, error) {
	var list []rules.Input
	var in rules.Input
	for {
		if err := s.Next(context.Background(), agent.Never, &in); errors.Is(err, io.EOF) {
			return list, nil
		} else if err != nil {
			return list, err
		}
		list = append(list, in)
	}
}

// drawTrace makes a trace whose cells are of every kind, in runs, so that a cell is often the same as the one above.
func drawTrace(t *rapid.T) string {
	columns := []struct{ name, pattern string }{
		{"flow[gpm]", `([0-9]{1,4}(\.[0-9]{0,6})?)?`},
		{"product_conductivity", `(-?[0-9]{0,4}\.?[0-9]{0,5})?`},
		{"product_conductivity.quality", `(good|good|bad|uncertain)?`},
		{"total", `[0-9]{0,9}(\.[0-9]{0,10})?`},
		{"feed_conductivity", `[0-9]{2,3}\.[0-9]|1e2|NaN| 5|[0-9]{15,20}`},
		{"inlet_open", `[01]|[01]|[012]|0\.5|01`},
		{"weather", `[a-z ]{0,9}`},
		{"order", `|||(Ana note [a-z]{3})`},
	}
	columns = rapid.Permutation(columns).Draw(t, "columns")[:rapid.IntRange(1, len(columns)).Draw(t, "how many")]
	for i := range columns { // the trace needs a product, and a quality its signal
		if columns[i].name == "product_conductivity.quality" {
			columns[i] = struct{ name, pattern string }{"rinse_open", "[01]"}
		}
	}
	for i := range columns {
		if columns[i].name == "product_conductivity" {
			columns[i], columns[0] = columns[0], columns[i]
		}
	}
	if columns[0].name != "product_conductivity" {
		columns[0] = struct{ name, pattern string }{"product_conductivity", `[0-9]\.[0-9]{3}`}
	}
	if rapid.Bool().Draw(t, "with quality") {
		columns = append(columns, struct{ name, pattern string }{"product_conductivity.quality", `(good|good|good|bad|uncertain)?`})
	}
	end := rapid.SampledFrom([]string{"\n", "\n", "\r\n"}).Draw(t, "line end")
	var b strings.Builder
	b.WriteString("time")
	for _, c := range columns {
		b.WriteString("," + c.name)
	}
	b.WriteString(end)
	dated, at, cells := rapid.Bool().Draw(t, "dated"), 0, make([]string, len(columns))
	for range rapid.IntRange(1, 40).Draw(t, "rows") {
		at += rapid.SampledFrom([]int{0, 1000, 1000, 1000, 61000, 50, 7}).Draw(t, "gap")
		b.WriteString(stamp(t, dated, at))
		for i, c := range columns {
			if cells[i] == "" || rapid.IntRange(0, 3).Draw(t, "anew") == 0 {
				cells[i] = rapid.StringMatching(c.pattern).Draw(t, c.name)
			}
			b.WriteString("," + cells[i])
		}
		b.WriteString(rapid.SampledFrom([]string{"", "", "", "", "", "", "", "", ",", "\r", "\""}).Draw(t, "tail") + end)
		if rapid.IntRange(0, 20).Draw(t, "blank") == 0 {
			b.WriteString(end)
		}
	}
	return b.String()
}

// stamp is a time cell at so many milliseconds, in one of the ways it may be written.
func stamp(t *rapid.T, dated bool, ms int) string {
	if !dated {
		return fmt.Sprintf(rapid.SampledFrom([]string{"%.3f", "%.3f", "%.5f", "%09.3f"}).Draw(t, "digits"), float64(ms)/1000)
	}
	at := time.Date(2026, 3, 1, 23, 58, 50, 0, time.UTC).Add(time.Duration(ms) * time.Millisecond)
	return at.Format(rapid.SampledFrom([]string{"2006-01-02T15:04:05.999Z", "2006-01-02T15:04:05.999Z", "2006-01-02T15:04:05.000000Z", "2006-01-02 15:04:05.999z"}).Draw(t, "layout"))
}

// The quick way through a trace, the careful one, both in turn and reading ahead give the same readings, times, orders,
// damage and faults. A reader that gives one byte at a time never has a whole row at hand for the quick way.
func TestPlainRowsReadAsTheCarefulWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := drawTrace(t)
		keep := rapid.Bool().Draw(t, "keep going")
		read := func(in io.Reader) (*Reader, *[]string) {
			var damage []string
			r, err := Read("t.csv", in, Settings{KeepGoing: keep, IgnoreUnknown: true, OnDamage: func(f *Fault) { damage = append(damage, f.Error()) }})
			require.NoError(t, err)
			return r, &damage
		}
		slow, damage := read(iotest.OneByteReader(strings.NewReader(text)))
		want, wantErr := drain(slow)
		for _, name := range []string{"at once", "in pieces", "ahead"} {
			in := io.Reader(strings.NewReader(text))
			if name == "in pieces" {
				in = &pieces{t: t, text: text}
			}
			r, found := read(in)
			s := source(r)
			if name == "ahead" {
				a := NewAhead(r)
				defer a.Close()
				s = a
			}
			got, err := drain(s)
			require.Equal(t, want, got, name)
			require.Equal(t, wantErr, err, name)
			require.Equal(t, *damage, *found, name)
			require.Equal(t, [2]int{slow.Rows, slow.Hurt}, [2]int{r.Rows, r.Hurt}, name)
		}
	})
}

// Without this a quick way that always gave up would pass unseen.
func TestUsualRowsGoTheQuickWay(t *testing.T) {
	for name, row := range map[string]string{
		"seconds": "1000.5,0.4,1,,good\n", "carriage return": "7,0.4,1,,good\r\n", "long numbers": "123456789.25,123.456789012,0,,\n", "nothing read": "1,,,,\n",
		"date": "2026-03-01T00:00:00Z,0.4,1,,good\n", "fraction of a second": "2026-03-01T00:00:00.25Z,0.4,1,,good\n",
	} {
		r, err := Read("t.csv", strings.NewReader("time,product_conductivity,inlet_open,order,product_conductivity.quality\n"+strings.Repeat(row, 5)), Settings{})
		require.NoError(t, err)
		var in rules.Input
		for range 2 { // the first row decides what time is
			require.NoError(t, r.Next(context.Background(), agent.Never, &in))
		}
		n, _ := r.plain(r.window, nil)
		require.Equal(t, len(row), n, name)
	}
}

// pieces gives a text in pieces of drawn sizes.
type pieces struct {
	t    *rapid.T
	text string
}

func (b *pieces) Read(p []byte) (int, error) {
	if b.text == "" {
		return 0, io.EOF
	}
	n := copy(p, b.text[:min(len(b.text), rapid.IntRange(1, 90).Draw(b.t, "piece"))])
	b.text = b.text[n:]
	return n, nil
}

// What has been read so far is known while reading goes on, also of a compressed file.
func TestTakenTellsHowFarAFileIsRead(t *testing.T) {
	name := writeLong(t, "long.csv")
	for _, name := range []string{name, pack(t, name)} {
		r, err := Open(name, Settings{})
		require.NoError(t, err)
		read, size := r.Taken()
		require.Less(t, read, size)
		_, err = drain(r)
		require.NoError(t, err)
		read, size = r.Taken()
		require.Equal(t, size, read)
		require.NoError(t, r.Close())
	}
	r, err := Read("t.csv", strings.NewReader("time,product_conductivity\n"), Settings{})
	require.NoError(t, err)
	_, size := r.Taken()
	require.Zero(t, size, "a pipe has no size")
}

// writeLong writes a trace of more than what is read at once.
func writeLong(t *testing.T, name string) string {
	path := filepath.Join(t.TempDir(), name)
	var b strings.Builder
	b.WriteString("time,product_conductivity,flow\n")
	for i := range 100_000 {
		fmt.Fprintf(&b, "%d,0.%d,%d\n", i, i*7919%1000, i*6007%1000)
	}
	require.NoError(t, os.WriteFile(path, []byte(b.String()), 0o600))
	return path
}

func pack(t *testing.T, name string) string {
	text, err := os.ReadFile(name)
	require.NoError(t, err)
	f, err := os.Create(name + ".gz")
	require.NoError(t, err)
	z := gzip.NewWriter(f)
	_, err = z.Write(text)
	require.NoError(t, err)
	require.NoError(t, z.Close())
	require.NoError(t, f.Close())
	return name + ".gz"
}
