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

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// call is one request as the fake server received it.
type call struct {
	conn    net.Conn
	session int // counts connections, from 1
	frame   []byte
}

func (c call) unit() byte       { return c.frame[6] }
func (c call) function() byte   { return c.frame[7] }
func (c call) address() uint16  { return binary.BigEndian.Uint16(c.frame[8:]) }
func (c call) quantity() uint16 { return binary.BigEndian.Uint16(c.frame[10:]) }

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
	f := append([]byte(nil), c.frame[:2]...)
	f = append(f, 0, 0)
	f = binary.BigEndian.AppendUint16(f, uint16(1+len(pdu)))
	return append(append(f, c.unit()), pdu...)
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
	mu       sync.Mutex
	script   []func(call)
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
		if _, err := io.ReadFull(conn, frame); err != nil {
			return
		}
		p.mu.Lock()
		c := call{conn: conn, session: n, frame: frame}
		p.calls = append(p.calls, c)
		step := right
		if len(p.script) > 0 {
			step, p.script = p.script[0], p.script[1:]
		}
		step(c)
		p.mu.Unlock()
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
	near, far := pipe()
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

// expected is the data that a right answer to a request carries.
func expected(r Request) []byte {
	function := [...]byte{Holding: 3, Input: 4, Coil: 1, Discrete: 2}[r.Kind]
	f := []byte{0, 0, 0, 0, 0, 6, r.UnitID, function}
	f = binary.BigEndian.AppendUint16(f, r.Address)
	f = binary.BigEndian.AppendUint16(f, r.Quantity)
	return call{frame: f}.good()[9:]
}

// unhex reads hex with spaces.
func unhex(t testing.TB, s string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	require.NoError(t, err)
	return b
}
