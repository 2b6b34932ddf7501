//go:build unix

package poll_test

import (
	"context"
	"os"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/agent"
	"ionward/agent/poll"
	"ionward/rules"
	"ionward/rules/signal"
)

// Four thousand instruments, each on a connection of its own and polled once a second, the whole way from the socket to
// the reading: none may miss a poll. It is run by IONWARD_MANY=60s go test -run TestMany -v ./agent/poll, since it says
// something of an idle machine only.
func TestMany(t *testing.T) {
	text := os.Getenv("IONWARD_MANY")
	if text == "" {
		t.Skip("a measurement: set IONWARD_MANY to a time, such as 60s")
	}
	lasts, err := time.ParseDuration(text)
	require.NoError(t, err)
	const many = 4000
	began := time.Now()
	p := launch(t, "tcp", "127.0.0.1:0", began)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var polling sync.WaitGroup
	var scans, missed atomic.Int64
	for k := range many {
		i := analyzer()
		i.Address = "tcp://" + p.at
		i.Signals[0].Register, i.Signals[0].Kind = places[signal.ProductConductivity].register, 0
		source, err := poll.New(poll.Settings{Clock: agent.NewRealClock(), Instruments: []poll.Instrument{i}})
		require.NoError(t, err)
		t.Cleanup(source.Close)
		polling.Go(func() {
			// Spread over the second, as instruments of many trailers are.
			time.Sleep(time.Duration(k) * time.Second / many)
			var in rules.Input
			for source.Next(ctx, agent.Never, &in) == nil {
				scans.Add(1)
				if in.Readings[signal.ProductConductivity].Quality != signal.Good {
					missed.Add(1)
				}
			}
		})
	}
	time.Sleep(3 * time.Second) // all are connected
	from, busy, lost := scans.Load(), used(t), missed.Load()
	start := time.Now()
	time.Sleep(lasts)
	took := time.Since(start)
	read, cpu := scans.Load()-from, used(t)-busy
	cancel()
	polling.Wait()
	t.Logf("%d polls in %v, %d missed (%d while starting); %.1f %% of a core, %.4f %% for one instrument",
		read, took.Round(time.Millisecond), missed.Load()-lost, lost, 100*cpu.Seconds()/took.Seconds(), 100*cpu.Seconds()/took.Seconds()/many)
	require.Equal(t, lost, missed.Load())
	require.InEpsilon(t, many*took.Seconds(), read, 0.01)
}

// used is the processor time of this process; the instruments are in another.
func used(t *testing.T) time.Duration {
	var u syscall.Rusage
	require.NoError(t, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
