package replay

import (
	"encoding/json"
	"strconv"

	"ionward/rules"
)

// json prints one event as an object on a line; the order of the keys is part of the format.
func (p *printer) json(l *line) {
	b := append(p.buf, `{"t":`...)
	b = appendSeconds(b, l.t)
	if p.reader.Dated {
		b = append(b, `,"at":"`...)
		b = append(appendDate(b, l.at), '"')
	}
	switch l.Kind {
	case rules.ModeChange:
		b = append(b, `,"kind":"state","state":"`...)
		b = append(append(b, l.To.String()...), '"')
		if !l.First {
			b = append(append(append(b, `,"from":"`...), l.From.String()...), '"')
		}
		b = append(appendText(append(b, `,"why":`...), p.set.Why(l.Reason)), '}')
	case rules.Press:
		b = append(b, `,"kind":"press","accepted":`...)
		b = strconv.AppendBool(b, l.Accepted)
		b = append(appendText(append(b, `,"why":`...), p.set.Why(l.Reason)), '}')
	case rules.AlarmChange:
		b = append(append(b, `,"kind":"alarm","alarm":"`...), l.Alarm.String()...)
		b = append(append(b, `","from":"`...), l.Was.String()...)
		b = append(append(b, `","to":"`...), l.Now.String()...)
		b = append(append(append(b, `","priority":"`...), l.Priority.String()...), '"')
		if l.Order.Who != "" {
			b = appendText(append(b, `,"who":`...), l.Order.Who)
		}
		b = append(b, '}')
	case rules.OrderDone:
		b = appendText(append(b, `,"kind":"order","who":`...), l.Order.Who)
		b = append(append(append(b, `,"verb":"`...), l.Order.Verb.String()...), '"')
		if l.Order.Verb.OfAlarm() {
			b = append(append(append(b, `,"alarm":"`...), l.Order.Alarm.String()...), '"')
		}
		b = strconv.AppendBool(append(b, `,"accepted":`...), l.Accepted)
		b = append(appendText(append(b, `,"text":`...), l.Order.Text), '}')
	}
	p.buf = append(b, '\n')
}

// appendText writes a JSON string.
func appendText(b []byte, s string) []byte {
	text, _ := json.Marshal(s) // a string always encodes
	return append(b, text...)
}

func (p *printer) jsonSummary(s *Summary) {
	text, _ := json.Marshal(s) // numbers are finite: the trace's readings are
	p.buf = append(append(p.buf, text...), '\n')
}
