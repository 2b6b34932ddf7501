package poll_test

import (
	"bytes"
	"context"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent"
	"ionward/agent/modbus"
	"ionward/agent/poll"
	"ionward/rules/signal"
)

// stopped is a clock that moves only while somebody sleeps on it, at once, and whose timers never fire.
type stopped struct {
	mu  sync.Mutex
	now time.Duration
}

var epoch = time.Date(2026, 3, 14, 9, 26, 53, 0, time.UTC)

func (c *stopped) Now() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *stopped) UTC() time.Time { return epoch.Add(c.Now()) }

func (c *stopped) Sleep(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now += d
	return nil
}

func (c *stopped) Timer(time.Duration) (<-chan time.Time, func()) {
	return make(chan time.Time), func() {}
}

// On a paced clock the network's time is nobody's: a scan waits for the real time-out, and its instant is exact.
func TestAPacedClockWaitsForTheNetwork(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, analyzers, _ := two(t, func(s *poll.Settings) { s.Clock = &stopped{} })
		analyzers.script = after(900 * time.Millisecond)
		began := time.Now()
		for k := range 5 {
			set := b.scan()
			assert.Equal(t, good(0.5), set[signal.ProductConductivity])
			assert.Equal(t, good(36), set[signal.Flow])
			assert.Equal(t, time.Duration(k)*time.Second, b.total)
			assert.Equal(t, epoch.Add(b.total).UnixNano(), b.in.At)
		}
		assert.Equal(t, 4500*time.Millisecond, time.Since(began))

		analyzers.set(func(d *device) { d.script = func(ask) reply { return reply{silent: true} } })
		set := b.scan()
		assert.Equal(t, none(signal.TimedOut), set[signal.ProductConductivity])
		assert.Equal(t, good(36), set[signal.Flow])
		assert.Equal(t, 5*time.Second, b.total)
		// The rule's deadline falls on the instant of a scan: the scan decides it.
		assert.True(t, b.next(time.Second).Scan)
		assert.False(t, b.next(400*time.Millisecond).Scan)
		assert.Equal(t, 6400*time.Millisecond, b.total)
	})
}

func TestRefusedRunsAreReadApart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDevice(map[int]uint16{10: 180})
		d.float(0, 0.5)
		// Registers 2 to 9 are not mapped: who asks for them is refused.
		d.script = func(a ask) reply {
			if a.address < 10 && a.address+a.quantity > 2 {
				return reply{exception: 2}
			}
			return reply{}
		}
		i := analyzer()
		i.Gap = 8
		i.Signals = append(i.Signals, poll.Signal{ID: signal.ProductTemperature, Kind: modbus.Input, Register: 10, Type: modbus.I16, Scale: 0.1})
		var log bytes.Buffer
		b := newBench(t, poll.Settings{Instruments: []poll.Instrument{i}, Log: slog.New(slog.NewTextHandler(&log, nil))}, map[string]*device{analyzerAt: d})
		for range 3 {
			set := b.scan()
			assert.Equal(t, good(0.5), set[signal.ProductConductivity])
			assert.Equal(t, good(18), set[signal.ProductTemperature])
		}
		assert.Len(t, d.asked(), 1+3*2, "refused once, and remembered")
		assert.Equal(t, 1, strings.Count(log.String(), "read apart"), log.String())
		assert.Empty(t, b.source.Health()[0].Errors)
	})
}

// A block that is never answered must not keep the blocks behind it from ever being asked.
func TestASilentBlockStarvesNoOther(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDevice(map[int]uint16{100: 180})
		d.float(0, 0.5)
		d.script = func(a ask) reply { return reply{silent: a.address == 0} }
		i := analyzer()
		i.Gap = -1
		i.Signals = append(i.Signals, poll.Signal{ID: signal.ProductTemperature, Kind: modbus.Input, Register: 100, Type: modbus.I16, Scale: 0.1})
		b := newBench(t, poll.Settings{Instruments: []poll.Instrument{i}}, map[string]*device{analyzerAt: d})
		seen := 0
		for range 10 {
			set := b.scan()
			require.Equal(t, none(signal.TimedOut), set[signal.ProductConductivity])
			if set[signal.ProductTemperature] == good(18) {
				seen++
			}
		}
		assert.Positive(t, seen)
	})
}

func TestLostAndFoundIsLoggedOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log bytes.Buffer
		b, analyzers, _ := two(t, func(s *poll.Settings) { s.Log = slog.New(slog.NewTextHandler(&log, nil)) })
		for _, silent := range []bool{false, true, false} {
			analyzers.set(func(d *device) {
				d.script = func(ask) reply { return reply{exception: map[bool]byte{true: 4}[silent]} }
			})
			for range 5 {
				b.scan()
			}
		}
		assert.Equal(t, 1, strings.Count(log.String(), "does not answer as it should"), log.String())
		assert.Equal(t, 1, strings.Count(log.String(), "answers again"), log.String())
		assert.Equal(t, 2, strings.Count(log.String(), "instrument=analyzer"))
	})
}

