package poll

import (
	"context"
	"errors"
	"log/slog"
	"maps"
	"sync"
	"time"

	"ionward/agent"
	"ionward/agent/modbus"
	"ionward/rules/signal"
)

// instrument is one instrument as it is polled. At most one poll of it is under way.
type instrument struct {
	Instrument
	index int
	clock agent.Clock
	log   *slog.Logger
	link  *modbus.Link

	// The running poll's own.
	values []modbus.Value // of Signals
	plan   *modbus.Plan
	first  int // block to begin with

	// Next's own.
	due      time.Duration // clock time of the next poll
	busy     bool          // a poll is under way
	asked    bool          // belongs to the open scan
	answered bool          // and has answered
	fresh    bool          // readings were not in any scan yet
	readings []signal.Reading
	at       time.Duration // clock time at which readings came

	mu     sync.Mutex
	health agent.Health
	lost   bool // the last poll failed
}

// result is how a poll ended.
type result struct {
	index    int
	readings []signal.Reading // one for each of Signals
	at       time.Duration    // clock time
}

func newInstrument(in Instrument, clock agent.Clock, log *slog.Logger) (*instrument, error) {
	if in.Every <= 0 {
		in.Every = time.Second
	}
	if in.Timeout <= 0 {
		in.Timeout = time.Second
	}
	if len(in.Signals) == 0 {
		return nil, errors.New("it has no signal")
	}
	in.Signals = append([]Signal(nil), in.Signals...)
	i := &instrument{Instrument: in, clock: clock, log: log.With("instrument", in.Name)}
	requests := make([]modbus.Request, len(in.Signals))
	for k := range in.Signals {
		s := &in.Signals[k]
		if err := s.check(&in); err != nil {
			return nil, err
		}
		i.values, requests[k] = append(i.values, s.value(&in)), s.request(&in)
	}
	var err error
	i.plan, err = modbus.NewPlan(requests, modbus.Limits{MaxRegisters: in.MaxRegisters, Gap: in.Gap})
	i.health = agent.Health{Instrument: in.Name, Address: in.Address}
	return i, err
}

// poll asks for all signals once.
func (i *instrument) poll(ctx context.Context) result {
	began := time.Now() // the network's time is real, whatever the clock
	readings := make([]signal.Reading, len(i.Signals))
	var fault error
	at := i.first % len(i.plan.Blocks())
	for left := len(i.plan.Blocks()); left > 0; {
		block := i.plan.Blocks()[at]
		data, err := i.link.Read(ctx, block.Request)
		switch {
		case err == nil:
			i.pick(block, data, readings)
		case i.plan.Split(at, err):
			i.log.Warn("registers read apart from now on", "refused", block.Request, "error", err)
			left++
			continue
		default:
			fault = firstOf(fault, err)
			r, _ := failed(err)
			fill(block, r, readings)
		}
		at = (at + 1) % len(i.plan.Blocks())
		left--
		if errors.Is(err, modbus.ErrTimeout) {
			// Asking on could take as many time-outs as there are blocks. The next poll begins behind this one, so that a
			// block that is never answered cannot starve the others.
			i.skip(at, left, readings)
			i.first = at
			break
		}
	}
	i.note(ctx, fault, time.Since(began))
	return result{index: i.index, readings: readings, at: i.clock.Now()}
}

// pick decodes the values of one block.
func (i *instrument) pick(b modbus.Block, data []byte, readings []signal.Reading) {
	for _, p := range b.Places {
		s := &i.Signals[p.Index]
		readings[p.Index] = s.reading(i.values[p.Index].Pick(s.Kind, data, p.Offset))
	}
}

// skip marks the blocks that are not asked for any more.
func (i *instrument) skip(at, left int, readings []signal.Reading) {
	blocks := i.plan.Blocks()
	for ; left > 0; left-- {
		fill(blocks[at], none(signal.TimedOut), readings)
		at = (at + 1) % len(blocks)
	}
}

func fill(b modbus.Block, r signal.Reading, readings []signal.Reading) {
	for _, p := range b.Places {
		readings[p.Index] = r
	}
}

func firstOf(a, b error) error {
	if a != nil {
		return a
	}
	return b
}

// note keeps the health, and logs where it changes rather than at each poll.
func (i *instrument) note(ctx context.Context, fault error, took time.Duration) {
	if ctx.Err() != nil {
		return // we gave up, not the instrument
	}
	i.mu.Lock()
	defer i.mu.Unlock()
	h := &i.health
	now := i.clock.UTC()
	h.Polls++
	wasLost := i.lost
	i.lost = fault != nil
	if fault == nil {
		h.LastGood, h.RoundTrip = now, took
		if wasLost {
			i.log.Info("instrument answers again")
		}
		return
	}
	_, kind := failed(fault)
	if h.Errors == nil {
		h.Errors = map[string]uint64{}
	}
	h.Errors[kind]++
	h.LastError = now.Format(time.RFC3339) + " " + fault.Error()
	if !wasLost {
		i.log.Warn("instrument does not answer as it should", "error", fault)
	}
}

func (i *instrument) report() agent.Health {
	i.mu.Lock()
	defer i.mu.Unlock()
	h := i.health
	h.Errors = maps.Clone(h.Errors)
	return h
}

func (i *instrument) isLost() bool {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.lost
}

// asScanned gives the readings for a scan that ends now. A late answer counts in the next scan while it is younger
// than the interval at which it was wanted, and only once.
func (i *instrument) asScanned(now time.Duration, set *signal.Set) {
	missing := none(signal.NotPolled)
	if i.busy {
		missing = none(signal.TimedOut)
	}
	usable := i.fresh && (i.answered || now-i.at < i.Every)
	i.fresh = false
	for k := range i.Signals {
		set[i.Signals[k].ID] = missing
		if usable {
			set[i.Signals[k].ID] = i.readings[k]
		}
	}
}
