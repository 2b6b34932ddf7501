package station

import (
	"context"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"ionward/agent/journal"
	"ionward/configs"
)

// file is a unit file for a unit that is not there: nothing listens at its instrument's address.
func file(t *testing.T, sets ...string) *configs.File {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := l.Addr().String()
	require.NoError(t, l.Close())
	text := "trailer: T-01\ninstruments:\n  analyzer:\n    address: tcp://" + address + "\n    every: 50ms\n    signals:\n      product_conductivity: {register: 2}\n"
	sets = append([]string{"screen.listen=127.0.0.1:0", "journal.folder=" + filepath.Join(t.TempDir(), "journal")}, sets...)
	f, err := configs.Load("unit.yaml", []byte(text), sets, configs.ForRun)
	require.NoError(t, err)
	return f
}

func get(t *testing.T, url string) (int, string) {
	t.Helper()
	resp, err := http.Get(url)
	require.NoError(t, err)
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	return resp.StatusCode, string(text)
}

// run starts a station; the function stops it as Ctrl-C does and gives what Run returned.
func run(t *testing.T, s *Station) func() error {
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	return func() error {
		cancel()
		return <-done
	}
}

// The instruments need not be there: the screen says so, the record is kept, and a stop is orderly.
func TestRunsWithoutInstruments(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	defer http.DefaultClient.CloseIdleConnections()
	f := file(t)
	s, err := Open(Settings{File: f, Version: "test"})
	require.NoError(t, err)
	stop := run(t, s)
	require.Eventually(t, func() bool {
		_, text := get(t, s.MetricsURL())
		return strings.Contains(text, `ionward_poll_errors_total{instrument="analyzer",kind="down"}`)
	}, 30*time.Second, 20*time.Millisecond)
	status, text := get(t, s.ScreenURL())
	require.Equal(t, http.StatusOK, status)
	require.NotContains(t, text, "SIMULATION", "beside a unit nothing is simulated")
	status, _ = get(t, s.ScreenURL()+"healthz")
	require.Equal(t, http.StatusOK, status)
	require.NoError(t, stop())

	j, err := journal.Open(journal.Settings{Folder: f.Journal.Folder, Trailer: f.Trailer})
	require.NoError(t, err)
	last, ok := j.Last()
	require.True(t, ok)
	require.Positive(t, last.Seq, "what was seen is on the disk")
	require.NoError(t, j.Close())
}

func TestMetricsAtAnAddressOfTheirOwn(t *testing.T) {
	s, err := Open(Settings{File: file(t, "metrics.listen=127.0.0.1:0", "screen.listen=off")})
	require.NoError(t, err)
	require.Empty(t, s.ScreenURL())
	stop := run(t, s)
	status, text := get(t, s.MetricsURL())
	require.Equal(t, http.StatusOK, status)
	require.Contains(t, text, "ionward_")
	require.NoError(t, stop())
}

func TestWhatCannotBeOpenedIsNamed(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer taken.Close()
	folder := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(folder, []byte("no folder"), 0o600))
	for name, c := range map[string]struct{ set, want string }{
		"screen's port": {"screen.listen=" + taken.Addr().String(), "cannot serve the screen"},
		"metrics' port": {"metrics.listen=" + taken.Addr().String(), "cannot serve metrics"},
		"journal":       {"journal.folder=" + folder, "journal"},
		"registers":     {"registers.listen=127.0.0.1:0", "this version has no register server"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Open(Settings{File: file(t, c.set)})
			require.ErrorContains(t, err, c.want)
		})
	}
}

// Two agents for one folder would write one record: the second is refused.
func TestOneAgentAFolder(t *testing.T) {
	f := file(t)
	s, err := Open(Settings{File: f})
	require.NoError(t, err)
	_, err = Open(Settings{File: f})
	require.ErrorContains(t, err, "journal")
	require.NoError(t, s.close())
}
