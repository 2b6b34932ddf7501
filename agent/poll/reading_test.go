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

func unit(symbol string) signal.Unit {
	u, ok := signal.ParseUnit(symbol)
	if !ok {
		panic(symbol)
	}
	return u
}

// Each row: how a signal is mapped, what its registers hold from 0 on, and the reading that must come of it.
func TestReadings(t *testing.T) {
	f32 := func(v float32) []uint16 {
		b := math.Float32bits(v)
		return []uint16{uint16(b >> 16), uint16(b)}
	}
	swapped := func(v float32) []uint16 { w := f32(v); return []uint16{w[1], w[0]} }
	water := product()
	in := func(s poll.Signal, symbol string) poll.Signal { s.Unit = unit(symbol); return s }
	flow := poll.Signal{ID: signal.Flow, Type: modbus.F32}
	feed := poll.Signal{ID: signal.FeedTemperature, Type: modbus.I16, Scale: 0.1, Sentinels: []uint64{0x8000}}
	power := poll.Signal{ID: signal.ControlPower, Kind: modbus.Discrete, Type: modbus.Bit}
	for name, c := range map[string]struct {
		signal poll.Signal
		holds  []uint16
		want   signal.Reading
	}{
		"a float":                            {water, f32(0.5), good(0.5)},
		"rounded to the resolution":          {water, f32(0.99951), good(1)},
		"words swapped":                      {water, swapped(1.0), bad(signal.NotANumber)}, // 2.3e-41: subnormal
		"almost nothing is no water":         {water, f32(0.011), bad(signal.Implausible)},
		"nothing is no water":                {water, f32(0), bad(signal.Implausible)},
		"negative":                           {water, f32(-0.1), bad(signal.Negative)},
		"out of span":                        {water, f32(3000.5), bad(signal.OutOfSpan)},
		"NaN":                                {water, f32(float32(math.NaN())), bad(signal.NotANumber)},
		"infinite":                           {water, f32(float32(math.Inf(1))), bad(signal.NotANumber)},
		"S/m":                                {in(water, "S/m"), f32(0.00005), good(0.5)},
		"S/m of a shorted cell":              {in(water, "S/m"), f32(0.5), bad(signal.OutOfSpan)},
		"resistivity":                        {in(water, "MOhm.cm"), f32(10), good(0.1)},
		"resistivity of nothing":             {in(water, "MOhm.cm"), f32(0), bad(signal.NotANumber)},
		"resistivity beyond pure water":      {in(water, "MOhm.cm"), f32(100), bad(signal.Implausible)},
		"gallons a minute":                   {in(flow, "gpm"), f32(100), good(22.71247)},
		"no flow is a reading":               {flow, f32(0), good(0)},
		"scaled integer":                     {feed, []uint16{185}, good(18.5)},
		"a temperature with words swapped":   {poll.Signal{ID: signal.ProductTemperature, Type: modbus.F32}, []uint16{0x1535, 0x4180}, bad(signal.Implausible)}, // 16.01 C
		"a Fahrenheit with words swapped":    {in(poll.Signal{ID: signal.ProductTemperature, Type: modbus.F32}, "F"), []uint16{0x1535, 0x4280}, bad(signal.Implausible)},
		"a temperature of nothing":           {poll.Signal{ID: signal.ProductTemperature, Type: modbus.F32}, []uint16{0, 0}, good(0)},
		"a flow with words swapped":          {flow, []uint16{0x2E66, 0x430B}, bad(signal.Implausible)}, // 139.2 m3/h; 5.2e-11
		"a flow that fades out":              {flow, f32(2e-8), good(0)},
		"a feed with words swapped":          {poll.Signal{ID: signal.FeedConductivity, Type: modbus.F32}, []uint16{0x2E66, 0x43E1}, bad(signal.Implausible)}, // 450.4
		"negative temperature":               {feed, []uint16{0xFFF6}, good(-1)},
		"sentinel":                           {feed, []uint16{0x8000}, bad(signal.Sentinel)},
		"own low limit":                      {poll.Signal{ID: signal.FeedTemperature, Type: modbus.I16, Low: 5, High: 40}, []uint16{3}, bad(signal.Implausible)},
		"own high limit":                     {poll.Signal{ID: signal.FeedTemperature, Type: modbus.I16, Low: 5, High: 40}, []uint16{41}, bad(signal.OutOfSpan)},
		"a low limit makes no negative":      {poll.Signal{ID: signal.Flow, Type: modbus.I16, Low: -9, High: 40}, []uint16{0xFFFF}, bad(signal.Negative)},
		"contact open":                       {power, []uint16{0}, good(0)},
		"contact closed":                     {power, []uint16{1}, good(1)},
		"contact turned round":               {poll.Signal{ID: signal.ControlPower, Kind: modbus.Coil, Type: modbus.Bit, Scale: -1, Offset: 1}, []uint16{1}, good(0)},
		"bit of a register":                  {poll.Signal{ID: signal.RinseOpen, Type: modbus.Bit + 9}, []uint16{0x0200}, good(1)},
		"other bits of a register":           {poll.Signal{ID: signal.RinseOpen, Type: modbus.Bit + 9}, []uint16{0xFDFF}, good(0)},
		"a contact that is neither":          {poll.Signal{ID: signal.RinseOpen, Type: modbus.U16}, []uint16{2}, bad(signal.OutOfSpan)},
		"big total in gallons, 32 bits":      {poll.Signal{ID: signal.Total, Type: modbus.U32, Unit: unit("gal")}, []uint16{0x000F, 0x4240}, good(3785.4118)},
		"total with the last register first": {poll.Signal{ID: signal.Total, Type: modbus.U32, Scale: 0.001}, []uint16{0, 1000}, good(1)},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDevice(nil)
				for k, w := range c.holds {
					d.registers[k] = w
				}
				i := poll.Instrument{Name: "it", Address: analyzerAt, Signals: []poll.Signal{c.signal}}
				set := newBench(t, poll.Settings{Instruments: []poll.Instrument{i}}, map[string]*device{analyzerAt: d}).scan()
				assert.Equal(t, c.want, set[c.signal.ID])
				for id := range set {
					if signal.ID(id) != c.signal.ID {
						require.Equal(t, none(signal.NotPolled), set[id], "%s", signal.ID(id))
					}
				}
			})
		})
	}
}

