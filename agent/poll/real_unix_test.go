//go:build unix

package poll_test

import (
	"context"
	"io"
	"log"
	"math"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	server "github.com/simonvetter/modbus"
	"github.com/stretchr/testify/require"

	"ionward/agent"
	"ionward/agent/modbus/modbustest"
	"ionward/agent/poll"
)

// quick is the machine's clock, ten times as fast, so that intervals and the pauses between attempts are short on real
// links. Time-outs are the network's and stay real.
type quick struct{ *agent.RealClock }

const haste = 10

func (q quick) Now() time.Duration { return haste * q.RealClock.Now() }

func (q quick) Sleep(ctx context.Context, d time.Duration) error {
	return q.RealClock.Sleep(ctx, d/haste)
}

func (q quick) Timer(d time.Duration) (<-chan time.Time, func()) { return q.RealClock.Timer(d / haste) }

// onReal makes a stage on real links; its requests time out after 150 ms.
func onReal(t testing.TB, address string, change func(*poll.Settings)) *stage {
	s := newStage(t, address, func(set *poll.Settings) {
		set.Clock, set.Dial = quick{agent.NewRealClock()}, nil
		for k := range set.Instruments {
			set.Instruments[k].Timeout = 150 * time.Millisecond
		}
		if change != nil {
			change(set)
		}
	})
	// A busy machine may be slow to look at a number. It is the right one all the same, and far from an old one.
	s.age = 20 * time.Second
	return s
}

// need finds an outside program; without it the test is skipped, or fails if nothing may be skipped.
func need(t testing.TB, program string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil && os.Getenv("IONWARD_NO_SKIP") != "" {
		require.NoError(t, err, "%s must be there", program)
	}
	if err != nil {
		t.Skipf("%s is not there: %v", program, err)
	}
	return path
}

// serial is one end of a pair of connected serial lines.
type serial struct{ *os.File }

func (serial) LocalAddr() net.Addr  { return &net.UnixAddr{Name: "line"} }
func (serial) RemoteAddr() net.Addr { return &net.UnixAddr{Name: "line"} }

// cable connects two serial lines, here and there in a folder, until pulled.
func cable(t testing.TB, folder string) (pull func()) {
	here, there := filepath.Join(folder, "here"), filepath.Join(folder, "there")
	c := exec.Command(need(t, "socat"), "pty,raw,echo=0,link="+here, "pty,raw,echo=0,link="+there)
	require.NoError(t, c.Start())
	pulled := false
	pull = func() {
		if !pulled {
			pulled = true
			_ = c.Process.Kill() // it may have ended with the line
			_ = c.Wait()         // and was killed otherwise
			_, _ = os.Remove(here), os.Remove(there)
		}
	}
	t.Cleanup(pull)
	require.Eventually(t, func() bool {
		_, a := os.Stat(here)
		_, b := os.Stat(there)
		return a == nil && b == nil
	}, 10*time.Second, time.Millisecond)
	return pull
}

func plug(t testing.TB, s *stage, folder string) {
	f, err := os.OpenFile(filepath.Join(folder, "there"), os.O_RDWR|nonBlocking, 0)
	require.NoError(t, err)
	s.proxy.Serve(serial{f})
}

// lasting is how long the faults on real links go on: IONWARD_FAULTS_FOR=10m for longer.
func lasting(t testing.TB) time.Duration {
	text := os.Getenv("IONWARD_FAULTS_FOR")
	if text == "" {
		return 3 * time.Second
	}
	d, err := time.ParseDuration(text)
	require.NoError(t, err)
	return d
}

// Real sockets and a real serial line, with another author's server behind the proxy where that can be: faults in a
// random order, each for a random time, until the time is over.
func TestFaultsOnRealLinks(t *testing.T) {
	for _, how := range []string{"tcp", "rtu+tcp", "rtu"} {
		t.Run(how, func(t *testing.T) {
			t.Parallel()
			seed := uint64(time.Now().UnixNano())
			t.Logf("seed %d", seed)
			random := rand.New(rand.NewPCG(seed, 0))
			s, list := realStage(t, how)
			var longest time.Duration
			count := 0
			for began := time.Now(); time.Since(began) < lasting(t); {
				for range 1 + random.IntN(3) {
					s.proxy.Set(list[random.IntN(len(list))])
					if how != "rtu" && random.IntN(2) == 0 {
						s.proxy.Cut()
					}
					for till := time.Now().Add(time.Duration(random.IntN(700)) * time.Millisecond); time.Now().Before(till); {
						s.check(t)
					}
					count++
				}
				s.proxy.Set(modbustest.Fault{})
				longest = max(longest, s.mended(t))
			}
			t.Logf("%d faults; well again after %v at most", count, longest)
		})
	}
}

// realStage is a stage whose proxy is at a real address, and what it may do there.
func realStage(t *testing.T, how string) (*stage, []modbustest.Fault) {
	late := 225 * time.Millisecond
	if how == "rtu" {
		folder := t.TempDir()
		cable(t, folder)
		s := onReal(t, "rtu://"+filepath.Join(folder, "here")+"?baud=115200", nil)
		plug(t, s, folder)
		var list []modbustest.Fault
		for _, f := range modbustest.Faults(true, late) {
			// To hang up would end the pair of lines, which is what the test of the pulled cable does.
			if !f.Refuse && f.Greet == nil && !strings.HasPrefix(f.Name, "7 ") {
				list = append(list, f)
			}
		}
		return s, list
	}
	proxy := &modbustest.Proxy{RTU: how != "tcp"}
	at, err := proxy.Listen()
	require.NoError(t, err)
	t.Cleanup(proxy.Close)
	s := onReal(t, how+"://"+at, nil)
	proxy.Answer, s.proxy = modbustest.Through(shelf{s}.serve(t)), proxy
	list := modbustest.Network()
	for _, f := range modbustest.Faults(how != "tcp", late) {
		if f.Limit == 0 { // the server's own count of clients lags behind the truth
			list = append(list, f)
		}
	}
	return s, list
}

// shelf serves the numbers of a stage on another author's Modbus TCP server.
type shelf struct{ *stage }

func (s shelf) HandleHoldingRegisters(r *server.HoldingRegistersRequest) ([]uint16, error) {
	data := s.answer(modbustest.Ask{Unit: r.UnitId, Function: 3, Address: r.Addr, Quantity: r.Quantity})[2:]
	var words []uint16
	for k := 0; k < len(data); k += 2 {
		words = append(words, uint16(data[k])<<8|uint16(data[k+1]))
	}
	return words, nil
}

func (shelf) HandleInputRegisters(*server.InputRegistersRequest) ([]uint16, error) {
	return nil, server.ErrIllegalFunction
}

func (shelf) HandleCoils(*server.CoilsRequest) ([]bool, error) { return nil, server.ErrIllegalFunction }

func (shelf) HandleDiscreteInputs(*server.DiscreteInputsRequest) ([]bool, error) {
	return nil, server.ErrIllegalFunction
}

// serve starts the server on a free port. It cannot tell its port, so one is picked first; should another program take
// it meanwhile, the next is tried.
func (s shelf) serve(t testing.TB) string {
	for range 20 {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		at := l.Addr().String()
		require.NoError(t, l.Close())
		set := &server.ServerConfiguration{URL: "tcp://" + at, Timeout: time.Minute, MaxClients: math.MaxInt16, Logger: log.New(io.Discard, "", 0)}
		srv, err := server.NewServer(set, s)
		require.NoError(t, err)
		if srv.Start() == nil {
			t.Cleanup(func() { _ = srv.Stop() })
			return at
		}
	}
	t.Fatal("no free port")
	return ""
}
