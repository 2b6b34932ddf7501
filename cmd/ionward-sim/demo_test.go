package main

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/remote"
	paho "github.com/eclipse/paho.mqtt.golang"
	stock "github.com/goburrow/modbus"
	"github.com/stretchr/testify/require"

	"ionward/cmd/line"
)

// patience is how long a test waits for what must come; nothing is asserted about how soon.
const patience = 90 * time.Second

// demo runs the command in this process; at gives what it printed, stop ends it as Ctrl-C does and gives its status.
func demo(t *testing.T, args ...string) (at map[string]string, stop func() int) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	read, write := io.Pipe()
	done := make(chan int, 1)
	go func() {
		status := line.Execute(ctx, root(), append([]string{"demo", "--quiet"}, args...), strings.NewReader(""), write, os.Stderr)
		write.Close()
		done <- status
	}()
	at = map[string]string{}
	lines := bufio.NewScanner(read)
	for len(at) < 4 && lines.Scan() {
		key, url, ok := strings.Cut(lines.Text(), " ")
		require.True(t, ok, lines.Text())
		at[key] = url
	}
	require.Len(t, at, 4, "demo ended before it had told where it listens")
	status := -1
	stop = func() int {
		if status < 0 {
			cancel()
			status = <-done
		}
		return status
	}
	t.Cleanup(func() { stop() })
	return at, stop
}

func page(t *testing.T, url string) string {
	t.Helper()
	resp, err := http.Get(url)
	require.NoError(t, err)
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, resp.StatusCode, string(text))
	return string(text)
}

// One process serves everything: the screen, the metrics, the broker and the instruments, all of it simulated and said so.
func TestDemoServesEverything(t *testing.T) {
	at, stop := demo(t, "--pace", "100")
	require.Contains(t, page(t, at["screen"]), "SIMULATION")
	require.Eventually(t, func() bool {
		text := page(t, at["metrics"])
		return strings.Contains(text, `ionward_state{state="service"} 1`) && strings.Contains(text, "ionward_feed_backlog_scans")
	}, patience, 50*time.Millisecond, "metrics show the rule and the feed")

	got := make(chan map[string]any, 1000)
	c := paho.NewClient(paho.NewClientOptions().AddBroker(strings.Replace(at["mqtt"], "mqtt://", "tcp://", 1)).SetClientID("reader").SetAutoReconnect(false))
	token := c.Connect()
	require.True(t, token.WaitTimeout(patience))
	require.NoError(t, token.Error())
	defer c.Disconnect(0)
	token = c.Subscribe("ionward/DEMO/#", 1, func(_ paho.Client, m paho.Message) {
		v := map[string]any{}
		_ = json.Unmarshal(m.Payload(), &v)
		v["topic"] = m.Topic()
		select {
		case got <- v:
		default:
		}
	})
	require.True(t, token.WaitTimeout(patience))
	seen := map[string]bool{}
	for deadline := time.After(patience); len(seen) < 3; {
		select {
		case v := <-got:
			seen[v["topic"].(string)] = true
			require.Equal(t, true, v["simulation"], "%v", v)
		case <-deadline:
			require.Fail(t, "log, state and avail must come", "%v", seen)
		}
	}

	h := stock.NewTCPClientHandler(strings.TrimPrefix(at["modbus"], "tcp://"))
	defer h.Close()
	for _, id := range []byte{1, 2, 3} {
		h.SlaveId = id
		registers, err := stock.NewClient(h).ReadHoldingRegisters(0, 2)
		require.NoError(t, err, "unit id %d answers two registers from address 0", id)
		require.Len(t, registers, 4)
	}
	require.Zero(t, stop(), "Ctrl-C is an orderly end")
}

func TestDemoEndsByItself(t *testing.T) {
	var out strings.Builder
	status := line.Execute(t.Context(), root(), []string{"demo", "--quiet", "--for", "200ms", "--pace", "max"}, strings.NewReader(""), &out, os.Stderr)
	require.Zero(t, status)
	require.Regexp(t, `^screen http://127\.0\.0\.1:\d+/\nmetrics http://127\.0\.0\.1:\d+/metrics\nmqtt mqtt://127\.0\.0\.1:\d+\nmodbus tcp://127\.0\.0\.1:\d+\n$`, out.String())
}

// Where the usual ports are taken (here by the first demo) a second one finds others.
func TestTwoDemosSideBySide(t *testing.T) {
	first, _ := demo(t, "--pace", "20")
	second, _ := demo(t, "--pace", "20")
	for key := range first {
		require.NotEqual(t, first[key], second[key])
	}
	require.Contains(t, page(t, second["screen"]), "SIMULATION")
}

// The main job, end to end, as an operator sees it: a bed breaks through, the delay runs, the water stops, and the
// screen says why and what to do.
func TestDemoTripsOnTheScreen(t *testing.T) {
	browser := need(t, "chromium")
	at, stop := demo(t, "--pace", "150")
	// Not t.TempDir: a child of the browser may still write there when the test ends, and that is no failure.
	data, err := os.MkdirTemp("", "ionward-browser-")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(data) })
	ctx, cancel := chromedp.NewExecAllocator(t.Context(),
		chromedp.ExecPath(browser), chromedp.UserDataDir(data), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true), chromedp.Flag("disable-dev-shm-usage", true), remote.WebSocket)
	defer cancel()
	ctx, cancel = chromedp.NewContext(ctx)
	defer cancel()
	ctx, cancel = context.WithTimeout(ctx, patience)
	defer cancel()

	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(1280, 800), chromedp.Navigate(at["screen"])))
	for _, want := range []struct{ word, sentence, step string }{
		{"GOOD WATER", "", ""},
		{"OFF SPEC", "bad water goes to the user", ""},
		{"STOPPED", "WATER STOPPED", "outlet"},
		{"RINSING", "RINSE", ""},
		{"NO POWER", "no control power", "feed pump"},
	} {
		// Word, sentence and steps are taken in one look, so that they belong together.
		seen, err := chromedp.Run(ctx, chromedp.Poll[[]string](`document.getElementById("word").textContent === `+quote(want.word)+
			` && [document.querySelector('[data-t="sentence"]').textContent, document.getElementById("steps").textContent]`,
			chromedp.WithPollingMutation(), chromedp.WithPollingTimeout(patience)))
		require.NoError(t, err, "waiting for %s", want.word)
		require.Contains(t, strings.ToLower(seen[0]), strings.ToLower(want.sentence), want.word)
		require.Contains(t, seen[1], want.step, want.word)
		keep(ctx, t, "demo-"+strings.ReplaceAll(strings.ToLower(want.word), " ", "-")+".png")
	}
	band, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.querySelector(".band").textContent`))
	require.NoError(t, err)
	require.Contains(t, band, "SIMULATION")
	require.Zero(t, stop())
}

func quote(s string) string {
	text, _ := json.Marshal(s)
	return string(text)
}

// keep writes a screenshot into the folder IONWARD_SHOTS, where it is set.
func keep(ctx context.Context, t *testing.T, name string) {
	t.Helper()
	folder := os.Getenv("IONWARD_SHOTS")
	if folder == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(folder, name), png, 0o600))
}

// need gives the path of a program, or skips a test without it; with IONWARD_NO_SKIP it fails instead.
func need(t *testing.T, program string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil && os.Getenv("IONWARD_NO_SKIP") != "" {
		require.Fail(t, program+" is not installed, and IONWARD_NO_SKIP is set")
	}
	if err != nil {
		t.Skip(program + " is not installed")
	}
	return path
}
