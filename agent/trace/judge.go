package trace

import (
	"bytes"

	"ionward/rules/signal"
)

// takeQuality puts a cell of quality into the row; it says what is wrong with one that is none.
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
func (c *column) judge(cell *cell) change {
	v := c.reading(cell)
	return change{value: v.Value, quality: v.Quality, cause: v.Cause, id: c.id}
}

func (c *column) reading(cell *cell) signal.Reading {
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
