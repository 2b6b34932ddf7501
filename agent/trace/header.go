package trace

import (
	"bytes"
	"errors"
	"io"
	"math"
	"strings"

	"ionward/rules/signal"
)

// role says what a column holds.
type role uint8

const (
	timed role = iota
	analog
	contact
	skipped
	quality
	orders

	lastNumber = contact
)

// column is one column of the file.
type column struct {
	name    string
	role    role
	id      signal.ID
	unit    signal.Unit
	convert bool // unit is not the inside unit
	places  int  // decimals of the signal's resolution: a number with no more of them needs no rounding
	info    signal.Info
}

// header reads the notes and the row of column names.
func (r *Reader) header() error {
	for {
		line, err := r.read()
		if errors.Is(err, io.EOF) {
			return &Fault{File: r.name, What: "the trace is empty: its first row must name the columns, time first"}
		}
		if err != nil {
			return err
		}
		r.line = r.lines
		if r.lines == 1 {
			line = bytes.TrimPrefix(line, []byte("\xef\xbb\xbf"))
		}
		switch {
		case len(line) > 0 && line[0] == '#':
			r.Notes = append(r.Notes, strings.TrimSpace(string(line[1:])))
		case len(bytes.TrimSpace(line)) == 0:
		default:
			return r.names(line)
		}
	}
}

// names takes the first row.
func (r *Reader) names(line []byte) error {
	cells, err := r.split(line)
	if err != nil {
		return err
	}
	at := 1
	for i, cell := range cells {
		c, what := parseColumn(strings.TrimSpace(string(cell)), i)
		if what == "" {
			what = r.twice(c)
		}
		if what != "" && (c.role != skipped || !r.set.IgnoreUnknown) {
			return r.fault(at, "", "%s", what)
		}
		r.columns = append(r.columns, c)
		if c.role == analog || c.role == contact {
			r.signals = append(r.signals, c)
			r.present |= 1 << c.id
		}
		at += len(cell) + 1
	}
	if !r.has(analog, signal.ProductConductivity) {
		return r.fault(0, "", "there is no column product_conductivity: without it there is nothing to decide")
	}
	for _, c := range r.columns {
		if c.role == quality && !r.has(analog, c.id) && !r.has(contact, c.id) {
			return r.fault(0, "", "column %q has no column %q beside it", c.name, c.id)
		}
	}
	return nil
}

func (r *Reader) has(role role, id signal.ID) bool {
	for _, c := range r.columns {
		if c.role == role && c.id == id {
			return true
		}
	}
	return false
}

// twice says that a column was there before.
func (r *Reader) twice(c column) string {
	for _, before := range r.columns {
		if before.role == c.role && before.id == c.id && c.role != skipped {
			return "column " + quoteName(c.name) + " is there twice"
		}
	}
	return ""
}

// parseColumn understands a column's name. A fault with role skipped is an unknown column.
func parseColumn(name string, index int) (column, string) {
	c := column{name: name, role: skipped}
	if index == 0 {
		if name != "time" {
			c.role = timed
			return c, "the first column is " + quoteName(name) + ": it must be time"
		}
		c.role = timed
		return c, ""
	}
	if name == "order" {
		c.role = orders
		return c, ""
	}
	base, unit, hasUnit := strings.Cut(name, "[")
	if hasUnit {
		unit = strings.TrimSuffix(unit, "]")
	}
	base, isQuality := strings.CutSuffix(strings.TrimSpace(base), ".quality")
	id, known := signal.Parse(base)
	if !known || (isQuality && hasUnit) {
		return c, "column " + quoteName(name) + " is not known; the nearest known name is " + nearest(base, isQuality) + " (--ignore-unknown skips it)"
	}
	c.id, c.info, c.unit = id, id.Info(), id.Info().Unit
	c.places = int(math.Round(-math.Log10(c.info.Resolution)))
	switch {
	case isQuality:
		c.role = quality
	case id.Contact():
		c.role = contact
	default:
		c.role = analog
	}
	if !hasUnit {
		return c, ""
	}
	u, ok := signal.ParseUnit(unit)
	if !ok || id.Contact() || u.Quantity != c.unit.Quantity {
		if id.Contact() {
			return c, "column " + quoteName(name) + ": a contact is 0 or 1 and has no unit"
		}
		return c, "column " + quoteName(name) + ": " + quoteName(unit) + " is not a unit of " + c.unit.Quantity.String() +
			" (use one of " + strings.Join(signal.Units(c.unit.Quantity), ", ") + ")"
	}
	c.unit, c.convert = u, u != c.unit
	return c, ""
}

func quoteName(s string) string { return "\"" + s + "\"" }

// nearest is the known column name that a misspelt one is likely to mean.
func nearest(name string, isQuality bool) string {
	best := signal.Nearest(name, append(signal.Names(), "time", "order"))
	if isQuality {
		best += ".quality"
	}
	return best
}
