package poll

import (
	"time"

	"ionward/agent"
	"ionward/agent/modbus"
	"ionward/rules/signal"
)

// Presence lets a property test follow a presence by itself.
type Presence struct{ p presence }

// NewPresence makes one.
func NewPresence(warmUp time.Duration, h HoldOff) *Presence {
	return &Presence{presence{warmUp: warmUp, holdOff: h}}
}

// Poll is presence.poll.
func (p *Presence) Poll(now time.Duration, answered bool) agent.Withheld {
	return p.p.poll(now, answered)
}

// Read takes the bytes of one signal the whole way to a reading.
func Read(s Signal, order modbus.Order, data []byte) (signal.Reading, error) {
	in := &Instrument{Order: order}
	if err := s.check(in); err != nil {
		return signal.Reading{}, err
	}
	x, cause := s.value(in).Pick(s.Kind, data, 0)
	return s.reading(x, cause), nil
}
