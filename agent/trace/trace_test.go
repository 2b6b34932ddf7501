package trace

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent"
	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// all reads a whole trace; the inputs are copies.
func all(text string, set Settings) (*Reader, []rules.Input, error) {
	r, err := Read("t.csv", strings.NewReader(text), set)
	if err != nil {
		return nil, nil, err
	}
	var list []rules.Input
	for {
		var in rules.Input
		switch err := r.Next(context.Background(), agent.Never, &in); {
		case errors.Is(err, io.EOF):
			return r, list, nil
		case err != nil:
			return r, list, err
		}
		list = append(list, in)
	}
}

func product(in rules.Input) signal.Reading { return in.Readings[signal.ProductConductivity] }

func good(v float64) signal.Reading { return signal.Reading{Value: v, Quality: signal.Good} }

func TestReadsSecondsUnitsQualitiesAndContacts(t *testing.T) {
	r, in, err := all("# scenario: a bed runs out\n#station 7\ntime,flow[gpm],product_conductivity,product_conductivity.quality,bypass_button\n"+
		"100.5,300,0.4,,0\n101.25,,0.5005,uncertain,1\n102,300,,bad,\n102,300,,good,0\n", Settings{})
	require.NoError(t, err)
	require.Equal(t, []string{"scenario: a bed runs out", "station 7"}, r.Notes)
	require.Equal(t, 4, r.Rows)
	require.False(t, r.Dated)
	require.Equal(t, []time.Duration{0, 750 * time.Millisecond, 750 * time.Millisecond, 0},
		[]time.Duration{in[0].Gap, in[1].Gap, in[2].Gap, in[3].Gap})
	// 300 gpm x 0.22712470704 m3/h, NIST SP 811.
	require.InDelta(t, 68.137412112, in[0].Readings[signal.Flow].Value, 1e-5)
	require.Equal(t, good(0.4), product(in[0]))
	require.Equal(t, signal.Reading{Value: 0.501, Quality: signal.Uncertain, Cause: signal.Reported}, product(in[1]), "halves away from zero")
	require.Equal(t, signal.Reading{}, in[1].Readings[signal.Flow], "an empty cell is no reading")
	require.Equal(t, signal.Reading{Quality: signal.Bad, Cause: signal.Reported}, product(in[2]))
	require.Equal(t, signal.Reading{}, product(in[3]), "nothing is good without a number")
	require.True(t, in[1].Readings[signal.BypassButton].On())
	require.Equal(t, signal.Reading{}, in[2].Readings[signal.BypassButton])
	require.Equal(t, signal.Reading{}, in[0].Readings[signal.ControlPower], "a column that is not there gives no reading")
	require.Zero(t, in[0].At)
}

func TestReadsDates(t *testing.T) {
	r, in, err := all("time,product_conductivity\n2026-03-01T12:34:59.9Z,1\n2026-03-01T12:35:00.000000001Z,1\n2026-03-01T13:35:01+01:00,1\n2026-03-01 12:35:02z,1\n2026-03-01T12:35:03Z,1\n2026-03-01T12:35:03.25Z,1\n", Settings{})
	require.NoError(t, err)
	require.True(t, r.Dated)
	var gaps []time.Duration
	for _, i := range in {
		gaps = append(gaps, i.Gap)
	}
	require.Equal(t, []time.Duration{0, 100000001, 999999999, time.Second, time.Second, 250 * time.Millisecond}, gaps)
	require.Equal(t, time.Date(2026, 3, 1, 12, 35, 3, 250_000_000, time.UTC).UnixNano(), in[5].At)
	require.Equal(t, in[0].At, r.Start)
}

// What can be parsed but cannot be water is a bad reading, no damage.
func TestWhatCannotBeWaterIsBad(t *testing.T) {
	for cell, cause := range map[string]signal.Cause{
		"NaN": signal.NotANumber, "-inf": signal.NotANumber, "1e999": signal.NotANumber, "-0.001": signal.Negative, "3000.5": signal.OutOfSpan,
	} {
		_, in, err := all("time,product_conductivity\n0,"+cell+"\n", Settings{})
		require.NoError(t, err, cell)
		require.Equal(t, signal.Reading{Quality: signal.Bad, Cause: cause}, product(in[0]), cell)
	}
	_, in, err := all("time,product_conductivity,inlet_open\n0,1,0.5\n", Settings{})
	require.NoError(t, err)
	require.Equal(t, signal.Bad, in[0].Readings[signal.InletOpen].Quality, "half a contact")
}

