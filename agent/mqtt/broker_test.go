package mqtt

import (
	"crypto/tls"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"sync"
	"testing"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	code := m.Run()
	// A hand-over to the client library may outlive its session by the write timeout.
	leak := goleak.Find()
	for end := time.Now().Add(2 * writeTimeout); leak != nil && time.Now().Before(end); {
		leak = goleak.Find()
	}
	if leak != nil && code == 0 {
		fmt.Fprintln(os.Stderr, leak)
		code = 1
	}
	os.Exit(code)
}

const (
	waitLimit = time.Minute
	pollEvery = 5 * time.Millisecond
)

// need skips a test whose outside program is not installed, and fails it where nothing may be skipped.
func need(t testing.TB, program string) string {
	t.Helper()
	for _, name := range []string{program, "/usr/sbin/" + program} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("IONWARD_NO_SKIP") != "" {
		require.FailNow(t, program+" is not installed and IONWARD_NO_SKIP is set")
	}
	t.Skip(program + " is not installed")
	return ""
}

// message is one message as the broker took it.
type message struct {
	Topic   string
	Retain  bool
	Payload map[string]any
}

// recorder stores every message before the broker acknowledges it, and outlives the broker.
type recorder struct {
	mochi.HookBase
	mu   sync.Mutex
	list []message
}

func (r *recorder) ID() string { return "recorder" }

func (r *recorder) Provides(b byte) bool {
	return b == mochi.OnPublish || b == mochi.OnWillSent
}

func (r *recorder) OnPublish(_ *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	r.store(pk)
	return pk, nil
}

func (r *recorder) OnWillSent(_ *mochi.Client, pk packets.Packet) { r.store(pk) }

func (r *recorder) store(pk packets.Packet) {
	m := message{Topic: pk.TopicName, Retain: pk.FixedHeader.Retain}
	if err := json.Unmarshal(pk.Payload, &m.Payload); err != nil {
		m.Payload = map[string]any{"broken": string(pk.Payload)}
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.list = append(r.list, m)
}

// on gives what came on a topic.
func (r *recorder) on(topic string) []message {
	r.mu.Lock()
	defer r.mu.Unlock()
	var out []message
	for _, m := range r.list {
		if m.Topic == topic {
			out = append(out, m)
		}
	}
	return out
}

// seqs lists the sequence numbers on a topic in order of arrival.
func (r *recorder) seqs(topic string) []uint64 {
	list := r.on(topic)
	out := make([]uint64, len(list))
	for i, m := range list {
		out[i] = uint64(m.Payload["seq"].(float64))
	}
	return out
}

// broker is the embedded broker; it can be stopped and started again on the same port.
type broker struct {
	t       testing.TB
	address string
	tls     *tls.Config
	hooks   []mochi.Hook
	server  *mochi.Server
	gate    *gate
}

func newBroker(t testing.TB, secure *tls.Config, hooks ...mochi.Hook) *broker {
	t.Helper()
	b := &broker{t: t, address: "127.0.0.1:0", tls: secure, hooks: hooks}
	b.start()
	t.Cleanup(b.stop)
	return b
}

func (b *broker) start() {
	b.t.Helper()
	b.server = mochi.New(&mochi.Options{InlineClient: true, Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	require.NoError(b.t, b.server.AddHook(new(auth.AllowHook), nil))
	for _, h := range b.hooks {
		require.NoError(b.t, b.server.AddHook(h, nil))
	}
	l, err := net.Listen("tcp", b.address)
	require.NoError(b.t, err)
	b.address = l.Addr().String()
	b.gate = &gate{Listener: l}
	var face net.Listener = b.gate
	if b.tls != nil {
		face = tls.NewListener(face, b.tls)
	}
	require.NoError(b.t, b.server.AddListener(listeners.NewNet("net", face)))
	require.NoError(b.t, b.server.Serve())
}

func (b *broker) stop() {
	if b.server != nil {
		b.gate.shut()
		_ = b.server.Close()
		b.server = nil
	}
}

// gate closes every connection when it is shut: the broker alone would wait for one that came while it was closing.
type gate struct {
	net.Listener
	mu    sync.Mutex
	conns []net.Conn
	done  bool
}

func (g *gate) Accept() (net.Conn, error) {
	c, err := g.Listener.Accept()
	g.mu.Lock()
	defer g.mu.Unlock()
	if err == nil && g.done {
		_ = c.Close()
	} else if err == nil {
		g.conns = append(g.conns, c)
	}
	return c, err
}

func (g *gate) shut() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.done = true
	_ = g.Close()
	for _, c := range g.conns {
		_ = c.Close()
	}
}

// proxy stands between the client and the broker and can cut in the middle of the stream.
type proxy struct {
	t      testing.TB
	listen net.Listener
	target string

	mu     sync.Mutex
	conns  map[net.Conn]bool
	broken bool
	left   int // bytes towards the broker until it cuts by itself; below 0 = never
	cuts   int
	wg     sync.WaitGroup
}

func newProxy(t testing.TB, target string) *proxy {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	p := &proxy{t: t, listen: l, target: target, conns: map[net.Conn]bool{}, left: -1}
	p.wg.Add(1)
	go p.serve()
	t.Cleanup(func() {
		_ = l.Close()
		p.cut(true)
		p.wg.Wait()
	})
	return p
}

func (p *proxy) address() string { return p.listen.Addr().String() }

func (p *proxy) serve() {
	defer p.wg.Done()
	for {
		near, err := p.listen.Accept()
		if err != nil {
			return
		}
		far, err := net.Dial("tcp", p.target)
		p.mu.Lock()
		if err != nil || p.broken {
			p.mu.Unlock()
			_ = near.Close()
			if err == nil {
				_ = far.Close()
			}
			continue
		}
		p.conns[near], p.conns[far] = true, true
		p.mu.Unlock()
		p.wg.Add(2)
		go p.pipe(far, near, true)
		go p.pipe(near, far, false)
	}
}

func (p *proxy) pipe(to, from net.Conn, count bool) {
	defer p.wg.Done()
	buffer := make([]byte, 1<<10)
	for {
		n, err := from.Read(buffer)
		p.mu.Lock()
		if count && p.left >= 0 {
			if n > p.left {
				n, err = p.left, io.EOF // the last packet arrives in part
				p.left = -1
				p.cuts++
			} else {
				p.left -= n
			}
		}
		p.mu.Unlock()
		if _, writeErr := to.Write(buffer[:n]); err != nil || writeErr != nil {
			_ = to.Close()
			_ = from.Close()
			p.mu.Lock()
			delete(p.conns, to)
			delete(p.conns, from)
			p.mu.Unlock()
			return
		}
	}
}

// cut closes every connection; broken keeps new ones away until mended.
func (p *proxy) cut(broken bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.broken = broken
	for c := range p.conns {
		_ = c.Close()
	}
}

// after cuts once so many more bytes have gone towards the broker.
func (p *proxy) after(bytes int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.left = bytes
}

func (p *proxy) count() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.cuts
}
