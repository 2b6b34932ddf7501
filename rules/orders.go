package rules

import (
	"strings"
	"time"

	"ionward/rules/alarm"
)

// storageLimit is the most tank storage that is believed.
const storageLimit = 31 * 24 * time.Hour

// told takes in what comes beside the readings: facts and orders.
func (s *State) told(set *Settings, in *Input, out *Effects) {
	s.Facts.take(&in.Facts)
	for i := range in.Orders {
		s.order(set, &in.Orders[i], out)
	}
	s.Watch.Touched = true
	if s.Started {
		s.alarms(set, out)
	}
}

// order does what a person asked for, or records that it had no effect.
func (s *State) order(set *Settings, o *Order, out *Effects) {
	e := Event{At: s.Elapsed, Kind: OrderDone, Order: *o, Alarm: o.Alarm}
	switch {
	case o.Verb == Note:
		e.Accepted = true
	case o.Verb == Storage:
		d, ok := span(o.Text)
		e.Accepted = ok && d >= 0 && d <= storageLimit
		if e.Accepted {
			s.Watch.Storage = d
		}
	case int(o.Alarm) < alarm.Count && set.Alarms[o.Alarm].Name != "":
		s.orderAlarm(set, o, &e)
	}
	out.Events = append(out.Events, e)
	if e.Accepted && e.Was != e.Now {
		e.Kind = AlarmChange
		out.Events = append(out.Events, e)
	}
}

func (s *State) orderAlarm(set *Settings, o *Order, e *Event) {
	a, d := &s.Alarms[o.Alarm], &set.Alarms[o.Alarm]
	e.Was, e.Reason = a.Phase, s.because(set, o.Alarm)
	switch o.Verb {
	case Acknowledge:
		e.Accepted = a.Acknowledge()
	case Reset:
		e.Accepted = a.Reset()
	case Shelve:
		long, ok := span(o.Text)
		e.Accepted = ok && a.Shelve(s.Elapsed, long)
		if !e.Accepted {
			e.Reason = Reason{Code: ShelfTime, For: alarm.ShelfLimit}
		}
	case Unshelve:
		e.Accepted = a.Unshelve()
	case OutOfService:
		e.Accepted = a.TakeOut()
	case InService:
		e.Accepted = a.PutBack(s.Elapsed)
	case Silence:
		e.Accepted = a.Silence()
	case AnswerYes, AnswerNo:
		e.Accepted = s.answer(set, o)
	}
	e.Now, e.Priority = a.Phase, a.Priority(d)
	// What the order changed may have set a delay or the shelf's time running.
	s.Pending |= 1 << o.Alarm
}

// span reads the time with which a text begins.
func span(text string) (time.Duration, bool) {
	first, _, _ := strings.Cut(strings.TrimSpace(text), " ")
	d, err := time.ParseDuration(first)
	return d, err == nil
}
