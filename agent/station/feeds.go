package station

import (
	"context"
	"errors"

	"ionward/agent/mqtt"
)

// feed is one way out of the journal, running beside the loop.
type feed interface {
	Run(ctx context.Context) error
	backlog() (name string, entries uint64)
}

// openFeeds makes a feed for every sink that the unit file names.
func (s *Station) openFeeds() error {
	f := s.set.File
	if !f.MQTT.Broker.On() {
		return nil
	}
	m := &f.MQTT
	c, err := mqtt.New(mqtt.Settings{
		Broker: m.Broker.String(), Prefix: m.Prefix, Trailer: f.Trailer, ClientID: m.ClientID, CA: m.CA, Cert: m.Cert, Key: m.Key,
		User: m.User, PasswordFile: m.PasswordFile, Simulation: s.set.Simulation, Clock: s.set.Clock,
	}, s.journal, &s.latest)
	if err != nil {
		return err
	}
	s.feeds = append(s.feeds, mqttFeed{c})
	return nil
}

type mqttFeed struct{ *mqtt.Client }

func (m mqttFeed) backlog() (string, uint64) {
	h := m.Health().Feed
	return h.Feed, h.Backlog
}

func (s *Station) backlogs() map[string]uint64 {
	all := make(map[string]uint64, len(s.feeds))
	for _, f := range s.feeds {
		name, entries := f.backlog()
		all[name] = entries
	}
	return all
}

// send runs the feeds until their context ends. A feed never fails for good: its troubles are in its health.
func (s *Station) send(ctx context.Context, f feed) {
	if err := f.Run(ctx); err != nil && !errors.Is(err, context.Canceled) {
		name, _ := f.backlog()
		s.log.Error("a feed has ended", "feed", name, "error", err)
	}
}
