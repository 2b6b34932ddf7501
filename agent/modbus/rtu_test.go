package modbus

import (
	"context"
	"encoding/hex"
	"testing"
	"testing/synctest"
	"time"

	client "github.com/goburrow/modbus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The two ways to RTU. Both are played over memory.
const (
	onConverter  = "rtu+tcp://converter.test:4001"
	onSerialLine = "rtu:///dev/ttyTest?baud=9600"
)

// other asks the same unit as second for as many registers at another place: on a
// line nothing tells an answer to the one from an answer to the other.
var (
	other = Request{UnitID: 2, Kind: Holding, Address: 500, Quantity: 2}
	// The echo of this request has the form of an answer to it: three bytes of data.
	mimic = Request{UnitID: 3, Kind: Discrete, Address: 0x0305, Quantity: 20}
)

// The checksum: the serial line guide's own example (6.2.2), and the value that all
// catalogues of checksums give for the digits.
func TestChecksum(t *testing.T) {
	frame := []byte{0x02, 0x07, 0, 0}
	seal(frame)
	assert.Equal(t, "02074112", hex.EncodeToString(frame))
	assert.True(t, sealed(frame))
	assert.Equal(t, uint16(0x4B37), checksum([]byte("123456789")))
	for i := range frame {
		for bit := range 8 {
			frame[i] ^= 1 << bit
			assert.False(t, sealed(frame), "bit %d of byte %d", bit, i)
			frame[i] ^= 1 << bit
		}
	}
}

// The standard's example exchanges (section names as there), inside RTU frames.
func TestGoldenExchangesRTU(t *testing.T) {
	for _, g := range goldens {
		t.Run(g.section, func(t *testing.T) {
			p := &peer{rtu: true}
			link := Open(Settings{Address: "rtu+tcp://" + p.listen(t), Timeout: time.Minute})
			defer link.Close()
			p.next(func(c call) { c.send(c.pdu(unhex(t, g.answer))) })
			data, err := link.Read(t.Context(), g.request)
			if g.exception != 0 {
				require.Truef(t, match(err, &Exception{g.exception}), "%v", err)
			} else {
				require.NoError(t, err)
				assert.Equal(t, unhex(t, g.data), data)
			}
			assert.Equal(t, sum(append([]byte{17}, unhex(t, g.asked)...)), p.calls[0].frame)
		})
	}
}

// sleepy answers rightly after a time, and serves nobody else meanwhile.
func sleepy(d time.Duration) func(call) {
	return func(c call) {
		time.Sleep(d)
		c.send(c.good())
	}
}

// resized answers with so many bytes more or less than asked for.
func resized(by int) func(call) {
	return func(c call) {
		right := c.good()[3:]
		right = right[:len(right)-2] // the checksum
		data := append(right, 1, 2)[:max(1, len(right)+by)]
		c.send(c.pdu(append([]byte{c.function(), byte(len(data))}, data...)))
	}
}

// pressed sends bytes before the right answer.
func pressed(before ...byte) func(call) {
	return func(c call) { c.send(before, c.good()) }
}

func misbehavioursRTU() []bad {
	one := func(step func(call)) []func(call) { return []func(call){step} }
	badSum := func(c call) { f := c.good(); c.send(with(f, byte(len(f)-1), f[len(f)-1]^1)) }
	foreigner := func(c call) []byte { return sum(with(c.good(), 0, 9)[:len(c.good())-2]) }
	halfLate := func() []func(call) {
		var kept call
		return []func(call){
			func(c call) { kept = c; c.send(c.good()[:5]) },
			func(c call) { kept.send(kept.good()[5:]); c.send(c.good()) },
		}
	}
	echoed := func(c call) { c.send(c.frame, c.good()) }
	echo := Settings{Echo: true}
	return []bad{
		{name: "late, within the window", steps: one(sleepy(1050 * time.Millisecond)), want: []error{ErrTimeout, nil, nil}, sessions: 1},
		{name: "later than the window", steps: one(sleepy(1500 * time.Millisecond)), want: []error{ErrTimeout, nil, nil}, sessions: 1},
		{name: "late twice", steps: []func(call){sleepy(1500 * time.Millisecond), right, right, sleepy(1500 * time.Millisecond)}, want: []error{ErrTimeout, nil, ErrTimeout, nil}},
		{name: "much later", steps: one(sleepy(2700 * time.Millisecond)), want: []error{ErrTimeout, ErrTimeout, nil, nil}, sessions: 1},
		{name: "one answer behind", steps: held(), want: []error{ErrTimeout, nil, nil}, sessions: 1},
		{name: "a late refusal", steps: one(func(c call) {
			time.Sleep(1500 * time.Millisecond)
			c.send(c.pdu([]byte{0x83, GatewayTarget}))
		}), want: []error{ErrTimeout, nil, nil}},
		{name: "not heard once", steps: one(silent), want: []error{ErrTimeout, nil, nil}, sessions: 1},
		{name: "half a frame, then silence", steps: one(partial(5)), want: []error{ErrFrame, nil}},
		{name: "half a frame, the rest late", steps: halfLate(), want: []error{ErrFrame, nil, nil}},
		{name: "one byte, then silence", steps: one(partial(1)), want: []error{ErrFrame, nil}},
		{name: "half a frame, then closed", steps: one(thenClose(partial(5))), want: []error{ErrFrame, nil}, pause: time.Second, sessions: 2},
		{name: "bytes one by one", steps: one(func(c call) {
			for _, b := range c.good() {
				c.send([]byte{b})
				time.Sleep(30 * time.Millisecond)
			}
		}), want: []error{nil, nil}, sessions: 1},
		{name: "only another unit answers", steps: one(func(c call) { c.send(foreigner(c)) }), want: []error{ErrFrame, nil}},
		{name: "another unit answers first", steps: one(func(c call) { c.send(foreigner(c), c.good()) }), want: []error{nil, nil}, sessions: 1},
		{name: "another function", steps: one(func(c call) { c.send(c.pdu([]byte{4, 4, 1, 2, 3, 4})) }), want: []error{ErrFrame, nil}},
		{name: "another function, the answer after it", steps: one(func(c call) { c.send(c.pdu([]byte{4, 4, 1, 2, 3, 4}), c.good()) }), want: []error{ErrFrame, nil}},
		{name: "exception of another function", steps: one(exceptionRTU(0x84, 2)), want: []error{ErrFrame, nil}},
		{name: "fewer registers", steps: one(resized(-2)), want: []error{ErrFrame, nil}},
		{name: "more registers", steps: one(resized(2)), want: []error{ErrFrame, nil}},
		{name: "answered twice", steps: one(func(c call) { c.send(c.good(), c.good()) }), want: []error{nil, nil, nil}, sessions: 1},
		{name: "answered twice, far apart", steps: one(func(c call) { c.send(c.good()); time.Sleep(3 * time.Millisecond); c.send(c.good()) }), want: []error{nil, nil, nil}},
		{name: "noise before the answer", steps: []func(call){pressed(0), pressed(0xFF, 0), pressed(2, 3), pressed(2, 3, 200, 7)}, want: []error{nil, nil, nil, nil}, sessions: 1},
		{name: "noise after the answer", steps: one(func(c call) { c.send(c.good(), []byte{0, 0xFF, 2, 3}) }), want: []error{nil, nil}, sessions: 1},
		{name: "noise alone", steps: one(func(c call) { c.send([]byte("\x00\xff\x02\x83\x02\x03\x04\x55\xaa\x00\x00\xff")) }), want: []error{nil, nil}},
		{name: "HTTP answer", steps: one(func(c call) { c.send([]byte("HTTP/1.1 400 Bad Request\r\nConnection: close\r\n\r\n")) }), want: []error{nil, nil}},
		{name: "a flood", steps: one(func(c call) { c.send(make([]byte, 5000)) }), want: []error{nil, nil}},
		{name: "wrong checksum once", steps: one(badSum), want: []error{nil, nil}},
		{name: "wrong checksum twice", steps: []func(call){badSum, badSum}, want: []error{ErrFrame, nil}},
		{name: "echo", steps: []func(call){echoed, echoed, echoed}, want: []error{nil, nil, nil, nil}, sessions: 1},
		{name: "echo, expected", settings: echo, usual: echoed, want: []error{nil, nil, nil}, sessions: 1},
		{name: "echo, then a slow answer", steps: one(func(c call) { c.send(c.frame); time.Sleep(600 * time.Millisecond); c.send(c.good()) }), want: []error{nil, nil}},
		{name: "echo alone", steps: one(func(c call) { c.send(c.frame) }), asked: []Request{mimic}, want: []error{ErrTimeout, nil}},
		{name: "echo behind noise", steps: one(func(c call) { c.send([]byte{0}, c.frame) }), asked: []Request{mimic}, want: []error{ErrTimeout, nil}},
		{name: "echo that looks like an answer", steps: []func(call){echoed, echoed}, asked: []Request{mimic}, want: []error{nil, nil, nil}},
		{name: "changed echo, expected", settings: echo, usual: echoed, steps: one(func(c call) { c.send(with(c.frame, 2, 0x55), c.good()) }), want: []error{nil, nil}, sessions: 1},
		{name: "closes without an answer", steps: one(func(c call) { c.conn.Close() }), want: []error{nil, nil}, sessions: 2},
		{name: "closes after each answer", steps: []func(call){thenClose(right), thenClose(right), thenClose(right)}, want: []error{nil, nil, nil, nil}, sessions: 4},
		{name: "takes nobody for a while", steps: []func(call){
			func(c call) { c.conn.Close() }, func(c call) { c.conn.Close() }, func(c call) { c.conn.Close() },
		}, want: []error{ErrDown, ErrDown, nil}, pause: 15 * time.Second, sessions: 4},
		{name: "never answers", steps: []func(call){silent, silent, silent, silent, silent}, want: []error{ErrTimeout, ErrTimeout, ErrTimeout, ErrTimeout, ErrTimeout, nil}, pause: 6 * time.Second},
		{name: "exception 0B from unit 255", steps: one(signed(255, 0x0B)), want: []error{&Exception{0x0B}, nil}, sessions: 1},
		{name: "exception 0A from unit 0", steps: one(signed(0, 0x0A)), want: []error{&Exception{0x0A}, nil}, sessions: 1},
		{name: "exception from another unit", steps: one(signed(9, 0x0B)), want: []error{ErrFrame, nil}},
		{name: "busy while it warms up", steps: []func(call){exceptionRTU(0x83, 6), exceptionRTU(0x83, 6)}, want: []error{&Exception{6}, &Exception{6}, nil}, sessions: 1},
	}
}

func exceptionRTU(function, code byte) func(call) {
	return func(c call) { c.send(c.pdu([]byte{function, code})) }
}

func signed(unit, code byte) func(call) {
	return func(c call) { c.send(sum([]byte{unit, c.function() | 0x80, code})) }
}

// Whatever comes over the line, a request gives its own data or the right kind of
// error, at once after the misbehaviour and whenever else.
func TestMisbehavioursRTU(t *testing.T) {
	for _, address := range []string{onConverter, onSerialLine} {
		for _, b := range misbehavioursRTU() {
			t.Run(b.name, func(t *testing.T) {
				b.settings.Address = address
				if b.asked == nil {
					b.asked = []Request{second, other}
				}
				if b.pause == 0 {
					b.pause = -1
				}
				b.play(t, &peer{rtu: true, usual: b.usual})
			})
		}
	}
}

// Even a caller who reaches the transport through the library's whole client cannot
// send one of the golden writes (sections 6.5, 6.6, 6.11, 6.12): nothing leaves.
func TestTransportRefusesWritesRTU(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &peer{rtu: true}
		defer p.end()
		wire := newRTU(Settings{Dial: p.dial, Address: onConverter}.filled())
		defer wire.drop()
		packager := client.NewRTUClientHandler("")
		packager.SlaveId = 1
		c := client.NewClient2(packager, wire)
		wire.begin(context.Background(), time.Minute)
		_, err := c.ReadInputRegisters(1, 1)
		require.NoError(t, err)
		for name, write := range writes(c) {
			_, err := write()
			assert.ErrorContains(t, err, "only reads", name)
		}
		_, calls, _ := p.count()
		assert.Equal(t, 1, calls)
	})
}

// writes are the standard's example writes, and two more that write.
func writes(c client.Client) map[string]func() ([]byte, error) {
	return map[string]func() ([]byte, error){
		"6.5 write single coil":         func() ([]byte, error) { return c.WriteSingleCoil(0xAC, 0xFF00) },
		"6.6 write single register":     func() ([]byte, error) { return c.WriteSingleRegister(1, 3) },
		"6.11 write multiple coils":     func() ([]byte, error) { return c.WriteMultipleCoils(0x13, 10, []byte{0xCD, 1}) },
		"6.12 write multiple registers": func() ([]byte, error) { return c.WriteMultipleRegisters(1, 2, []byte{0, 0x0A, 1, 2}) },
		"6.16 mask write register":      func() ([]byte, error) { return c.MaskWriteRegister(1, 1, 1) },
		"6.17 read/write registers":     func() ([]byte, error) { return c.ReadWriteMultipleRegisters(1, 1, 1, 1, []byte{0, 1}) },
	}
}
