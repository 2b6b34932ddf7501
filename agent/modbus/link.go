package modbus

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"time"

	client "github.com/goburrow/modbus"
)

// Settings of a link. Zero values mean the defaults given.
type Settings struct {
	Address    string        // see ParseAddress
	Timeout    time.Duration // for a request, connecting included; default 1 s
	RetryLeast time.Duration // pause after a first failed connection; default 0.5 s
	RetryMost  time.Duration // longest pause between attempts; default 10 s
	Idle       time.Duration // a connection unused for longer is replaced; default 60 s
	// ZeroID is for servers that answer every request with transaction id 0. Late
	// answers can then not be told by their id, so each time-out costs the
	// connection, and each request first listens 1 ms for stray bytes.
	ZeroID bool
	// LateWindow is for RTU: how long a line must be silent after something went wrong
	// on it (an answer that did not come, or was broken) before it is trusted with the
	// next request; default 100 ms, and at most a quarter of a request's time-out.
	LateWindow time.Duration
	// Echo is for RTU behind an adapter that returns all that is sent. An echo is
	// recognised without it; with it, one that comes back changed is a collision.
	Echo bool

	// Dial opens a connection; default net.Dialer, and the device itself on a serial
	// line (for which Dial gets the network "serial"). Now is the clock of pauses and
	// idling; default time.Now. (Deadlines are the network's own: real time.)
	Dial func(ctx context.Context, network, address string) (net.Conn, error)
	Now  func() time.Time

	at  Address // what Address says
	bad error   // Address says nothing
}

// filled returns the settings with defaults in place of zeros.
func (s Settings) filled() Settings {
	or := func(d *time.Duration, def time.Duration) {
		if *d <= 0 {
			*d = def
		}
	}
	or(&s.Timeout, time.Second)
	or(&s.RetryLeast, 500*time.Millisecond)
	or(&s.RetryMost, 10*time.Second)
	or(&s.Idle, time.Minute)
	or(&s.LateWindow, 100*time.Millisecond)
	// With a Dial of its own, a link may do without an address.
	if s.Address != "" || s.Dial == nil {
		s.at, s.bad = ParseAddress(s.Address)
	}
	if s.Now == nil {
		s.Now = time.Now
	}
	return s
}

// open opens the connection that the settings speak of.
func (s Settings) open(ctx context.Context) (duplex, error) {
	switch {
	case s.bad != nil:
		return nil, s.bad
	case s.Dial == nil && s.at.Device != "":
		return openPort(s.at)
	case s.Dial == nil:
		return new(net.Dialer).DialContext(ctx, "tcp", s.at.Host)
	case s.at.Device != "":
		return s.Dial(ctx, "serial", s.at.Device)
	}
	return s.Dial(ctx, "tcp", s.at.Host)
}

// reads is the part of the client library that a link can reach: no write is in it.
type reads interface {
	ReadCoils(address, quantity uint16) ([]byte, error)
	ReadDiscreteInputs(address, quantity uint16) ([]byte, error)
	ReadHoldingRegisters(address, quantity uint16) ([]byte, error)
	ReadInputRegisters(address, quantity uint16) ([]byte, error)
}

// medium is what a link needs of the way its frames travel.
type medium interface {
	client.Transporter
	begin(ctx context.Context, within time.Duration) // before each Send
	drop()                                           // end the connection
}

// Link carries the requests to all instruments behind one address, one at a time.
// Any number of goroutines may use it.
type Link struct {
	settings Settings
	medium   medium
	reads    reads
	aim      func(unitID uint8) // sets whom the next request is for

	turn   chan struct{} // holds one token: whose turn it is
	closed chan struct{}
	once   sync.Once
}

// Open makes a link. It connects when first asked, so it cannot fail; an address that
// cannot be read makes every Read fail.
func Open(s Settings) *Link {
	s = s.filled()
	l := &Link{settings: s, turn: make(chan struct{}, 1), closed: make(chan struct{})}
	l.turn <- struct{}{}
	// Of the library's handlers only the packagers serve; their transports never run.
	if s.at.RTU {
		packager, transport := client.NewRTUClientHandler(""), newRTU(s)
		l.medium, l.reads = transport, client.NewClient2(packager, transport)
		l.aim = func(unitID uint8) { packager.SlaveId = unitID }
	} else {
		packager, transport := client.NewTCPClientHandler(""), newTCP(s)
		l.medium, l.reads = transport, client.NewClient2(packager, transport)
		l.aim = func(unitID uint8) { packager.SlaveId = unitID }
	}
	return l
}

