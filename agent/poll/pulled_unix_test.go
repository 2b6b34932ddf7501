//go:build unix

package poll_test

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const nonBlocking = syscall.O_NONBLOCK | syscall.O_NOCTTY

// process is an instrument in a process of its own.
type process struct {
	*exec.Cmd
	in  io.WriteCloser
	out *bufio.Scanner
	at  string // host:port
}

func launch(t testing.TB, how, at string, began time.Time) *process {
	p := &process{Cmd: exec.Command(os.Args[0])}
	p.Env = append(os.Environ(), fmt.Sprintf("%s=%s %s %d", asPeer, how, at, began.UnixNano()))
	in, err := p.StdinPipe()
	require.NoError(t, err)
	out, err := p.StdoutPipe()
	require.NoError(t, err)
	p.in, p.out, p.Stderr = in, bufio.NewScanner(out), os.Stderr
	require.NoError(t, p.Start())
	t.Cleanup(p.kill)
	p.at = p.line(t)
	return p
}

func (p *process) kill() {
	_ = p.Process.Kill() // may have been killed before
	_ = p.Wait()         // which is the error
}

func (p *process) line(t testing.TB) string {
	require.True(t, p.out.Scan(), "the peer ended: %v", p.out.Err())
	return p.out.Text()
}

func (p *process) say(t testing.TB, line string) {
	_, err := fmt.Fprintln(p.in, line)
	require.NoError(t, err)
}

// In each phase of a poll the instrument is killed, and another takes its place; or it is stopped as it stands, and goes
// on after a while, with all that it still had to say.
func TestPeerKilledAndStopped(t *testing.T) {
	for _, how := range []string{"tcp", "rtu+tcp"} {
		for _, phase := range phases {
			for _, stop := range []bool{false, true} {
				t.Run(fmt.Sprintf("%s, %s, stopped %v", how, phase, stop), func(t *testing.T) {
					t.Parallel()
					began := time.Now()
					p := launch(t, how, "127.0.0.1:0", began)
					s := onReal(t, how+"://"+p.at, nil)
					s.began = began
					s.mended(t)
					catch(t, s, p, phase)
					if stop {
						require.NoError(t, p.Process.Signal(syscall.SIGSTOP))
					} else {
						p.kill()
					}
					for range 8 {
						s.check(t)
					}
					if stop {
						require.NoError(t, p.Process.Signal(syscall.SIGCONT))
						p.say(t, "go on")
					} else {
						launch(t, how, p.at, began)
					}
					t.Logf("well again after %v", s.mended(t))
				})
			}
		}
	}
}

// catch waits until the peer stands still in a phase, while the polling goes on.
func catch(t *testing.T, s *stage, p *process, phase string) {
	p.say(t, phase)
	here := make(chan struct{})
	go func() {
		defer close(here)
		p.out.Scan()
	}()
	if phase == "connected" {
		p.say(t, "cut") // or the connection would last
	}
	for {
		select {
		case <-here:
			require.Equal(t, "here", p.out.Text())
			return
		default:
			s.check(t)
		}
	}
}

// The adapter of a serial line is pulled out in the middle of it all, and put in again.
func TestCablePulled(t *testing.T) {
	folder := t.TempDir()
	pull := cable(t, folder)
	s := onReal(t, "rtu://"+filepath.Join(folder, "here")+"?baud=115200", nil)
	plug(t, s, folder)
	s.mended(t)
	for range 3 {
		pull()
		lost := false
		for range 8 {
			lost = !s.check(t) || lost
		}
		require.True(t, lost)
		require.True(t, strings.Contains(fmt.Sprint(s.source.Health()), "link down"), "%v", s.source.Health())
		pull = cable(t, folder)
		plug(t, s, folder)
		t.Logf("well again after %v", s.mended(t))
	}
}

// A port at which nothing listens, and then something does.
func TestNobodyAtFirst(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	at := l.Addr().String()
	require.NoError(t, l.Close())
	s := onReal(t, "rtu+tcp://"+at, nil)
	for range 5 {
		require.False(t, s.check(t))
	}
	launch(t, "rtu+tcp", at, s.began)
	t.Logf("well again after %v", s.mended(t))
}
