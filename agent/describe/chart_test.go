package describe

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"flag"
	"io"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

var update = flag.Bool("update", false, "write the charts seen into testdata; read them before keeping them")

// units are the trailers of the golden charts.
func units() map[string]Settings {
	plain := rules.Defaults()
	tried := rules.Defaults()
	tried.Endpoint, tried.ClearBand, tried.Delay, tried.Bypass, tried.ClearDelay, tried.KeepTrip = 0.2, 0.01, 5*time.Minute, 15*time.Minute, 10*time.Second, true
	trial := rules.Trial{Who: "J. Doe", When: "2026-03-14"}
	p := &tried.Profile
	p.Timers = rules.TimerTrial{
		Delay:  rules.Span{Lo: 296 * time.Second, Hi: 304 * time.Second},
		Bypass: rules.Span{Lo: 890 * time.Second, Hi: 905500 * time.Millisecond}, Trial: trial,
	}
	p.ShortDip = rules.Answer{Trial: trial}
	p.PowerWhileShut = rules.Answer{Yes: true, Trial: trial}
	p.PressWhileRunning = rules.Answer{Yes: true, Trial: trial}
	p.Travel = rules.TravelTrial{Inlet: 12 * time.Second, Relief: 6 * time.Second, Trial: trial}
	tried.Alarms[alarm.FlowTooLow].Disabled = true
	return map[string]Settings{
		"default": {Rule: &plain, Wired: AllWired},
		"tried":   {Trailer: "T-12", Rule: &tried, Wired: AllWired &^ Wired(signal.InletShut)},
		"bare":    {Trailer: "T-03", Rule: &plain, Wired: Wired(signal.ProductConductivity), Language: "es"},
	}
}

func TestGoldenCharts(t *testing.T) {
	for name, set := range units() {
		for format, write := range map[string]func(*Chart, io.Writer) error{"txt": (*Chart).Text, "csv": (*Chart).CSV, "html": (*Chart).HTML} {
			t.Run(name+"."+format, func(t *testing.T) {
				c, err := New(set)
				require.NoError(t, err)
				var b bytes.Buffer
				require.NoError(t, write(c, &b))
				path := filepath.Join("testdata", name+"."+format)
				if *update {
					require.NoError(t, os.WriteFile(path, b.Bytes(), 0o644))
				}
				want, err := os.ReadFile(path)
				require.NoError(t, err)
				assert.Equal(t, string(want), b.String())
			})
		}
	}
}

// cell finds a cell by its row and column.
func cell(t require.TestingT, c *Chart, row, column string) string {
	r := slices.IndexFunc(c.Rows, func(r Row) bool { return r.Name == row })
	require.GreaterOrEqual(t, r, 0, row)
	i := slices.Index(columns, column)
	require.GreaterOrEqual(t, i, 0, column)
	return c.Rows[r].Cells[i]
}

