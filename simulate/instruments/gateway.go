package instruments

import (
	"github.com/simonvetter/modbus"

	"ionward/simulate/plant"
)

// gateway answers requests. Each looks at the plant once, so that no answer is torn between two instants.
type gateway struct{ truth func() plant.Truth }

func (g gateway) HandleHoldingRegisters(r *modbus.HoldingRegistersRequest) ([]uint16, error) {
	return g.registers(r.UnitId, r.Addr, r.Quantity, r.IsWrite)
}

func (g gateway) HandleInputRegisters(r *modbus.InputRegistersRequest) ([]uint16, error) {
	return g.registers(r.UnitId, r.Addr, r.Quantity, false)
}

func (g gateway) HandleCoils(r *modbus.CoilsRequest) ([]bool, error) {
	return g.bits(r.UnitId, r.Addr, r.Quantity, r.IsWrite)
}

func (g gateway) HandleDiscreteInputs(r *modbus.DiscreteInputsRequest) ([]bool, error) {
	return g.bits(r.UnitId, r.Addr, r.Quantity, false)
}

func (g gateway) registers(unit uint8, from, quantity uint16, write bool) ([]uint16, error) {
	t := g.truth()
	table, err := registers(unit, &t)
	switch {
	case err != nil:
		return nil, err
	case write:
		return nil, modbus.ErrIllegalFunction // there is nothing to write in an instrument
	}
	return part(table, from, quantity)
}

func (g gateway) bits(unit uint8, from, quantity uint16, write bool) ([]bool, error) {
	t := g.truth()
	_, err := registers(unit, &t)
	switch {
	case err != nil:
		return nil, err
	case write || unit != Contacts:
		return nil, modbus.ErrIllegalFunction
	}
	return part(bits(&t), from, quantity)
}

// part cuts the asked stretch out of a table; one that reaches beyond it is refused as a whole.
func part[T any](table []T, from, quantity uint16) ([]T, error) {
	if to := int(from) + int(quantity); to <= len(table) {
		return table[from:to], nil
	}
	return nil, modbus.ErrIllegalDataAddress
}
