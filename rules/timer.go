package rules

import "time"

// The timers behave as the standard function blocks of IEC 61131-3:2013, 6.6.3.5.5 (timers, table 46 and figure 15).
// The preset time PT is passed in, since it is a setting and not part of the state. Advance lets time pass with the
// input held; Set offers a new input at this instant.

// TON is the on-delay timer: Q once IN has been true for PT without a break.
type TON struct {
	In bool          `json:"in"`
	ET time.Duration `json:"et"` // elapsed, 0 to PT
}

// Advance lets dt pass; ET stops at pt.
func (t *TON) Advance(dt, pt time.Duration) {
	if t.In {
		t.ET = min(t.ET+dt, pt)
	}
}

// Set offers the input; a falling input zeroes ET at once.
func (t *TON) Set(in bool) {
	if !in {
		t.ET = 0
	}
	t.In = in
}

// Q is the output.
func (t *TON) Q(pt time.Duration) bool { return t.In && t.ET >= pt }

// Left is the time until Q if the input stays, and whether that is still to come.
func (t *TON) Left(pt time.Duration) (time.Duration, bool) { return pt - t.ET, t.In && t.ET < pt }

// TOF is the off-delay timer: Q follows a rising IN at once and falls PT after IN fell.
type TOF struct {
	In    bool          `json:"in"`
	Armed bool          `json:"armed"` // IN was true and the delay after its fall has not run out
	ET    time.Duration `json:"et"`    // elapsed since IN fell, 0 to PT
}

// Advance lets dt pass; ET stops at pt and Q falls there.
func (t *TOF) Advance(dt, pt time.Duration) {
	if t.In || !t.Armed {
		return
	}
	t.ET = min(t.ET+dt, pt)
	t.Armed = t.ET < pt
}

// Set offers the input; a rising input zeroes ET.
func (t *TOF) Set(in bool, pt time.Duration) {
	if in {
		t.Armed, t.ET = true, 0
	}
	t.In = in
	if !in && t.ET >= pt {
		t.Armed = false
	}
}

// Q is the output.
func (t *TOF) Q() bool { return t.In || t.Armed }

// Left is the time until Q falls if the input stays, and whether that is still to come.
func (t *TOF) Left(pt time.Duration) (time.Duration, bool) { return pt - t.ET, !t.In && t.Armed }

// TP is the pulse timer: a rising IN when idle gives one pulse of PT, whatever IN does meanwhile.
type TP struct {
	In      bool          `json:"in"`
	Running bool          `json:"running"` // Q
	ET      time.Duration `json:"et"`      // elapsed in the pulse, 0 to PT; PT is held while IN stays true
}

// Advance lets dt pass; Q falls at pt.
func (t *TP) Advance(dt, pt time.Duration) {
	if !t.Running {
		return
	}
	t.ET = min(t.ET+dt, pt)
	if t.ET >= pt {
		t.Running = false
		if !t.In {
			t.ET = 0
		}
	}
}

// Set offers the input; only a rising input of an idle timer starts a pulse.
func (t *TP) Set(in bool) {
	if in && !t.In && !t.Running {
		t.Running, t.ET = true, 0
	}
	if !in && !t.Running {
		t.ET = 0
	}
	t.In = in
}

// Q is the output.
func (t *TP) Q() bool { return t.Running }

// Left is the time until Q falls, and whether that is still to come.
func (t *TP) Left(pt time.Duration) (time.Duration, bool) { return pt - t.ET, t.Running }
