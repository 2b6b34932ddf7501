// Package instruments is the Modbus TCP side of the simulated trailer: a two-channel analyzer, a flow meter and a
// contact reader at separate unit ids behind one gateway.
//
// It guarantees that all values of one answer belong to one instant, that each unit id that exists and has power
// answers two registers from address 0, and that only an instrument with power answers. It never takes a write: every
// writing function is refused, so that nothing can be moved from outside the panel.
package instruments

import (
	"fmt"
	"io"
	"log"
	"net"
	"time"

	"github.com/simonvetter/modbus"

	"ionward/simulate/plant"
)

// Settings say where to listen.
type Settings struct {
	Listen string        // host:port; port 0 takes a free one
	Idle   time.Duration // a connection silent for so long is closed; 0 = 2 min
	Most   uint          // connections at once; 0 = 32
}

// Server answers for the instruments of one trailer.
type Server struct {
	address string
	server  *modbus.ModbusServer
}

// Listen starts to answer. Truth gives the plant of this instant; it is called from several goroutines.
func Listen(set Settings, truth func() plant.Truth) (*Server, error) {
	host, port, err := net.SplitHostPort(set.Listen)
	if err != nil {
		return nil, fmt.Errorf("cannot listen for Modbus at %q: use host:port, such as 127.0.0.1:5020", set.Listen)
	}
	if set.Idle <= 0 {
		set.Idle = 2 * time.Minute
	}
	if set.Most == 0 {
		set.Most = 32
	}
	if port != "0" {
		return serve(set, truth)
	}
	// The server cannot tell the port it was given, so a free one is looked up first. Should another program take it
	// in between, the next is tried.
	for range 20 {
		if set.Listen, err = free(host); err != nil {
			break
		}
		var s *Server
		if s, err = serve(set, truth); err == nil {
			return s, nil
		}
	}
	return nil, fmt.Errorf("cannot find a free port for Modbus at %s: %w", host, err)
}

func free(host string) (address string, err error) {
	l, err := net.Listen("tcp", net.JoinHostPort(host, "0"))
	if err != nil {
		return "", err
	}
	return l.Addr().String(), l.Close()
}

func serve(set Settings, truth func() plant.Truth) (*Server, error) {
	server, err := modbus.NewServer(&modbus.ServerConfiguration{
		URL: "tcp://" + set.Listen, Timeout: set.Idle, MaxClients: set.Most,
		Logger: log.New(io.Discard, "", 0), // a client's noise is no news of the plant
	}, gateway{truth})
	if err == nil {
		err = server.Start()
	}
	if err != nil {
		return nil, fmt.Errorf("cannot listen for Modbus at %s (is another program using it?): %w", set.Listen, err)
	}
	return &Server{address: set.Listen, server: server}, nil
}

// Address is host:port.
func (s *Server) Address() string { return s.address }

// URL is the address as unit files and people write it: tcp://host:port.
func (s *Server) URL() string { return "tcp://" + s.address }

// Close stops listening and closes every connection.
func (s *Server) Close() error {
	if err := s.server.Stop(); err != nil {
		return fmt.Errorf("cannot stop the Modbus server at %s: %w", s.address, err)
	}
	return nil
}
