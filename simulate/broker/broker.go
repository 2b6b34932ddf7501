// Package broker is an MQTT broker inside the simulator, so that a demonstration needs nothing installed.
//
// It guarantees that it listens on the loopback only and ends with its owner. It takes anonymous clients, keeps nothing
// on disk, and is no broker for a plant.
package broker

import (
	"fmt"
	"io"
	"log/slog"
	"net"
	"sync"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
	"github.com/mochi-mqtt/server/v2/listeners"
)

// Broker is a running broker.
type Broker struct {
	server *mochi.Server
	door   *door
}

// Listen starts a broker at host:port, which must be of the loopback; port 0 takes a free one.
func Listen(address string) (*Broker, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, fmt.Errorf("cannot listen for MQTT at %q: use host:port, such as 127.0.0.1:1883", address)
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, fmt.Errorf("cannot listen for MQTT at %s: this broker takes anybody, so it stays on the loopback; use 127.0.0.1", address)
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("cannot listen for MQTT: %w", err)
	}
	d := &door{Listener: l, inside: map[net.Conn]bool{}}
	s := mochi.New(&mochi.Options{Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	err = s.AddHook(new(auth.AllowHook), nil)
	if err == nil {
		err = s.AddListener(listeners.NewNet("broker", d))
	}
	if err == nil {
		err = s.Serve()
	}
	if err != nil {
		_ = l.Close()
		return nil, fmt.Errorf("cannot start the MQTT broker: %w", err)
	}
	return &Broker{server: s, door: d}, nil
}

// URL is the broker's address, mqtt://host:port.
func (b *Broker) URL() string { return "mqtt://" + b.door.Addr().String() }

// Close ends the broker and its connections.
func (b *Broker) Close() error {
	b.door.shut()
	return b.server.Close()
}

// door closes every connection when it is shut: the server alone waits for one that comes while it is closing.
type door struct {
	net.Listener
	mu     sync.Mutex
	inside map[net.Conn]bool
	closed bool
}

// visitor leaves the door's list when it is closed.
type visitor struct {
	net.Conn
	door *door
}

func (v *visitor) Close() error {
	v.door.mu.Lock()
	delete(v.door.inside, v)
	v.door.mu.Unlock()
	return v.Conn.Close()
}

// Accept lets the next one in.
func (d *door) Accept() (net.Conn, error) {
	c, err := d.Listener.Accept()
	if err != nil {
		return nil, err
	}
	v := &visitor{Conn: c, door: d}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.closed {
		_ = c.Close()
	} else {
		d.inside[v] = true
	}
	return v, nil
}

func (d *door) shut() {
	d.mu.Lock()
	d.closed = true
	var all []net.Conn
	for v := range d.inside {
		all = append(all, v)
	}
	d.mu.Unlock()
	_ = d.Close()
	for _, v := range all {
		_ = v.Close()
	}
}
