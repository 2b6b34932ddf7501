package replay

import (
	"fmt"
	"io"
	"strconv"
	"time"

	"ionward/agent"
	"ionward/agent/trace"
	"ionward/rules"
	"ionward/rules/alarm"
)

// Format is how a replay is printed.
type Format uint8

// The formats.
const (
	Text  Format = iota // for people
	JSONL               // one object a line
	CSV                 // one event a row
)

// ParseFormat finds a format by its name.
func ParseFormat(name string) (Format, error) {
	for i, n := range [...]string{"text", "jsonl", "csv"} {
		if n == name {
			return Format(i), nil
		}
	}
	return 0, fmt.Errorf("%q is not a format (use text, jsonl or csv)", name)
}

// printer writes events as they come and the summary at the end.
type printer struct {
	set    *Settings
	reader *trace.Reader
	out    io.Writer
	buf    []byte
	err    error
	header bool
	rows   int

	figures alarm.Figures
}

// A look at the clock every so many rows is enough for a bar that moves.
const rowsAtATime = 1 << 12

// line is one event with its place in time.
type line struct {
	t  int64 // ns since the first row
	at int64 // UTC, ns since 1970; 0 = the trace has no dates
	*rules.Event
}

// step prints the events of one step.
func (p *printer) step(s agent.Step) {
	if p.rows++; p.rows%rowsAtATime == 0 && p.set.Progress != nil {
		p.set.Progress(p.rows)
	}
	for i := range s.Effects.Events {
		e := &s.Effects.Events[i]
		p.count(e)
		l := line{t: int64(e.At), Event: e}
		if p.reader.Dated {
			l.at = p.reader.Start + l.t
		}
		switch p.set.Format {
		case JSONL:
			p.json(&l)
		case CSV:
			p.csv(&l)
		default:
			p.text(&l)
		}
	}
	// A paced replay is watched: its lines must not wait in a buffer.
	if len(p.buf) > 1<<15 || (p.set.Pace > 0 && len(p.buf) > 0) {
		p.err = p.flush()
	}
}

func (p *printer) flush() error {
	if p.err != nil || len(p.buf) == 0 {
		return p.err
	}
	_, err := p.out.Write(p.buf)
	p.buf = p.buf[:0]
	if err != nil {
		return fmt.Errorf("cannot write the result: %w", err)
	}
	return nil
}

func (p *printer) summary(s *rules.State) {
	sum := summarise(p.reader, &p.set.Rule, s)
	sum.Alarms = p.report(s)
	switch p.set.Format {
	case JSONL:
		p.jsonSummary(&sum)
	case CSV:
		p.csvSummary(&sum)
	default:
		p.textSummary(&sum)
	}
}

// appendSeconds writes whole nanoseconds as seconds with no more digits than needed.
func appendSeconds(b []byte, ns int64) []byte {
	if ns < 0 {
		b, ns = append(b, '-'), -ns
	}
	b = strconv.AppendInt(b, ns/1e9, 10)
	rest := ns % 1e9
	if rest == 0 {
		return b
	}
	digits := strconv.FormatInt(1e9+rest, 10)[1:]
	for digits[len(digits)-1] == '0' {
		digits = digits[:len(digits)-1]
	}
	return append(append(b, '.'), digits...)
}

func appendDate(b []byte, ns int64) []byte {
	return time.Unix(0, ns).UTC().AppendFormat(b, time.RFC3339Nano)
}
