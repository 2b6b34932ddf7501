package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"ionward/agent/modbus"
	"ionward/agent/probe"
	"ionward/cmd/line"
)

// Whatever probe prints is at most 60 characters wide, so that it can be read on a phone. Its tables have four columns
// of 13 behind a margin of 4.
const (
	column = 13
	margin = 4
)

// between is the pause between two unit ids of a scan: a gateway may pass each on to a slow line.
const between = 100 * time.Millisecond

// best is how many guesses are listed.
const best = 8

// scan tells which unit ids answer.
func (p *probing) scan(ctx context.Context, link *modbus.Link, out io.Writer) error {
	ids, err := probe.ParseRange(p.units, 0, 255, 255)
	if err != nil {
		return line.Usagef("--units: %w", err)
	}
	answers := 0
	err = probe.Scan(ctx, link, ids, p.timeout, between, func(f probe.Found) {
		if f.There {
			answers++
		}
		fmt.Fprintf(out, "unit %-3d %s (%s)\n", f.UnitID, f.Says, f.Took.Round(time.Millisecond))
	})
	switch {
	case err != nil:
		return fmt.Errorf("%w%s", err, p.advice(err))
	case answers == 0:
		return errors.New("no unit id of these answers")
	}
	fmt.Fprintf(out, "%d of %d answer\n", answers, ids.Len())
	return nil
}

// show prints what was asked for; to have found nothing is a failure.
func (p *probing) show(t *probe.Table, out io.Writer) error {
	switch {
	case t.Kind.Bits():
		bits(t, out)
		refused(t, out)
		return nil
	case p.yaml:
		return p.write(t, out)
	case p.find != "":
		found := t.Find(p.want, p.near, p.in)
		refused(t, out)
		if len(found) == 0 {
			return fmt.Errorf("no register shows %s within %s\nit may have changed: read it again\nor try other --registers, --kind or --tolerance", p.find, p.tolerance)
		}
		fmt.Fprintf(out, "%s within %s, likeliest first:\n", p.find, p.tolerance)
		guesses(found, out)
		return nil
	}
	var picks []probe.Pick
	var marked []probe.Guess
	for _, id := range p.ids {
		list := t.Plausible(id)
		picks, marked = append(picks, probe.Pick{ID: id, Guesses: list}), append(marked, list...)
	}
	grid(t, marked, p.wide, out)
	refused(t, out)
	if len(marked) > 0 {
		fmt.Fprintln(out, "* could be it, ? could be it under a scale")
	}
	missing := ""
	for _, pick := range picks {
		if len(pick.Guesses) == 0 {
			missing += " " + pick.ID.String()
			continue
		}
		fmt.Fprintf(out, "\n%s, likeliest first:\n", pick.ID)
		guesses(pick.Guesses, out)
	}
	if missing != "" {
		return fmt.Errorf("nothing here could be%s\ntry other --registers or --kind, or --find", missing)
	}
	return nil
}

// write prints a unit file with the likeliest guesses.
func (p *probing) write(t *probe.Table, out io.Writer) error {
	var picks []probe.Pick
	for _, id := range p.ids {
		list := t.Plausible(id)
		if p.find != "" {
			list = t.Find(p.want, p.near, p.in)
		}
		picks = append(picks, probe.Pick{ID: id, Guesses: list})
	}
	chosen := probe.Choose(picks)
	if len(chosen[0].Guesses) == 0 {
		return fmt.Errorf("nothing here could be %s\ntry other --registers or --kind", chosen[0].ID)
	}
	_, err := io.WriteString(out, probe.YAML(p.address, p.unit, p.set.Kind, chosen))
	return err
}

// guesses lists the likeliest.
func guesses(list []probe.Guess, out io.Writer) {
	for k, g := range list {
		if k == best {
			fmt.Fprintf(out, "    and %d more\n", len(list)-best)
			return
		}
		fmt.Fprintf(out, "%2d  %10s %-7s %s\n", k+1, probe.Digits(g.Value), g.Unit.Symbol, g)
	}
}

// grid shows each register under every type and word order, with a mark at what could be a signal asked for.
func grid(t *probe.Table, marked []probe.Guess, wide bool, out io.Writer) {
	head := strings.Repeat(" ", margin)
	for _, o := range []modbus.Order{modbus.ABCD, modbus.CDAB, modbus.BADC, modbus.DCBA} {
		head += fmt.Sprintf("%-*s", column, o)
	}
	fmt.Fprintln(out, strings.TrimRight(head, " "))
	rows := []modbus.Type{modbus.F32, modbus.U32, modbus.I32, modbus.U16, modbus.I16}
	if wide {
		rows = append(rows, modbus.F64, modbus.U64, modbus.I64)
	}
	for at := t.Range.First; at <= t.Range.Last; at++ {
		w, there := t.Words[at]
		if !there {
			continue
		}
		next, pair := t.Words[at+1]
		if w == 0 && (!pair || next == 0) {
			fmt.Fprintf(out, "@%d  0\n", at)
			continue
		}
		raw := fmt.Sprintf("@%d  %04X", at, w)
		if pair {
			raw += fmt.Sprintf(" %04X", next)
		}
		fmt.Fprintln(out, raw)
		for _, typ := range rows {
			row(t, at, typ, marked, out)
		}
	}
}

// mark stands before a number that could be a signal asked for: as it is, or under some scale.
var mark = [...]string{probe.NoFit: "", probe.Scaled: "?", probe.Fits: "*"}

func row(t *probe.Table, at int, typ modbus.Type, marked []probe.Guess, out io.Writer) {
	text, any := fmt.Sprintf("%-*s", margin, typ), false
	for _, o := range []modbus.Order{modbus.ABCD, modbus.CDAB, modbus.BADC, modbus.DCBA} {
		cell := "-"
		if typ.Words() == 1 && (o == modbus.CDAB || o == modbus.DCBA) {
			cell = "" // the same as the column before
		} else if x, ok := t.Number(at, typ, o); ok {
			any = true
			cell = probe.Digits(x)
			cell = mark[probe.FitOf(marked, at, typ, o)] + cell
		}
		text += fmt.Sprintf("%-*s", column, cell)
	}
	if any {
		fmt.Fprintln(out, strings.TrimRight(text, " "))
	}
}

// bits shows a table of bits, ten in a row.
func bits(t *probe.Table, out io.Writer) {
	fmt.Fprintln(out, "       01234 56789")
	for row := t.Range.First / 10 * 10; row <= t.Range.Last; row += 10 {
		text := fmt.Sprintf("%-6d ", row)
		for k := range 10 {
			if k == 5 {
				text += " "
			}
			bit, there := t.Words[row+k]
			switch {
			case row+k < t.Range.First || row+k > t.Range.Last:
				text += " "
			case !there:
				text += "-"
			default:
				text += string('0' + rune(bit))
			}
		}
		fmt.Fprintln(out, strings.TrimRight(text, " "))
	}
}

// refused tells which addresses the device does not give.
func refused(t *probe.Table, out io.Writer) {
	for _, r := range t.Refused {
		if r.First == r.Last {
			fmt.Fprintf(out, "not read: %d\n  %v\n", r.First, r.Why)
			continue
		}
		fmt.Fprintf(out, "not read: %d to %d\n  %v\n", r.First, r.Last, r.Why)
	}
}
