package poll

import (
	"context"
	"math"
	"sync"
	"time"

	"ionward/agent"
	"ionward/agent/modbus"
	"ionward/rules/signal"
)

// Look is what one poll of one instrument brought.
type Look struct {
	Instrument Instrument       // as it was asked, defaults filled in
	Readings   []signal.Reading // one for each of its Signals
	Took       time.Duration    // real time for all requests
	Requests   []modbus.Request // that one poll of it makes
	Fault      error            // of the first request that failed; nil = all were answered
	Settings   []agent.Setting  // of its own, as read back
}

// Look polls every instrument once, settings included, in the order of the settings; an instrument with a pulse counter
// is polled twice, since a flow needs two looks at it. It takes as long as the slowest line needs: nothing is cut off by
// a window as in a scan. It is for commissioning, on a source on which Next was never called.
func (s *Source) Look(ctx context.Context) []Look {
	looks := make([]Look, len(s.instruments))
	queues := map[*modbus.Link][]*instrument{}
	for _, i := range s.instruments {
		queues[i.link] = append(queues[i.link], i)
	}
	var lines sync.WaitGroup
	for _, queue := range queues {
		lines.Go(func() {
			for _, i := range queue {
				looks[i.index] = i.once(ctx)
			}
		})
	}
	lines.Wait()
	return looks
}

func (i *instrument) once(ctx context.Context) Look {
	r := i.poll(ctx)
	if i.flows() && r.fault == nil {
		// An error is the context's, and then the poll fails at once.
		_ = i.clock.Sleep(ctx, max(i.Every, time.Second))
		r = i.poll(ctx)
	}
	// Each step reads one block or splits one, so a round ends; a lost instrument would only cost time-outs.
	for r.fault == nil && i.watch != nil && ctx.Err() == nil && !i.watch.step(ctx, i.link, i.clock) {
		continue
	}
	l := Look{Instrument: i.Instrument, Readings: r.readings, Took: r.took, Fault: r.fault, Settings: i.watch.state()}
	for _, b := range i.plan.Blocks() {
		l.Requests = append(l.Requests, b.Request)
	}
	return l
}

// flows reports whether a flow is made of pulses.
func (i *instrument) flows() bool {
	for _, c := range i.counts {
		if c != nil && c.id != signal.Total {
			return true
		}
	}
	return false
}

// Step is what one count of the raw number means near a value, both in the inside unit; a reading is never finer than
// the signal's resolution. 0 for a contact.
func (s *Signal) Step(value float64) float64 {
	info := s.ID.Info()
	switch {
	case info.Contact:
		return 0
	case s.Pulse.on() && s.ID == signal.Total:
		return max(1/s.Pulse.PerM3, info.Resolution)
	case s.Pulse.on():
		return max(1/s.Pulse.PerM3/s.Pulse.filled(s.Type).Window.Hours(), info.Resolution)
	}
	scale := s.Scale
	if scale == 0 {
		scale = 1
	}
	at := s.Unit.From(value)
	if c := &s.Current; c.On {
		per := (c.To - c.From) / 16 // in the signal's unit, of one mA
		return max(s.apart(at, per*scale*s.count((4+(at-c.From)/per-s.Offset)/scale)), info.Resolution)
	}
	return max(s.apart(at, scale*s.count((at-s.Offset)/scale)), info.Resolution)
}

// count is the distance between two neighbouring raw numbers.
func (s *Signal) count(raw float64) float64 {
	switch {
	case s.Type == modbus.F32:
		x := float32(math.Abs(raw))
		return float64(math.Nextafter32(x, math.MaxFloat32) - x)
	case s.Type == modbus.F64:
		x := math.Abs(raw)
		return math.Nextafter(x, math.MaxFloat64) - x
	default:
		return 1
	}
}

// apart is a difference in the signal's unit as one in the inside unit.
func (s *Signal) apart(at, step float64) float64 {
	return math.Abs(s.Unit.Inside(at+step) - s.Unit.Inside(at))
}
