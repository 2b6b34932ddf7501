// Package poll is the live source: it asks the instruments of a trailer in turn and makes readings of their answers.
//
// It guarantees that a reading in a scan was sent by its instrument in answer to a request of its own, that every
// failure is "no reading" or "bad" with its cause and never the last good number, that one instrument that hangs does
// not hold the others back for longer than half an interval (at most 0.5 s), and that a deadline of the rule is met
// even when all of them hang. Time between steps is monotonic, UTC is for the record only.
//
// Two things are kept back although they were answered: what an instrument measures while it warms up after a loss, and
// all that comes over a link that comes and goes, until it is steady. Both are "no reading", not "uncertain": an uncertain
// number above the endpoint would count as off spec, and a cell that warms up reads anything. What is bad stays bad.
//
// It reads and never writes: no request but a read can be built from its settings. It keeps no record, decides
// nothing about the water, and starts no goroutine that outlives Close.
package poll

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strings"
	"sync"
	"time"

	"ionward/agent"
	"ionward/agent/modbus"
	"ionward/rules"
	"ionward/rules/signal"
)

// Settings of a source. Clock and at least one instrument are required.
type Settings struct {
	Instruments []Instrument
	Clock       agent.Clock
	Resume      time.Time    // UTC of the checkpoint to go on from; zero = none: the first step has no gap
	Total       float64      // m3, the total of the checkpoint, for a total that is counted from pulses; 0 = none
	Log         *slog.Logger // told when an instrument is lost and found; nil = nobody

	// Dial opens a connection; nil = net.Dialer's.
	Dial func(ctx context.Context, network, address string) (net.Conn, error)
}

// Instrument is one Modbus server and the signals to be read from it.
type Instrument struct {
	Name          string        // unique
	Address       string        // see modbus.ParseAddress; instruments at the same one share a connection
	UnitID        uint8         //
	Every         time.Duration // between two polls; 0 = 1 s
	Timeout       time.Duration // for one request; 0 = 1 s
	Order         modbus.Order  // how values of several bytes travel
	MaxRegisters  int           // most in one request, 1 to 125; 0 = 125
	Gap           int           // registers between two signals read for nothing rather than asking twice; 0 = as many as cost no more on that link, negative = none
	ZeroID        bool          // it answers every request with transaction id 0
	WarmUp        time.Duration // what it measures is no reading for so long after it was lost; 0 = it is at once
	HoldOff       HoldOff       // of a link that comes and goes
	Settings      []Setting     // of its own, to be compared with what was commissioned
	SettingsEvery time.Duration // between two looks at them; 0 = 10 min
	Signals       []Signal      // each signal of a trailer comes from one place only
}

// Source polls; it implements agent.Source. Next has one caller at a time, everything else may be called from anywhere.
type Source struct {
	clock       agent.Clock
	resume      time.Time
	links       modbus.Links
	instruments []*instrument

	// Next's own.
	last     time.Duration // clock time of the last step
	begun    bool          // last is set
	scanning bool          // a scan is open: its polls are under way
	window   time.Duration // clock time at which the open scan ends without those who have not answered
	awaited  int           // how many of the open scan have not answered
	told     rules.Facts   // the last facts that were told

	// Polls report here. There is room for all, so that no poll ever waits to be heard.
	results chan result
	polling context.Context // of all polls
	halt    context.CancelFunc
	group   sync.WaitGroup

	mu      sync.Mutex
	orders  []rules.Order
	wake    context.CancelFunc // ends the waiting of Next
	scans   uint64
	scanned time.Time
}

// New checks the settings and makes a source. It connects when first asked.
func New(s Settings) (*Source, error) {
	if s.Clock == nil {
		return nil, errors.New("cannot poll without a clock")
	}
	if len(s.Instruments) == 0 {
		return nil, errors.New("cannot poll: no instrument")
	}
	if s.Log == nil {
		s.Log = slog.New(slog.DiscardHandler)
	}
	src := &Source{clock: s.Clock, resume: s.Resume, results: make(chan result, len(s.Instruments))}
	if err := src.open(s); err != nil {
		src.links.Close()
		return nil, err
	}
	src.polling, src.halt = context.WithCancel(context.Background())
	return src, nil
}

func (s *Source) open(set Settings) error {
	// Pauses and idling follow the source's clock, so that a simulation at another pace reconnects as quickly by its own
	// time. The wall clock is of no use there: it may be set back.
	base := time.Unix(0, 0)
	now := func() time.Time { return base.Add(set.Clock.Now()) }
	names, places, lines := map[string]bool{}, map[signal.ID]string{}, map[string]*redials{}
	for _, in := range set.Instruments {
		if names[in.Name] {
			return fmt.Errorf("cannot poll %s: two instruments have this name; rename one", in.Name)
		}
		names[in.Name] = true
		for _, sig := range in.Signals {
			if first, twice := places[sig.ID]; twice {
				return fmt.Errorf("cannot poll %s: signal %s is read from %s already; remove one", in.Name, sig.ID, first)
			}
			places[sig.ID] = in.Name
		}
		i, err := newInstrument(in, set.Clock, set.Log)
		if err != nil {
			return fmt.Errorf("cannot poll %s: %w", in.Name, err)
		}
		dial := set.Dial
		if at, bad := modbus.ParseAddress(in.Address); bad == nil && (dial != nil || at.Device == "") {
			if i.redials = lines[strings.ToLower(at.Line())]; i.redials == nil {
				i.redials = newRedials(set.Dial)
				lines[strings.ToLower(at.Line())] = i.redials
			}
			dial = i.redials.dial
		}
		i.link, err = s.links.Open(modbus.Settings{Address: in.Address, Timeout: i.Timeout, ZeroID: in.ZeroID, Dial: dial, Now: now})
		if err != nil {
			return fmt.Errorf("cannot poll %s: %w", in.Name, err)
		}
		if set.Total > 0 && !set.Resume.IsZero() {
			i.resume(set.Total, set.Clock.Now()-max(0, set.Clock.UTC().Sub(set.Resume)))
		}
		i.index = len(s.instruments)
		s.instruments = append(s.instruments, i)
	}
	s.spread()
	return nil
}

// Close ends all polls and connections, and waits until they have ended.
func (s *Source) Close() {
	s.halt()
	s.group.Wait()
	s.links.Close()
}

// Order takes what a person did; the running Next returns with it at once.
func (s *Source) Order(o rules.Order) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.orders = append(s.orders, o)
	if s.wake != nil {
		s.wake()
	}
}

// Health tells how each instrument has answered so far, in the order of the settings. It is an agent.Healths.
func (s *Source) Health() []agent.Health {
	list := make([]agent.Health, len(s.instruments))
	for k, i := range s.instruments {
		list[k] = i.report()
	}
	return list
}

// Scans tells how many scans there were and the UTC of the newest; zero = none.
func (s *Source) Scans() (uint64, time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.scans, s.scanned
}