// The chart as it must come out for a relay panel: the effects of each cause, whatever the times and the endpoint. With a
// clear delay as long as the delay good water would come too late, and the chart would say so.
func TestTheEffects(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set := rules.Defaults()
		set.Endpoint = float64(rapid.IntRange(50, 3000).Draw(t, "endpoint")) / 1000
		set.Delay = time.Duration(rapid.IntRange(61, 3600).Draw(t, "delay")) * time.Second
		set.Bypass = time.Duration(rapid.IntRange(1, 3600).Draw(t, "bypass")) * time.Second
		set.ClearDelay = time.Duration(rapid.IntRange(0, 60).Draw(t, "clear delay")) * time.Second
		set.ClearBand = rapid.SampledFrom([]float64{0, 0.01, set.Endpoint / 2}).Draw(t, "band")
		set.KeepTrip = rapid.Bool().Draw(t, "keep")
		require.Empty(t, set.Check())
		c, err := New(Settings{Rule: &set, Wired: AllWired})
		require.NoError(t, err)
		d := draft{file: must(load("en")), rule: &set, set: &Settings{}}
		want := map[string]string{
			"C1 delay": "RUNS", "C2 inlet": "SHUT", "C2 relief": "OPEN", "C2 trip": "SET", "C2 after": d.time(set.Delay), "C3 delay": "RESET",
			"C4 delay": "RUNS", "C5 inlet": "OPEN", "C5 relief": "SHUT", "C5 bypass": "RUNS " + d.time(set.Bypass), "C5 trip": "RESET",
			"C6 bypass": "NO EFFECT", "C7 inlet": "SHUT", "C7 relief": "NOT DRIVEN", "C7 delay": "RESET", "C7 bypass": "RESET", "C7 trip": "RESET",
			"C8 inlet": "OPEN", "C8 relief": "SHUT", "C8 delay": "RUNS", "C11 delay": "RUNS ON", "C14 delay": "RANGE WIDENS", "C14 bypass": "RANGE WIDENS",
		}
		if set.KeepTrip {
			want["C7 trip"], want["C8 inlet"], want["C8 relief"] = "KEPT", "STAYS SHUT", "OPEN"
		}
		for _, r := range c.Rows {
			for _, column := range []string{"inlet", "relief", "delay", "bypass", "trip"} {
				key := r.Name + " " + column
				require.Equal(t, want[key], cell(t, c, r.Name, column), key)
			}
		}
		require.Equal(t, want["C2 after"], cell(t, c, "C2", "after"))
	})
}

func must(f *file, err error) *file {
	if err != nil {
		panic(err)
	}
	return f
}

func TestWhatIsNotWiredIsTold(t *testing.T) {
	set := rules.Defaults()
	c, err := New(Settings{Rule: &set, Wired: Wired(signal.ProductConductivity, signal.InletShut)})
	require.NoError(t, err)
	assert.Equal(t, "NOT WIRED", cell(t, c, "C5", "seen_by"))
	assert.Equal(t, "inlet_shut", cell(t, c, "C9", "seen_by"))
	assert.Equal(t, "the agent", cell(t, c, "C14", "seen_by"))
	notes := strings.Join(c.Notes, "\n")
	assert.Contains(t, notes, "No contact on the bypass button")
	assert.Contains(t, notes, "No contact on control power")
	assert.NotContains(t, notes, "No limit switch on the inlet")
	assert.Contains(t, notes, "ASSUMED")
}

func TestWhoIsAsked(t *testing.T) {
	set := rules.Defaults()
	asks := func(wired uint32) bool {
		c, err := New(Settings{Rule: &set, Wired: wired})
		require.NoError(t, err)
		return strings.Contains(cell(t, c, "C9", "alarms"), "was-bypass-pressed")
	}
	assert.True(t, asks(AllWired), "nobody has measured the timer")
	set.Profile.Timers.Who = "J. Doe"
	assert.False(t, asks(AllWired))
	assert.True(t, asks(AllWired&^Wired(signal.BypassButton)))
}

// An answer of the profile that says another thing than the chart stands below it.
func TestWhatDiffersIsTold(t *testing.T) {
	set := rules.Defaults()
	set.Profile.HeldButton.Yes = true
	c, err := New(Settings{Rule: &set, Wired: AllWired})
	require.NoError(t, err)
	assert.Contains(t, strings.Join(c.Notes, "\n"), "This unit differs from the chart:\nprofile.held_button.holds_open: ")
}

