package poll_test

import (
	"bytes"
	"context"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/agent/modbus"
	"ionward/agent/poll"
	"ionward/rules/signal"
)

// apart is an analyzer whose temperature stands at some distance from its reading.
func apart(address string, register uint16) poll.Instrument {
	i := analyzer()
	i.Address = address
	i.Signals = append(i.Signals, poll.Signal{ID: signal.ProductTemperature, Kind: modbus.Input, Register: register, Type: modbus.I16, Scale: 0.1})
	return i
}

// How far two signals may stand apart and still be read by one request follows from the line.
func TestGapFollowsTheLine(t *testing.T) {
	for address, within := range map[string]uint16{
		"rtu:///dev/ttyTest?baud=9600": 18, "rtu:///dev/ttyTest?baud=19200": 27, "rtu:///dev/ttyTest?baud=38400": 47,
		"rtu+tcp://" + analyzerAt: 27, "tcp://" + analyzerAt: 122, analyzerAt: 122,
	} {
		for register, want := range map[uint16]int{2 + within: 1, 3 + within: 2} {
			source, err := poll.New(poll.Settings{Clock: &stopped{}, Instruments: []poll.Instrument{apart(address, register)}})
			require.NoError(t, err)
			ctx, cancel := context.WithCancel(t.Context())
			cancel() // nobody is asked
			assert.Len(t, source.Look(ctx)[0].Requests, want, "%s, register %d", address, register)
			source.Close()
		}
	}
}

// An instrument that keeps silent on registers it does not have, instead of refusing them, is found out; and one that
// was only switched on late is not taken for such.
func TestSilentGaps(t *testing.T) {
	for name, gap := range map[string]bool{"silent on a gap": true, "switched on late": false} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDevice(map[int]uint16{50: 180})
				d.float(0, 0.5)
				d.script = func(a ask) reply { return reply{silent: !gap || a.quantity > 10} }
				var log bytes.Buffer
				b := newBench(t, poll.Settings{
					Instruments: []poll.Instrument{apart(analyzerAt, 50)}, Log: slog.New(slog.NewTextHandler(&log, nil)),
				}, map[string]*device{analyzerAt: d})
				for range 12 {
					b.scan()
				}
				d.set(func(d *device) {
					d.asks = nil
					if !gap {
						d.script = nil
					}
				})
				for range 4 {
					b.scan()
				}
				set := b.scan()
				assert.Equal(t, good(0.5), set[signal.ProductConductivity])
				assert.Equal(t, good(18), set[signal.ProductTemperature])
				last := d.asked()[len(d.asked())-1]
				if gap {
					assert.Equal(t, ask{1, 4, 50, 1}, last)
					assert.Equal(t, 1, strings.Count(log.String(), "read apart"), log.String())
				} else {
					assert.Equal(t, ask{1, 4, 0, 51}, last)
					assert.Zero(t, strings.Count(log.String(), "read apart"), log.String())
				}
			})
		})
	}
}

// Instruments on one line that are polled less often than the quickest take turns: after the first scan no scan asks
// two of them, and each keeps its own interval.
func TestSlowOnesTakeTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDevice(nil)
		list := []poll.Instrument{analyzer()}
		for k, id := range []signal.ID{signal.Flow, signal.FeedTemperature, signal.DownstreamFlow, signal.Total} {
			i := meter()
			i.Name, i.Address, i.UnitID, i.Every = id.String(), analyzerAt, uint8(2+k), 5*time.Second
			i.Signals[0].ID = id
			list = append(list, i)
		}
		b := newBench(t, poll.Settings{Instruments: list}, map[string]*device{analyzerAt: d})
		b.scan()
		require.Len(t, d.asked(), 5, "at the start all are asked")
		seen := map[byte][]int{}
		for scan := 1; scan <= 20; scan++ {
			d.set(func(d *device) { d.asks = nil })
			b.scan()
			assert.Equal(t, time.Duration(scan)*time.Second, b.total, "no scan more than the quickest needs")
			require.LessOrEqual(t, len(d.asked()), 2)
			for _, a := range d.asked() {
				seen[a.unit] = append(seen[a.unit], scan)
			}
		}
		assert.Len(t, seen[1], 20)
		for unit, first := range map[byte]int{2: 5, 3: 1, 4: 2, 5: 3} {
			var want []int
			for scan := first; scan <= 20; scan += 5 {
				want = append(want, scan)
			}
			assert.Equal(t, want, seen[unit], "unit %d", unit)
		}
	})
}
