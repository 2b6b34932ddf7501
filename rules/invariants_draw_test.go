package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/signal"
)

// run is a drawn course of things: runs of equal readings, so that delays run out, broken by dips, presses and losses of
// power, with gaps that are whole seconds (deadlines fall on scans), odd (they fall between), or longer than any delay.
type run struct {
	set    Settings
	inputs []Input
}

func drawRun(t *rapid.T) run {
	r := run{set: Defaults()}
	odd := rapid.Bool().Draw(t, "odd times")
	span := func(low, high int, name string) time.Duration {
		d := time.Duration(rapid.IntRange(low, high).Draw(t, name)) * time.Second
		if odd && d > 0 {
			d += time.Duration(rapid.IntRange(-999_999_999, 999_999_999).Draw(t, name+" ns"))
		}
		return max(d, 0)
	}
	r.set.Delay, r.set.Bypass = max(span(1, 12, "delay"), 1), max(span(1, 12, "bypass"), 1)
	if rapid.IntRange(0, 2).Draw(t, "clears late") == 0 {
		r.set.ClearDelay = span(1, 5, "clear delay")
	}
	r.set.ClearBand = rapid.SampledFrom([]float64{0, 0, 0.05, 0.001}).Draw(t, "band")
	r.set.KeepTrip = rapid.Bool().Draw(t, "keep")
	for range rapid.IntRange(1, 25).Draw(t, "runs") {
		in := Input{Scan: true}
		in.Readings[signal.ProductConductivity] = drawWater(t)
		in.Readings[signal.ControlPower] = drawContact(t, "power", 1)
		in.Readings[signal.BypassButton] = drawContact(t, "button", 0)
		for range rapid.IntRange(1, 10).Draw(t, "scans") {
			in.Gap = time.Second
			switch rapid.IntRange(0, 11).Draw(t, "gap") {
			case 0:
				in.Gap = span(0, 40, "long gap")
			case 1:
				in.Gap = 0
			case 2:
				r.inputs = append(r.inputs, Input{Gap: span(0, 2, "no scan")})
			case 3, 4:
				// A press must be able to fall on the last instant of a delay.
				in.Readings[signal.BypassButton] = drawContact(t, "button", 0)
			}
			r.inputs = append(r.inputs, in)
		}
	}
	return r
}

func drawWater(t *rapid.T) signal.Reading {
	v := rapid.SampledFrom([]float64{0, 0.4, 0.949, 0.95, 0.998, 0.999, 1, 1, 1.001, 2, 2, 2999}).Draw(t, "product")
	q := rapid.SampledFrom([]signal.Quality{signal.Good, signal.Good, signal.Good, signal.Good, signal.Uncertain, signal.Bad, signal.None}).Draw(t, "quality")
	return signal.ProductConductivity.Default(v, q)
}

// drawContact draws a contact that mostly stands at its usual position.
func drawContact(t *rapid.T, name string, usual float64) signal.Reading {
	switch rapid.IntRange(0, 11).Draw(t, name) {
	case 0:
		return signal.Reading{Cause: signal.TimedOut}
	case 1:
		return signal.Reading{Quality: signal.Bad, Cause: signal.Reported}
	case 2:
		return signal.Reading{Value: usual, Quality: signal.Uncertain, Cause: signal.Reported}
	case 3, 4, 5:
		return signal.Reading{Value: 1 - usual, Quality: signal.Good}
	}
	return signal.Reading{Value: usual, Quality: signal.Good}
}

// look is one instant of a run: the rule before and after it, and what a person with a watch would know.
type look struct {
	set           *Settings
	in            *Input // of this instant: no scan where only a deadline was settled
	before, after State
	out           Outputs
	events        []Event
	watch         watch
}

// event gives the first event of a kind.
func (l *look) event(kind Kind) (Event, bool) {
	for _, e := range l.events {
		if e.Kind == kind {
			return e, true
		}
	}
	return Event{}, false
}

func (l *look) open() bool  { return l.out.Inlet == Open }
func (l *look) trips() bool { return l.after.Tripped && !l.before.Tripped }
func (l *look) product() signal.Reading {
	return l.in.Readings[signal.ProductConductivity]
}

// classified reports whether this instant is a scan with power, in which the product is judged.
func (l *look) classified() bool { return l.in.Scan && l.watch.power }

