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
	"ionward/rules/signal"
)

// The limits of NAMUR NE 43 as a remote input in microamperes gives them. 0 to 10 uS/cm at 4 to 20 mA.
func TestLoopCurrent(t *testing.T) {
	uncertain := func(v float64) signal.Reading {
		return signal.Reading{Value: v, Quality: signal.Uncertain, Cause: signal.OutOfSpan}
	}
	feed := func(symbol string, from, to float64) poll.Signal {
		return poll.Signal{ID: signal.FeedConductivity, Type: modbus.U16, Scale: 0.001, Unit: unit(symbol), Current: poll.Current{On: true, From: from, To: to}}
	}
	product := feed("uS/cm", 0, 10)
	product.ID, product.Low, product.High = signal.ProductConductivity, 0.02, 3000
	flow := poll.Signal{ID: signal.Flow, Type: modbus.U16, Scale: 0.001, Unit: unit("gpm"), Current: poll.Current{On: true, To: 500}}
	for _, c := range []struct {
		what   string
		signal poll.Signal
		raw    uint16
		want   signal.Reading
	}{
		{"midscale", product, 12000, good(5)},
		{"full scale", product, 20000, good(10)},
		{"over range, still measuring", product, 20500, good(10.313)},
		{"one count over the measuring range", product, 20501, uncertain(10.313)},
		{"just under the failure current", product, 20999, uncertain(10.624)},
		{"failure current high", product, 21000, bad(signal.FailureLevel)},
		{"open input of the box", product, 0xFFFF, bad(signal.FailureLevel)},
		{"broken wire", product, 0, bad(signal.FailureLevel)},
		{"failure current low", product, 3600, bad(signal.FailureLevel)},
		{"no water reads nothing", product, 4000, bad(signal.Implausible)},
		{"meter at rest", flow, 4000, good(0)},
		{"meter at rest, zero a little low", flow, 3810, good(0)},
		{"meter below its measuring range", flow, 3799, uncertain(0)},
		{"just above the failure current", flow, 3601, uncertain(0)},
		{"gallons a minute", flow, 20000, good(113.56235)},
		{"falling range", feed("uS/cm", 500, 0), 8000, good(375)},
		{"resistivity is linear in the current", feed("MOhm.cm", 0, 20), 12000, good(0.1)},
		{"live zero of a resistivity", feed("MOhm.cm", 0, 20), 4000, bad(signal.NotANumber)},
	} {
		t.Run(c.what, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDevice(map[int]uint16{0: c.raw})
				in := poll.Instrument{Name: "box", Address: analyzerAt, Signals: []poll.Signal{c.signal}}
				set := newBench(t, poll.Settings{Instruments: []poll.Instrument{in}}, map[string]*device{analyzerAt: d}).scan()
				assert.Equal(t, c.want, set[c.signal.ID])
			})
		})
	}
}

// pulses are a flow and a total from one counter at register 0, 100 pulses in a cubic metre, at most 200 m3/h.
func pulses(t modbus.Type, modulus float64, window time.Duration) poll.Instrument {
	p := poll.Pulse{PerM3: 100, Modulus: modulus, Most: 200, Window: window}
	return poll.Instrument{Name: "counter", Address: meterAt, UnitID: 4, Signals: []poll.Signal{
		{ID: signal.Flow, Type: t, Pulse: p}, {ID: signal.Total, Type: t, Pulse: p},
	}}
}

// count shows a counter's state to a type.
func (d *device) count(t modbus.Type, n uint32) {
	d.set(func(d *device) {
		d.registers[0], d.registers[1] = uint16(n>>16), uint16(n)
		if t == modbus.U16 {
			d.registers[0] = uint16(n)
		}
	})
}

// The published cases of counter readings (plain, rollover of 32 bits and of six digits, reset far from the top), each
// with the pulses that must be added; two readings lie 10 s apart, in which 200 m3/h make 56 pulses.
func TestPulseTotals(t *testing.T) {
	for name, c := range map[string]struct {
		typ     modbus.Type
		modulus float64
		shows   []uint32
		totals  []float64
	}{
		"plain":                     {modbus.U32, 0, []uint32{100, 150, 210}, []float64{1, 1.5, 2.1}},
		"rollover of 32 bits":       {modbus.U32, 0, []uint32{4294967290, 10}, []float64{42949672.9, 42949673.06}},
		"rollover of 6 digits":      {modbus.U32, 1000000, []uint32{999990, 5}, []float64{9999.9, 10000.05}},
		"rollover of 16 bits":       {modbus.U16, 0, []uint32{65530, 20, 60}, []float64{655.3, 655.56, 655.96}},
		"reset far from the top":    {modbus.U32, 0, []uint32{500000, 20, 30}, []float64{5000, 0.2, 0.3}},
		"too much for a rollover":   {modbus.U32, 1000000, []uint32{999990, 90}, []float64{9999.9, 0.9}}, // 100 > 1.5 * 56
		"standing":                  {modbus.U32, 0, []uint32{7, 7, 7}, []float64{0.07, 0.07, 0.07}},
		"as much as a rollover may": {modbus.U32, 1000000, []uint32{999990, 73}, []float64{9999.9, 10000.73}}, // 83 <= 83.3
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDevice(nil)
				in := pulses(c.typ, c.modulus, 0)
				in.Every = 10 * time.Second
				b := newBench(t, poll.Settings{Instruments: []poll.Instrument{in}}, map[string]*device{meterAt: d})
				for k, n := range c.shows {
					d.count(c.typ, n)
					assert.Equal(t, good(c.totals[k]), b.scan()[signal.Total], "reading %d", k)
				}
			})
		})
	}
}

