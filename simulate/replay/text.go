package replay

import (
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"time"

	"ionward/rules"
)

// text prints one event for people: when, what, why.
func (p *printer) text(l *line) {
	var what, why string
	switch l.Kind {
	case rules.ModeChange:
		what, why = p.set.State(l.To), p.set.Why(l.Reason)
	case rules.Press:
		what, why = "bypass pressed", p.set.Why(l.Reason)
	case rules.AlarmChange:
		what, why = "alarm "+l.Alarm.String(), l.Was.String()+" -> "+l.Now.String()+" ("+l.Priority.String()+")"
		if l.Order.Who != "" {
			why += ", " + l.Order.Who
		}
	case rules.OrderDone:
		if l.Accepted && l.Was != l.Now {
			return // its alarm line follows
		}
		what, why = l.Order.Verb.String(), l.Order.Who+": "+l.Order.Text
		if l.Order.Verb.OfAlarm() {
			what += " " + l.Order.Alarm.String()
		}
		if !l.Accepted {
			why += " (no effect)"
		}
	}
	width := 12
	if p.reader.Dated {
		width = 24
	}
	p.buf = fmt.Appendf(p.buf, "%-*s  %-28s %s\n", width, p.when(l), what, why)
}

// when is the time of day for a dated trace, else hours, minutes and seconds since the first row.
func (p *printer) when(l *line) string {
	if p.reader.Dated {
		return time.Unix(0, l.at).UTC().Format("2006-01-02 15:04:05.999Z")
	}
	return clock(time.Duration(l.t))
}

// clock writes 1:02:03 and fractions only where there are some.
func clock(d time.Duration) string {
	s := d.Truncate(time.Second)
	text := fmt.Sprintf("%d:%02d:%02d", s/time.Hour, s/time.Minute%60, s/time.Second%60)
	if ms := (d - s).Milliseconds(); ms > 0 {
		text += strings.TrimRight(fmt.Sprintf(".%03d", ms), "0")
	}
	return text
}

func (p *printer) textSummary(s *Summary) {
	if s.Rows == 0 {
		p.buf = append(p.buf, "the trace has no rows\n"...)
		return
	}
	b := fmt.Appendf(p.buf, "\n%d rows over %s", s.Rows, clock(time.Duration(s.Seconds)))
	if s.RowsDamaged > 0 {
		b = fmt.Appendf(b, ", %d of them damaged", s.RowsDamaged)
	}
	b = fmt.Appendf(b, "\nstops by the rule %d, presses that gave time %d, losses of control power %d\n", s.Trips, s.Bypasses, s.PowerLosses)
	for _, row := range s.times() {
		b = fmt.Appendf(b, "  %-28s %s\n", p.set.State(row.mode), clock(time.Duration(row.in)))
	}
	for _, row := range s.volumes() {
		b = fmt.Appendf(b, "  m3 %-25s %.2f\n", strings.ReplaceAll(row.name, "_", " "), row.m3)
	}
	if s.SecondsNotMeasured > 0 {
		b = fmt.Appendf(b, "  time without a flow reading  %s\n", clock(time.Duration(s.SecondsNotMeasured)))
	}
	if s.M3Uncertain > 0 {
		b = fmt.Appendf(b, "  m3 %-25s %.2f\n", "of these read too slow", s.M3Uncertain)
	}
	if s.M3Relief != nil {
		how := "metered"
		if s.ReliefEstimated {
			how = "estimated"
		}
		b = fmt.Appendf(b, "  m3 %-25s %.2f\n", "by the relief, "+how, *s.M3Relief)
	}
	b = fmt.Appendf(b, "product: highest %s, mean of the water delivered %s\n", conductivity(s.ProductMax), conductivity(s.ProductFlowWeighted))
	if s.Alarms != nil {
		b = append(b, s.Alarms.text(time.Duration(s.Seconds))...)
	}
	p.buf = b
}

