package modbus

import (
	"context"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"ionward/agent/modbus/modbustest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// call is one request as the fake server received it.
type call struct {
	conn    net.Conn
	session int // counts connections, from 1
	frame   []byte
	rtu     bool
}

// asked is unit id and PDU, which stand alike in both kinds of frame.
func (c call) asked() []byte {
	if c.rtu {
		return c.frame
	}
	return c.frame[6:]
}

func (c call) unit() byte       { return c.asked()[0] }
func (c call) function() byte   { return c.asked()[1] }
func (c call) address() uint16  { return binary.BigEndian.Uint16(c.asked()[2:]) }
func (c call) quantity() uint16 { return binary.BigEndian.Uint16(c.asked()[4:]) }

// send writes raw bytes; a client that is gone is no fault of the script.
func (c call) send(frames ...[]byte) {
	var all []byte
	for _, f := range frames {
		all = append(all, f...)
	}
	_, _ = c.conn.Write(all)
}

// truth is what register (or bit) a of a unit holds: different everywhere, so that
// an answer to another request can never look right.
func truth(unit byte, a uint16) uint16 { return uint16(unit)*4099 + a*31 + 7 }

// good is the right answer.
func (c call) good() []byte {
	var data []byte
	n := int(c.quantity())
	if c.function() <= 2 {
		data = make([]byte, (n+7)/8)
		for i := range n {
			data[i/8] |= byte(truth(c.unit(), c.address()+uint16(i))&1) << (i % 8)
		}
	} else {
		for i := range n {
			data = binary.BigEndian.AppendUint16(data, truth(c.unit(), c.address()+uint16(i)))
		}
	}
	return c.pdu(append([]byte{c.function(), byte(len(data))}, data...))
}

// pdu wraps a PDU into a frame that answers this call.
func (c call) pdu(pdu []byte) []byte {
	if c.rtu {
		return sum(append([]byte{c.unit()}, pdu...))
	}
	f := append([]byte(nil), c.frame[:2]...)
	f = append(f, 0, 0)
	f = binary.BigEndian.AppendUint16(f, uint16(1+len(pdu)))
	return append(append(f, c.unit()), pdu...)
}

// sum adds a checksum, worked out bit by bit as the serial line guide (6.2.2) tells it.
func sum(frame []byte) []byte {
	crc := uint16(0xFFFF)
	for _, b := range frame {
		crc ^= uint16(b)
		for range 8 {
			if crc&1 == 1 {
				crc = crc>>1 ^ 0xA001
			} else {
				crc >>= 1
			}
		}
	}
	return append(frame[:len(frame):len(frame)], byte(crc), byte(crc>>8))
}

// with changes some bytes of a frame: position, value, position, value...
func with(frame []byte, changes ...byte) []byte {
	f := append([]byte(nil), frame...)
	for i := 0; i < len(changes); i += 2 {
		f[changes[i]] = changes[i+1]
	}
	return f
}

// peer is a fake server: it answers each request by the next step of its script,
// and rightly once the script is over.
type peer struct {
	rtu      bool          // speaks RTU frames
	stepping chan struct{} // steps run one at a time and may sleep; a mutex would stop a bubble's time
	mu       sync.Mutex
	script   []func(call)
	usual    func(call)     // once the script is over; nil = the right answer
	greet    func(net.Conn) // on each new connection
	refuse   bool           // connections
	dials    int
	sessions int
	calls    []call
	conns    []net.Conn
	work     sync.WaitGroup
}

func right(c call)  { c.send(c.good()) }
func silent(c call) {}

func (p *peer) session(conn net.Conn) {
	defer p.work.Done()
	defer conn.Close()
	p.mu.Lock()
	p.sessions++
	n := p.sessions
	p.conns = append(p.conns, conn)
	if p.greet != nil {
		p.greet(conn)
	}
	p.mu.Unlock()
	for {
		frame := make([]byte, 12) // every read request is of this length
		if p.rtu {
			frame = frame[:8]
		}
		if _, err := io.ReadFull(conn, frame); err != nil {
			return
		}
		p.mu.Lock()
		c := call{conn: conn, session: n, frame: frame, rtu: p.rtu}
		p.calls = append(p.calls, c)
		step := p.usual
		if step == nil {
			step = right
		}
		if len(p.script) > 0 {
			step, p.script = p.script[0], p.script[1:]
		}
		if p.stepping == nil {
			p.stepping = make(chan struct{}, 1)
		}
		p.mu.Unlock()
		p.stepping <- struct{}{}
		step(c)
		<-p.stepping
	}
}

// dial connects in memory.
func (p *peer) dial(ctx context.Context, _, _ string) (net.Conn, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.dials++
	if p.refuse {
		return nil, errors.New("connection refused")
	}
	near, far := modbustest.Pipe()
	p.work.Add(1)
	go p.session(far)
	return near, nil
}

// listen serves on a real port and returns its host:port.
func (p *peer) listen(t testing.TB) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	p.work.Add(1)
	go func() {
		defer p.work.Done()
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			p.work.Add(1)
			go p.session(conn)
		}
	}()
	t.Cleanup(func() {
		l.Close()
		p.end()
	})
	return l.Addr().String()
}

// end closes all connections and waits for the sessions.
func (p *peer) end() {
	p.mu.Lock()
	for _, c := range p.conns {
		c.Close()
	}
	p.mu.Unlock()
	p.work.Wait()
}

// next sets the script and returns the number of connections so far.
func (p *peer) next(steps ...func(call)) int {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.script = steps
	return p.sessions
}

// count returns the connections and requests so far.
func (p *peer) count() (sessions, calls, dials int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.sessions, len(p.calls), p.dials
}

// asked is a request without its frame: unit id and PDU.
func asked(r Request) []byte {
	function := [...]byte{Holding: 3, Input: 4, Coil: 1, Discrete: 2}[r.Kind]
	f := binary.BigEndian.AppendUint16([]byte{r.UnitID, function}, r.Address)
	return binary.BigEndian.AppendUint16(f, r.Quantity)
}

// expected is the data that a right answer to a request carries.
func expected(r Request) []byte {
	return call{frame: append([]byte{0, 0, 0, 0, 0, 6}, asked(r)...)}.good()[9:]
}

// unhex reads hex with spaces.
func unhex(t testing.TB, s string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	require.NoError(t, err)
	return b
}

// farEnd is a serial line as the peer's connection.
type farEnd struct{ duplex }

func (farEnd) LocalAddr() net.Addr                { return &net.UnixAddr{Name: "line"} }
func (farEnd) RemoteAddr() net.Addr               { return &net.UnixAddr{Name: "line"} }
func (farEnd) SetWriteDeadline(_ time.Time) error { return nil }