// Every language has the same phrases, with the same placeholders, and every one is used.
func TestLanguagesAreAlike(t *testing.T) {
	require.Equal(t, []string{"en", "es"}, Languages())
	_, err := New(Settings{Language: "xx"})
	require.EqualError(t, err, `cannot describe in language "xx" (use one of en, es)`)
	placeholder := regexp.MustCompile(`\{[a-z_]+\}`)
	en, es := reflect.ValueOf(*must(load("en"))), reflect.ValueOf(*must(load("es")))
	for i := range en.NumField() {
		name := en.Type().Field(i).Name
		a, ok := en.Field(i).Interface().(map[string]string)
		if !ok {
			assert.NotEmpty(t, en.Field(i).String(), name)
			assert.NotEmpty(t, es.Field(i).String(), name)
			continue
		}
		b := es.Field(i).Interface().(map[string]string)
		assert.Equal(t, slices.Sorted(maps.Keys(a)), slices.Sorted(maps.Keys(b)), name)
		for k := range a {
			assert.NotEmpty(t, a[k], "%s.%s", name, k)
			assert.NotEmpty(t, b[k], "%s.%s", name, k)
			x, y := placeholder.FindAllString(a[k], -1), placeholder.FindAllString(b[k], -1)
			assert.Equal(t, slices.Sorted(slices.Values(x)), slices.Sorted(slices.Values(y)), "%s.%s", name, k)
		}
	}
	for name, set := range units() {
		for _, language := range Languages() {
			set.Language = language
			c, err := New(set)
			require.NoError(t, err)
			var b bytes.Buffer
			require.NoError(t, c.Text(&b))
			assert.NotRegexp(t, placeholder, b.String(), "%s in %s", name, language)
			for _, r := range c.Rows {
				assert.NotEmpty(t, r.Cells[1], "%s %s", r.Name, language)
			}
		}
	}
}

func TestTimesAreWrittenAsPeopleSayThem(t *testing.T) {
	d := draft{file: must(load("en"))}
	for in, want := range map[time.Duration]string{
		0: "0 s", 5 * time.Second: "5 s", 1500 * time.Millisecond: "1.5 s", 10 * time.Minute: "10 min", 90 * time.Second: "1 min 30 s",
		2 * time.Hour: "2 h", 2*time.Hour + time.Second: "2 h 1 s", time.Hour + 5*time.Minute: "1 h 5 min",
	} {
		assert.Equal(t, want, d.time(in))
	}
}

func TestTheTextKeepsItsColumns(t *testing.T) {
	c, err := New(units()["tried"])
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, c.Text(&b))
	var bars [][]int
	for line := range strings.SplitSeq(b.String(), "\n") {
		if !strings.Contains(line, "-+-") {
			continue
		}
		var at []int
		for i, r := range []rune(line) {
			if r == '+' {
				at = append(at, i)
			}
		}
		bars = append(bars, at)
		assert.LessOrEqual(t, len(line), 180)
	}
	require.Len(t, bars, len(c.Rows))
	for _, at := range bars {
		assert.Equal(t, bars[0], at)
		assert.Len(t, at, len(columns)-1)
	}
	assert.Equal(t, []string{"a bb", "ccc", "dddddddd", "e"}, fold("a bb ccc dddddddd e", 4))
	assert.Equal(t, []string{"after", "10 min"}, fold("after 10 min", 8))
	assert.Equal(t, []string{""}, fold("", 4))
}

func TestTheTableIsRectangular(t *testing.T) {
	c, err := New(units()["bare"])
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, c.CSV(&b))
	rows, err := csv.NewReader(&b).ReadAll() // checks the number of cells
	require.NoError(t, err)
	require.Len(t, rows, len(causes)+1)
	require.Len(t, rows[0], len(columns))
}

// The page is whole in itself: it parses, loads nothing and runs nothing.
func TestThePageIsWholeInItself(t *testing.T) {
	set := units()["tried"]
	set.Trailer = `<script>alert("T&12")</script>`
	c, err := New(set)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, c.HTML(&b))
	text := b.String()
	for _, never := range []string{"<script", "src=", "href=", "url(", "@import", "onload"} {
		assert.NotContains(t, text, never)
	}
	assert.Equal(t, len(causes), strings.Count(text, `<th scope="row"`))
	decoder := xml.NewDecoder(strings.NewReader(text))
	decoder.Strict, decoder.AutoClose, decoder.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	depth := 0
	for {
		token, err := decoder.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		switch token.(type) {
		case xml.StartElement:
			depth++
		case xml.EndElement:
			depth--
		}
	}
	assert.Zero(t, depth)
}

// failing is a writer that is full.
type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, io.ErrShortWrite }

func TestAFullDiskIsReported(t *testing.T) {
	c, err := New(units()["default"])
	require.NoError(t, err)
	for _, write := range []func(io.Writer) error{c.Text, c.CSV, c.HTML} {
		assert.Error(t, write(failing{}))
	}
}