func conductivity(v *float64) string {
	if v == nil {
		return "not known"
	}
	return fmt.Sprintf("%.3f uS/cm", *v)
}

type spent struct {
	mode rules.Mode
	in   seconds
}

func (s *Summary) times() []spent {
	return []spent{
		{rules.Service, s.In.Service}, {rules.Delay, s.In.Delay}, {rules.Bypass, s.In.Bypass},
		{rules.Shut, s.In.Shut}, {rules.NoPower, s.In.NoPower},
	}
}

type volume struct {
	name string
	m3   float64
}

func (s *Summary) volumes() []volume {
	return []volume{
		{"on_spec", s.M3.OnSpec}, {"off_spec_delay", s.M3.OffSpecDelay}, {"off_spec_bypass", s.M3.OffSpecBypass},
		{"unknown", s.M3.Unknown}, {"rinse", s.M3.Rinse}, {"inlet_shut", s.M3.InletShut},
	}
}

// csv prints one event as a row: t, at, kind, what, from, to, why.
func (p *printer) csv(l *line) {
	row := []string{string(appendSeconds(nil, l.t)), "", l.Kind.String(), "", "", "", ""}
	if p.reader.Dated {
		row[1] = string(appendDate(nil, l.at))
	}
	switch l.Kind {
	case rules.ModeChange:
		row[3], row[5], row[6] = l.To.String(), l.To.String(), p.set.Why(l.Reason)
		if !l.First {
			row[4] = l.From.String()
		}
	case rules.Press:
		row[3], row[6] = accepted(l.Accepted), p.set.Why(l.Reason)
	case rules.AlarmChange:
		row[3], row[4], row[5], row[6] = l.Alarm.String(), l.Was.String(), l.Now.String(), l.Priority.String()
	case rules.OrderDone:
		row[3], row[5], row[6] = l.Order.Verb.String(), accepted(l.Accepted), strings.TrimSpace(l.Order.Who+" "+l.Order.Text)
	}
	p.csvRow(row)
}

func accepted(yes bool) string {
	if yes {
		return "accepted"
	}
	return "no effect"
}

func (p *printer) csvRow(row []string) {
	var b strings.Builder
	w := csv.NewWriter(&b)
	if !p.header {
		p.header = true
		_ = w.Write([]string{"t", "at", "kind", "what", "from", "to", "why"}) // a builder takes everything
	}
	_ = w.Write(row)
	w.Flush()
	p.buf = append(p.buf, b.String()...)
}

// field is one sum with its name in a table.
type field struct{ name, value string }

// fields are the sums by their names, in their fixed order.
func (s *Summary) fields() []field {
	whole := strconv.Itoa
	list := []field{
		{"rows", whole(s.Rows)}, {"seconds", string(appendSeconds(nil, int64(s.Seconds)))}, {"trips", whole(s.Trips)},
		{"bypasses", whole(s.Bypasses)}, {"power_losses", whole(s.PowerLosses)}, {"rows_damaged", whole(s.RowsDamaged)},
	}
	for _, row := range s.times() {
		list = append(list, field{"seconds_in." + row.mode.String(), string(appendSeconds(nil, int64(row.in)))})
	}
	for _, row := range s.volumes() {
		list = append(list, field{"m3." + row.name, strconv.FormatFloat(row.m3, 'f', -1, 64)})
	}
	return append(list, field{"seconds_not_measured", string(appendSeconds(nil, int64(s.SecondsNotMeasured)))},
		field{"product_max", number(s.ProductMax)}, field{"product_flow_weighted", number(s.ProductFlowWeighted)})
}

// csvSummary prints the sums as rows of kind summary: what names the sum, to holds it.
func (p *printer) csvSummary(s *Summary) {
	end := string(appendSeconds(nil, int64(s.Seconds)))
	for _, f := range s.fields() {
		p.csvRow([]string{end, "", "summary", f.name, "", f.value, ""})
	}
}

func number(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}
