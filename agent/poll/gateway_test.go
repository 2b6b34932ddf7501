package poll_test

import (
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/assert"

	"ionward/agent/modbus"
	"ionward/agent/poll"
	"ionward/rules/signal"
)

// Behind one gateway that takes one client, unit ids share a connection, and one that hangs cannot starve the other.
func TestUnitIDsShareAConnection(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		gateway := newDevice(nil)
		gateway.float(0, 0.5)
		second := meter()
		second.Address = analyzerAt
		b := newBench(t, poll.Settings{Instruments: []poll.Instrument{analyzer(), second}}, map[string]*device{analyzerAt: gateway})
		for range 5 {
			set := b.scan()
			assert.Equal(t, good(0.5), set[signal.ProductConductivity])
			assert.Equal(t, good(0.5), set[signal.Flow])
		}
		gateway.set(func(d *device) { assert.Equal(t, 1, d.dials) })
		gateway.set(func(d *device) {
			d.script = func(a ask) reply { return reply{silent: a.unit == 1} }
		})
		b.scan() // the first to hang may cost its neighbour one scan; from then on it is asked last
		for range 20 {
			set := b.scan()
			assert.Equal(t, none(signal.TimedOut), set[signal.ProductConductivity])
			assert.Equal(t, good(0.5), set[signal.Flow])
		}
	})
}

func TestReadsOnlyAndGroups(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDevice(map[int]uint16{10: 180, 12: 190, 3: 1, 5: 1, 7: 1})
		d.float(0, 0.5)
		i := analyzer()
		i.Gap = 8
		i.Signals[0].Kind = modbus.Holding
		i.Signals = append(i.Signals, []poll.Signal{
			{ID: signal.FeedTemperature, Register: 10, Type: modbus.I16, Scale: 0.1}, {ID: signal.ProductTemperature, Register: 12, Type: modbus.I16, Scale: 0.1},
			{ID: signal.Total, Kind: modbus.Input, Register: 10, Type: modbus.U16}, {ID: signal.BankA, Kind: modbus.Coil, Register: 3, Type: modbus.Bit},
			{ID: signal.ControlPower, Kind: modbus.Discrete, Register: 5, Type: modbus.Bit}, {ID: signal.RinseOpen, Kind: modbus.Discrete, Register: 7, Type: modbus.Bit},
		}...)
		b := newBench(t, poll.Settings{Instruments: []poll.Instrument{i}}, map[string]*device{analyzerAt: d})
		set := b.scan()
		for id, want := range map[signal.ID]float64{
			signal.ProductConductivity: 0.5, signal.FeedTemperature: 18, signal.ProductTemperature: 19, signal.Total: 180,
			signal.BankA: 1, signal.ControlPower: 1, signal.RinseOpen: 1,
		} {
			assert.Equal(t, good(want), set[id], "%s", id)
		}
		assert.ElementsMatch(t, []ask{{1, 3, 0, 13}, {1, 4, 10, 1}, {1, 1, 3, 1}, {1, 2, 5, 3}}, d.asked())
	})
}
