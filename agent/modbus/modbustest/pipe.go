package modbustest

import (
	"io"
	"net"
	"os"
	"sync"
	"time"
)

// stream is one direction of a connection in memory. Unlike net.Pipe it buffers,
// as TCP does, so both ends may talk at once; and unlike TCP it lives inside a
// synctest bubble, where a time-out takes no time and comes only when nobody has
// anything left to do.
type stream struct {
	mu       sync.Mutex
	change   *sync.Cond
	data     []byte
	ended    bool // no more will be written
	deadline time.Time
	timer    *time.Timer
}

func newStream() *stream {
	s := &stream{}
	s.change = sync.NewCond(&s.mu)
	return s
}

func (s *stream) read(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for {
		switch {
		case !s.deadline.IsZero() && !time.Now().Before(s.deadline):
			return 0, os.ErrDeadlineExceeded
		case len(s.data) > 0:
			n := copy(b, s.data)
			s.data = s.data[n:]
			return n, nil
		case s.ended:
			return 0, io.EOF
		}
		s.change.Wait()
	}
}

func (s *stream) write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.ended {
		return 0, io.ErrClosedPipe
	}
	s.data = append(s.data, b...)
	s.change.Broadcast()
	return len(b), nil
}

func (s *stream) end() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ended = true
	if s.timer != nil {
		s.timer.Stop()
	}
	s.change.Broadcast()
}

func (s *stream) setDeadline(d time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.timer != nil {
		s.timer.Stop()
	}
	s.deadline = d
	if !d.IsZero() {
		s.timer = time.AfterFunc(time.Until(d), s.change.Broadcast)
	}
	s.change.Broadcast()
}

// pipeEnd is one end of a connection in memory. Writes never block.
type pipeEnd struct{ in, out *stream }

// Pipe makes a connection in memory: what goes in at one end comes out at the other.
// Unlike net.Pipe it buffers, so writes never block; and it lives in a synctest bubble.
func Pipe() (net.Conn, net.Conn) {
	a, b := newStream(), newStream()
	return pipeEnd{a, b}, pipeEnd{b, a}
}

func (p pipeEnd) Read(b []byte) (int, error)  { return p.in.read(b) }
func (p pipeEnd) Write(b []byte) (int, error) { return p.out.write(b) }

func (p pipeEnd) Close() error {
	p.in.end()
	p.out.end()
	return nil
}

func (p pipeEnd) SetDeadline(d time.Time) error      { p.in.setDeadline(d); return nil }
func (p pipeEnd) SetReadDeadline(d time.Time) error  { p.in.setDeadline(d); return nil }
func (p pipeEnd) SetWriteDeadline(d time.Time) error { return nil }
func (p pipeEnd) LocalAddr() net.Addr                { return &net.UnixAddr{Name: "pipe"} }
func (p pipeEnd) RemoteAddr() net.Addr               { return &net.UnixAddr{Name: "pipe"} }
