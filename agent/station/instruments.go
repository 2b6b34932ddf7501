package station

import (
	"fmt"

	"ionward/agent/modbus"
	"ionward/agent/poll"
	"ionward/configs"
	"ionward/rules/signal"
)

// Instruments turns what the unit file says into what poll wants.
func Instruments(list []configs.Instrument) ([]poll.Instrument, error) {
	var out []poll.Instrument
	for i := range list {
		in := &list[i]
		order, err := modbus.ParseOrder(in.WordOrder)
		if err != nil {
			return nil, fmt.Errorf("cannot poll %s: %w", in.Name, err)
		}
		p := poll.Instrument{
			Name: in.Name, Address: in.Address.String(), UnitID: in.UnitID, Every: in.Every, Timeout: in.Timeout,
			Order: order, MaxRegisters: in.MaxRegisters, WarmUp: in.WarmUp, HoldOff: poll.HoldOff(in.HoldOff),
			SettingsEvery: in.SettingsEvery,
		}
		for j := range in.Signals {
			sig, err := polled(&in.Signals[j])
			if err != nil {
				return nil, fmt.Errorf("cannot poll %s: %s: %w", in.Name, in.Signals[j].ID, err)
			}
			p.Signals = append(p.Signals, sig)
		}
		for j := range in.Settings {
			set, err := watched(&in.Settings[j])
			if err != nil {
				return nil, fmt.Errorf("cannot poll %s: setting %s: %w", in.Name, in.Settings[j].Name, err)
			}
			p.Settings = append(p.Settings, set)
		}
		out = append(out, p)
	}
	return out, nil
}

func polled(s *configs.Signal) (poll.Signal, error) {
	kind, typ, err := layout(s.Kind, s.Type, s.Bit)
	if err != nil {
		return poll.Signal{}, err
	}
	p := poll.Signal{
		ID: s.ID, Register: s.Register, Kind: kind, Type: typ, Scale: s.Scale, Offset: s.Offset, Unit: s.Unit,
		Sentinels: s.Sentinels, Low: s.Low, High: s.High,
	}
	if c := s.Current; c != nil {
		p.Current = poll.Current{On: true, From: c.From, To: c.To}
	}
	if c := s.Pulse; c != nil {
		p.Pulse = poll.Pulse{PerM3: c.K / c.Per.Inside(1), Modulus: c.Modulus, Most: c.Most, Window: c.Window}
	}
	return p, nil
}

func watched(s *configs.Setting) (poll.Setting, error) {
	kind, typ, err := layout(s.Kind, s.Type, s.Bit)
	return poll.Setting{
		Name: s.Name, Register: s.Register, Kind: kind, Type: typ, Scale: s.Scale, Offset: s.Offset, Want: s.Value, Tolerance: s.Tolerance,
	}, err
}

// layout reads the names of a table and a type.
func layout(kind, typ string, bit uint8) (k modbus.Kind, t modbus.Type, err error) {
	if k, err = modbus.ParseKind(kind); err != nil {
		return 0, 0, err
	}
	if typ == "bit" && !k.Bits() {
		typ = fmt.Sprintf("bit%d", bit)
	}
	t, err = modbus.ParseType(typ)
	return k, t, err
}

// recalled are the signals whose record fills the screen's trend at a start.
var recalled = []signal.ID{signal.ProductConductivity}
