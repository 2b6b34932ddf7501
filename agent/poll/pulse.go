package poll

import (
	"errors"
	"fmt"
	"math"
	"time"

	"ionward/agent/modbus"
	"ionward/rules"
	"ionward/rules/signal"
)

// Pulse says that a signal comes from a counter of a meter's pulses in a remote input. The zero Pulse = it does not.
type Pulse struct {
	PerM3   float64       // pulses in one m3: the meter's K factor; above 0
	Modulus float64       // the counter begins anew at it; 0 = by the type: 65536 or 4294967296
	Most    float64       // m3/h, the largest flow there can be: more pulses than it makes are no rollover but a reset
	Window  time.Duration // flow is the mean over so long; 0 = 10 s
}

func (p *Pulse) on() bool { return p.PerM3 != 0 }

func (p *Pulse) check(s *Signal) error {
	switch {
	case *p == (Pulse{}):
		return nil
	case s.ID != signal.Flow && s.ID != signal.DownstreamFlow && s.ID != signal.Total:
		return fmt.Errorf("pulses count water, and %s is no flow and no total", s.ID)
	case s.Kind.Bits() || s.Type != modbus.U16 && s.Type != modbus.U32 && s.Type != modbus.U64:
		return errors.New("a pulse counter is u16, u32 or u64 in a register")
	case s.Scale != 0 && s.Scale != 1 || s.Offset != 0:
		return errors.New("a pulse counter has no scale and no offset; put them into the K factor")
	case s.Current.On:
		return errors.New("want a pulse counter or a loop current, not both")
	case !finite(p.PerM3) || p.PerM3 <= 0 || !finite(p.Modulus) || p.Modulus < 0 || !finite(p.Most) || p.Most <= 0 || p.Window < 0:
		return errors.New("pulses: want a K factor and a largest flow above 0, and no negative modulus or window")
	}
	return nil
}

// filled is the pulse with its defaults.
func (p Pulse) filled(t modbus.Type) Pulse {
	if p.Window == 0 {
		p.Window = 10 * time.Second
	}
	if p.Modulus == 0 {
		// 2^64 is no number of pulses that a meter makes, and no float could count up to it.
		p.Modulus = map[modbus.Type]float64{modbus.U16: 1 << 16, modbus.U32: 1 << 32}[t]
	}
	return p
}

// counter turns a counter's readings into a total and a flow. Pulses is a whole number that agrees with the counter up
// to a multiple of the modulus, so that a restart can go on from the total alone.
type counter struct {
	Pulse
	id     signal.ID
	known  bool
	pulses float64
	at     time.Duration
	past   []mark // the pulses of the window, oldest first
}

// mark is how many pulses there were at an instant.
type mark struct {
	at     time.Duration
	pulses float64
}

// resume goes on from a total that was read at an instant (before the clock began, it is negative).
func (c *counter) resume(total float64, at time.Duration) {
	c.known, c.pulses, c.at = true, math.Round(total*c.PerM3), at
}

// read takes in what the counter shows now. Ok is false for a flow that cannot be told yet.
func (c *counter) read(raw float64, now time.Duration) (value float64, ok bool) {
	if reset := c.count(raw, now); reset {
		c.past = c.past[:0]
	}
	c.past = append(c.past, mark{now, c.pulses})
	// The mark at the window's edge stays: the mean is over the whole window, not over what lies inside it. What is far
	// older, from before a silence, says nothing about the flow of now.
	old := 0
	for old+1 < len(c.past) && (now-c.past[old+1].at >= c.Window || now-c.past[old].at > 2*c.Window) {
		old++
	}
	c.past = append(c.past[:0], c.past[old:]...)
	if c.id == signal.Total {
		return c.pulses / c.PerM3, true
	}
	first := c.past[0]
	if now <= first.at {
		return 0, false
	}
	return (c.pulses - first.pulses) / c.PerM3 / (now - first.at).Hours(), true
}

// count adds what the counter has counted since it was last read. After a reset the total begins anew, and the rule
// sees it drop as it would see any totalizer drop.
func (c *counter) count(raw float64, now time.Duration) (reset bool) {
	if !c.known {
		c.known, c.pulses, c.at = true, raw, now
		return false
	}
	old := c.pulses
	if c.Modulus > 0 {
		old = math.Mod(c.pulses, c.Modulus)
	}
	// A total that came from the record was rounded on its way there; a counter never runs back by a little.
	if slack := c.PerM3 * signal.Total.Info().Resolution; raw < old && old-raw <= slack && slack >= 1 {
		c.pulses -= old - raw
		old = raw
	}
	added, reset := rules.Counted(old, raw, c.Modulus, 1.5*c.PerM3*c.Most*(now-c.at).Hours())
	if reset {
		c.pulses = raw
	} else {
		c.pulses += added
	}
	c.at = now
	return reset
}
