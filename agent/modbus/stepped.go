package modbus

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/goburrow/serial"
)

// step is how often a waiting read looks at its deadline.
const step = 5 * time.Millisecond

// stepped gives deadlines to a serial port that knows only one time-out, set when it
// is opened: a read is many short ones. It serves the systems that have nothing
// better.
type stepped struct {
	port serial.Port

	mu       sync.Mutex
	deadline time.Time
}

func openStepped(a Address) (duplex, error) {
	// RS485 stays off: adapters switch their driver themselves.
	p, err := serial.Open(&serial.Config{
		Address: a.Device, BaudRate: a.Baud, DataBits: 8, StopBits: a.Stop, Timeout: step,
		Parity: map[string]string{"even": "E", "odd": "O", "none": "N"}[a.Parity],
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %w; is the adapter plugged in, and used by nobody else?", a.Device, err)
	}
	return &stepped{port: p}, nil
}

func (s *stepped) passed() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return !s.deadline.IsZero() && !time.Now().Before(s.deadline)
}

func (s *stepped) Read(b []byte) (int, error) {
	for !s.passed() {
		n, err := s.port.Read(b)
		switch {
		case n > 0:
			return n, nil
		case err == nil: // ready to be read, and nothing there: the line is gone
			return 0, io.EOF
		case !errors.Is(err, serial.ErrTimeout):
			return 0, err
		}
	}
	return 0, os.ErrDeadlineExceeded
}

// Write does not wait for the line: a request fits into any port's buffer.
func (s *stepped) Write(b []byte) (int, error) {
	if s.passed() {
		return 0, os.ErrDeadlineExceeded
	}
	n, err := s.port.Write(b)
	if err == nil && n < len(b) {
		err = fmt.Errorf("sent %d of %d bytes", n, len(b))
	}
	return n, err
}

func (s *stepped) SetDeadline(t time.Time) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.deadline = t
	return nil
}

func (s *stepped) SetReadDeadline(t time.Time) error { return s.SetDeadline(t) }

func (s *stepped) Close() error { return s.port.Close() }
