package replay

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"time"

	"ionward/agent"
	"ionward/agent/trace"
	"ionward/agent/words"
	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// Explanation is what the rule saw, decided and waits for at one instant.
type Explanation struct {
	Kind   string             `json:"kind"`
	T      seconds            `json:"t"`             // since the first row
	At     string             `json:"at,omitempty"`  // where the trace has dates
	Row    int                `json:"row"`           // number of the newest row, from 1
	RowAge seconds            `json:"row_age"`       // since that row
	Saw    map[string]Seen    `json:"readings"`      // of each signal that has a column
	State  string             `json:"state"`         //
	Since  seconds            `json:"since"`         // since the first row
	Why    string             `json:"why"`           //
	Class  string             `json:"class"`         // of the product reading alone: on_spec, off_spec, unclassified
	Off    bool               `json:"off_spec"`      // as the timers see it, after the clear delay
	Stop   bool               `json:"tripped"`       // the stop is latched
	Inlet  string             `json:"inlet"`         // as the rule drives it
	Relief string             `json:"relief"`        //
	Alarms map[string]string  `json:"alarms"`        // those that are not normal
	Waits  map[string]seconds `json:"waits_for"`     // what runs out by itself with the readings held, and when; see the keys below
	Next   *seconds           `json:"next_deadline"` // until the first of them; null = nothing runs
	Left   *seconds           `json:"time_left"`     // to a stop if the reading stays off spec and nobody presses; null = none approaches

	state  rules.State
	signal []signal.ID // the keys of Saw in their order
	recent []string    // the last things that happened, printed
}

// Seen is one signal as the rule holds it.
type Seen struct {
	Value   *float64 `json:"value"` // inside units; the last usable one; null = there was none yet
	Quality string   `json:"quality"`
	Cause   string   `json:"cause,omitempty"`
	Age     *seconds `json:"age"` // of Value
}

// What may run out by itself.
const (
	delayLeft  = "delay_left"
	bypassLeft = "bypass_left"
	clearLeft  = "clear_delay_left"
	alarmLeft  = "alarm_delay_left"
)

// recentEvents is how many of the last events a text shows.
const recentEvents = 6

// Explain replays the trace up to and including an instant and prints what the rule knew then. The error is an
// *InstantFault where the trace does not hold the instant.
func Explain(ctx context.Context, r *trace.Reader, set Settings, phrases *words.Phrases, at Instant, out io.Writer) error {
	source := &until{from: r, instant: at}
	p := printer{set: &set, reader: r}
	var recent []string
	loop := agent.Loop{Settings: set.Rule, Source: source, Step: func(s agent.Step) {
		for i := range s.Effects.Events {
			e := &s.Effects.Events[i]
			p.text(&line{t: int64(e.At), at: r.Start + int64(e.At), Event: e})
			recent, p.buf = append(recent, string(p.buf)), p.buf[:0]
		}
		recent = recent[max(0, len(recent)-recentEvents):]
	}}
	if err := loop.Run(ctx); err != nil {
		return err
	}
	x := explain(&set.Rule, &loop.State, source)
	x.Why, x.recent = phrases.Why(loop.State.Reason), recent
	var text []byte
	if set.Format == JSONL {
		text, _ = json.Marshal(x) // numbers are finite: the trace's readings are
		text = append(text, '\n')
	} else {
		text = x.text(&set.Rule, phrases, r.Dated)
	}
	if _, err := out.Write(text); err != nil {
		return fmt.Errorf("cannot write the result: %w", err)
	}
	return nil
}

func explain(set *rules.Settings, s *rules.State, u *until) *Explanation {
	x := &Explanation{
		Kind: "explain", T: seconds(u.goal), Row: u.rows, RowAge: seconds(u.goal - u.now), Saw: map[string]Seen{},
		State: s.Mode.String(), Since: seconds(s.Since), Off: s.Powered && s.Off(), Stop: s.Tripped,
		Inlet: s.Mode.Outputs().Inlet.String(), Relief: s.Mode.Outputs().Relief.String(),
		Class:  [...]string{"unclassified", "on_spec", "off_spec"}[s.Class],
		Alarms: map[string]string{}, Waits: map[string]seconds{}, state: *s,
	}
	if u.from.Dated {
		x.At = time.Unix(0, u.from.Start+int64(u.goal)).UTC().Format(time.RFC3339Nano)
	}
	for i := range signal.Count {
		if id := signal.ID(i); u.scanned>>i&1 != 0 {
			x.signal = append(x.signal, id)
			x.Saw[id.String()] = seen(s, id)
		}
	}
	for i := range s.Alarms {
		if phase := s.Alarms[i].Phase; phase != alarm.Normal {
			x.Alarms[alarm.ID(i).String()] = phase.String()
		}
	}
	x.wait(set, s)
	return x
}

func seen(s *rules.State, id signal.ID) Seen {
	h := &s.Signals[id]
	v := Seen{Quality: h.Quality.String(), Cause: h.Cause.String()}
	if age, ok := s.Age(id); ok {
		value, old := h.Value, seconds(age)
		v.Value, v.Age = &value, &old
	}
	return v
}

// wait finds what runs out by itself.
func (x *Explanation) wait(set *rules.Settings, s *rules.State) {
	put := func(name string, d time.Duration, runs bool) {
		if runs {
			x.Waits[name] = seconds(d)
		}
	}
	if s.Powered {
		left, runs := s.Delay.Left(set.Delay)
		put(delayLeft, left, runs)
		left, runs = s.Bypass.Left(set.Bypass)
		put(bypassLeft, left, runs)
		left, runs = s.Clear.Left(set.ClearDelay)
		put(clearLeft, left, runs)
	}
	put(alarmLeft, s.Due-s.Elapsed, s.Due > 0)
	if d, ok := s.NextDeadline(set); ok {
		next := seconds(d)
		x.Next = &next
	}
	if d, ok := s.TimeLeft(set); ok {
		left := seconds(d)
		x.Left = &left
	}
}
