package trace

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strconv"
	"time"

	"ionward/rules"
	"ionward/rules/signal"
)

// cell is what one row says of one signal; value and quality come from two columns, in any order.
type cell struct {
	value   float64
	present bool // there was a number
	damaged bool // there was something that cannot be parsed
	quality signal.Quality
}

// row is the row in hand, parsed.
type row struct {
	at     int64
	cells  [signal.Count]cell
	orders []rules.Order
	hurt   bool
	lost   bool // its time cannot be parsed: the row cannot be placed
}

// Next gives the next row. Deadlines inside the gap are left to the rule, which settles them at their exact instants.
func (r *Reader) Next(ctx context.Context, _ time.Duration, in *rules.Input) error {
	r.row.orders = nil
	if err := r.fetch(ctx, in); err != nil {
		return err
	}
	in.Gap, in.At, in.Scan, in.Estimated, in.Orders = time.Duration(r.row.at-r.last), 0, true, false, r.row.orders
	if r.Dated {
		in.At = r.row.at
	}
	in.Present = r.present
	r.last = r.row.at
	return nil
}

// fetch parses the next row that can be placed in time.
func (r *Reader) fetch(ctx context.Context, in *rules.Input) error {
	for {
		// One look at the context every so many rows is enough for a stop within milliseconds.
		if r.Rows&0x3ff == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		line, err := r.read()
		if err != nil {
			return err
		}
		if len(line) == 0 || (len(line) < 64 && len(bytes.TrimSpace(line)) == 0) {
			continue
		}
		r.line = r.lines
		if !r.plain(line, in) {
			if err := r.parse(line); err != nil {
				return err
			}
			r.judge(in)
			if r.row.hurt {
				r.Hurt++
			}
		}
		r.Rows++
		if r.row.lost {
			continue
		}
		if !r.placed {
			r.placed, r.Start, r.last = true, r.row.at, r.row.at
		}
		if r.row.at < r.last {
			return r.fault(1, "column 1 (time)", "time goes backwards by %v", time.Duration(r.last-r.row.at))
		}
		return nil
	}
}

// judge makes the readings of the row in hand.
func (r *Reader) judge(in *rules.Input) {
	in.Readings = signal.Set{}
	for i := range r.signals {
		c := &r.signals[i]
		in.Readings[c.id] = c.judge(&r.row.cells[c.id])
	}
}

// parse reads one line into the row in hand.
func (r *Reader) parse(line []byte) error {
	cells, err := r.split(line)
	if err != nil {
		return r.structural(err)
	}
	r.row.hurt, r.row.lost, r.row.orders = false, false, nil
	for i := range r.signals {
		r.row.cells[r.signals[i].id] = cell{}
	}
	at := 1
	for i, text := range cells {
		if i == len(r.columns) {
			if err := r.damage(at, "", "the row has "+strconv.Itoa(len(cells))+" cells, the header names "+strconv.Itoa(len(r.columns))); err != nil {
				return err
			}
			break
		}
		if what := r.take(&r.columns[i], text); what != "" {
			if err := r.damage(at, r.title(i), describe(text)+what); err != nil {
				return err
			}
		}
		at += len(text) + 1
	}
	if len(cells) < len(r.columns) {
		return r.short(len(cells), at)
	}
	return nil
}

// short marks the signals whose cells a cut-off row lacks.
func (r *Reader) short(cells, at int) error {
	for _, c := range r.columns[cells:] {
		if c.role == analog || c.role == contact || c.role == quality {
			r.row.cells[c.id].damaged = true
		}
	}
	return r.damage(at, "", "the row has "+strconv.Itoa(cells)+" cells, the header names "+strconv.Itoa(len(r.columns)))
}

// structural decides a line that cannot even be cut into cells.
func (r *Reader) structural(err error) error {
	var f *Fault
	if !r.set.KeepGoing || !errors.As(err, &f) || errors.Is(err, io.EOF) {
		return err
	}
	r.row.hurt, r.row.lost, r.row.orders = true, true, nil
	if r.set.OnDamage != nil {
		r.set.OnDamage(f)
	}
	return nil
}

// damage is an error, or with KeepGoing a line in the list.
func (r *Reader) damage(at int, title, what string) error {
	f := r.fault(at, title, "%s", what)
	if !r.set.KeepGoing {
		return f
	}
	r.row.hurt = true
	if r.set.OnDamage != nil {
		r.set.OnDamage(f)
	}
	return nil
}

func (r *Reader) title(i int) string {
	return "column " + strconv.Itoa(i+1) + " (" + r.columns[i].name + ")"
}

// describe quotes a cell for a message, shortened.
func describe(text []byte) string {
	if len(text) == 0 {
		return ""
	}
	if len(text) > 40 {
		text = append(append([]byte(nil), text[:40]...), "..."...)
	}
	return strconv.Quote(string(text)) + " "
}

// take puts one cell into the row; it says what is wrong with a cell that cannot be parsed.
func (r *Reader) take(c *column, text []byte) string {
	switch c.role {
	case timed:
		at, what := r.moment(text)
		if what != "" {
			r.row.lost = true
			return what
		}
		r.row.at = at
	case analog, contact:
		if len(text) == 0 {
			return ""
		}
		cell := &r.row.cells[c.id]
		v, ok := number(text)
		if !ok {
			if len(bytes.TrimSpace(text)) == 0 {
				return ""
			}
			cell.damaged = true
			return "is not a number"
		}
		cell.value, cell.present = c.inside(v), true
	case quality:
		return r.takeQuality(c, text)
	case orders:
		if len(text) == 0 {
			return ""
		}
		list, err := parseOrders(string(text))
		if err != nil {
			return err.Error()
		}
		r.row.orders = list
	}
	return ""
}

func (r *Reader) takeQuality(c *column, text []byte) string {
	cell := &r.row.cells[c.id]
	switch string(text) {
	case "", "good":
		cell.quality = signal.Good
	case "uncertain":
		cell.quality = signal.Uncertain
	case "bad":
		cell.quality = signal.Bad
	default:
		if trimmed := bytes.TrimSpace(text); len(trimmed) < len(text) {
			return r.takeQuality(c, trimmed)
		}
		cell.damaged = true
		return "is not a quality (good, uncertain, bad or empty)"
	}
	return ""
}

// judge makes the reading of a signal from its cells.
func (c *column) judge(cell *cell) signal.Reading {
	q := cell.quality
	switch {
	case cell.damaged:
		return signal.Reading{Quality: signal.Bad, Cause: signal.Damaged}
	case q == signal.Bad:
		return signal.Reading{Quality: signal.Bad, Cause: signal.Reported}
	case !cell.present:
		return signal.Reading{}
	case q == signal.None:
		q = signal.Good
	}
	if c.role == contact && cell.value != 0 && cell.value != 1 {
		return signal.Reading{Quality: signal.Bad, Cause: signal.OutOfSpan}
	}
	return signal.Judge(cell.value, q, c.info.Low, c.info.High, c.info.Resolution)
}
