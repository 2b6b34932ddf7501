package poll_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent"
	"ionward/agent/modbus/modbustest"
	"ionward/agent/poll"
	"ionward/rules/signal"
)

const (
	slowest = time.Second      // time-out of a request
	mending = 20 * time.Second // within which all must be well again, at the least pace of reconnecting
)

// stage is two units behind one link, with a proxy in front that can misbehave. Each signal is a float in a range of
// its own that rises with time, so that a number of another register, or of another moment, gives itself away. All are
// read in the same form, three of them from one unit: on a line nothing tells their answers apart.
type stage struct {
	*bench
	proxy *modbustest.Proxy
	began time.Time
	pace  time.Duration // real time in which a number rises by one step
	age   time.Duration // oldest that a number may be
	// product: look at the product only, and let it be a round number. What registers say can be wrong and look right:
	// only the product has a low limit above what zeros make of it, and of one float in thirty swapped words make one
	// that water might read. Only what it does in time gives that one away.
	product bool

	open, most atomic.Int32 // connections that the source has, and the most at once
}

// dial counts connections as the source sees them.
func (s *stage) dial(ctx context.Context, network, address string) (net.Conn, error) {
	c, err := s.proxy.Dial(ctx, network, address)
	if err != nil {
		return nil, err
	}
	if n := s.open.Add(1); n > s.most.Load() {
		s.most.Store(n)
	}
	return &counted{Conn: c, closed: sync.OnceFunc(func() { s.open.Add(-1) })}, nil
}

type counted struct {
	net.Conn
	closed func()
}

func (c *counted) Close() error {
	c.closed()
	return c.Conn.Close()
}

// places are the registers of the signals, by unit, and where the number of each begins.
var places = map[signal.ID]struct {
	unit     byte
	register uint16
	from     float64
}{
	signal.ProductConductivity: {1, 100, 0.5}, signal.Flow: {1, 300, 30}, signal.DownstreamFlow: {1, 500, 50}, signal.FeedConductivity: {2, 300, 300},
}

// at is the number at a time after the start: a step is 1/1000 of what it begins with.
func (s *stage) at(from float64, steps int64) float64 {
	if s.product {
		return from
	}
	return from * (1 + float64(steps%400)/1000)
}

func (s *stage) answer(a modbustest.Ask) []byte {
	steps := int64(time.Since(s.began) / s.pace)
	var data []byte
	for k := range a.Quantity {
		var word uint16 = 0xFFFF // what nobody maps
		for _, p := range places {
			bits := math.Float32bits(float32(s.at(p.from, steps)))
			switch {
			case p.unit != a.Unit:
			case p.register == a.Address+k:
				word = uint16(bits >> 16)
			case p.register+1 == a.Address+k:
				word = uint16(bits)
			}
		}
		data = binary.BigEndian.AppendUint16(data, word)
	}
	return modbustest.Data(a.Function, data)
}

// instruments are the two units at an address.
func instruments(address string) []poll.Instrument {
	first, second := analyzer(), meter()
	for _, i := range []*poll.Instrument{&first, &second} {
		i.Address, i.Timeout, i.Signals = address, slowest, nil
	}
	for _, id := range []signal.ID{signal.ProductConductivity, signal.Flow, signal.DownstreamFlow, signal.FeedConductivity} {
		p := places[id]
		s := product()
		if s.ID, s.Register, s.Kind = id, p.register, 0; id != signal.ProductConductivity {
			s.Low, s.High = 0, 0
		}
		i := &first
		if p.unit == 2 {
			i = &second
		}
		i.Signals = append(i.Signals, s)
	}
	return []poll.Instrument{first, second}
}

func newStage(t testing.TB, address string, change func(*poll.Settings)) *stage {
	s := &stage{
		began: time.Now(), pace: 100 * time.Millisecond, proxy: &modbustest.Proxy{RTU: strings.HasPrefix(address, "rtu")},
		age: 3*slowest + time.Second + 500*time.Millisecond, // three requests, an interval, a window
	}
	s.proxy.Answer = s.answer
	set := poll.Settings{Instruments: instruments(address), Dial: s.dial}
	if change != nil {
		change(&set)
	}
	s.bench = newBench(t, set, nil)
	t.Cleanup(s.proxy.Close)
	return s
}

