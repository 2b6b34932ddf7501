package station

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sync"
	"time"

	"ionward/rules"
)

// trendSpan is how far the screen's trend looks back.
const trendSpan = 30 * time.Minute

// Run runs the agent until the context is cancelled (nil then) or a part that it cannot do without fails.
func (s *Station) Run(ctx context.Context) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var ports, feeds sync.WaitGroup
	failed := make(chan error, 3)
	if s.screen != nil {
		ports.Go(func() { s.failed(failed, stop, "the screen", s.screen.Serve(ctx, s.screenAt)) })
	}
	if s.metricsAt != nil {
		ports.Go(func() { s.failed(failed, stop, "metrics", s.serveMetrics(ctx)) })
	}
	// The feeds outlive the loop by a moment, so that they can say goodbye with the last state.
	sending, hush := context.WithCancel(context.WithoutCancel(ctx))
	for _, f := range s.feeds {
		feeds.Go(func() { s.send(sending, f) })
	}
	err := s.loop.Run(ctx)
	if errors.Is(err, context.Canceled) {
		err = nil
	}
	stop()
	hush()
	feeds.Wait()
	ports.Wait()
	err = errors.Join(err, s.close())
	close(failed)
	for cause := range failed {
		err = errors.Join(cause, err)
	}
	return err
}

// failed keeps the error of a port and stops the rest; an end because of a stop is none.
func (s *Station) failed(to chan<- error, stop func(), what string, err error) {
	if err == nil {
		return
	}
	to <- fmt.Errorf("cannot serve %s: %w", what, err)
	stop()
}

// serveMetrics answers at a port of its own.
func (s *Station) serveMetrics(ctx context.Context) error {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", s.metricsPage)
	server := &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 30 * time.Second, MaxHeaderBytes: 16 << 10}
	end := context.AfterFunc(ctx, func() { _ = server.Close() })
	defer end()
	if err := server.Serve(s.metricsAt); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// close ends what Open opened; it is the last thing done. The error is the journal's.
func (s *Station) close() error {
	for _, l := range []net.Listener{s.screenAt, s.metricsAt} {
		if l != nil {
			_ = l.Close() // closed by its server already, where one ran
		}
	}
	if s.source != nil {
		s.source.Close()
	}
	if s.journal == nil {
		return nil
	}
	return s.journal.Close()
}

// recall fills the screen's trend from the record.
func (s *Station) recall() {
	now := s.set.Clock.UTC()
	t, err := s.journal.Range(context.Background(), now.Add(-trendSpan).UnixNano(), now.UnixNano(), recalled...)
	if err != nil {
		s.log.Warn("the trend begins empty", "error", err)
		return
	}
	for i, at := range t.At {
		s.screen.Fill(time.Unix(0, at), t.Readings[0][i])
	}
}

func (s *Station) order(o rules.Order) error {
	s.source.Order(o)
	return nil
}

// health is what a supervisor asks for: the record must be kept.
func (s *Station) health() error {
	if h := s.journal.Health(); h.Failing {
		return fmt.Errorf("the journal cannot be written: %s", h.LastError)
	}
	return nil
}

// ScreenURL is where the screen answers, empty without one.
func (s *Station) ScreenURL() string {
	if s.screenAt == nil {
		return ""
	}
	return "http://" + s.screenAt.Addr().String() + "/"
}

// MetricsURL is where metrics answer, empty where they are off.
func (s *Station) MetricsURL() string {
	switch {
	case s.metricsAt != nil:
		return "http://" + s.metricsAt.Addr().String() + "/metrics"
	case s.screenAt != nil && s.set.File.Metrics.Listen != "":
		return s.ScreenURL() + "metrics"
	}
	return ""
}
