package poll

import (
	"errors"
	"fmt"
	"math"

	"ionward/agent/modbus"
	"ionward/rules/signal"
)

// Signal says where a signal stands in its instrument and what the number there means:
// number in Unit = raw number * Scale + Offset, good if Low <= number in the inside unit <= High.
type Signal struct {
	ID            signal.ID
	Register      uint16      // address as sent, the first is 0; of a coil or discrete input too
	Kind          modbus.Kind // its table
	Type          modbus.Type // modbus.Bit to modbus.Bit+15 for a bit of a register; modbus.Bit for a coil or discrete input
	Scale, Offset float64     // a Scale of 0 means 1; Scale -1 and Offset 1 turn a contact round
	Unit          signal.Unit // the zero Unit = the inside unit
	Sentinels     []uint64    // raw bit patterns, in the width of the type, that mean "no value"
	Current       Current     // the scaled number is a loop current
	Pulse         Pulse       // the raw number counts pulses
	// Low and High are the span in inside units, limits included; both 0 = the signal's own, of a conductivity from
	// Purest. A low limit above the signal's own marks what no water reads: a conductivity of almost nothing is a float
	// with its words swapped.
	Low, High float64
}

// Purest is the default low limit of a conductivity, uS/cm. Pure water has 0.055 at 25 C.
const Purest = 0.02

// request is what would read the signal alone.
func (s *Signal) request(in *Instrument) modbus.Request {
	v := s.value(in)
	return modbus.Request{UnitID: in.UnitID, Kind: s.Kind, Address: s.Register, Quantity: v.Size(s.Kind), Timeout: in.Timeout}
}

// value leaves the span out: it counts in inside units, and a codec knows no unit.
func (s *Signal) value(in *Instrument) modbus.Value {
	return modbus.Value{Type: s.Type, Order: in.Order, Scale: s.Scale, Offset: s.Offset, Sentinels: s.Sentinels}
}

func (s *Signal) check(in *Instrument) error {
	if int(s.ID) >= signal.Count {
		return fmt.Errorf("signal %d is not known", s.ID)
	}
	info := s.ID.Info()
	if s.Low == 0 && s.High == 0 {
		s.Low, s.High = info.Low, info.High
		if info.Unit.Quantity == signal.Conductivity {
			s.Low = Purest
		}
	}
	err := s.value(in).Check(s.Kind)
	if err == nil {
		err = s.Current.check(s.ID.Contact())
	}
	if err == nil {
		err = s.Pulse.check(s)
	}
	switch {
	case err != nil:
	case s.Unit != (signal.Unit{}) && s.Unit.Quantity != info.Unit.Quantity:
		err = fmt.Errorf("unit %s measures %s; want a unit of %s", s.Unit.Symbol, s.Unit.Quantity, info.Unit.Quantity)
	case !(s.Low < s.High) || math.IsInf(s.Low, 0) || math.IsInf(s.High, 0):
		err = fmt.Errorf("span %g to %g: want finite numbers, low below high", s.Low, s.High)
	}
	if err != nil {
		return fmt.Errorf("signal %s: %w", s.ID, err)
	}
	return nil
}

// reading makes a reading of what the codec found.
func (s *Signal) reading(raw float64, cause modbus.Cause) signal.Reading {
	switch cause {
	case modbus.OK:
		if s.Current.On {
			return s.current(raw)
		}
		if s.tiny(raw) {
			return bad(signal.Implausible)
		}
		return s.judge(s.Unit.Inside(raw))
	case modbus.Sentinel:
		return bad(signal.Sentinel)
	case modbus.Short: // the link checks lengths, so this cannot be the instrument's word
		return none(signal.BrokenFrame)
	default:
		return bad(signal.NotANumber)
	}
}

// tiny reports whether a float is so close to nothing, and yet not nothing, that no instrument measures it: a float whose
// words come in another order often is, and would be taken for a temperature of 0 or a meter at rest. A filtered flow
// really fades out, so it is given more room. A conductivity has its low limit.
func (s *Signal) tiny(x float64) bool {
	least := 1e-9
	if s.ID.Info().Unit.Quantity == signal.Temperature {
		least = 1e-6
	}
	return (s.Type == modbus.F32 || s.Type == modbus.F64) && x != 0 && math.Abs(x) < least && s.ID.Info().Unit.Quantity != signal.Conductivity
}

// current makes a reading of a loop current. What the current says about the transmitter comes first: a value beyond
// it means nothing.
func (s *Signal) current(mA float64) signal.Reading {
	value, q, cause := s.Current.read(mA)
	if q == signal.Bad {
		return bad(cause)
	}
	r := s.judge(s.Unit.Inside(value))
	if r.Quality == signal.Good && q == signal.Uncertain {
		r.Quality, r.Cause = q, cause
	}
	return r
}

// judge weighs a number in the inside unit against the signal's own span and then against the low limit set for it.
func (s *Signal) judge(v float64) signal.Reading {
	info := s.ID.Info()
	low := min(s.Low, info.Low)
	if info.Low >= 0 {
		low = info.Low // no setting makes less than nothing of water
	}
	r := signal.Judge(v, signal.Good, low, s.High, info.Resolution)
	if r.Usable() && v < s.Low {
		return bad(signal.Implausible)
	}
	return r
}

func bad(c signal.Cause) signal.Reading  { return signal.Reading{Quality: signal.Bad, Cause: c} }
func none(c signal.Cause) signal.Reading { return signal.Reading{Quality: signal.None, Cause: c} }

// failed is the reading of all signals that a failed request should have brought, and the kind of its error.
func failed(err error) (signal.Reading, string) {
	var refusal *modbus.Exception
	switch {
	case errors.As(err, &refusal) && modbus.Bad(err):
		return bad(signal.Refused), "exception"
	case errors.As(err, &refusal):
		return none(signal.Busy), "exception"
	case errors.Is(err, modbus.ErrTimeout):
		return none(signal.TimedOut), "timeout"
	case errors.Is(err, modbus.ErrFrame):
		return none(signal.BrokenFrame), "frame"
	case errors.Is(err, modbus.ErrCancelled):
		return none(signal.LinkDown), "cancelled"
	default:
		return none(signal.LinkDown), "down"
	}
}
