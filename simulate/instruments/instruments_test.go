package instruments_test

import (
	"errors"
	"io"
	"math"
	"net"
	"testing"
	"time"

	client "github.com/goburrow/modbus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/rules/signal"
	"ionward/simulate/instruments"
	"ionward/simulate/plant"
)

// code is the exception code of an answer, 0 for none.
func code(t *testing.T, err error) byte {
	t.Helper()
	if err == nil {
		return 0
	}
	var e *client.ModbusError
	require.True(t, errors.As(err, &e), "%v is no exception", err)
	return e.ExceptionCode
}

func TestAnalyzer(t *testing.T) {
	b := newBench(t)
	c := b.dial(t, instruments.Analyzer)
	for range 5 {
		b.do(func(p *plant.Plant) { p.Step(90 * time.Second) })
		want := b.truth().Readings
		for name, read := range map[string]func(uint16, uint16) ([]byte, error){"holding": c.ReadHoldingRegisters, "input": c.ReadInputRegisters} {
			got, err := read(0, 8)
			require.NoError(t, err, name)
			assert.InDelta(t, want.FeedConductivity, f32(got[2*instruments.FeedConductivity:]), 1e-4)
			assert.InDelta(t, want.ProductConductivity, f32(got[2*instruments.ProductConductivity:]), 1e-7)
			assert.InDelta(t, want.FeedTemperature, f32(got[2*instruments.FeedTemperature:]), 1e-5)
			assert.InDelta(t, want.ProductTemperature, f32(got[2*instruments.ProductTemperature:]), 1e-5)
		}
	}
	assert.InDelta(t, 300, b.truth().Readings.FeedConductivity, 10)
}

func TestFlowMeter(t *testing.T) {
	b := newBench(t)
	c := b.dial(t, instruments.FlowMeter)
	b.do(func(p *plant.Plant) { p.Step(time.Hour) })
	got, err := c.ReadHoldingRegisters(0, 6)
	require.NoError(t, err)
	now := b.truth()
	assert.InDelta(t, 139, f32(got), 2, "gpm")
	total := signal.Gallon.From(now.Volumes.Counted)
	assert.InDelta(t, 139*60, total, 60)
	assert.InDelta(t, total, f32(got[4:]), 0.01)
	whole := uint32(got[8])<<24 | uint32(got[9])<<16 | uint32(got[10])<<8 | uint32(got[11])
	assert.Equal(t, uint32(math.Floor(total)), whole)
}

func TestContacts(t *testing.T) {
	b := newBench(t)
	c := b.dial(t, instruments.Contacts)
	b.do(func(p *plant.Plant) {
		p.SelectBanks(false, true)
		p.SetRinse(true)
		p.SetOutlet(false)
		p.Step(time.Minute)
		p.PressBypass(time.Minute)
	})
	//             power, button, A, B, inlet open, shut, relief, rinse, outlet
	want := []byte{1, 1, 0, 1, 1, 0, 0, 1, 0}
	for name, read := range map[string]func(uint16, uint16) ([]byte, error){"coil": c.ReadCoils, "discrete": c.ReadDiscreteInputs} {
		got, err := read(0, 9)
		require.NoError(t, err, name)
		for i, bit := range want {
			assert.Equal(t, bit, got[i/8]>>(i%8)&1, "%s %d", name, i)
		}
	}
	got, err := c.ReadHoldingRegisters(0, 9)
	require.NoError(t, err)
	for i, bit := range want {
		assert.Equal(t, []byte{0, bit}, got[2*i:2*i+2], "register %d", i)
	}
	at, ok := instruments.ContactAddress(signal.RinseOpen)
	assert.True(t, ok)
	assert.Equal(t, uint16(7), at)
	_, ok = instruments.ContactAddress(signal.Flow)
	assert.False(t, ok)
}

// Without control power analyzer and flow meter are gone, then busy while they warm up; contacts tell all the time.
func TestPower(t *testing.T) {
	b := newBench(t)
	analyzer, meter, contacts := b.dial(t, instruments.Analyzer), b.dial(t, instruments.FlowMeter), b.dial(t, instruments.Contacts)
	expect := func(exception byte, power byte) {
		t.Helper()
		for _, c := range []client.Client{analyzer, meter} {
			_, err := c.ReadHoldingRegisters(0, 2)
			assert.Equal(t, exception, code(t, err))
			_, err = c.ReadInputRegisters(0, 2)
			assert.Equal(t, exception, code(t, err))
		}
		got, err := contacts.ReadDiscreteInputs(0, 1)
		require.NoError(t, err)
		assert.Equal(t, power, got[0]&1)
	}
	expect(0, 1)
	b.do(func(p *plant.Plant) { p.SetPower(false) })
	expect(0x0B, 0)
	b.do(func(p *plant.Plant) { p.Step(time.Minute); p.SetPower(true) })
	expect(0x06, 1)
	b.do(func(p *plant.Plant) { p.Step(plant.Defaults().WarmUp) })
	expect(0, 1)
}

