package replay

import (
	"fmt"
	"strings"
	"time"

	"ionward/rules"
	"ionward/rules/alarm"
)

// Alarms are the figures of the alarm system over the trace, in the summary.
type Alarms struct {
	Raised       int      `json:"raised"`
	ADay         float64  `json:"a_day"`
	WorstTen     int      `json:"worst_10_min"`
	FloodPeriods int      `json:"flood_periods"` // periods of ten minutes with more than ten alarms
	Chattering   []string `json:"chattering"`    // three times within a minute
	Stale        []string `json:"stale"`         // active for more than a day without a break
	Standing     int      `json:"standing"`      // active at the end
	Top          []Often  `json:"top"`           // at most ten, the most frequent first
}

// Often is an alarm and how often it was raised.
type Often struct {
	Alarm string `json:"alarm"`
	Times int    `json:"times"`
}

// count takes one event into the figures.
func (p *printer) count(e *rules.Event) {
	if e.Kind == rules.AlarmChange {
		p.figures.Take(e.At, e.Alarm, e.Was, e.Now, e.Priority)
	}
}

// report gives the figures up to the end of the trace.
func (p *printer) report(s *rules.State) *Alarms {
	p.figures.Begin(0)
	r := p.figures.Report(s.Elapsed)
	a := &Alarms{
		Raised: r.Raised, ADay: r.ADay, WorstTen: r.WorstTen, FloodPeriods: r.FloodPeriods, Standing: r.Standing,
		Chattering: names(r.Chattering), Stale: names(r.Stale), Top: []Often{},
	}
	for _, b := range r.Top {
		a.Top = append(a.Top, Often{Alarm: b.Alarm.String(), Times: b.Times})
	}
	return a
}

func names(ids []alarm.ID) []string {
	list := make([]string, 0, len(ids))
	for _, id := range ids {
		list = append(list, id.String())
	}
	return list
}

// text is the figures for people, beside what the published guidance takes for acceptable.
func (a *Alarms) text(span time.Duration) string {
	if a.Raised == 0 {
		return "no alarm was raised\n"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "alarms raised %d", a.Raised)
	if span >= alarm.OneDay {
		fmt.Fprintf(&b, ", %.1f a day (up to %d a day is acceptable)", a.ADay, alarm.AcceptableADay)
	}
	fmt.Fprintf(&b, ", most in 10 min %d; active at the end %d\n", a.WorstTen, a.Standing)
	for _, o := range a.Top {
		fmt.Fprintf(&b, "  %-28s %d\n", o.Alarm, o.Times)
	}
	for _, odd := range []struct {
		what string
		list []string
	}{{"chattering (3 times within a minute)", a.Chattering}, {"stale (active for more than a day)", a.Stale}} {
		if len(odd.list) > 0 {
			fmt.Fprintf(&b, "%s: %s\n", odd.what, strings.Join(odd.list, ", "))
		}
	}
	if a.FloodPeriods > 0 {
		fmt.Fprintf(&b, "periods of 10 min with more than %d alarms: %d\n", alarm.FloodOver, a.FloodPeriods)
	}
	return b.String()
}
