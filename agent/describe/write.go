package describe

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"html/template"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	_ "embed"
)

// widest is how many letters a column of the text form may have before its cells are broken into lines.
var widest = map[string]int{"cause": 29, "seen_by": 20, "alarms": 28, "water": 15}

// Text writes the chart for a terminal or a plain file.
func (c *Chart) Text(out io.Writer) error {
	w := bufio.NewWriter(out)
	fmt.Fprintln(w, c.Title)
	for _, line := range c.About {
		fmt.Fprintln(w, line)
	}
	fmt.Fprintln(w)
	table := make([][][]string, 0, len(c.Rows)+1)
	table = append(table, broken(c.Columns))
	for _, r := range c.Rows {
		table = append(table, broken(r.Cells))
	}
	wide := make([]int, len(columns))
	for _, row := range table {
		for i, cell := range row {
			for _, line := range cell {
				wide[i] = max(wide[i], utf8.RuneCountInString(line))
			}
		}
	}
	rule := ""
	for i, n := range wide {
		if i > 0 {
			rule += "-+-"
		}
		rule += strings.Repeat("-", n)
	}
	for i, row := range table {
		if i > 0 {
			fmt.Fprintln(w, rule)
		}
		lines(w, row, wide)
	}
	fmt.Fprintln(w)
	for _, k := range c.key {
		fmt.Fprintf(w, "%s: %s\n", k[0], k[1])
	}
	fmt.Fprintln(w)
	for _, note := range c.Notes {
		fmt.Fprintln(w, note)
	}
	return w.Flush()
}

// broken breaks the cells of a row into lines.
func broken(cells []string) [][]string {
	row := make([][]string, len(cells))
	for i, cell := range cells {
		most, limited := widest[columns[i]]
		if !limited {
			most = 10
		}
		row[i] = fold(cell, most)
	}
	return row
}

// fold breaks a text at spaces into lines of at most so many letters; a longer word stays whole, and so does a number with
// its unit.
func fold(text string, most int) []string {
	list := []string{""}
	words := strings.Fields(text)
	for i := 0; i < len(words); i++ {
		word := words[i]
		if _, err := strconv.ParseFloat(word, 64); err == nil && i+1 < len(words) {
			i++
			word += " " + words[i]
		}
		last := &list[len(list)-1]
		switch {
		case *last == "":
			*last = word
		case utf8.RuneCountInString(*last)+1+utf8.RuneCountInString(word) <= most:
			*last += " " + word
		default:
			list = append(list, word)
		}
	}
	return list
}

func lines(w io.Writer, row [][]string, wide []int) {
	high := 0
	for _, cell := range row {
		high = max(high, len(cell))
	}
	for n := range high {
		line := ""
		for i, cell := range row {
			text := ""
			if n < len(cell) {
				text = cell[n]
			}
			if i > 0 {
				line += " | "
			}
			line += text + strings.Repeat(" ", wide[i]-utf8.RuneCountInString(text))
		}
		fmt.Fprintln(w, strings.TrimRight(line, " "))
	}
}

// CSV writes the table alone, with its column names (RFC 4180).
func (c *Chart) CSV(out io.Writer) error {
	w := csv.NewWriter(out)
	w.UseCRLF = true
	if err := w.Write(c.Columns); err != nil {
		return err
	}
	for _, r := range c.Rows {
		if err := w.Write(r.Cells); err != nil {
			return err
		}
	}
	w.Flush()
	return w.Error()
}

//go:embed chart.html
var page string

var pageTemplate = template.Must(template.New("chart").Parse(page))

// HTML writes the chart as a page of its own: nothing is loaded, no script runs, it prints on one landscape sheet.
func (c *Chart) HTML(out io.Writer) error {
	type cell struct{ Class, Text string }
	type row struct {
		Unseen bool
		Cells  []cell
	}
	var rows []row
	for _, r := range c.Rows {
		cells := make([]cell, len(r.Cells))
		for i, text := range r.Cells {
			cells[i] = cell{columns[i], text}
			if text != "" && effect(columns[i]) {
				cells[i].Class += " effect"
			}
		}
		rows = append(rows, row{r.Unseen, cells})
	}
	return pageTemplate.Execute(out, map[string]any{
		"Chart": c, "Rows": rows, "Key": c.key,
	})
}

// effect reports whether a column is one of the effects on valves, timers and latch.
func effect(column string) bool {
	switch column {
	case "inlet", "relief", "delay", "bypass", "trip":
		return true
	}
	return false
}