// Flow is the mean over the window; it needs two looks, begins anew after a reset, and what was counted during a long
// silence is a total but no flow of now.
func TestPulseFlow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDevice(nil)
		b := newBench(t, poll.Settings{Instruments: []poll.Instrument{pulses(modbus.U32, 0, 10*time.Second)}}, map[string]*device{meterAt: d})
		assert.Equal(t, none(signal.NotPolled), b.scan()[signal.Flow], "one look tells no flow")
		n := uint32(0)
		run := func(seconds int, each uint32) (flow signal.Reading) {
			for range seconds {
				n += each
				d.count(modbus.U32, n)
				flow = b.scan()[signal.Flow]
			}
			return flow
		}
		assert.Equal(t, good(36), run(1, 1)) // one pulse a second, 1/100 m3
		assert.Equal(t, good(36), run(20, 1))
		assert.Equal(t, good(54), run(5, 2), "half of the window")
		assert.Equal(t, good(72), run(5, 2))
		assert.Equal(t, good(0), run(11, 0), "it stands")

		n = 3
		d.count(modbus.U32, n)
		assert.Equal(t, none(signal.NotPolled), b.scan()[signal.Flow], "reset")
		assert.Equal(t, good(36), run(1, 1))

		d.set(func(d *device) { d.script = func(ask) reply { return reply{exception: modbus.GatewayTarget} } })
		for range 60 {
			require.Equal(t, none(signal.Busy), b.scan()[signal.Flow])
		}
		d.set(func(d *device) { d.script = nil })
		n += 600
		d.count(modbus.U32, n)
		set := b.scan()
		assert.Equal(t, none(signal.NotPolled), set[signal.Flow])
		assert.Equal(t, good(6.04), set[signal.Total])
		assert.Equal(t, good(36), run(1, 1))
	})
}

// A total goes on over a restart: what the counter counted meanwhile is added, also over its end.
func TestPulseTotalGoesOnAfterARestart(t *testing.T) {
	for name, c := range map[string]struct {
		total float64
		down  time.Duration
		shows uint32
		want  float64
	}{
		"counted on":               {1234.56, time.Minute, 123456%65536 + 50, 1235.06},
		"rolled over":              {655.30, time.Minute, 14, 655.50},
		"reset meanwhile":          {1000, time.Second, 3, 0.03},
		"nothing counted":          {1234.56, time.Hour, 123456 % 65536, 1234.56},
		"a wall clock set back":    {1234.56, -time.Hour, 123456 % 65536, 1234.56},
		"no total in the record":   {0, time.Minute, 77, 0.77},
		"more than 16 bits behind": {65536000.10, time.Minute, 60, 65536000.60},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDevice(nil)
				d.count(modbus.U16, c.shows)
				b := newBench(t, poll.Settings{
					Instruments: []poll.Instrument{pulses(modbus.U16, 0, 0)}, Resume: time.Now().Add(-c.down), Total: c.total,
				}, map[string]*device{meterAt: d})
				assert.Equal(t, good(c.want), b.scan()[signal.Total])
			})
		})
	}
}

// With more pulses than the record's resolution can tell, a restart neither loses water nor sees a reset.
func TestPulseTotalOfAFineMeter(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDevice(nil)
		in := pulses(modbus.U32, 0, 0)
		in.Signals = in.Signals[1:]
		in.Signals[0].Pulse.PerM3 = 100000 // 10 pulses in 0.1 L
		d.count(modbus.U32, 123454)        // 1.23454 m3; the record says 1.2345 or 1.2346
		b := newBench(t, poll.Settings{
			Instruments: []poll.Instrument{in}, Resume: time.Now().Add(-time.Minute), Total: 1.2346,
		}, map[string]*device{meterAt: d})
		assert.Equal(t, good(1.2345), b.scan()[signal.Total])
		d.count(modbus.U32, 123474)
		assert.Equal(t, good(1.2347), b.scan()[signal.Total])
	})
}

func TestCurrentAndPulseSettingsAreJudged(t *testing.T) {
	pulse := poll.Pulse{PerM3: 100, Most: 100}
	loop := poll.Current{On: true, To: 10}
	for want, s := range map[string]poll.Signal{
		"is no flow and no total":       {ID: signal.FeedTemperature, Type: modbus.U16, Pulse: pulse},
		"is u16, u32 or u64":            {ID: signal.Flow, Type: modbus.F32, Pulse: pulse},
		"no scale":                      {ID: signal.Flow, Type: modbus.U16, Scale: 2, Pulse: pulse},
		"not both":                      {ID: signal.Flow, Type: modbus.U16, Pulse: pulse, Current: loop},
		"a largest flow above 0":        {ID: signal.Flow, Type: modbus.U16, Pulse: poll.Pulse{PerM3: 1}},
		"a K factor":                    {ID: signal.Flow, Type: modbus.U16, Pulse: poll.Pulse{PerM3: math.NaN(), Most: 1}},
		"a contact is no loop":          {ID: signal.BankA, Type: modbus.U16, Current: loop},
		"two different finite values":   {ID: signal.Flow, Type: modbus.U16, Current: poll.Current{On: true, From: 3, To: 3}},
		"values for 4 mA":               {ID: signal.Flow, Type: modbus.U16, Current: poll.Current{On: true, To: math.Inf(1)}},
		"no negative modulus or window": {ID: signal.Flow, Type: modbus.U16, Pulse: poll.Pulse{PerM3: 1, Most: 1, Window: -1}},
	} {
		in := poll.Instrument{Name: "it", Address: analyzerAt, Signals: []poll.Signal{s}}
		_, err := poll.New(poll.Settings{Instruments: []poll.Instrument{in}, Clock: agent.NewRealClock()})
		assert.ErrorContains(t, err, want)
	}
}
