package main

import (
	"bytes"
	"net"
	"sync"
	"testing"
	"time"

	mb "github.com/simonvetter/modbus"
	"github.com/stretchr/testify/require"

	"ionward/cmd/line"
	"ionward/simulate/instruments"
	"ionward/simulate/plant"
)

// trailer serves the instruments of the simulated trailer, standing still after an hour of service, and gives their
// address.
func trailer(t interface {
	require.TestingT
	Cleanup(func())
}) string {
	p, err := plant.New(plant.Defaults())
	require.NoError(t, err)
	p.Step(time.Hour)
	truth := p.Truth()
	s, err := instruments.Listen(instruments.Settings{Listen: "127.0.0.1:0"}, func() plant.Truth { return truth })
	require.NoError(t, err)
	t.Cleanup(func() { _ = s.Close() })
	return s.URL()
}

// bench is a device with a map of its own; it notes whether anybody tried to write.
type bench struct {
	mu     sync.Mutex
	words  map[uint16]uint16
	writes int
	reads  int
}

// words gives what was asked for, or the exception of a map with holes.
func (b *bench) answer(at, n uint16, write bool) ([]uint16, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if write {
		b.writes++
		return nil, mb.ErrIllegalFunction
	}
	b.reads++
	var out []uint16
	for k := range n {
		w, ok := b.words[at+k]
		if !ok {
			return nil, mb.ErrIllegalDataAddress
		}
		out = append(out, w)
	}
	return out, nil
}

func (b *bench) bools(at, n uint16, write bool) ([]bool, error) {
	words, err := b.answer(at, n, write)
	out := make([]bool, len(words))
	for k, w := range words {
		out[k] = w != 0
	}
	return out, err
}

func (b *bench) HandleCoils(r *mb.CoilsRequest) ([]bool, error) {
	return b.bools(r.Addr, r.Quantity, r.IsWrite)
}

func (b *bench) HandleDiscreteInputs(r *mb.DiscreteInputsRequest) ([]bool, error) {
	return b.bools(r.Addr, r.Quantity, false)
}

func (b *bench) HandleInputRegisters(r *mb.InputRegistersRequest) ([]uint16, error) {
	return b.answer(r.Addr, r.Quantity, false)
}

func (b *bench) HandleHoldingRegisters(r *mb.HoldingRegistersRequest) ([]uint16, error) {
	return b.answer(r.Addr, r.Quantity, r.IsWrite)
}

// serve gives the address of the device. That nobody wrote is checked at the end of the test.
func (b *bench) serve(t *testing.T) string {
	t.Helper()
	for range 20 { // another program may take the port in between
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		address := l.Addr().String()
		require.NoError(t, l.Close())
		s, err := mb.NewServer(&mb.ServerConfiguration{URL: "tcp://" + address, Timeout: time.Minute, MaxClients: 8}, b)
		require.NoError(t, err)
		if s.Start() != nil {
			continue
		}
		t.Cleanup(func() {
			_ = s.Stop()
			require.Zero(t, b.writes, "somebody wrote to the device")
			require.Positive(t, b.reads)
		})
		return "tcp://" + address
	}
	require.Fail(t, "no free port")
	return ""
}

// ionward runs the command in this process.
func ionward(t *testing.T, args ...string) (status int, out, errOut string) {
	t.Helper()
	var o, e bytes.Buffer
	status = line.Execute(t.Context(), root(), args, nil, &o, &e)
	return status, o.String(), e.String()
}
