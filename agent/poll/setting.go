package poll

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"ionward/agent"
	"ionward/agent/modbus"
)

// Setting is a register that holds a setting of the instrument itself, such as a cell constant, a range or a relay's
// setpoint, and what it held when the trailer was commissioned. It is read and compared, never written.
type Setting struct {
	Name          string      // unique within the instrument
	Register      uint16      // address as sent, the first is 0
	Kind          modbus.Kind // its table
	Type          modbus.Type //
	Scale, Offset float64     // as of a Signal
	Want          float64     // the commissioned number, after scaling
	Tolerance     float64     // so far off still counts as equal
}

// rounding is the part of a number by which equal ones may differ: a 32-bit float has a 24-bit mantissa.
const rounding = 1.0 / (1 << 23)

// differs reports whether a number that was read is not the commissioned one.
func (s *Setting) differs(x float64) bool {
	return !(math.Abs(x-s.Want) <= s.Tolerance+rounding*math.Abs(s.Want))
}

// watch reads the settings of one instrument back now and then. It is used by one goroutine at a time but for its
// list.
type watch struct {
	settings []Setting
	values   []modbus.Value
	plan     *modbus.Plan
	every    time.Duration

	due   time.Duration // clock time of the next round; the first is due at once
	block int           // of the round under way, the next to ask for

	mu   sync.Mutex
	list []agent.Setting
}

// newWatch checks the settings; nil without any.
func newWatch(in *Instrument) (*watch, error) {
	if len(in.Settings) == 0 {
		return nil, nil
	}
	w := &watch{settings: slices.Clone(in.Settings), every: in.SettingsEvery}
	if w.every <= 0 {
		w.every = 10 * time.Minute
	}
	requests := make([]modbus.Request, len(w.settings))
	for k, s := range w.settings {
		v := modbus.Value{Type: s.Type, Order: in.Order, Scale: s.Scale, Offset: s.Offset}
		if err := v.Check(s.Kind); err != nil {
			return nil, fmt.Errorf("setting %s: %w", s.Name, err)
		}
		if !finite(s.Want) || !finite(s.Tolerance) || s.Tolerance < 0 {
			return nil, fmt.Errorf("setting %s: value %g, tolerance %g: want finite numbers, the tolerance not negative", s.Name, s.Want, s.Tolerance)
		}
		for j := range k {
			if w.settings[j].Name == s.Name {
				return nil, fmt.Errorf("setting %s: two have this name; rename one", s.Name)
			}
		}
		requests[k] = modbus.Request{UnitID: in.UnitID, Kind: s.Kind, Address: s.Register, Quantity: v.Size(s.Kind), Timeout: in.Timeout}
		w.values = append(w.values, v)
		w.list = append(w.list, agent.Setting{Name: s.Name, Want: s.Want, Have: math.NaN()})
	}
	var err error
	w.plan, err = modbus.NewPlan(requests, modbus.Limits{MaxRegisters: in.MaxRegisters, Gap: in.Gap})
	return w, err
}

// step reads at most one block, so that a round costs each poll little. It gives what it read, and whether a round has
// come to its end.
func (w *watch) step(ctx context.Context, link *modbus.Link, clock agent.Clock) (ended bool) {
	now := clock.Now()
	if now < w.due {
		return false
	}
	block := w.plan.Blocks()[w.block]
	data, err := link.Read(ctx, block.Request)
	if err != nil && w.plan.Split(w.block, err) {
		return false // the halves are asked for in the next polls
	}
	if ctx.Err() != nil {
		return false
	}
	w.take(block, data, err, clock.UTC())
	if w.block++; w.block < len(w.plan.Blocks()) {
		return false
	}
	w.block, w.due = 0, now+w.every
	return true
}

// take compares one block. What could not be read keeps its last verdict: no answer is no change of a setting.
func (w *watch) take(b modbus.Block, data []byte, err error, utc time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, p := range b.Places {
		s, kept := &w.settings[p.Index], &w.list[p.Index]
		if err != nil {
			kept.Trouble = trouble(err)
			continue
		}
		x, cause := w.values[p.Index].Pick(s.Kind, data, p.Offset)
		kept.Have, kept.Read, kept.Trouble = x, utc, ""
		// A register that holds no number is not what was commissioned either.
		kept.Differs = cause != modbus.OK || s.differs(x)
	}
}

func trouble(err error) string {
	var refusal *modbus.Exception
	if errors.As(err, &refusal) {
		return refusal.Error()
	}
	_, kind := failed(err)
	return kind
}

// state is a copy of the list.
func (w *watch) state() []agent.Setting {
	if w == nil {
		return nil
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.Clone(w.list)
}

// verdict tells whether any setting differs, and whether that is known: one that differs is enough, but that all are
// as they should be is known only once all were read.
func (w *watch) verdict() (differs, known bool) {
	known = true
	for _, s := range w.state() {
		differs = differs || s.Differs
		known = known && !s.Read.IsZero()
	}
	return differs, differs || known
}