// accepted reports an accepted press in this instant.
func (l *look) accepted() bool {
	e, ok := l.event(Press)
	return ok && e.Accepted
}

// each walks the run from instant to instant: every scan, and every deadline between two scans.
func (r run) each(see func(l *look)) {
	var out Effects
	l := look{set: &r.set, watch: newWatch()}
	one := func(in Input) {
		l.in, l.before = &in, l.after
		Step(&r.set, &l.after, &in, &out)
		l.out, l.events = out.Outputs, out.Events
		l.watch.see(&l)
		see(&l)
	}
	for _, in := range r.inputs {
		for {
			d, ok := l.after.NextDeadline(&r.set)
			if !ok || d >= in.Gap {
				break
			}
			one(Input{Gap: d})
			in.Gap -= d
		}
		one(in)
	}
}

// watch knows what a person with a watch and a notebook knows: the contacts, for how long it has been off spec, when
// the last press was accepted. It reads no timer of the rule.
type watch struct {
	now        time.Duration
	started    bool
	power      bool
	lost, back bool    // power went or came in this scan
	wired      float64 // the power contact
	button     float64 // -1 = never read
	was        float64 // the button before this instant
	class      int     // +1 off spec, -1 on spec, 0 unknown
	off        bool
	onFrom     time.Duration // when the class turned on
	offFrom    time.Duration // when it turned off
	pressed    time.Duration // when the last press was accepted, unless power was lost since
	gap        time.Duration // between the last two accepted presses, unless power was lost between
	holds      int           // accepted presses while the button has been down
}

// ages is long before any run.
const ages = -1000 * time.Hour

func newWatch() watch { return watch{wired: 1, button: -1, was: -1, pressed: ages} }

func (w *watch) see(l *look) {
	w.now += l.in.Gap
	w.lost, w.back, w.was = false, false, w.button
	if l.in.Scan {
		was := w.power
		if r := l.in.Readings[signal.ControlPower]; r.Usable() {
			w.wired = r.Value
		}
		w.power, w.started = w.wired != 0, true
		w.lost, w.back = was && !w.power, w.power && !was
		if r := l.in.Readings[signal.BypassButton]; r.Usable() {
			w.button = r.Value
		}
		if w.button != 1 {
			w.holds = 0
		}
		w.judge(l)
	}
	if !w.power {
		w.class, w.off, w.pressed = 0, false, ages
		return
	}
	off := w.class > 0 || (w.class < 0 && w.off && w.now-w.onFrom < l.set.ClearDelay)
	if off && !w.off {
		w.offFrom = w.now
	}
	w.off = off
	if l.accepted() {
		w.gap, w.pressed = w.now-w.pressed, w.now
		w.holds++
	}
}

// judge takes the product reading of a scan.
func (w *watch) judge(l *look) {
	r, was := l.product(), w.class
	counts := func(v float64) int { return int(v*1000 + 0.5) }
	switch {
	case r.Quality == signal.Bad, r.Usable() && counts(r.Value) >= 1000:
		w.class = 1
	case r.Quality == signal.Good && counts(r.Value) < 1000-counts(l.set.ClearBand):
		w.class = -1
	case w.back:
		w.class = 1
	}
	if w.class < 0 && was >= 0 {
		w.onFrom = w.now
	}
}

// offFor is how long it has been off spec without a break.
func (w *watch) offFor() time.Duration {
	if !w.off {
		return 0
	}
	return w.now - w.offFrom
}

// sincePress is how long ago the last press was accepted.
func (w *watch) sincePress() time.Duration { return w.now - w.pressed }

// check draws ten times as often as rapid does by itself: a run is cheap.
func check(t *testing.T, prop func(t *rapid.T)) {
	t.Helper()
	for range 10 {
		rapid.Check(t, prop)
	}
}

// invariant holds a property at every instant of drawn runs. The property also says whether it had anything to say: one
// that never does proves nothing.
func invariant(t *testing.T, holds func(t *rapid.T, l *look) bool) {
	t.Helper()
	said, looks := 0, 0
	check(t, func(t *rapid.T) {
		drawRun(t).each(func(l *look) {
			looks++
			if holds(t, l) {
				said++
			}
		})
	})
	require.Positive(t, said, "the case never came about")
	t.Logf("%d of %d instants", said, looks)
}
