package mqtt

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"ionward/agent"
	"ionward/agent/forward"
)

const (
	stopLimit  = 1500 * time.Millisecond // for the planned stop's PUBACK
	shortLived = 30 * time.Second        // a session that ends sooner counts as a flap
	manyFlaps  = 3
	farewellMS = 250 // ms for the DISCONNECT to leave
)

// Client publishes one trailer.
type Client struct {
	set    Settings
	latest *agent.Latest
	feed   *forward.Feed
	boot   string

	mu     sync.Mutex
	up     *session      // nil while down
	raised chan struct{} // closes when up is next set
	health Health
	flaps  int // sessions in a row that were lost soon
}

// Health is how the link stands.
type Health struct {
	Broker    string
	Connected bool
	Since     time.Time // UTC of the last change of Connected; zero = never connected
	Sessions  int       // connections made since the start
	SelfTest  string    // what is wrong with the topics; empty = nothing, or not known yet
	Tested    bool      // the self-test has ended
	Flapping  bool      // connections are lost soon after they are made: perhaps another client has the same id
	LastError string    // with the time in front; empty = none; kept after recovery
	Feed      forward.Health
}

// New makes a client for a journal and the newest snapshot (nil leaves the state topic out); Run starts it.
func New(set Settings, log forward.Log, latest *agent.Latest) (*Client, error) {
	if faults := set.Check(); faults != nil {
		return nil, errors.Join(faults...)
	}
	var id [8]byte
	if _, err := rand.Read(id[:]); err != nil {
		return nil, fmt.Errorf("cannot make a boot id: %w", err)
	}
	set = set.filled()
	c := &Client{set: set, latest: latest, boot: hex.EncodeToString(id[:]), raised: make(chan struct{})}
	c.health.Broker = set.Broker
	c.feed = forward.New(set.Feed, log, c)
	return c, nil
}

// Run publishes until the context ends: then it says that the stop is planned, disconnects, and returns the context's
// error. Whatever the broker does, it goes on trying.
func (c *Client) Run(ctx context.Context) error {
	fed := make(chan struct{})
	go func() {
		defer close(fed)
		_ = c.feed.Run(ctx) // it ends with the context only; its troubles are in its health
	}()
	c.stay(ctx, fed)
	<-fed
	return ctx.Err()
}

// stay keeps the trailer connected. quiet closes when nothing more is sent after the context has ended.
func (c *Client) stay(ctx context.Context, quiet <-chan struct{}) {
	wait := forward.Backoff{First: c.set.Feed.First, Last: c.set.Feed.Last}
	for number := 1; ; number++ {
		s, err := c.connect(ctx, number)
		if err == nil {
			began := time.Now()
			err = s.serve(ctx)
			if ctx.Err() != nil {
				<-quiet
				s.farewell()
				return
			}
			_ = s.cut(err)
			<-s.gone // nothing of it runs any more when the next one begins
			c.flapped(time.Since(began) < shortLived)
			if time.Since(began) >= shortLived {
				wait.Reset()
			}
		}
		if ctx.Err() != nil {
			return
		}
		c.fault(err)
		timer := time.NewTimer(wait.Next())
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return
		}
	}
}

// farewell says that the stop is planned. The DISCONNECT suppresses the will, so the broker must have the word first.
func (s *session) farewell() {
	ctx, cancel := context.WithTimeout(context.Background(), stopLimit)
	defer cancel()
	err := s.say(ctx, "avail", true, s.c.set.availOf(false, "stop", s.c.boot, s.number, s.c.set.Clock.UTC()))
	if err != nil {
		s.c.fault(fmt.Errorf("cannot announce the stop: %w", err))
		_ = s.cut(err) // then the will must speak
		select {
		case <-s.gone:
		case <-ctx.Done():
		}
		return
	}
	s.client.Disconnect(farewellMS)
}

// Name is the feed's name in the journal.
func (c *Client) Name() string { return "mqtt" }

// Publish sends a batch as soon as the link is up.
func (c *Client) Publish(ctx context.Context, batch []*agent.Entry) (forward.Receipt, error) {
	s, err := c.ready(ctx)
	if err != nil {
		return nil, err
	}
	r := &receipt{s: s, tokens: make([]paho.Token, 0, len(batch)+1)}
	// When the session ends first, r is left to it and never seen again.
	if err := s.free(ctx, func() error { return r.send(batch) }); err != nil {
		return nil, err
	}
	return r, nil
}

// receipt is a batch on its way.
type receipt struct {
	s      *session
	tokens []paho.Token
}

func (r *receipt) send(batch []*agent.Entry) error {
	set := &r.s.c.set
	for _, e := range batch {
		if e.Scan {
			if err := r.add("log", set.logOf(e)); err != nil {
				return err
			}
		}
		for _, n := range alarms(e) {
			if err := r.add("alarms", set.alarmOf(e, n)); err != nil {
				return err
			}
		}
	}
	return nil
}

func (r *receipt) add(kind string, payload []byte) error {
	token, err := r.s.send(kind, false, payload)
	if err == nil {
		r.tokens = append(r.tokens, token)
	}
	return err
}

// Wait returns nil when the broker has acknowledged all of it.
func (r *receipt) Wait(ctx context.Context) error {
	return r.s.await(ctx, r.s.c.set.Puback, r.tokens...)
}

// ready waits for a session that is up.
func (c *Client) ready(ctx context.Context) (*session, error) {
	for {
		c.mu.Lock()
		s, raised := c.up, c.raised
		c.mu.Unlock()
		if s != nil {
			return s, nil
		}
		select {
		case <-raised:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

func (c *Client) raise(s *session) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.up = s
	close(c.raised)
	c.raised = make(chan struct{})
	c.health.Connected, c.health.Since = true, c.set.Clock.UTC()
	c.health.Sessions++
}

func (c *Client) lower(s *session) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.up == s {
		c.up = nil
	}
	c.health.Connected, c.health.Since = false, c.set.Clock.UTC()
}

// tested notes the outcome of the self-test; publishing goes on whatever it is.
func (c *Client) tested(wrong string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.health.Tested, c.health.SelfTest = true, wrong
}

func (c *Client) flapped(soon bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !soon {
		c.flaps = 0
	} else {
		c.flaps++
	}
	c.health.Flapping = c.flaps >= manyFlaps
}

func (c *Client) fault(err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.health.LastError = c.set.Clock.UTC().Format(time.RFC3339) + " " + err.Error()
}

// Health tells how the link and the feed stand.
func (c *Client) Health() Health {
	c.mu.Lock()
	h := c.health
	c.mu.Unlock()
	h.Flapping = h.Flapping && !(h.Connected && c.set.Clock.UTC().Sub(h.Since) >= shortLived)
	h.Feed = c.feed.Health()
	return h
}
