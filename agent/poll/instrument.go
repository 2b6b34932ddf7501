package poll

import (
	"context"
	"errors"
	"log/slog"
	"maps"
	"sync"
	"sync/atomic"
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

	redials *redials // of link

	// The running poll's own.
	values []modbus.Value // of Signals
	plan   *modbus.Plan
	first  int        // block to begin with
	counts []*counter // of Signals; nil where no pulses are counted

	watch    *watch      // of its settings; nil = none
	watching atomic.Bool // one look at them is under way

	// Next's own.
	due      time.Duration // clock time of the next poll
	phase    time.Duration // of the second poll against the first; 0 = a whole interval
	busy     bool          // a poll is under way
	asked    bool          // belongs to the open scan
	answered bool          // and has answered
	fresh    bool          // readings were not in any scan yet
	readings []signal.Reading
	at       time.Duration // clock time at which readings came

	mu       sync.Mutex
	health   agent.Health
	lost     bool // the last poll failed
	presence presence
}

// result is how a poll ended.
type result struct {
	index    int
	readings []signal.Reading // one for each of Signals
	at       time.Duration    // clock time
	fault    error            // the first failed request's; nil = all were answered
	took     time.Duration    // real time
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
		var c *counter
		if s.Pulse.on() {
			c = &counter{Pulse: s.Pulse.filled(s.Type), id: s.ID}
		}
		i.counts = append(i.counts, c)
	}
	var err error
	if i.plan, err = modbus.NewPlan(requests, modbus.Limits{MaxRegisters: in.MaxRegisters, Gap: in.gap()}); err != nil {
		return nil, err
	}
	i.presence = presence{warmUp: in.WarmUp, holdOff: in.HoldOff}
	i.health = agent.Health{Instrument: in.Name, Address: in.Address}
	i.watch, err = newWatch(&in)
	return i, err
}

// poll asks for all signals once.
func (i *instrument) poll(ctx context.Context) result {
	began := time.Now() // the network's time is real, whatever the clock
	readings := make([]signal.Reading, len(i.Signals))
	var fault error
	answered := false // by the instrument itself: with data, or with a refusal of its own
	at := i.first % len(i.plan.Blocks())
	for left := len(i.plan.Blocks()); left > 0; {
		block, before := i.plan.Blocks()[at], len(i.plan.Blocks())
		data, err := i.read(ctx, at)
		answered = answered || err == nil || modbus.Bad(err)
		switch {
		case err == nil:
			i.pick(block, data, readings)
		case err == errParted:
			left += len(i.plan.Blocks()) - before
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
	took := time.Since(began)
	withhold(i.note(ctx, fault, answered, took), i.Signals, readings)
	return result{index: i.index, readings: readings, at: i.clock.Now(), fault: fault, took: took}
}

// pick decodes the values of one block.
func (i *instrument) pick(b modbus.Block, data []byte, readings []signal.Reading) {
	for _, p := range b.Places {
		s := &i.Signals[p.Index]
		x, cause := i.values[p.Index].Pick(s.Kind, data, p.Offset)
		if c := i.counts[p.Index]; c != nil && cause == modbus.OK {
			readings[p.Index] = i.counted(s, c, x)
			continue
		}
		readings[p.Index] = s.reading(x, cause)
	}
}

// counted makes a reading of a pulse counter. A flow needs two looks at it: until then it was not measured.
func (i *instrument) counted(s *Signal, c *counter, raw float64) signal.Reading {
	v, ok := c.read(raw, i.clock.Now())
	if !ok {
		return none(signal.NotPolled)
	}
	return s.judge(v)
}

// resume lets a total that is counted from pulses go on from the record.
func (i *instrument) resume(total float64, at time.Duration) {
	for _, c := range i.counts {
		if c != nil && c.id == signal.Total {
			c.resume(total, at)
		}
	}
}

// look reads some of the instrument's own settings back, if it is time to and the instrument answers.
func (i *instrument) look(ctx context.Context) {
	if i.watch == nil || i.isSilent() || !i.watching.CompareAndSwap(false, true) {
		return
	}
	defer i.watching.Store(false)
	if !i.watch.step(ctx, i.link, i.clock) {
		return
	}
	for _, s := range i.watch.state() {
		switch {
		case s.Differs:
			i.log.Warn("a setting is not as commissioned", "setting", s.Name, "want", s.Want, "have", s.Have)
		case s.Trouble != "":
			i.log.Warn("a setting cannot be read back", "setting", s.Name, "error", s.Trouble)
		}
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

// note keeps the health, and logs where it changes rather than at each poll. It tells why what the poll brought must
// be kept back.
func (i *instrument) note(ctx context.Context, fault error, answered bool, took time.Duration) agent.Withheld {
	if ctx.Err() != nil {
		return agent.NotWithheld // we gave up, not the instrument
	}
	i.mu.Lock()
	defer i.mu.Unlock()
	h := &i.health
	now := i.clock.UTC()
	h.Polls++
	before := h.Withheld
	h.Withheld = i.presence.poll(i.clock.Now(), answered)
	h.Losses = i.presence.lost
	if h.Withheld != before && h.Withheld != agent.NotWithheld {
		i.log.Warn("readings are kept back", "because", h.Withheld)
	}
	wasLost := i.lost
	i.lost = fault != nil
	if fault == nil {
		h.LastGood, h.RoundTrip = now, took
		h.Latency.Add(took)
		if wasLost {
			i.log.Info("instrument answers again")
		}
		return h.Withheld
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
	return h.Withheld
}

func (i *instrument) report() agent.Health {
	i.mu.Lock()
	defer i.mu.Unlock()
	h := i.health
	h.Errors = maps.Clone(h.Errors)
	h.Settings = i.watch.state()
	h.Reconnects = i.redials.again()
	return h
}

// isSilent reports whether the last poll was not answered at all; one that was refused in part is answered.
func (i *instrument) isSilent() bool {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.presence.silent > 0
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