func TestQuotedCellsSpacesAndLineEnds(t *testing.T) {
	text := "\xef\xbb\xbf\"time\",product_conductivity,order\r\n" +
		"0,\"0.4\",\"Ana Rey acknowledge off-spec seen, \"\"looking\"\"; night shift note took over\r\nthe watch\"\r\n\r\n" +
		" 1 , +0.5 ,at the screen reset stopped-off-spec\r\n"
	_, in, err := all(text, Settings{})
	require.NoError(t, err)
	require.Len(t, in, 2)
	require.Equal(t, []rules.Order{
		{Who: "Ana Rey", Verb: rules.Acknowledge, Alarm: alarm.OffSpec, Text: `seen, "looking"`},
		{Who: "night shift", Verb: rules.Note, Text: "took over the watch"},
	}, in[0].Orders)
	require.Equal(t, []rules.Order{{Who: "at the screen", Verb: rules.Reset, Alarm: alarm.StoppedOffSpec}}, in[1].Orders)
	require.Equal(t, good(0.5), product(in[1]))
	require.Equal(t, time.Second, in[1].Gap)
}

func TestFaultsNameFileLineAndColumn(t *testing.T) {
	head := "time,product_conductivity,flow,bypass_button,product_conductivity.quality,order\n"
	for name, c := range map[string]struct{ text, want string }{
		"empty":            {"", "t.csv: the trace is empty"},
		"notes only":       {"# nothing\n", "t.csv: the trace is empty"},
		"no time":          {"seconds,product_conductivity\n", `t.csv:1:1: the first column is "seconds": it must be time`},
		"unknown column":   {"# x\ntime,product_condutivity\n", `t.csv:2:6: column "product_condutivity" is not known; the nearest known name is product_conductivity`},
		"unknown quality":  {"time,product_conductivity,flw.quality\n", `nearest known name is flow.quality`},
		"no product":       {"time,flow\n", "t.csv:1: there is no column product_conductivity"},
		"twice":            {"time,product_conductivity,product_conductivity[mS/m]\n", "t.csv:1:27: column \"product_conductivity[mS/m]\" is there twice"},
		"wrong unit":       {"time,product_conductivity,flow[psi]\n", `t.csv:1:27: column "flow[psi]": "psi" is not a unit of flow (use one of m3/h, gpm`},
		"unit of contact":  {"time,product_conductivity,bank_a[gpm]\n", "a contact is 0 or 1 and has no unit"},
		"lonely quality":   {"time,product_conductivity,flow.quality\n", `column "flow.quality" has no column "flow" beside it`},
		"not a number":     {head + "0,1,2,0,good,\n1,x,2,0,good,\n", `t.csv:3:3: column 2 (product_conductivity): "x" is not a number`},
		"decimal comma":    {head + "0,\"1,5\",2,0,good,\n", `t.csv:2:3: column 2 (product_conductivity): "1,5" is not a number`},
		"hexadecimal":      {head + "0,0x1p1,2,0,good,\n", `"0x1p1" is not a number`},
		"not a quality":    {head + "0,1,2,0,fine,\n", `t.csv:2:9: column 5 (product_conductivity.quality): "fine" is not a quality (good, uncertain, bad or empty)`},
		"not an order":     {head + "0,1,2,0,good,shut the valve\n", `t.csv:2:14: column 6 (order): "shut the valve" "shut the valve" is not an order`},
		"unknown alarm":    {head + "0,1,2,0,good,me acknowledge flood\n", `"flood" is not an alarm`},
		"no time cell":     {head + ",1,2,0,good,\n", "t.csv:2:1: column 1 (time): there is no time"},
		"mixed time":       {head + "0,1,2,0,good,\n2026-03-01T00:00:00Z,1,2,0,good,\n", "t.csv:3:1: column 1 (time): \"2026-03-01T00:00:00Z\" dates and plain seconds are mixed"},
		"no zone":          {head + "2026-03-01T00:00:00,1,2,0,good,\n", "is not an RFC 3339 date"},
		"not a day":        {head + "2026-02-30T00:00:00Z,1,2,0,good,\n", "is not an RFC 3339 date"},
		"backwards":        {head + "5,1,2,0,good,\n4.5,1,2,0,good,\n", "t.csv:3:1: column 1 (time): time goes backwards by 500ms"},
		"short row":        {head + "5,1,2,0,good,\n6,1\n", "t.csv:3:5: the row has 2 cells, the header names 6"},
		"long row":         {head + "5,1,2,0,good,,9\n", "t.csv:2:15: the row has 7 cells, the header names 6"},
		"quote inside":     {head + "5,1\"2,2,0,good,\n", "t.csv:2: a quote stands inside a cell"},
		"quote never ends": {head + "5,\"1,2,0,good,\n", "t.csv:2: a quoted cell does not end before the end of the file"},
		"after a quote":    {head + "5,\"1\"2,2,0,good,\n", "t.csv:2: something stands between a closing quote and the next comma"},
		"line without end": {head + strings.Repeat("1", longest+10), "the line is longer than"},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := all(c.text, Settings{})
			require.ErrorContains(t, err, c.want)
			var f *Fault
			require.ErrorAs(t, err, &f)
		})
	}
}