// Read asks for registers or bits and returns the data bytes as they came:
// registers of two bytes, high byte first; bits eight to the byte, the first in
// the lowest bit (sections 6.1 to 6.4). Value.Pick decodes them.
//
// It waits for its turn on the link as long as ctx allows; the request's time-out
// starts when the turn comes. While the link rests after a failure, Read fails at
// once with ErrDown and tells when the next attempt is due.
func (l *Link) Read(ctx context.Context, r Request) ([]byte, error) {
	if err := r.Check(); err != nil {
		return nil, fmt.Errorf("cannot ask %s: %w", l.settings.Address, err)
	}
	data, err := l.read(ctx, r)
	if err != nil {
		return nil, fmt.Errorf("cannot read %s at %s: %w", r, l.settings.Address, err)
	}
	return data, nil
}

func (l *Link) read(ctx context.Context, r Request) ([]byte, error) {
	if err := l.take(ctx); err != nil {
		return nil, err
	}
	defer func() { l.turn <- struct{}{} }()
	within := r.Timeout
	if within <= 0 {
		within = l.settings.Timeout
	}
	l.aim(r.UnitID)
	l.medium.begin(ctx, within)
	data, err := l.call(r)
	if err == nil {
		return data, nil
	}
	var refused *client.ModbusError
	if errors.As(err, &refused) {
		return nil, &Exception{Code: refused.ExceptionCode}
	}
	return nil, err
}

func (l *Link) call(r Request) ([]byte, error) {
	switch r.Kind {
	case Coil:
		return l.reads.ReadCoils(r.Address, r.Quantity)
	case Discrete:
		return l.reads.ReadDiscreteInputs(r.Address, r.Quantity)
	case Input:
		return l.reads.ReadInputRegisters(r.Address, r.Quantity)
	default:
		return l.reads.ReadHoldingRegisters(r.Address, r.Quantity)
	}
}

// take waits for the turn. The link's end and the caller's count before the turn,
// also when both are there.
func (l *Link) take(ctx context.Context) error {
	over := func() error {
		select {
		case <-l.closed:
			return fmt.Errorf("%w: the link is closed", ErrCancelled)
		default:
			return ended(ctx)
		}
	}
	select {
	case <-l.closed:
	case <-ctx.Done():
	case <-l.turn:
		err := over()
		if err != nil {
			l.turn <- struct{}{}
		}
		return err
	}
	return over()
}

// Close ends the link for good. It waits for a request under way, at most for its
// time-out; cancel that request's context to end it at once.
func (l *Link) Close() {
	l.once.Do(func() {
		close(l.closed)
		<-l.turn
		l.medium.drop()
		l.turn <- struct{}{}
	})
}

// Links shares one link among all instruments at the same address: many gateways
// take one client only. The zero value is ready.
type Links struct {
	mu   sync.Mutex
	open map[string]*Link
}

// Open returns the link to an address; the first to ask makes it, and its settings
// count. Instruments with different time-outs set them in their requests. One line
// used in two ways is an error, and so is an address that cannot be read.
func (ls *Links) Open(s Settings) (*Link, error) {
	s = s.filled()
	if s.bad != nil {
		return nil, s.bad
	}
	ls.mu.Lock()
	defer ls.mu.Unlock()
	key := s.at.Device // files may differ by case, hosts do not
	if key == "" {
		key = strings.ToLower(s.at.Host)
	}
	l, ok := ls.open[key]
	switch {
	case !ok:
		if ls.open == nil {
			ls.open = map[string]*Link{}
		}
		l = Open(s)
		ls.open[key] = l
	case !strings.EqualFold(l.settings.at.String(), s.at.String()):
		return nil, fmt.Errorf("cannot share %s: one instrument expects %s, another %s; make them equal", key, l.settings.at, s.at)
	case l.settings.ZeroID != s.ZeroID:
		return nil, fmt.Errorf("cannot share %s: one instrument expects transaction id 0, another does not; make them equal", key)
	case l.settings.Echo != s.Echo:
		return nil, fmt.Errorf("cannot share %s: one instrument expects an echo, another does not; make them equal", key)
	}
	return l, nil
}

// Address is where the link leads.
func (l *Link) Address() Address { return l.settings.at }

// Close ends all links.
func (ls *Links) Close() {
	ls.mu.Lock()
	defer ls.mu.Unlock()
	for _, l := range ls.open {
		l.Close()
	}
	ls.open = nil
}