// Each failure gives its reading, its kind in the health, and no number; the good answer before it must not shine
// through, and the good answer after it must come back.
func TestEveryFailureHasItsCause(t *testing.T) {
	frame := func(b ...byte) reply { return reply{raw: b} }
	for name, c := range map[string]struct {
		fails reply
		want  signal.Reading
		kind  string
	}{
		"silence":                {reply{silent: true}, none(signal.TimedOut), "timeout"},
		"hangs up":               {reply{hangUp: true}, none(signal.LinkDown), "down"},
		"not Modbus":             {frame([]byte("HTTP/1.1 400 Bad Request\r\n\r\n")...), none(signal.BrokenFrame), "frame"},
		"half a frame":           {frame(0, 2, 0, 0, 0), none(signal.BrokenFrame), "frame"},
		"01 function":            {reply{exception: 1}, bad(signal.Refused), "exception"},
		"02 address":             {reply{exception: 2}, bad(signal.Refused), "exception"},
		"03 value":               {reply{exception: 3}, bad(signal.Refused), "exception"},
		"04 device failure":      {reply{exception: 4}, bad(signal.Refused), "exception"},
		"05 acknowledge":         {reply{exception: 5}, none(signal.Busy), "exception"},
		"06 busy":                {reply{exception: 6}, none(signal.Busy), "exception"},
		"08 parity":              {reply{exception: 8}, bad(signal.Refused), "exception"},
		"0A gateway path":        {reply{exception: 0x0A}, none(signal.Busy), "exception"},
		"0B gateway no response": {reply{exception: 0x0B}, none(signal.Busy), "exception"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDevice(nil)
				d.float(0, 0.5)
				b := newBench(t, poll.Settings{Instruments: []poll.Instrument{analyzer()}}, map[string]*device{analyzerAt: d})
				require.Equal(t, good(0.5), b.scan()[signal.ProductConductivity])
				d.set(func(d *device) { d.script = func(ask) reply { return c.fails } })
				got := b.scan()[signal.ProductConductivity]
				assert.Equal(t, c.want.Quality, got.Quality)
				assert.Zero(t, got.Value)
				// A scan does not wait for a time-out: what the time-out turns out to be is the next scan's.
				assert.Equal(t, c.want, b.scan()[signal.ProductConductivity])
				h := b.source.Health()[0]
				assert.Positive(t, h.Errors[c.kind], "%v", h.Errors)
				assert.Len(t, h.Errors, 1+downToo(h.Errors, c.kind), "%v", h.Errors)
				assert.Contains(t, h.LastError, time.Now().UTC().Format("2006-01-02T15:04"))
				d.set(func(d *device) { d.script = nil })
				for tries := 0; b.scan()[signal.ProductConductivity] != good(0.5); tries++ {
					require.Less(t, tries, 12, "it did not come back")
				}
			})
		})
	}
}

