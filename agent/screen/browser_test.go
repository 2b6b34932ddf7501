package screen

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/png"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/remote"
	"github.com/stretchr/testify/require"
)

// need finds a program that a test speaks with, and skips the test where it is missing; where nothing may be skipped it
// fails instead.
func need(t *testing.T, program string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		if os.Getenv("IONWARD_NO_SKIP") != "" {
			t.Fatalf("needs %s, which is not installed, and IONWARD_NO_SKIP is set", program)
		}
		t.Skipf("needs %s, which is not installed", program)
	}
	return path
}

// browser is a Chromium with nothing remembered.
type browser struct {
	ctx   context.Context
	shots string
}

func newBrowser(t *testing.T) *browser {
	path := need(t, "chromium")
	shots := os.Getenv("IONWARD_SHOTS")
	if shots == "" {
		shots = t.TempDir()
	}
	require.NoError(t, os.MkdirAll(shots, 0o755))
	// Not t.TempDir: a child of the browser may still write there when the test ends, and that is no failure.
	data, err := os.MkdirTemp("", "ionward-browser-")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(data) })
	allocator, stop := chromedp.NewExecAllocator(t.Context(),
		chromedp.ExecPath(path), chromedp.UserDataDir(data), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true),
		chromedp.Flag("disable-dev-shm-usage", true), remote.WebSocket)
	ctx, done := chromedp.NewContext(allocator)
	t.Cleanup(func() {
		_ = chromedp.Cancel(ctx) // a browser that is gone already needs no end
		done()
		stop()
	})
	require.NoError(t, chromedp.Do(ctx), "the browser must start")
	return &browser{ctx: ctx, shots: shots}
}

// tab is one page of a size, watched for anything the content policy or a script complains about.
type tab struct {
	t    *testing.T
	ctx  context.Context
	home string
	dir  string

	mu         sync.Mutex
	complaints []string
}

func (b *browser) open(t *testing.T, url string, width, height int64, look string) *tab {
	ctx, done := chromedp.NewContext(b.ctx)
	t.Cleanup(done)
	p := &tab{t: t, ctx: ctx, home: url, dir: b.shots}
	require.NoError(t, chromedp.Listen(ctx, func(ev any) {
		p.mu.Lock()
		defer p.mu.Unlock()
		switch e := ev.(type) {
		case *log.EventEntryAdded:
			if e.Entry.Level == "error" {
				p.complaints = append(p.complaints, e.Entry.Text)
			}
		case *runtime.EventExceptionThrown:
			p.complaints = append(p.complaints, fmt.Sprint(e.ExceptionDetails.Text, e.ExceptionDetails.Exception))
		}
	}))
	p.do(chromedp.EmulateViewport(width, height))
	p.do(chromedp.Navigate(url))
	p.is(`document.fonts.status === 'loaded' && typeof window === 'object'`)
	if look != "" {
		p.look(look)
	}
	return p
}

func (p *tab) do(a chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	ctx, done := context.WithTimeout(p.ctx, 30*time.Second)
	defer done()
	require.NoError(p.t, chromedp.Do(ctx, a))
}

func ask[T any](p *tab, expression string) T {
	p.t.Helper()
	ctx, done := context.WithTimeout(p.ctx, 30*time.Second)
	defer done()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression))
	require.NoError(p.t, err, expression)
	return v
}

// is waits until an expression is true in the page.
func (p *tab) is(expression string) {
	p.t.Helper()
	require.Eventually(p.t, func() bool { return ask[bool](p, "!!("+expression+")") }, 20*time.Second, 20*time.Millisecond, expression)
}

// shows waits until a bound text is on the page.
func (p *tab) shows(key, text string) {
	p.t.Helper()
	p.is(fmt.Sprintf(`document.querySelector('[data-t="%s"]').textContent === %q`, key, text))
}

// shot keeps a picture of the page and gives it back.
func (p *tab) shot(name string) image.Image {
	p.t.Helper()
	ctx, done := context.WithTimeout(p.ctx, 30*time.Second)
	defer done()
	data, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	require.NoError(p.t, err)
	require.NoError(p.t, os.WriteFile(filepath.Join(p.dir, name+".png"), data, 0o644))
	picture, err := png.Decode(bytes.NewReader(data))
	require.NoError(p.t, err)
	return picture
}

// whole keeps a picture of the whole page, also what scrolls.
func (p *tab) whole(name string) {
	p.t.Helper()
	ctx, done := context.WithTimeout(p.ctx, 30*time.Second)
	defer done()
	data, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	require.NoError(p.t, err)
	require.NoError(p.t, os.WriteFile(filepath.Join(p.dir, name+".png"), data, 0o644))
}

// look turns the page to day or night.
func (p *tab) look(look string) {
	p.t.Helper()
	p.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`void (document.documentElement.dataset.look = %q)`, look)))
}

// quiet asserts that neither the content policy nor a script complained.
func (p *tab) quiet() {
	p.t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	require.Empty(p.t, p.complaints)
}

// serve serves a screen on a free port of the loopback and gives its address and a stop.
func serve(t *testing.T, s *Screen) (url string, stop func()) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, l) }()
	var once sync.Once
	stop = func() {
		once.Do(func() {
			cancel()
			require.NoError(t, <-done)
		})
	}
	t.Cleanup(stop)
	return "http://" + l.Addr().String() + "/", stop
}

// overflow lists what sticks out: of the window, of its own box, or (where nothing may scroll) below its edge.
const overflow = `(() => {
  const root = document.documentElement, bad = [], still = innerWidth > 700;
  if (root.scrollWidth > root.clientWidth) bad.push('page is ' + root.scrollWidth + ' wide');
  if (still && root.scrollHeight > root.clientHeight) bad.push('page is ' + root.scrollHeight + ' high');
  for (const el of document.querySelectorAll('body *')) {
    const box = el.getBoundingClientRect(), name = el.tagName + '.' + el.className.baseVal + el.className + '#' + el.id;
    if (!box.width || el.closest('.unseen, svg g, clipPath')) continue;
    if (box.left < -1 || box.right > root.clientWidth + 1) bad.push(name + ' leaves the window');
    if (still && box.bottom > innerHeight + 1) bad.push(name + ' is below the window');
    if (!el.closest('svg') && getComputedStyle(el).display !== 'inline' && el.scrollWidth > el.clientWidth + 1 && el.clientWidth) bad.push(name + ' holds ' + el.scrollWidth + ' in ' + el.clientWidth);
  }
  const low = document.querySelector('.do').getBoundingClientRect().top, top = document.querySelector('.top').getBoundingClientRect().bottom;
  if (still) for (const el of document.querySelectorAll('.path *')) {
    const box = el.getBoundingClientRect();
    if (box.width && box.bottom > low + 1) bad.push('.path ' + el.className + ' lies over the steps');
    if (box.width && box.top < top - 1) bad.push('.path ' + el.className + ' lies over the top');
  }
  const parts = [...document.querySelectorAll('.path > .value, .path > .valve, .path > .bank, .path > .pnote, .path > .bar')];
  for (const a of parts) for (const b of parts) {
    const p = a.getBoundingClientRect(), q = b.getBoundingClientRect();
    if (a !== b && p.width && q.width && p.left < q.right - 1 && q.left < p.right - 1 && p.top < q.bottom - 1 && q.top < p.bottom - 1 && !(a.matches('.bank') && b.matches('.bank'))) bad.push(a.className + ' lies over ' + b.className);
  }
  return [...new Set(bad)];
})()`
