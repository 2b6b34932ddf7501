package poll_test

import (
	"context"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"net"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"ionward/agent"
	"ionward/agent/modbus"
	"ionward/agent/poll"
	"ionward/rules"
	"ionward/rules/signal"
)

func TestMain(m *testing.M) {
	if how := os.Getenv(asPeer); how != "" {
		servePeer(how) // this is a test's instrument, in a process of its own
		return
	}
	goleak.VerifyTestMain(m)
}

// ask is a request as a device receives it; registers and bits are counted alike.
type ask struct {
	unit, function    byte
	address, quantity int
}

// reply says how a device answers one request; the zero reply gives what its registers hold, at once.
type reply struct {
	after     time.Duration // answer so much later
	exception byte
	silent    bool // never answer
	hangUp    bool // close instead of answering
	raw       []byte
}

// device is a Modbus TCP server to be scripted, over pipes (so that a test may run in a synctest bubble) or sockets.
type device struct {
	mu        sync.Mutex
	registers map[int]uint16 // bits too: 0 or 1
	script    func(ask) reply
	down      bool // refuses connections
	dials     int
	asks      []ask
	conns     []net.Conn
	answering sync.WaitGroup
}

func newDevice(registers map[int]uint16) *device {
	if registers == nil {
		registers = map[int]uint16{}
	}
	return &device{registers: registers}
}

// set changes the device under its lock.
func (d *device) set(f func(*device)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	f(d)
}

// asked lists the requests so far.
func (d *device) asked() []ask {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.asks)
}

// float puts a float into two registers, high word first.
func (d *device) float(at int, v float32) {
	d.set(func(d *device) {
		bits := math.Float32bits(v)
		d.registers[at], d.registers[at+1] = uint16(bits>>16), uint16(bits)
	})
}

// dial connects through a pipe.
func (d *device) dial(context.Context, string, string) (net.Conn, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.down {
		return nil, errors.New("refused by the test")
	}
	d.dials++
	here, there := net.Pipe()
	d.conns = append(d.conns, there)
	d.answering.Go(func() { d.serve(there) })
	return here, nil
}

// end closes all connections and waits until nobody answers any more.
func (d *device) end() {
	d.set(func(d *device) {
		for _, c := range d.conns {
			_ = c.Close() // twice does no harm
		}
		d.conns = nil
	})
	d.answering.Wait()
}

func (d *device) serve(c net.Conn) {
	defer func() { _ = c.Close() }()
	// Answers may wait for each other, as in a socket's buffer; a mutex would stop a bubble's time, a channel does not.
	turn := make(chan struct{}, 1)
	for {
		frame := make([]byte, 12)
		if _, err := io.ReadFull(c, frame); err != nil {
			return
		}
		a := ask{frame[6], frame[7], int(binary.BigEndian.Uint16(frame[8:])), int(binary.BigEndian.Uint16(frame[10:]))}
		d.mu.Lock()
		d.asks = append(d.asks, a)
		var r reply
		if d.script != nil {
			r = d.script(a)
		}
		d.mu.Unlock()
		if r.hangUp {
			return
		}
		if r.silent {
			continue
		}
		d.answering.Go(func() {
			time.Sleep(r.after) // fake inside a bubble; a device on sockets answers at once
			turn <- struct{}{}
			_, _ = c.Write(d.frame(frame, a, r)) // fails where the other side has gone
			<-turn
		})
	}
}

// frame is the answer with the numbers of the moment at which it leaves.
func (d *device) frame(request []byte, a ask, r reply) []byte {
	if r.raw != nil {
		return r.raw
	}
	pdu := []byte{a.unit, a.function}
	if r.exception != 0 {
		pdu = []byte{a.unit, a.function | 0x80, r.exception}
	} else {
		data := d.data(a)
		pdu = append(append(pdu, byte(len(data))), data...)
	}
	head := append([]byte{}, request[:4]...)
	return append(binary.BigEndian.AppendUint16(head, uint16(len(pdu))), pdu...)
}

func (d *device) data(a ask) []byte {
	d.mu.Lock()
	defer d.mu.Unlock()
	if a.function <= 2 {
		bits := make([]byte, (a.quantity+7)/8)
		for k := range a.quantity {
			bits[k/8] |= byte(d.registers[a.address+k]&1) << (k % 8)
		}
		return bits
	}
	var data []byte
	for k := range a.quantity {
		data = binary.BigEndian.AppendUint16(data, d.registers[a.address+k])
	}
	return data
}

// The usual instruments of the tests. Signals stand at register 0.
const (
	analyzerAt = "analyzer.test:502"
	meterAt    = "meter.test:502"
)

func product() poll.Signal {
	return poll.Signal{ID: signal.ProductConductivity, Kind: modbus.Input, Type: modbus.F32, Low: 0.02, High: 3000}
}

func analyzer() poll.Instrument {
	return poll.Instrument{Name: "analyzer", Address: analyzerAt, UnitID: 1, Signals: []poll.Signal{product()}}
}

func meter() poll.Instrument {
	return poll.Instrument{Name: "meter", Address: meterAt, UnitID: 2, Signals: []poll.Signal{{ID: signal.Flow, Type: modbus.F32}}}
}

// bench is a source in front of scripted devices.
type bench struct {
	t      testing.TB
	source *poll.Source
	clock  agent.Clock
	total  time.Duration // of all gaps
	in     rules.Input
}

// newBench opens a source; devices are found by address. Everything ends with the test.
func newBench(t testing.TB, s poll.Settings, devices map[string]*device) *bench {
	if s.Clock == nil {
		s.Clock = agent.NewRealClock()
	}
	if s.Dial == nil && devices != nil {
		s.Dial = func(ctx context.Context, network, address string) (net.Conn, error) {
			return devices[address].dial(ctx, network, address)
		}
	}
	source, err := poll.New(s)
	require.NoError(t, err)
	t.Cleanup(func() {
		source.Close()
		for _, d := range devices {
			d.end()
		}
	})
	return &bench{t: t, source: source, clock: s.Clock}
}

func (b *bench) next(within time.Duration) *rules.Input {
	b.t.Helper()
	require.NoError(b.t, b.source.Next(b.t.Context(), within, &b.in))
	require.GreaterOrEqual(b.t, b.in.Gap, time.Duration(0))
	b.total += b.in.Gap
	return &b.in
}

// scan takes the next step, which must be a scan.
func (b *bench) scan() *signal.Set {
	b.t.Helper()
	require.True(b.t, b.next(agent.Never).Scan)
	return &b.in.Readings
}

func good(v float64) signal.Reading { return signal.Reading{Value: v, Quality: signal.Good} }

func bad(c signal.Cause) signal.Reading { return signal.Reading{Quality: signal.Bad, Cause: c} }

func none(c signal.Cause) signal.Reading { return signal.Reading{Cause: c} }