func TestARecordNeedsDates(t *testing.T) {
	_, _, err := all("time,product_conductivity\n0,1\n", Settings{NeedDates: true})
	require.ErrorContains(t, err, `t.csv:2:1: column 1 (time): "0" is no date, and a record is kept by date`)
}

func TestIgnoreUnknownSkipsColumns(t *testing.T) {
	_, in, err := all("time,weather,product_conductivity\n0,rain,0.4\n", Settings{IgnoreUnknown: true})
	require.NoError(t, err)
	require.Equal(t, good(0.4), product(in[0]))
}

func TestKeepGoingTakesDamageAsBadReadings(t *testing.T) {
	var list []string
	r, in, err := all("time,product_conductivity,flow,product_conductivity.quality\n"+
		"0,0.4,10,good\n1,0.4?,10,good\n2,0.4,ten,good\n3,0.4,10,fine\n?,0.4,10,good\n5,0.4\n6,\"0.4\"x,10,good\n7,0.4,10,good,9\n8,0.4,10,good\n",
		Settings{KeepGoing: true, OnDamage: func(f *Fault) { list = append(list, f.Error()) }})
	require.NoError(t, err)
	require.Len(t, list, 7)
	require.Equal(t, 9, r.Rows)
	require.Equal(t, 7, r.Hurt)
	damaged := signal.Reading{Quality: signal.Bad, Cause: signal.Damaged}
	var products, flows []signal.Reading
	for _, i := range in {
		products, flows = append(products, product(i)), append(flows, i.Readings[signal.Flow])
	}
	require.Equal(t, []signal.Reading{good(0.4), damaged, good(0.4), damaged, damaged, good(0.4), good(0.4)}, products)
	require.Equal(t, []signal.Reading{good(10), good(10), damaged, good(10), damaged, good(10), good(10)}, flows)
	require.Equal(t, 2*time.Second, in[4].Gap, "a row without a place in time is left out")
}

func TestTimeGoingBackwardsStopsEvenWhenKeepingGoing(t *testing.T) {
	_, in, err := all("time,product_conductivity\n5,1\n4,1\n", Settings{KeepGoing: true})
	require.ErrorContains(t, err, "t.csv:3:1: column 1 (time): time goes backwards")
	require.Len(t, in, 1)
}

