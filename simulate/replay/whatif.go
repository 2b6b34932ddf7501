package replay

import (
	"context"
	"errors"
	"io"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"ionward/agent"
	"ionward/agent/trace"
	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// Setting is one changed setting, as it was written.
type Setting struct{ Path, Value string }

// Case is one combination of settings to try.
type Case struct {
	Set  []Setting // what differs from case to case, in the same order in each
	Rule rules.Settings
}

// Outcome is what would have happened under one case.
type Outcome struct {
	Set setText `json:"set"`
	Summary
	MinutesShut    float64  `json:"minutes_shut"`     // without water: stopped by the rule
	MinutesNoPower float64  `json:"minutes_no_power"` // without water: no control power
	GallonsOffSpec float64  `json:"gallons_off_spec"` // US gallons delivered off spec, in the delay and in a bypass
	Alarms         int      `json:"alarms"`           // how often one was raised
	AlarmsADay     *float64 `json:"alarms_a_day"`     // null for a trace without length
	Best           bool     `json:"best"`             // no other case of its endpoint gives less of both, off-spec water and time without water

	endpoint float64 // uS/cm: what off spec means in this outcome
}

// rowsAtOnce is how many rows all cases take together: enough to share the work between cores, few enough to stay in a
// core's cache.
const rowsAtOnce = 1024

// try is one case under way.
type try struct {
	rule   rules.Settings
	state  rules.State
	out    rules.Effects
	alarms int
}

// WhatIf runs the trace through the rule under every case, in one pass: a row is parsed once. progress is told from time
// to time how many rows are done; nil = nobody. Orders of people in the trace are obeyed in every case; one that finds
// nothing to do has no effect.
func WhatIf(ctx context.Context, r *trace.Reader, cases []Case, progress func(rows int)) ([]Outcome, error) {
	tries := make([]*try, len(cases))
	for i := range cases {
		tries[i] = &try{rule: cases[i].Rule}
	}
	if err := pass(ctx, r, tries, progress); err != nil {
		return nil, err
	}
	outcomes := make([]Outcome, len(cases))
	for i, t := range tries {
		outcomes[i] = t.outcome(r, cases[i].Set)
	}
	markBest(outcomes)
	return outcomes, nil
}

// pass gives every row to every try.
func pass(ctx context.Context, r *trace.Reader, tries []*try, progress func(int)) error {
	ahead := trace.NewAhead(r)
	defer ahead.Close()
	rows := make([]rules.Input, rowsAtOnce)
	for done := 0; ; {
		n, err := fill(ctx, ahead, rows)
		step(tries, rows[:n])
		done += n
		if progress != nil {
			progress(done)
		}
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
	}
}

// fill takes the next rows; fewer than there is room for only with an error.
func fill(ctx context.Context, from agent.Source, rows []rules.Input) (int, error) {
	for n := range rows {
		if err := from.Next(ctx, agent.Never, &rows[n]); err != nil {
			return n, err
		}
	}
	return len(rows), nil
}

// step lets each try take the rows; the tries are shared out among the cores.
func step(tries []*try, rows []rules.Input) {
	var next atomic.Int64
	var ended sync.WaitGroup
	work := func() {
		for i := next.Add(1) - 1; i < int64(len(tries)); i = next.Add(1) - 1 {
			tries[i].take(rows)
		}
	}
	for range min(runtime.GOMAXPROCS(0), len(tries)) - 1 {
		ended.Go(work)
	}
	work()
	ended.Wait()
}

func (t *try) take(rows []rules.Input) {
	for i := range rows {
		rules.Step(&t.rule, &t.state, &rows[i], &t.out)
		for k := range t.out.Events {
			if e := &t.out.Events[k]; e.Kind == rules.AlarmChange && e.Now == alarm.Unacknowledged {
				t.alarms++
			}
		}
	}
}

func (t *try) outcome(r *trace.Reader, set []Setting) Outcome {
	o := Outcome{Set: set, Summary: summarise(r, &t.rule, &t.state), Alarms: t.alarms, endpoint: t.rule.Endpoint}
	o.MinutesShut = time.Duration(o.In.Shut).Minutes()
	o.MinutesNoPower = time.Duration(o.In.NoPower).Minutes()
	o.GallonsOffSpec = signal.Gallon.From(o.M3.OffSpecDelay + o.M3.OffSpecBypass)
	if o.Seconds > 0 {
		rate := float64(t.alarms) * 24 / time.Duration(o.Seconds).Hours()
		o.AlarmsADay = &rate
	}
	return o
}

// dry is the time without water, minutes.
func (o *Outcome) dry() float64 { return o.MinutesShut + o.MinutesNoPower }

// markBest marks the outcomes that no other one of the same endpoint beats: not better in one of the two and at least as
// good in the other. Across endpoints gallons off spec do not compare, since they are gallons of other water: the highest
// endpoint would always look best.
func markBest(outcomes []Outcome) {
	for i := range outcomes {
		o := &outcomes[i]
		o.Best = !slices.ContainsFunc(outcomes, func(other Outcome) bool {
			return other.endpoint == o.endpoint && other.dry() <= o.dry() && other.GallonsOffSpec <= o.GallonsOffSpec &&
				(other.dry() < o.dry() || other.GallonsOffSpec < o.GallonsOffSpec)
		})
	}
}

// mixed reports whether outcomes of different endpoints stand side by side.
func mixed(outcomes []Outcome) bool {
	return slices.ContainsFunc(outcomes, func(o Outcome) bool { return o.endpoint != outcomes[0].endpoint })
}
