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

// Next gives the next row. Deadlines inside the gap are left to the rule, which settles them at their exact instants. The
// readings in the Input stay as they are until the next call, which writes only what has changed.
func (r *Reader) Next(ctx context.Context, _ time.Duration, in *rules.Input) error {
	var err error
	before := r.last
	if r.changes, err = r.fetch(ctx, r.changes[:0]); err != nil {
		return err
	}
	if !r.begun {
		r.begun, before = true, r.last
	}
	if in != r.into {
		begin(in, r.into)
		r.into = in
	}
	for i := range r.changes {
		r.changes[i].enter(in)
	}
	in.Gap, in.At, in.Scan, in.Estimated, in.Orders, in.Present = time.Duration(r.last-before), 0, true, false, r.row.orders, r.present
	if r.Dated {
		in.At = r.last
	}
	return nil
}

// begin makes in what last holds, where the caller comes with another Input; from then on only what has changed is written.
func begin(in, last *rules.Input) {
	var held signal.Set
	if last != nil {
		held = last.Readings
	}
	*in = rules.Input{Readings: held}
}

// fetch parses the next row that can be placed in time; it appends what has changed since the row before.
func (r *Reader) fetch(ctx context.Context, list []change) ([]change, error) {
	r.row.orders = nil
	for {
		// One look at the context every so many rows is enough for a stop within milliseconds.
		if r.Rows&0x3ff == 0 && ctx.Err() != nil {
			return list, ctx.Err()
		}
		from := len(list)
		n := 0
		if r.placed { // the first row decides what time is
			n, list = r.plain(r.window, list)
		}
		if n > 0 {
			r.window = r.window[n:]
			r.lines++
			r.line = r.lines
		} else {
			var ok bool
			var err error
			if list, ok, err = r.careful(list[:from]); err != nil {
				return list, err
			}
			if !ok {
				continue
			}
		}
		r.Rows++
		if r.row.lost {
			r.row.lost, list = false, list[:from]
			continue
		}
		if !r.placed {
			r.placed, r.Start, r.last = true, r.row.at, r.row.at
			r.hasten()
		}
		if r.row.at < r.last {
			return list, r.fault(1, "column 1 (time)", "time goes backwards by %v", time.Duration(r.last-r.row.at))
		}
		r.last = r.row.at
		return list, nil
	}
}

// careful reads the next row whatever it holds; false for a blank line. All its readings count as changed.
func (r *Reader) careful(list []change) ([]change, bool, error) {
	r.forget()
	if _, err := r.in.Discard(r.in.Buffered() - len(r.window)); err != nil {
		return list, false, err // cannot be: so much is buffered
	}
	defer r.look()
	line, err := r.read()
	if err != nil {
		return list, false, err
	}
	r.line = r.lines
	blank := len(line) == 0 || (len(line) < 64 && len(bytes.TrimSpace(line)) == 0)
	if !blank {
		if err := r.parse(line); err != nil {
			return list, false, err
		}
		for i := range r.signals {
			c := &r.signals[i]
			list = append(list, c.judge(&r.row.cells[c.id]))
		}
		if r.row.hurt {
			r.Hurt++
		}
	}
	return list, !blank, nil
}

// look opens the window on what is buffered; it never waits for more.
func (r *Reader) look() { r.window, _ = r.in.Peek(r.in.Buffered()) } // so much there is

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
