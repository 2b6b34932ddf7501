package screen

import (
	"context"
	"crypto/rand"
	"errors"
	"net"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"ionward/agent"
	"ionward/agent/words"
	"ionward/rules"
	"ionward/rules/signal"
)

// Settings are what the screen needs. Latest is required; the zero of anything else has a default.
type Settings struct {
	Latest     *agent.Latest
	Phrases    *words.Phrases          // language, units, telephone numbers, time zone; nil = English
	Order      func(rules.Order) error // gives an order to the loop; must not block; nil = no acknowledge button
	Metrics    http.Handler            // served at /metrics; nil = none
	Health     func() error            // a further check of /healthz; nil = none
	Watch      words.Watch             // what tells the situations apart; zero = words.DefaultWatch
	Trailer    string                  // shown until the first snapshot tells it
	Simulation bool                    // say SIMULATION before the first snapshot tells it
	Pace       float64                 // seconds of the unit in one second of the wall; 0 = 1; above 1 in a paced simulation only
	PPI        float64                 // pixels per inch of the panel PC's display; 0 = 149 (10.1 in, 1280x800)
	Gloves     bool                    // touch targets of 20 mm in place of 15 mm
	AgreedBy   string                  // who agreed the endpoint
	Version    string                  // of the program
	Silence    time.Duration           // wall time without a snapshot after which nothing is known, longer than two polls; 0 = 5 s
}

// Screen serves the page of one unit. Make it with New; it is safe for concurrent use.
type Screen struct {
	set     Settings
	words   *words.Phrases
	boot    string // differs after every start, so that an open page loads the new program's page
	handler http.Handler
	streams atomic.Int32

	mu     sync.Mutex
	newest *agent.Snapshot
	came   time.Time // wall time at which newest was first seen here
	trend  trend
}

// New makes the screen.
func New(set Settings) *Screen {
	if set.Phrases == nil {
		set.Phrases = words.English()
	}
	if set.Watch == (words.Watch{}) {
		set.Watch = words.DefaultWatch()
	}
	if set.Pace <= 0 {
		set.Pace = 1
	}
	if set.PPI <= 0 {
		set.PPI = 149
	}
	if set.Silence <= 0 {
		set.Silence = 5 * time.Second
	}
	s := &Screen{set: set, words: set.Phrases, boot: rand.Text()[:8]}
	s.handler = s.routes()
	return s
}

// ServeHTTP serves the screen, so that it can be mounted in another server.
func (s *Screen) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// Serve answers on the listener until the context is cancelled (nil then) or the listener fails.
func (s *Screen) Serve(ctx context.Context, l net.Listener) error {
	// Streams hang on this context: a stop ends them at once instead of waiting for the browsers.
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	server := &http.Server{
		Handler: s, BaseContext: func(net.Listener) context.Context { return ctx },
		ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 30 * time.Second,
		IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
	}
	var wg sync.WaitGroup
	defer wg.Wait()
	wg.Go(func() { s.Follow(ctx) })
	wg.Go(func() {
		<-ctx.Done()
		quiet, done := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
		defer done()
		if server.Shutdown(quiet) != nil {
			_ = server.Close() // what is still open after a second is cut
		}
	})
	err := server.Serve(l)
	stop()
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}

// Follow takes every snapshot into the trend until the context is cancelled. Serve does this by itself; call it only
// where the screen is mounted in another server.
func (s *Screen) Follow(ctx context.Context) {
	for {
		snap, changed := s.set.Latest.Get()
		s.see(snap)
		select {
		case <-changed:
		case <-ctx.Done():
			return
		}
	}
}

// Fill puts one recorded product reading into the trend, so that a start does not begin with an empty one. Readings
// older than the trend are dropped.
func (s *Screen) Fill(at time.Time, product signal.Reading) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.trend.add(at.UnixNano(), product.Value, product.Usable())
}

// see notes when a snapshot was first seen and adds its product reading to the trend.
func (s *Screen) see(snap *agent.Snapshot) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if snap == nil || snap == s.newest {
		return
	}
	s.newest, s.came = snap, time.Now()
	h := &snap.State.Signals[signal.ProductConductivity]
	if h.Quality == signal.None && s.set.Watch.Fresh(&snap.State, signal.ProductConductivity) {
		return // one lost poll is no gap: nothing is drawn until the reading is stale
	}
	s.trend.add(snap.At, h.Value, h.Quality == signal.Good || h.Quality == signal.Uncertain)
}

// present gives the newest snapshot and for how long it has been the newest, wall time.
func (s *Screen) present() (*agent.Snapshot, time.Duration, <-chan struct{}) {
	snap, changed := s.set.Latest.Get()
	s.see(snap)
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.newest, time.Since(s.came), changed
}