func TestOpensFilesCompressedAndNot(t *testing.T) {
	dir := t.TempDir()
	text := "time,product_conductivity\n0,0.4\n"
	plain, packed, broken := filepath.Join(dir, "a.csv"), filepath.Join(dir, "a.csv.gz"), filepath.Join(dir, "b.csv.gz")
	require.NoError(t, os.WriteFile(plain, []byte(text), 0o600))
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, _ = z.Write([]byte(text))
	require.NoError(t, z.Close())
	require.NoError(t, os.WriteFile(packed, b.Bytes(), 0o600))
	require.NoError(t, os.WriteFile(broken, []byte(text), 0o600))
	for _, name := range []string{plain, packed} {
		r, err := Open(name, Settings{})
		require.NoError(t, err)
		var in rules.Input
		require.NoError(t, r.Next(context.Background(), agent.Never, &in))
		require.Equal(t, good(0.4), product(in))
		require.NoError(t, r.Close())
	}
	_, err := Open(broken, Settings{})
	require.ErrorContains(t, err, "b.csv.gz: cannot decompress")
	_, err = Open(filepath.Join(dir, "none.csv"), Settings{})
	require.ErrorContains(t, err, "none.csv: cannot open the trace: no such file or directory")
	cut := filepath.Join(dir, "cut.csv.gz")
	require.NoError(t, os.WriteFile(cut, b.Bytes()[:b.Len()-6], 0o600))
	r, err := Open(cut, Settings{})
	if err == nil {
		var in rules.Input
		for err == nil {
			err = r.Next(context.Background(), agent.Never, &in)
		}
		require.NoError(t, r.Close())
	}
	require.ErrorContains(t, err, "cannot read on", "a file that was cut off is no clean end")
}

func TestACancelledReplayStops(t *testing.T) {
	r, err := Read("t.csv", strings.NewReader("time,product_conductivity\n0,1\n"), Settings{})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	require.ErrorIs(t, r.Next(ctx, agent.Never, &rules.Input{}), context.Canceled)
}

func TestNumbersAreTheNearestFloats(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[+-]?[0-9]{0,22}(\.[0-9]{0,24})?(e[+-]?[0-9]{1,3})?`).Draw(t, "text")
		v, ok := number([]byte(text))
		var want float64
		n, err := fmt.Sscanf(text+" ", "%g ", &want)
		if n != 1 || err != nil {
			return // what the standard library refuses is covered by the table of faults
		}
		require.True(t, ok, text)
		if want != want+1 || want == 0 {
			require.Equal(t, want, v, text)
		}
	})
}

func TestOrdersSurviveARoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[A-Z][a-z]{1,8}`)
		var list []rules.Order
		for range rapid.IntRange(1, 3).Draw(t, "orders") {
			o := rules.Order{Who: word.Draw(t, "who"), Verb: rules.Verb(rapid.IntRange(0, 2).Draw(t, "verb")), Text: word.Draw(t, "text")}
			if o.Verb != rules.Note {
				o.Alarm = alarm.ID(rapid.IntRange(0, alarm.Count-1).Draw(t, "alarm"))
			}
			list = append(list, o)
		}
		got, err := parseOrders(FormatOrders(list))
		require.NoError(t, err)
		require.Equal(t, list, got)
	})
}

// Whatever is fed, the reader ends, never panics, names a place, and never gives time going backwards.
func FuzzRead(f *testing.F) {
	f.Add("time,product_conductivity\n0,1\n", false)
	f.Add("# n\ntime,flow[gpm],product_conductivity,order,flow.quality\n2026-03-01T00:00:00Z,\"1\",0.5,a note b,bad\n", true)
	f.Fuzz(func(t *testing.T, text string, keep bool) {
		r, err := Read("t.csv", strings.NewReader(text), Settings{KeepGoing: keep, IgnoreUnknown: keep})
		var in rules.Input
		for err == nil {
			if err = r.Next(context.Background(), agent.Never, &in); err == nil {
				require.GreaterOrEqual(t, in.Gap, time.Duration(0))
				for id, reading := range in.Readings {
					require.False(t, reading.Quality == signal.Good && (reading.Value < 0 && !strings.HasSuffix(signal.ID(id).String(), "temperature")), "%v", reading)
				}
			}
		}
		if !errors.Is(err, io.EOF) {
			require.ErrorContains(t, err, "t.csv")
		}
	})
}
