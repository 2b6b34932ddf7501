package poll_test

import (
	"math"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/agent"
	"ionward/agent/modbus"
	"ionward/agent/poll"
	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// commissioned is an analyzer with three settings: a float, a scaled integer far away, and a switch.
func commissioned() poll.Instrument {
	in := analyzer()
	in.Settings = []poll.Setting{
		{Name: "cell_constant", Register: 40, Type: modbus.F32, Want: 0.1},
		{Name: "relay_setpoint", Register: 900, Type: modbus.U16, Scale: 0.01, Want: 1, Tolerance: 0.02},
		{Name: "compensated", Register: 42, Type: modbus.Bit + 3, Want: 1},
	}
	return in
}

func (d *device) commission() {
	d.float(0, 0.5)
	d.float(40, 0.1)
	d.set(func(d *device) { d.registers[900], d.registers[42] = 100, 8 })
}

var (
	same    = rules.Facts{Known: rules.SettingsChanged}
	changed = rules.Facts{Known: rules.SettingsChanged, Set: rules.SettingsChanged}
)

func TestSettingsAreReadBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDevice(nil)
		d.commission()
		b := newBench(t, poll.Settings{Instruments: []poll.Instrument{commissioned()}}, map[string]*device{analyzerAt: d})
		var told []rules.Facts
		facts := func(scans int) []rules.Facts {
			told = nil
			for range scans {
				require.Equal(t, good(0.5), b.scan()[signal.ProductConductivity])
				synctest.Wait() // the look after the readings is over
				if b.in.Facts != (rules.Facts{}) {
					told = append(told, b.in.Facts)
				}
			}
			return told
		}
		assert.Empty(t, facts(1), "nothing is known before all were read")
		assert.Equal(t, []rules.Facts{same}, facts(30), "told once")
		// Two blocks at the start, and one more pair after ten minutes, each in a poll of its own.
		count := func() (n int) {
			for _, a := range d.asked() {
				if a.address >= 40 {
					require.Equal(t, byte(3), a.function, "settings are read, nothing else")
					n++
				}
			}
			return n
		}
		assert.Equal(t, 2, count())
		facts(600)
		assert.Equal(t, 4, count())

		d.set(func(d *device) { d.registers[900] = 102 }) // within the tolerance
		assert.Empty(t, facts(600))
		d.set(func(d *device) { d.registers[900] = 103 })
		assert.Equal(t, []rules.Facts{changed}, facts(600))
		list := b.source.Health()[0].Settings
		require.Len(t, list, 3)
		assert.Equal(t, "relay_setpoint", list[1].Name)
		assert.InDelta(t, 1.03, list[1].Have, 1e-12)
		assert.Equal(t, []bool{false, true, false}, []bool{list[0].Differs, list[1].Differs, list[2].Differs})

		d.set(func(d *device) { d.registers[900], d.registers[42] = 100, 0xFFF7 })
		assert.Empty(t, facts(600), "another one differs now, so nothing has changed")
		d.commission()
		assert.Equal(t, []rules.Facts{same}, facts(600))
	})
}

// What cannot be read back is neither a change nor a proof of none, and it costs the readings nothing.
func TestSettingsThatCannotBeRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDevice(nil)
		d.commission()
		d.script = func(a ask) reply {
			if a.address == 900 {
				return reply{exception: modbus.IllegalAddress}
			}
			return reply{}
		}
		in := commissioned()
		in.SettingsEvery = 10 * time.Second
		b := newBench(t, poll.Settings{Instruments: []poll.Instrument{in}}, map[string]*device{analyzerAt: d})
		for range 30 {
			require.Equal(t, good(0.5), b.scan()[signal.ProductConductivity])
			synctest.Wait()
			require.Zero(t, b.in.Facts)
		}
		list := b.source.Health()[0].Settings
		assert.Contains(t, list[1].Trouble, "illegal data address")
		assert.True(t, math.IsNaN(list[1].Have))
		assert.True(t, list[1].Read.IsZero())
		assert.Zero(t, b.source.Health()[0].Errors, "a setting is no reading")

		// One that differs is enough to know, though another cannot be read; NaN is no commissioned constant.
		d.float(40, float32(math.NaN()))
		var told []rules.Facts
		for range 12 {
			b.scan()
			synctest.Wait()
			told = append(told, b.in.Facts)
		}
		assert.Contains(t, told, changed)
	})
}

// A lost instrument is not asked for its settings: that would only cost time-outs.
func TestSettingsOfALostInstrument(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDevice(nil)
		d.gone(true)
		b := newBench(t, poll.Settings{Instruments: []poll.Instrument{commissioned()}}, map[string]*device{analyzerAt: d})
		for range 10 {
			b.scan()
		}
		for _, a := range d.asked() {
			require.Less(t, a.address, 40)
		}
	})
}

// The fact reaches the rule, which raises its alarm, and a signal that is refused for ever hinders nothing.
func TestAChangedSettingRaisesTheAlarm(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDevice(nil)
		d.commission()
		d.script = func(a ask) reply {
			if a.address == 300 {
				return reply{exception: modbus.IllegalAddress}
			}
			return reply{}
		}
		in := commissioned()
		in.Signals = append(in.Signals, poll.Signal{ID: signal.FeedConductivity, Kind: modbus.Input, Register: 300, Type: modbus.F32})
		in.SettingsEvery = 10 * time.Second
		b := newBench(t, poll.Settings{Instruments: []poll.Instrument{in}}, map[string]*device{analyzerAt: d})
		set, state, out := rules.Defaults(), rules.State{}, rules.Effects{}
		run := func(scans int) bool {
			for range scans {
				b.scan()
				synctest.Wait()
				rules.Step(&set, &state, &b.in, &out)
			}
			return state.Alarms[alarm.SettingsChanged].Phase.Active()
		}
		require.False(t, run(30))
		d.float(40, 0.01)
		require.True(t, run(15))
		d.float(40, 0.1)
		require.False(t, run(15))
	})
}

func TestSettingsAreJudged(t *testing.T) {
	for want, s := range map[string]poll.Setting{
		"single bit":             {Name: "x", Kind: modbus.Coil, Type: modbus.U16},
		"runs past 65535":        {Name: "x", Register: 65535, Type: modbus.F32},
		"finite numbers":         {Name: "x", Type: modbus.U16, Want: math.NaN()},
		"tolerance not negative": {Name: "x", Type: modbus.U16, Tolerance: -1},
		"two have this name":     {Name: "cell_constant", Type: modbus.U16},
	} {
		in := commissioned()
		in.Settings = append(in.Settings, s)
		_, err := poll.New(poll.Settings{Instruments: []poll.Instrument{in}, Clock: agent.NewRealClock()})
		assert.ErrorContains(t, err, want)
	}
}
