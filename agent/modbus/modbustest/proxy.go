package modbustest

import (
	"context"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"sync"
)

// Proxy answers requests by asking Answer, unless a fault is set.
type Proxy struct {
	RTU    bool                 // RTU frames; false = Modbus TCP
	Answer func(ask Ask) []byte // the PDU that answers rightly; called from any goroutine

	start sync.Once
	done  chan struct{}
	turn  chan struct{} // one exchange at a time; a mutex would stop a bubble's time
	work  sync.WaitGroup

	mu     sync.Mutex
	fault  Fault
	closed bool
	conns  map[net.Conn]bool
	dials  int
}

// Fault is one way to misbehave. Its functions may keep state between exchanges: only
// one runs at a time.
type Fault struct {
	Name  string
	Do    func(e *Exchange) // instead of answering; nil = answer rightly
	Greet func(c net.Conn)  // on each new connection
	Start func()            // when it is set
	// Refuse: nobody is let in. Limit: no more connections at once; 0 = any number.
	Refuse bool
	Limit  int
}

func (p *Proxy) init() {
	p.start.Do(func() {
		p.done, p.turn, p.conns = make(chan struct{}), make(chan struct{}, 1), map[net.Conn]bool{}
	})
}

// Set makes the proxy misbehave from now on; the zero Fault ends it.
func (p *Proxy) Set(f Fault) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.fault = f
	if f.Start != nil {
		f.Start()
	}
}

// Cut ends all connections, as a restart of the instrument does.
func (p *Proxy) Cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for c := range p.conns {
		_ = c.Close() // twice does no harm
	}
}

// Count tells how many connections were made.
func (p *Proxy) Count() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.dials
}

// Close ends all and waits.
func (p *Proxy) Close() {
	p.init()
	p.mu.Lock()
	if !p.closed {
		p.closed = true
		close(p.done)
	}
	p.mu.Unlock()
	p.Cut()
	p.work.Wait()
}

var errRefused = errors.New("connection refused by the test")

// Dial connects in memory.
func (p *Proxy) Dial(context.Context, string, string) (net.Conn, error) {
	here, there := Pipe()
	if !p.admit(there) {
		return nil, errRefused
	}
	return here, nil
}

// Listen serves on the loopback until the proxy is closed, and returns host:port.
func (p *Proxy) Listen() (string, error) {
	p.init()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	p.work.Go(func() {
		<-p.done
		_ = l.Close() // a listener without connections cannot fail to close
	})
	p.work.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			if !p.admit(c) {
				_ = c.Close() // slammed in the peer's face: it was refused
			}
		}
	})
	return l.Addr().String(), nil
}

// Serve serves one line that is open already, such as a serial one.
func (p *Proxy) Serve(c net.Conn) { p.admit(c) }

func (p *Proxy) admit(c net.Conn) bool {
	p.init()
	p.mu.Lock()
	defer p.mu.Unlock()
	f := p.fault
	if p.closed || f.Refuse || f.Limit > 0 && len(p.conns) >= f.Limit {
		return false
	}
	p.conns[c] = true
	p.dials++
	p.work.Go(func() {
		if f.Greet != nil {
			f.Greet(c)
		}
		p.session(c)
		_ = c.Close() // twice does no harm
		p.mu.Lock()
		defer p.mu.Unlock()
		delete(p.conns, c)
	})
	return true
}

func (p *Proxy) session(c net.Conn) {
	size, at := 12, 6 // every read request is of one length
	if p.RTU {
		size, at = 8, 0
	}
	for {
		frame := make([]byte, size)
		if _, err := io.ReadFull(c, frame); err != nil {
			return
		}
		body := frame[at:]
		e := &Exchange{
			Ask: Ask{body[0], body[1], binary.BigEndian.Uint16(body[2:]), binary.BigEndian.Uint16(body[4:])},
			RTU: p.RTU, Request: frame, Conn: c, proxy: p,
		}
		select {
		case p.turn <- struct{}{}:
		case <-p.done:
			return
		}
		p.mu.Lock()
		do := p.fault.Do
		p.mu.Unlock()
		if do == nil {
			do = func(e *Exchange) { e.Send(e.Good()) }
		}
		do(e)
		<-p.turn
		if e.deaf {
			_, _ = io.Copy(io.Discard, c) // until the other side gives up
			return
		}
	}
}

// Through answers by asking a Modbus TCP server, another author's say; one that does
// not answer is a gateway's exception 0B.
func Through(address string) func(Ask) []byte {
	return func(a Ask) []byte {
		failed := []byte{a.Function | 0x80, 0x0B}
		c, err := net.Dial("tcp", address)
		if err != nil {
			return failed
		}
		defer func() { _ = c.Close() }()
		frame := binary.BigEndian.AppendUint16([]byte{0, 1, 0, 0, 0, 6, a.Unit, a.Function}, a.Address)
		if _, err := c.Write(binary.BigEndian.AppendUint16(frame, a.Quantity)); err != nil {
			return failed
		}
		head := make([]byte, 7)
		if _, err := io.ReadFull(c, head); err != nil {
			return failed
		}
		pdu := make([]byte, binary.BigEndian.Uint16(head[4:])-1)
		if _, err := io.ReadFull(c, pdu); err != nil {
			return failed
		}
		return pdu
	}
}