// check takes one scan. No number in it may be another's or older than a time-out, an interval and a window; it tells
// whether all are there.
func (s *stage) check(t require.TestingT) bool {
	in := s.next(agent.Never)
	require.True(t, in.Scan)
	now := int64(time.Since(s.began) / s.pace)
	oldest := int64(s.age / s.pace)
	all := true
	for id, p := range places {
		r := in.Readings[id]
		if s.product && id != signal.ProductConductivity {
			continue
		}
		if !r.Usable() {
			require.Zero(t, r.Value, "%s: %v", id, r)
			all = false
			continue
		}
		fits := false
		for steps := now; steps >= max(0, now-oldest-1) && !fits; steps-- {
			fits = math.Abs(s.at(p.from, steps)-r.Value) <= id.Info().Resolution
		}
		require.True(t, fits, "%s is %v, was to be %v", id, r, s.at(p.from, now))
	}
	return all
}

// mended scans until all is well and stays so, and tells how long that took.
func (s *stage) mended(t require.TestingT) time.Duration {
	began := time.Now()
	for time.Since(began) < mending {
		took := time.Since(began)
		good := 0
		for good < 3 && s.check(t) {
			good++
		}
		if good == 3 {
			return took
		}
	}
	require.Fail(t, "not mended", "after %v; %v", mending, s.source.Health())
	return 0
}

var links = []string{"tcp://unit.test:502", "rtu+tcp://unit.test:4001", "rtu:///dev/ttyTest?baud=19200"}

func faultsOn(address string) []modbustest.Fault {
	list := modbustest.Faults(address[0] == 'r', slowest*3/2)
	if !strings.HasPrefix(address, "rtu:") {
		list = append(list, modbustest.Network()...)
	}
	return list
}

// Every way to misbehave, alone, for a while, on each kind of link.
func TestFaultsAlone(t *testing.T) {
	for _, address := range links {
		t.Run(address[:strings.Index(address, ":")], func(t *testing.T) {
			var longest time.Duration
			list := faultsOn(address)
			wrong := len(list)
			list = append(list, modbustest.Values()...)
			for k, f := range list {
				t.Run(f.Name, func(t *testing.T) {
					synctest.Test(t, func(t *testing.T) {
						s := newStage(t, address, nil)
						s.product = k >= wrong
						require.True(t, s.check(t))
						require.True(t, s.check(t))
						s.proxy.Set(f)
						if f.Refuse || f.Greet != nil {
							s.proxy.Cut()
						}
						for range 30 {
							s.check(t)
						}
						s.proxy.Set(modbustest.Fault{})
						took := s.mended(t)
						t.Logf("well again after %v", took)
						longest = max(longest, took)
						assert.EqualValues(t, 1, s.most.Load(), "one connection at a time")
					})
				})
			}
			t.Logf("%d faults; well again after %v at most", len(list), longest)
		})
	}
}

// Many faults, one after the other, each for its time: a longer run is
// go test -run TestFaultSequences -rapid.checks 20000 ./agent/poll
func TestFaultSequences(t *testing.T) {
	for _, address := range links {
		t.Run(address[:strings.Index(address, ":")], func(t *testing.T) {
			var longest time.Duration
			rapid.Check(t, func(rt *rapid.T) {
				list := faultsOn(address) // anew: they remember
				type turn struct {
					fault int
					lasts time.Duration
					cut   bool
				}
				turns := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) turn {
					return turn{
						rapid.IntRange(0, len(list)-1).Draw(t, "fault"),
						time.Duration(rapid.IntRange(1, 12000).Draw(t, "ms")) * time.Millisecond, rapid.Bool().Draw(t, "cut"),
					}
				}), 1, 6).Draw(rt, "turns")
				var failed any
				synctest.Test(t, func(t *testing.T) {
					s := newStage(t, address, nil)
					defer func() { failed = recover() }()
					for _, turn := range turns {
						s.proxy.Set(list[turn.fault])
						if turn.cut {
							s.proxy.Cut()
						}
						for began := time.Now(); time.Since(began) < turn.lasts; {
							s.check(panics{})
						}
					}
					s.proxy.Set(modbustest.Fault{})
					longest = max(longest, s.mended(panics{}))
				})
				if failed != nil {
					rt.Fatal(failed)
				}
			})
			t.Logf("well again after %v at most", longest)
		})
	}
}

// panics lets a check inside a bubble fail the property outside it.
type panics struct{}

func (panics) Errorf(format string, args ...any) { panic(fmt.Sprintf(format, args...)) }
func (panics) FailNow()                          {}