// What does not exist, and what would write, is refused with the exception that says so.
func TestRefusals(t *testing.T) {
	b := newBench(t)
	for _, unit := range []byte{1, 2, 3} {
		c := b.dial(t, unit)
		_, err := c.ReadHoldingRegisters(0, 2)
		require.NoError(t, err, "two registers from address 0 of unit id %d", unit)
		_, err = c.ReadHoldingRegisters(8, 2)
		assert.Equal(t, byte(0x02), code(t, err))
		_, err = c.ReadHoldingRegisters(65535, 1)
		assert.Equal(t, byte(0x02), code(t, err))
		before := b.truth()
		for name, write := range map[string]func() ([]byte, error){
			"05": func() ([]byte, error) { return c.WriteSingleCoil(1, 0xFF00) },
			"06": func() ([]byte, error) { return c.WriteSingleRegister(0, 7) },
			"0F": func() ([]byte, error) { return c.WriteMultipleCoils(0, 3, []byte{7}) },
			"10": func() ([]byte, error) { return c.WriteMultipleRegisters(0, 2, []byte{0, 1, 0, 2}) },
			"16": func() ([]byte, error) { return c.MaskWriteRegister(0, 1, 2) },
			"17": func() ([]byte, error) { return c.ReadWriteMultipleRegisters(0, 1, 0, 1, []byte{0, 1}) },
		} {
			_, err := write()
			assert.Equal(t, byte(0x01), code(t, err), "function %s at unit id %d", name, unit)
		}
		assert.Equal(t, before, b.truth())
		if unit != instruments.Contacts {
			_, err = c.ReadCoils(0, 1)
			assert.Equal(t, byte(0x01), code(t, err))
		} else {
			_, err = c.ReadCoils(0, 10)
			assert.Equal(t, byte(0x02), code(t, err))
		}
	}
	for _, unit := range []byte{0, 4, 17, 247, 255} {
		c := b.dial(t, unit)
		_, err := c.ReadHoldingRegisters(0, 2)
		assert.Equal(t, byte(0x0B), code(t, err), "unit id %d", unit)
		_, err = c.ReadDiscreteInputs(0, 1)
		assert.Equal(t, byte(0x0B), code(t, err), "unit id %d", unit)
	}
}

// While the plant runs, one answer never mixes two instants: both totals of the meter are of the same one, and never
// are both limit switches of the inlet made.
func TestNotTorn(t *testing.T) {
	b := newBench(t)
	done, over := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(over)
		for {
			select {
			case <-done:
				return
			default:
				b.do(func(p *plant.Plant) {
					p.SetPower(true)
					p.Step(10 * time.Second)
					p.SetPower(false)
					p.Step(2 * time.Second)
					p.SetPower(true)
				})
				b.do(func(p *plant.Plant) { p.Step(30 * time.Second) })
			}
		}
	}()
	defer func() { close(done); <-over }()
	meter, contacts := b.dial(t, instruments.FlowMeter), b.dial(t, instruments.Contacts)
	answers := 0
	for range 400 {
		if got, err := meter.ReadHoldingRegisters(0, 6); err == nil {
			answers++
			total := f32(got[4:])
			whole := float64(uint32(got[8])<<24 | uint32(got[9])<<16 | uint32(got[10])<<8 | uint32(got[11]))
			require.InDelta(t, total, whole+0.5, 0.5+total*1e-7)
		}
		got, err := contacts.ReadDiscreteInputs(0, 9)
		require.NoError(t, err)
		require.NotEqual(t, byte(0b110000), got[0]&0b110000)
	}
	assert.Positive(t, answers)
}

// Close ends the connections too; a port that is taken is an error that names it.
func TestListen(t *testing.T) {
	b := newBench(t)
	assert.Equal(t, "tcp://"+b.server.Address(), b.server.URL())
	_, err := instruments.Listen(instruments.Settings{Listen: b.server.Address()}, b.truth)
	assert.ErrorContains(t, err, b.server.Address())
	_, err = instruments.Listen(instruments.Settings{Listen: "5020"}, b.truth)
	assert.ErrorContains(t, err, "host:port")

	s, err := instruments.Listen(instruments.Settings{Listen: "127.0.0.1:0"}, b.truth)
	require.NoError(t, err)
	conn, err := net.Dial("tcp", s.Address())
	require.NoError(t, err)
	defer func() { _ = conn.Close() }()
	// A first answer shows that the connection was taken in before the server is closed.
	_, err = conn.Write([]byte{0, 1, 0, 0, 0, 6, 1, 3, 0, 0, 0, 2})
	require.NoError(t, err)
	_, err = io.ReadFull(conn, make([]byte, 13))
	require.NoError(t, err)
	require.NoError(t, s.Close())
	_, err = conn.Read(make([]byte, 1))
	assert.ErrorIs(t, err, io.EOF)
	_, err = net.Dial("tcp", s.Address())
	assert.Error(t, err)
}
