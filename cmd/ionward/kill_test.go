package main

import (
	"bufio"
	"context"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	mb "github.com/simonvetter/modbus"
	"github.com/stretchr/testify/require"

	"ionward/agent"
	"ionward/agent/journal"
	"ionward/rules"
)

const patience = 60 * time.Second

// offSpec is an analyzer whose product reads 1.5 uS/cm for ever.
type offSpec struct{}

func (offSpec) HandleCoils(*mb.CoilsRequest) ([]bool, error) { return nil, mb.ErrIllegalFunction }
func (offSpec) HandleDiscreteInputs(*mb.DiscreteInputsRequest) ([]bool, error) {
	return nil, mb.ErrIllegalFunction
}
func (offSpec) HandleInputRegisters(*mb.InputRegistersRequest) ([]uint16, error) {
	return nil, mb.ErrIllegalFunction
}
func (offSpec) HandleHoldingRegisters(r *mb.HoldingRegistersRequest) ([]uint16, error) {
	if r.IsWrite || r.Addr != 2 || r.Quantity != 2 {
		return nil, mb.ErrIllegalDataAddress
	}
	return []uint16{0x3fc0, 0x0000}, nil // 1.5 as an IEEE 754 single
}

func analyzer(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := l.Addr().String()
	require.NoError(t, l.Close())
	s, err := mb.NewServer(&mb.ServerConfiguration{URL: "tcp://" + address, Timeout: time.Minute}, offSpec{})
	require.NoError(t, err)
	require.NoError(t, s.Start())
	t.Cleanup(func() { _ = s.Stop() })
	return address
}

// agentProcess is the real binary as a process of its own.
type agentProcess struct {
	cmd     *exec.Cmd
	metrics string
}

func start(t *testing.T, config string) *agentProcess {
	t.Helper()
	cmd := exec.Command(os.Args[0], "run", "--config", config)
	cmd.Env = append(os.Environ(), "IONWARD_TEST_MAIN=1")
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill() })
	p := &agentProcess{cmd: cmd}
	for lines := bufio.NewScanner(out); p.metrics == "" && lines.Scan(); {
		p.metrics, _ = strings.CutPrefix(lines.Text(), "metrics ")
		if !strings.HasPrefix(p.metrics, "http") {
			p.metrics = ""
		}
	}
	require.NotEmpty(t, p.metrics, "the agent ended before it told where it listens")
	go func() { _, _ = io.Copy(io.Discard, out) }()
	return p
}

var delayMetric = regexp.MustCompile(`(?m)^ionward_off_spec_delay_seconds ([0-9.e+-]+)$`)

// delayed is what the metrics say of the delay, in seconds.
func (p *agentProcess) delayed() float64 {
	resp, err := http.Get(p.metrics)
	if err != nil {
		return 0
	}
	defer resp.Body.Close()
	text, _ := io.ReadAll(resp.Body)
	m := delayMetric.FindSubmatch(text)
	if m == nil {
		return 0
	}
	v, _ := strconv.ParseFloat(string(m[1]), 64)
	return v
}

// A kill -9 in the middle of the delay: after the restart the delay goes on with the time that passed, and the record
// marks that gap as estimated.
func TestKilledInTheDelayGoesOn(t *testing.T) {
	dir := t.TempDir()
	folder := filepath.Join(dir, "journal")
	config := filepath.Join(dir, "unit.yaml")
	require.NoError(t, os.WriteFile(config, []byte("trailer: T-09\ninstruments:\n  analyzer:\n    address: tcp://"+analyzer(t)+
		"\n    every: 100ms\n    signals:\n      product_conductivity: {register: 2}\njournal: {folder: "+folder+"}\nscreen: {listen: \"127.0.0.1:0\"}\n"), 0o600))

	first := start(t, config)
	require.Eventually(t, func() bool { return first.delayed() > 0.5 }, patience, 20*time.Millisecond)
	require.NoError(t, first.cmd.Process.Kill())
	_ = first.cmd.Wait()

	second := start(t, config)
	require.Eventually(t, func() bool { return second.delayed() > 1 }, patience, 20*time.Millisecond)
	require.NoError(t, second.cmd.Process.Signal(syscall.SIGTERM))
	require.NoError(t, second.cmd.Wait(), "SIGTERM is an orderly end")

	j, err := journal.Open(journal.Settings{Folder: folder, Trailer: "T-09"})
	require.NoError(t, err)
	defer j.Close()
	var entries []*agent.Entry
	for {
		after := uint64(len(entries))
		more, err := j.Entries(context.Background(), after, 1000)
		require.NoError(t, err)
		if len(more) == 0 {
			break
		}
		entries = append(entries, more...)
	}
	estimated, total := 0, time.Duration(0)
	for i, e := range entries {
		require.EqualValues(t, i+1, e.Seq, "no number is missing")
		for _, event := range e.Events {
			require.False(t, event.Kind == rules.ModeChange && i > 0, "the delay was never left: %v", event)
		}
		if i > 0 { // the delay began with the first scan
			total += e.Gap
		}
		if e.Estimated {
			estimated++
			// The wall clock of the checkpoint's entry to that of this one, whole.
			require.InDelta(t, time.Duration(e.At-entries[i-1].At).Seconds(), e.Gap.Seconds(), 1)
		}
	}
	require.Equal(t, 1, estimated, "one gap was measured by wall clocks")
	last, ok := j.Last()
	require.True(t, ok)
	require.Equal(t, total, last.State.Delay.ET, "the delay is the sum of all gaps, the estimated one included")
}
