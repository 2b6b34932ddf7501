package replay

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// setText is a case's settings as a JSON object that keeps their order.
type setText []Setting

// MarshalJSON writes {"path":"value"}.
func (s setText) MarshalJSON() ([]byte, error) {
	b := []byte{'{'}
	for i, set := range s {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(appendText(b, set.Path), ':')
		b = appendText(b, set.Value)
	}
	return append(b, '}'), nil
}

// PrintOutcomes prints the comparison: a table for people, or one object or row a case.
func PrintOutcomes(out io.Writer, outcomes []Outcome, format Format) error {
	var b bytes.Buffer
	switch format {
	case JSONL:
		for i := range outcomes {
			text, err := json.Marshal(&outcomes[i])
			if err != nil {
				return fmt.Errorf("cannot write the result: %w", err)
			}
			b.Write(append(text, '\n'))
		}
	case CSV:
		csvOutcomes(&b, outcomes)
	default:
		textOutcomes(&b, outcomes)
	}
	if _, err := b.WriteTo(out); err != nil {
		return fmt.Errorf("cannot write the result: %w", err)
	}
	return nil
}

// csvOutcomes writes a row a case: its settings, its sums, and what is worked out from them.
func csvOutcomes(b *bytes.Buffer, outcomes []Outcome) {
	w := csv.NewWriter(b) // a buffer takes everything
	for i := range outcomes {
		o := &outcomes[i]
		var names, row []string
		for _, s := range o.Set {
			names, row = append(names, s.Path), append(row, s.Value)
		}
		for _, f := range append(o.fields(), o.derived()...) {
			names, row = append(names, f.name), append(row, f.value)
		}
		if i == 0 {
			_ = w.Write(names)
		}
		_ = w.Write(row)
	}
	w.Flush()
}

func (o *Outcome) derived() []field {
	float := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	return []field{
		{"minutes_shut", float(o.MinutesShut)}, {"minutes_no_power", float(o.MinutesNoPower)},
		{"gallons_off_spec", float(o.GallonsOffSpec)}, {"alarms", strconv.Itoa(o.Alarms)},
		{"alarms_a_day", number(o.AlarmsADay)}, {"best", strconv.FormatBool(o.Best)},
	}
}

// What a comparison cannot know, or what is read into it too easily, is said below it.
const (
	pressNote    = "Presses are those of the trace; under other settings people would have pressed at other times."
	endpointNote = "Off spec is by each one's own endpoint: gallons of different endpoints are gallons of different water."
)

func bestNote(outcomes []Outcome) string {
	if mixed(outcomes) {
		return "* no other line of the same endpoint has less of both, off-spec water and minutes without water"
	}
	return "* no other line has less of both, off-spec water and minutes without water"
}

// long writes a span of time, in days where it is more than two.
func long(d time.Duration) string {
	if d < 48*time.Hour {
		return clock(d)
	}
	return thousands(d.Hours()/24, 1) + " days"
}

func textOutcomes(b *bytes.Buffer, outcomes []Outcome) {
	if len(outcomes) == 0 || outcomes[0].Rows == 0 {
		b.WriteString("the trace has no rows\n")
		return
	}
	first := &outcomes[0]
	fmt.Fprintf(b, "%s rows over %s, %d combinations", thousands(float64(first.Rows), 0), long(time.Duration(first.Seconds)), len(outcomes))
	if first.RowsDamaged > 0 {
		fmt.Fprintf(b, ", %d rows damaged", first.RowsDamaged)
	}
	b.WriteString("\n\n")
	var table [][]string
	var head []string
	for _, s := range first.Set {
		head = append(head, strings.TrimPrefix(s.Path, "off_spec."))
	}
	table = append(table, append(head, "stops", "min shut", "min no power", "gal off spec", "presses", "alarms", "alarms/day", ""))
	for i := range outcomes {
		o := &outcomes[i]
		var row []string
		for _, s := range o.Set {
			row = append(row, s.Value)
		}
		rate, best := "-", ""
		if o.AlarmsADay != nil {
			rate = thousands(*o.AlarmsADay, 1)
		}
		if o.Best {
			best = "*"
		}
		table = append(table, append(row, strconv.Itoa(o.Trips), thousands(o.MinutesShut, 1), thousands(o.MinutesNoPower, 1),
			thousands(o.GallonsOffSpec, 0), strconv.Itoa(o.Bypasses), strconv.Itoa(o.Alarms), rate, best))
	}
	align(b, table)
	fmt.Fprintf(b, "\n%s\n%s\n", bestNote(outcomes), pressNote)
	if mixed(outcomes) {
		b.WriteString(endpointNote + "\n")
	}
}

// align writes a table with its columns flush right, two blanks apart.
func align(b *bytes.Buffer, table [][]string) {
	wide := make([]int, len(table[0]))
	for _, row := range table {
		for i, cell := range row {
			wide[i] = max(wide[i], utf8.RuneCountInString(cell))
		}
	}
	for _, row := range table {
		var line strings.Builder
		for i, cell := range row {
			if i > 0 {
				line.WriteString("  ")
			}
			line.WriteString(strings.Repeat(" ", wide[i]-utf8.RuneCountInString(cell)) + cell)
		}
		b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
}

// thousands writes a number with its thousands apart.
func thousands(v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	whole, fraction, _ := strings.Cut(text, ".")
	for i := len(whole) - 3; i > 0 && whole[i-1] != '-'; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if fraction != "" {
		return whole + "." + fraction
	}
	return whole
}