// downToo is 1 where the link rested after another failure: that counts as down.
func downToo(errors map[string]uint64, kind string) int {
	if kind != "down" && errors["down"] > 0 {
		return 1
	}
	return 0
}

func TestRefusedConnection(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDevice(nil)
		d.down = true
		b := newBench(t, poll.Settings{Instruments: []poll.Instrument{analyzer()}}, map[string]*device{analyzerAt: d})
		for range 3 {
			assert.Equal(t, none(signal.LinkDown), b.scan()[signal.ProductConductivity])
		}
		h := b.source.Health()[0]
		assert.Equal(t, agent.Health{Instrument: "analyzer", Address: analyzerAt, Polls: 3, Errors: map[string]uint64{"down": 3}, LastError: h.LastError}, h)
		assert.Contains(t, h.LastError, "refused by the test")
	})
}

func TestHealthOfAGoodPoll(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDevice(nil)
		d.float(0, 0.5)
		d.script = func(ask) reply { return reply{after: 30 * time.Millisecond} }
		b := newBench(t, poll.Settings{Instruments: []poll.Instrument{analyzer()}}, map[string]*device{analyzerAt: d})
		b.scan()
		took := agent.Latency{Count: 1, Sum: 30 * time.Millisecond}
		took.Counts[4] = 1 // 20 to 50 ms
		assert.Equal(t, []agent.Health{{
			Instrument: "analyzer", Address: analyzerAt, Polls: 1, LastGood: time.Now().UTC(), RoundTrip: 30 * time.Millisecond, Latency: took,
		}}, b.source.Health())
		n, at := b.source.Scans()
		assert.EqualValues(t, 1, n)
		assert.Equal(t, time.Now().UTC(), at)
	})
}

func TestSettingsThatCannotWork(t *testing.T) {
	with := func(change func(*poll.Settings)) poll.Settings {
		s := poll.Settings{Clock: agent.NewRealClock(), Instruments: []poll.Instrument{analyzer(), meter()}}
		change(&s)
		return s
	}
	for want, s := range map[string]poll.Settings{
		"without a clock":           with(func(s *poll.Settings) { s.Clock = nil }),
		"no instrument":             with(func(s *poll.Settings) { s.Instruments = nil }),
		"two instruments have":      with(func(s *poll.Settings) { s.Instruments[1].Name = "analyzer" }),
		"read from analyzer":        with(func(s *poll.Settings) { s.Instruments[1].Signals[0] = product() }),
		"it has no signal":          with(func(s *poll.Settings) { s.Instruments[1].Signals = nil }),
		"max_registers 126":         with(func(s *poll.Settings) { s.Instruments[0].MaxRegisters = 126 }),
		"unit gpm measures flow":    with(func(s *poll.Settings) { s.Instruments[0].Signals[0].Unit = unit("gpm") }),
		"span 3 to 2":               with(func(s *poll.Settings) { s.Instruments[0].Signals[0].Low, s.Instruments[0].Signals[0].High = 3, 2 }),
		"signal 16 is not known":    with(func(s *poll.Settings) { s.Instruments[0].Signals[0].ID = signal.ID(signal.Count) }),
		"single bit":                with(func(s *poll.Settings) { s.Instruments[0].Signals[0].Kind = modbus.Coil }),
		"runs past 65535":           with(func(s *poll.Settings) { s.Instruments[0].Signals[0].Register = 65535 }),
		"expects transaction id 0":  with(func(s *poll.Settings) { s.Instruments[1].Address, s.Instruments[1].ZeroID = analyzerAt, true }),
		"analyzer: signal product_": with(func(s *poll.Settings) { s.Instruments[0].Signals[0].Scale = math.NaN() }),
	} {
		_, err := poll.New(s)
		assert.ErrorContains(t, err, want)
		assert.ErrorContains(t, err, "cannot poll")
	}
}