// Real sockets: a server that is killed in mid-run, and another that takes its place.
func TestKilledAndBack(t *testing.T) {
	d := newDevice(nil)
	d.float(0, 0.5)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := listener.Addr().String()
	serve := func(l net.Listener) {
		d.answering.Go(func() {
			for {
				c, err := l.Accept()
				if err != nil {
					return // closed by the test
				}
				d.set(func(d *device) { d.conns = append(d.conns, c) })
				d.answering.Go(func() { d.serve(c) })
			}
		})
	}
	serve(listener)
	i := analyzer()
	i.Address = address
	i.Every = 10 * time.Millisecond
	clock := &stopped{}
	b := newBench(t, poll.Settings{Instruments: []poll.Instrument{i}, Clock: clock, Dial: new(net.Dialer).DialContext}, map[string]*device{address: d})
	require.Equal(t, good(0.5), b.scan()[signal.ProductConductivity])

	require.NoError(t, listener.Close())
	d.end()
	for range 20 {
		r := b.scan()[signal.ProductConductivity]
		require.Equal(t, signal.None, r.Quality)
		require.Contains(t, []signal.Cause{signal.LinkDown, signal.BrokenFrame}, r.Cause)
	}
	listener, err = net.Listen("tcp", address)
	require.NoError(t, err)
	defer func() { _ = listener.Close() }()
	d.float(0, 0.75)
	serve(listener)
	// The pause between attempts is the clock's, and this clock does not wait: at most 10 s are 1000 scans.
	tries := 0
	for b.scan()[signal.ProductConductivity] != good(0.75) {
		tries++
		require.Less(t, tries, 1100, "it did not come back")
	}
	require.NoError(t, listener.Close())
}

// Whatever three instruments do, a number in a scan is one that its instrument held when it answered, no longer ago
// than the interval and the window, and the steps add up to the time that passed.
func TestWhateverInstrumentsDo(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		behaviour := rapid.OneOf(
			rapid.Just(reply{}),
			rapid.Map(rapid.IntRange(0, 2500), func(ms int) reply { return reply{after: time.Duration(ms) * time.Millisecond} }),
			rapid.Just(reply{silent: true}), rapid.Just(reply{hangUp: true}),
			rapid.Map(rapid.ByteRange(1, 0x0B), func(c byte) reply { return reply{exception: c} }),
		)
		// Behaviours come in runs, as troubles do.
		runs := rapid.SliceOfN(rapid.Map(rapid.SliceOfN(behaviour, 3, 3), func(r []reply) [3]reply { return [3]reply(r) }), 1, 6).Draw(rt, "runs")
		length := rapid.SliceOfN(rapid.IntRange(1, 8), len(runs), len(runs)).Draw(rt, "length")
		every := rapid.SliceOfN(rapid.IntRange(2, 30), 3, 3).Draw(rt, "every") // tenths of a second
		within := rapid.SliceOfN(rapid.IntRange(0, 3000), 1, 5).Draw(rt, "within")
		synctest.Test(t, func(t *testing.T) { whatever(t, runs, length, every, within) })
	})
}

func whatever(t *testing.T, runs [][3]reply, length, every, within []int) {
	ids := []signal.ID{signal.FeedConductivity, signal.Flow, signal.Total}
	var s poll.Settings
	devices, began := map[string]*device{}, time.Now()
	held := map[signal.ID]time.Duration{} // how old a reading may be
	for k, id := range ids {
		// A register holds the milliseconds since the start: a reading tells its own age.
		address := string(rune('a'+k)) + ":502"
		d := newDevice(nil)
		d.script = func(ask) reply { return runs[0][k] }
		devices[address] = d
		e := time.Duration(every[k]) * 100 * time.Millisecond
		held[id] = e + min(e/2, 500*time.Millisecond)
		s.Instruments = append(s.Instruments, poll.Instrument{Name: id.String(), Address: address, Every: e,
			Signals: []poll.Signal{{ID: id, Type: modbus.U32}}})
	}
	b := newBench(t, s, devices)
	tick := func() {
		for _, d := range devices {
			d.set(func(d *device) {
				ms := uint32(time.Since(began).Milliseconds())
				d.registers[0], d.registers[1] = uint16(ms>>16), uint16(ms)
			})
		}
	}
	done := make(chan struct{})
	defer close(done)
	go func() {
		for {
			tick()
			select {
			case <-done:
				return
			case <-time.After(10 * time.Millisecond):
			}
		}
	}()
	synctest.Wait()
	step := 0
	for r, run := range runs {
		for k := range ids {
			devices[s.Instruments[k].Address].set(func(d *device) { d.script = func(ask) reply { return run[k] } })
		}
		for scans := 0; scans < length[r]; step++ {
			limit := time.Duration(within[step%len(within)]) * time.Millisecond
			if step%3 == 0 {
				limit = agent.Never
			}
			in := b.next(limit)
			require.Equal(t, time.Since(began), b.total)
			require.LessOrEqual(t, in.Gap, max(limit, 0), "a deadline was missed")
			if in.Scan {
				scans++
			}
			for _, id := range ids {
				if r := in.Readings[id]; r.Usable() {
					age := time.Since(began) - time.Duration(r.Value)*time.Millisecond
					require.LessOrEqual(t, age, held[id]+10*time.Millisecond, "%s", id)
				} else {
					require.Zero(t, r.Value)
				}
			}
		}
	}
}
