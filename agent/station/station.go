// Package station puts the agent of one trailer together from its unit file: source, loop, journal, feeds, metrics and
// screen, and starts and stops them in order.
//
// It guarantees that the journal is open before the first reading is taken, that a restart goes on from the checkpoint,
// that a port which fails alone (a broker, a disk) never stops the loop, and that a stop ends within two seconds with
// the record on the disk. It never decides anything about the water, and it has no way to write to an instrument.
package station

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"ionward/agent"
	"ionward/agent/journal"
	"ionward/agent/metrics"
	"ionward/agent/poll"
	"ionward/agent/screen"
	"ionward/agent/words"
	"ionward/configs"
	"ionward/rules/signal"
)

// Settings of a station. File is required.
type Settings struct {
	File       *configs.File
	Clock      agent.Clock  // nil = the machine's clock
	Simulation bool         // every page, topic and document says SIMULATION
	Pace       float64      // seconds of the unit in one of the wall; 0 = 1; above 1 in a simulation only
	Version    string       // of the program
	Log        *slog.Logger // nil = nobody
}

// Station is the agent of one trailer, ready to run.
type Station struct {
	set     Settings
	log     *slog.Logger
	latest  agent.Latest
	journal *journal.Journal
	source  *poll.Source
	loop    agent.Loop
	screen  *screen.Screen
	feeds   []feed

	screenAt    net.Listener // nil = no screen
	metricsAt   net.Listener // nil = at the screen's, or off
	metricsPage http.Handler // served at metricsAt
}

// Open opens the journal and the listeners. What cannot be opened is an error; instruments and brokers need not be there.
func Open(set Settings) (*Station, error) {
	s := &Station{set: set, log: set.Log}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if s.set.Clock == nil {
		s.set.Clock = agent.NewRealClock()
	}
	if err := s.open(); err != nil {
		_ = s.close() // the first error is the one to tell
		return nil, err
	}
	return s, nil
}

func (s *Station) open() error {
	f := s.set.File
	if f.Registers.Listen != "" {
		return errors.New("cannot serve registers: this version has no register server; remove registers.listen")
	}
	instruments, err := Instruments(f.Instruments)
	if err != nil {
		return err
	}
	s.journal, err = journal.Open(journal.Settings{Folder: f.Journal.Folder, Trailer: f.Trailer, Quota: f.Journal.Quota, Clock: s.set.Clock})
	if err != nil {
		return err
	}
	for _, aside := range s.journal.Health().Aside {
		s.log.Warn("the journal was damaged; it was moved aside and a new one begun", "file", aside)
	}
	last, restart := s.journal.Last()
	s.loop = agent.Loop{
		Trailer: f.Trailer, Simulation: s.set.Simulation, Settings: f.Rule, Epoch: last.Epoch, Seq: last.Seq,
		Latest: &s.latest, Journal: s.journal,
	}
	polling := poll.Settings{Instruments: instruments, Clock: s.set.Clock, Log: s.log}
	if restart {
		s.loop.State, polling.Resume = last.State, time.Unix(0, last.At)
		if f.Rule.Profile.AgentSupply.Yes {
			s.loop.State.LosePower(&f.Rule)
		}
		if total := last.State.Signals[signal.Total]; total.Known {
			polling.Total = total.Value
		}
		s.log.Info("going on from the checkpoint", "mode", last.State.Mode.String(), "at", polling.Resume.UTC())
	}
	if s.source, err = poll.New(polling); err != nil {
		return err
	}
	s.loop.Source = &witness{Source: s.source, failing: s.storeFailing}
	if err := s.openFeeds(); err != nil {
		return err
	}
	return s.openScreen()
}

// openScreen makes the screen and the metrics page and takes their ports.
func (s *Station) openScreen() (err error) {
	f := s.set.File
	page := metrics.Handler(metrics.Settings{
		Latest: &s.latest, Version: s.set.Version, Scans: s.source.Scans, Healths: s.source.Health, Backlogs: s.backlogs,
		JournalBytes: func() int64 { return s.journal.Health().Size },
	})
	if f.Metrics.Listen != "" && f.Metrics.Listen != f.Screen.Listen {
		if s.metricsAt, err = net.Listen("tcp", f.Metrics.Listen); err != nil {
			return fmt.Errorf("cannot serve metrics: %w; change metrics.listen", err)
		}
		s.metricsPage = page
	}
	if f.Screen.Listen == "" {
		return nil
	}
	phrases, err := words.Load(f.Language)
	if err != nil {
		return err
	}
	set := screen.Settings{
		Latest: &s.latest, Order: s.order, Health: s.health, Trailer: f.Trailer, Simulation: s.set.Simulation,
		Pace: s.set.Pace, PPI: f.Screen.Density, AgreedBy: f.AgreedBy, Version: s.set.Version,
		Phrases: phrases.With(words.Settings{
			Metric: f.Units == "metric", Bypass: f.Screen.BypassLabel, Location: time.Local,
			User: f.Phones.WaterUser, Service: f.Phones.Service, ControlRoom: f.Phones.ControlRoom,
		}),
	}
	if s.metricsAt == nil && f.Metrics.Listen != "" {
		set.Metrics = page
	}
	s.screen = screen.New(set)
	if s.screenAt, err = net.Listen("tcp", f.Screen.Listen); err != nil {
		return fmt.Errorf("cannot serve the screen: %w; change screen.listen", err)
	}
	s.recall()
	return nil
}
