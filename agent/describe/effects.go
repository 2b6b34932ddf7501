package describe

import (
	"time"

	"ionward/rules"
	"ionward/rules/signal"
)

// effects are what a cause does to the rule, in words; "" = nothing.
type effects struct {
	inlet, relief, delay, bypass, trip string
}

// moment is between two scans: shorter than any timer.
const moment = time.Nanosecond

// trial steps the rule through a cause and looks at what has changed.
type trial struct {
	d      *draft
	state  rules.State
	before rules.State
	out    rules.Effects

	bad, pressed, dark, rinsing bool
	value                       float64
}

// start is a unit in service on good water.
func (d *draft) start() *trial {
	t := &trial{d: d}
	t.scan(0, false)
	return t.wait(d.rule.ClearDelay+1).scan(0, false)
}

// scan takes one set of readings, product off spec or on spec.
func (t *trial) scan(gap time.Duration, off bool) *trial {
	in := rules.Input{Scan: true, Gap: gap}
	t.value = 0
	if off {
		t.value = t.d.rule.Endpoint
	}
	quality := signal.Good
	if t.bad {
		quality = signal.Bad
	}
	in.Readings[signal.ProductConductivity] = signal.Reading{Value: t.value, Quality: quality}
	contact := func(id signal.ID, on bool) {
		r := signal.Reading{Quality: signal.Good}
		if on {
			r.Value = 1
		}
		in.Readings[id] = r
	}
	contact(signal.ControlPower, !t.dark)
	contact(signal.BypassButton, t.pressed)
	contact(signal.RinseOpen, t.rinsing)
	rules.Step(t.d.rule, &t.state, &in, &t.out)
	return t
}

func (t *trial) wait(gap time.Duration) *trial {
	rules.Step(t.d.rule, &t.state, &rules.Input{Gap: gap}, &t.out)
	return t
}

// mark remembers the state before the cause.
func (t *trial) mark() *trial {
	t.before = t.state
	return t
}

func (t *trial) press() *trial {
	off := t.value > 0
	t.pressed = true
	t.scan(0, off)
	t.pressed = false
	return t
}

// look puts into words what the cause has changed.
func (t *trial) look() effects {
	cells := t.d.file.Cells
	var e effects
	was, is := t.before.Mode.Outputs(), t.state.Mode.Outputs()
	valve := func(was, is rules.Valve) string {
		if was == is {
			return ""
		}
		return cells[is.String()]
	}
	e.inlet, e.relief = valve(was.Inlet, is.Inlet), valve(was.Relief, is.Relief)
	b, s := &t.before, &t.state
	switch {
	case s.Delay.In && !b.Delay.In:
		e.delay = cells["runs"]
	case b.Delay.In && !s.Delay.In:
		e.delay = cells["reset"]
	}
	switch {
	case s.Bypass.Running && !b.Bypass.Running:
		e.bypass = t.d.fill(cells["runs_for"])
	case b.Bypass.Running && !s.Bypass.Running:
		e.bypass = cells["reset"]
	}
	switch {
	case s.Tripped && !b.Tripped:
		e.trip = cells["set"]
	case b.Tripped && !s.Tripped:
		e.trip = cells["reset"]
	}
	return e
}

func (d *draft) offSpec() effects { return d.start().mark().scan(moment, true).look() }

func (d *draft) stopped() effects {
	return d.start().scan(moment, true).mark().wait(d.rule.Delay).look()
}

func (d *draft) onSpec() effects {
	t := d.start().scan(moment, true).mark().scan(moment, false)
	return t.wait(d.rule.ClearDelay).scan(0, false).look()
}

func (d *draft) badReading() effects {
	t := d.start().mark()
	t.bad = true
	return t.scan(moment, false).look()
}

// accepted is a press after a stop: it does all that a press can do.
func (d *draft) accepted() effects {
	return d.start().scan(moment, true).wait(d.rule.Delay).mark().press().look()
}

func (d *draft) refused() effects {
	e := d.start().mark().press().look()
	if e == (effects{}) {
		e.bypass = d.file.Cells["no_effect"]
	}
	return e
}

// powerLost looks at the timers while both run, and at the latch of a unit that was stopped.
func (d *draft) powerLost() effects {
	t := d.start().scan(moment, true).press().mark()
	t.dark = true
	e := t.scan(moment, true).look()
	t = d.start().scan(moment, true).wait(d.rule.Delay).mark()
	t.dark = true
	e.trip = t.scan(moment, true).look().trip
	if t.state.Tripped {
		e.trip = d.file.Cells["kept"]
	}
	return e
}

// powerBack is power that comes back on off-spec water after a stop.
func (d *draft) powerBack() effects {
	t := d.start().scan(moment, true).wait(d.rule.Delay)
	t.dark = true
	t.scan(moment, true).mark()
	t.dark = false
	e := t.scan(moment, true).look()
	if e.inlet == "" {
		e.inlet = d.file.Cells["stays_shut"]
	}
	return e
}

func (d *draft) rinse() effects {
	t := d.start().scan(moment, true).mark()
	t.rinsing = true
	e := t.scan(moment, true).look()
	if e == (effects{}) {
		e.delay = d.file.Cells["runs_on"]
	}
	return e
}

// unseen is what is known after a stretch in which nothing was read.
func (d *draft) unseen() effects {
	return effects{delay: d.file.Cells["wider"], bypass: d.file.Cells["wider"]}
}
