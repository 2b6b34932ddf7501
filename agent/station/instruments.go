package station

import (
	"fmt"

	"ionward/agent/modbus"
	"ionward/agent/poll"
	"ionward/configs"
	"ionward/rules/signal"
)

// instruments turns what the unit file says into what poll wants.
func instruments(list []configs.Instrument) ([]poll.Instrument, error) {
	var out []poll.Instrument
	for i := range list {
		in := &list[i]
		if in.Address.Serial() {
			return nil, fmt.Errorf("cannot poll %s at %s: this version speaks Modbus TCP only; use a gateway and tcp://host:port", in.Name, in.Address)
		}
		order, err := modbus.ParseOrder(in.WordOrder)
		if err != nil {
			return nil, fmt.Errorf("cannot poll %s: %w", in.Name, err)
		}
		p := poll.Instrument{
			Name: in.Name, Address: in.Address.Host, UnitID: in.UnitID, Every: in.Every, Timeout: in.Timeout,
			Order: order, MaxRegisters: in.MaxRegisters,
		}
		for j := range in.Signals {
			sig, err := polled(&in.Signals[j])
			if err != nil {
				return nil, fmt.Errorf("cannot poll %s: %s: %w", in.Name, in.Signals[j].ID, err)
			}
			p.Signals = append(p.Signals, sig)
		}
		out = append(out, p)
	}
	return out, nil
}

func polled(s *configs.Signal) (poll.Signal, error) {
	kind, err := modbus.ParseKind(s.Kind)
	if err != nil {
		return poll.Signal{}, err
	}
	name := s.Type
	if name == "bit" && !s.Bits() {
		name = fmt.Sprintf("bit%d", s.Bit)
	}
	typ, err := modbus.ParseType(name)
	if err != nil {
		return poll.Signal{}, err
	}
	return poll.Signal{
		ID: s.ID, Register: s.Register, Kind: kind, Type: typ, Scale: s.Scale, Offset: s.Offset, Unit: s.Unit,
		Sentinels: s.Sentinels, Low: s.Low, High: s.High,
	}, nil
}

// recalled are the signals whose record fills the screen's trend at a start.
var recalled = []signal.ID{signal.ProductConductivity}
