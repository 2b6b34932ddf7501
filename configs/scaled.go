package configs

import (
	"errors"
	"fmt"
	"time"

	"ionward/rules/signal"
)

var currentFields = []field[Current]{
	numberField(Key{Path: "from", Unit: "the signal's unit", Example: "0", Required: Always, Meaning: "the value at 4 mA"},
		anyNumber, "any number", func(c *Current) *float64 { return &c.From }),
	numberField(Key{Path: "to", Unit: "the signal's unit", Example: "10", Required: Always, Meaning: "the value at 20 mA"},
		anyNumber, "any number", func(c *Current) *float64 { return &c.To }),
}

var pulseFields = []field[Pulse]{
	numberField(Key{Path: "k", Example: "10.5", Required: Always, Meaning: "K factor: pulses in one unit of volume"},
		func(x float64) bool { return x > 0 && x < 1e9 }, "a number above 0", func(p *Pulse) *float64 { return &p.K }),
	{
		Key: Key{Path: "per", Form: Choice, Choices: signal.Units(signal.Volume), Example: "gal", Required: Always, Meaning: "the unit of volume of the K factor"},
		read: func(r *reader, v value, into *Pulse) {
			if s, ok := r.choice(v, signal.Units(signal.Volume)); ok {
				into.Per, _ = signal.ParseUnit(s)
			}
		},
	},
	wholeField(Key{Path: "modulus", Unit: "pulses", Default: "(where its type ends)", Example: "1000000", Meaning: "the counter begins anew at it"},
		2, 1<<53, func(p *Pulse, n int64) { p.Modulus = float64(n) }),
	{
		Key: Key{Path: "most", Form: Quantity, Unit: "m3/h", Default: "(the signal's high; for a total 1000 gpm)", Example: "500 gpm", Meaning: "the largest flow there can be: more pulses than it makes are a reset"},
		read: func(r *reader, v value, into *Pulse) {
			x, ok := r.quantity(v, signal.FlowRate, false)
			switch {
			case ok && x <= 0:
				r.fault(v, "%s is no largest flow; want one above 0", v.node.Value)
			case ok:
				into.Most = x
			}
		},
	},
	durationField(Key{Path: "window", Default: "10s", Example: "30s", Meaning: "a flow is the mean over so long"},
		time.Second, 10*time.Minute, func(p *Pulse) *time.Duration { return &p.Window }),
}

func anyNumber(float64) bool { return true }

// current reads what a loop current means.
func (r *reader) current(v value, into *Signal) {
	if into.ID.Contact() {
		r.fault(v, "a contact is no loop current; remove it")
		return
	}
	before := len(r.faults)
	var c Current
	walk(r, v, currentFields, &c)
	if len(r.faults) == before && c.From == c.To {
		to, _ := r.written(v.under("to"))
		r.fault(to, "%g at 4 mA and at 20 mA alike; want two different values", c.To)
	}
	into.Current = &c
}

// pulse reads what a pulse counter counts.
func (r *reader) pulse(v value, into *Signal) {
	p := Pulse{Window: 10 * time.Second}
	walk(r, v, pulseFields, &p)
	into.Pulse = &p
}

// pulseFault judges a pulse counter together with the rest of its signal.
func (s *Signal) pulseFault() error {
	switch {
	case s.ID != signal.Flow && s.ID != signal.DownstreamFlow && s.ID != signal.Total:
		return fmt.Errorf("counts water, and %s is no flow and no total; remove it", s.ID)
	case s.Current != nil:
		return errors.New("a signal comes as pulses or as a loop current; remove one")
	case s.Bits() || s.Type != "u16" && s.Type != "u32" && s.Type != "u64":
		return fmt.Errorf("%s cannot count pulses; want type u16, u32 or u64", s.Type)
	case s.Scale != 1 || s.Offset != 0 || s.Unit != s.ID.Info().Unit:
		return errors.New("the K factor says all; want neither scale, offset nor unit")
	}
	return nil
}

// settle fills in the largest flow there can be. A total's span says nothing about it: 1000 gpm is more than a trailer
// of this kind is built for.
func (p *Pulse) settle(s *Signal) {
	switch {
	case p.Most != 0:
	case s.ID == signal.Total:
		p.Most = signal.GallonPerMinute.Inside(1000)
	default:
		p.Most = s.High
	}
}
