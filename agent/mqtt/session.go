package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// session is one connection, from CONNECT to its end. It is never used again after that.
type session struct {
	c      *Client
	number int
	client paho.Client
	seen   chan presence // what came back on the availability topic

	mu   sync.Mutex
	conn net.Conn
	why  error
	gone chan struct{} // closed once the connection is lost
}

// hold keeps the connection, to be able to cut it.
func (s *session) hold(conn net.Conn) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.conn = conn
	if s.why != nil {
		_ = conn.Close() // it was cut while it was dialled
	}
}

// lose marks the end; the first reason counts.
func (s *session) lose(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.why == nil {
		s.why = err
	}
	select {
	case <-s.gone:
	default:
		close(s.gone)
	}
}

// cut ends the connection without a DISCONNECT, so that the broker publishes the will, and gives the reason back.
func (s *session) cut(err error) error {
	s.mu.Lock()
	if s.why == nil {
		s.why = err
	}
	conn := s.conn
	s.mu.Unlock()
	if conn != nil {
		_ = conn.Close() // its reader ends and reports the loss
	}
	return err
}

func (s *session) reason() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return fmt.Errorf("%w: %w", errDown, s.why)
}

// connect makes one attempt.
func (c *Client) connect(ctx context.Context, number int) (*session, error) {
	s := &session{c: c, number: number, seen: make(chan presence, 16), gone: make(chan struct{})}
	options, err := c.options(ctx, s)
	if err != nil {
		return nil, err
	}
	s.client = paho.NewClient(options)
	stop := context.AfterFunc(ctx, func() { _ = s.cut(ctx.Err()) })
	token := s.client.Connect()
	<-token.Done() // it has its own limits, and the context cuts it short
	if stop(); token.Error() != nil {
		return nil, fmt.Errorf("cannot connect to %s: %w", c.set.Broker, token.Error())
	}
	return s, nil
}

// send hands one message to the library, in order; a token with an error must end the session, or what follows it would
// come before it.
func (s *session) send(kind string, retained bool, payload []byte) (paho.Token, error) {
	token := s.client.Publish(s.c.set.topic(kind), 1, retained, payload)
	if err := token.Error(); err != nil {
		return nil, s.cut(fmt.Errorf("cannot send to %s: %w", s.c.set.topic(kind), err))
	}
	return token, nil
}

// free runs what hands messages to the library, and returns as soon as the session is over: the library may hold its
// caller for the whole write timeout after a loss.
func (s *session) free(ctx context.Context, hand func() error) error {
	done := make(chan error, 1)
	go func() { done <- hand() }()
	select {
	case err := <-done:
		return err
	case <-s.gone:
		return s.reason()
	case <-ctx.Done():
		return ctx.Err()
	}
}

// await returns nil when all tokens are acknowledged; otherwise the session is ended.
func (s *session) await(ctx context.Context, limit time.Duration, tokens ...paho.Token) error {
	timer := time.NewTimer(limit)
	defer timer.Stop()
	for _, token := range tokens {
		select {
		case <-token.Done():
			if err := token.Error(); err != nil {
				return s.cut(fmt.Errorf("%w: %w", errDown, err))
			}
		case <-s.gone:
			return s.reason()
		case <-timer.C:
			return s.cut(fmt.Errorf("the broker has not acknowledged within %v", limit))
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}

// say publishes one message and waits for its acknowledgement.
func (s *session) say(ctx context.Context, kind string, retained bool, payload []byte) error {
	tokens := make(chan paho.Token, 1)
	err := s.free(ctx, func() error {
		token, err := s.send(kind, retained, payload)
		tokens <- token
		return err
	})
	if err != nil {
		return err
	}
	return s.await(ctx, s.c.set.Puback, <-tokens)
}

func (s *session) birth(ctx context.Context) error {
	return s.say(ctx, "avail", true, s.c.set.availOf(true, "birth", s.c.boot, s.number, s.c.set.Clock.UTC()))
}

// watch subscribes to the availability topic: that the birth comes back proves that the topics may be written and read,
// which a PUBACK alone does not, and an older will that comes late is seen and put right.
func (s *session) watch(ctx context.Context) error {
	topic := s.c.set.topic("avail")
	token := s.client.Subscribe(topic, 1, func(_ paho.Client, m paho.Message) {
		var p presence
		if json.Unmarshal(m.Payload(), &p) != nil {
			return // somebody else's; what is not ours is not judged
		}
		select {
		case s.seen <- p:
		default: // nobody needs more than the buffer holds
		}
	})
	err := s.await(ctx, s.c.set.Puback, token)
	if subscribed, ok := token.(*paho.SubscribeToken); ok && err == nil && subscribed.Result()[topic] > 2 {
		s.c.tested("the broker refuses the subscription to " + topic)
	}
	return err
}

// serve keeps the session until it is lost (the reason) or the context ends (nil).
func (s *session) serve(ctx context.Context) error {
	if err := s.birth(ctx); err != nil {
		return err
	}
	if err := s.watch(ctx); err != nil {
		return err
	}
	s.c.raise(s)
	defer s.c.lower(s)
	live, cancel := context.WithCancel(ctx)
	states := make(chan struct{})
	go func() {
		defer close(states)
		s.states(live)
	}()
	defer func() { cancel(); <-states }()
	echo := time.NewTimer(echoLimit)
	defer echo.Stop()
	for {
		select {
		case p := <-s.seen:
			if err := s.judge(ctx, p, echo); err != nil {
				return err
			}
		case <-echo.C:
			s.c.tested("the birth has not come back from " + s.c.set.topic("avail") + ": look at the broker's access list")
		case <-s.gone:
			return s.reason()
		case <-ctx.Done():
			return nil
		}
	}
}

const echoLimit = 10 * time.Second

// judge looks at what stands on the availability topic.
func (s *session) judge(ctx context.Context, p presence, echo *time.Timer) error {
	mine := p.Boot == s.c.boot && p.Session == s.number
	switch {
	case mine:
		echo.Stop()
		s.c.tested("")
		return nil
	case p.Avail == "online" && p.Boot != s.c.boot:
		s.c.fault(errors.New("another agent publishes for the trailer " + s.c.set.Trailer))
		return nil
	default: // an older connection's will has taken the place of the birth
		return s.birth(ctx)
	}
}

// states publishes the newest snapshot, one at a time: what came while one was on its way is left out.
func (s *session) states(ctx context.Context) {
	if s.c.latest == nil {
		return
	}
	for {
		snap, next := s.c.latest.Get()
		if snap != nil {
			if s.say(ctx, "state", true, s.c.set.stateOf(snap)) != nil {
				return // the session is over: serve reports why
			}
		}
		select {
		case <-next:
		case <-s.gone:
			return
		case <-ctx.Done():
			return
		}
	}
}
