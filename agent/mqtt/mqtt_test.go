package mqtt

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/agent"
	"ionward/agent/forward"
	"ionward/agent/forward/forwardtest"
	"ionward/rules"
)

const (
	logTopic    = "plant/T-100/log"
	alarmsTopic = "plant/T-100/alarms"
	stateTopic  = "plant/T-100/state"
	availTopic  = "plant/T-100/avail"
)

func settings(address string) Settings {
	return Settings{
		Broker: "mqtt://" + address, Prefix: "plant", Trailer: "T-100",
		Feed: forward.Settings{Rate: -1, First: 5 * time.Millisecond, Last: 50 * time.Millisecond},
	}
}

// running is a client between its start and its planned stop.
type running struct {
	*Client
	cancel context.CancelFunc
	done   chan error
}

func start(t testing.TB, set Settings, log forward.Log, latest *agent.Latest) *running {
	t.Helper()
	c, err := New(set, log, latest)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	r := &running{Client: c, cancel: cancel, done: make(chan error, 1)}
	go func() { r.done <- c.Run(ctx) }()
	t.Cleanup(r.stop)
	return r
}

func (r *running) stop() {
	r.cancel()
	err := <-r.done
	r.done <- err // stop may be called again
}

func eventually(t testing.TB, what string, condition func() bool) {
	t.Helper()
	require.Eventually(t, condition, waitLimit, pollEvery, what)
}

// far is the client under the conformance test, with the embedded broker behind a line that can be cut.
type far struct {
	set   Settings
	line  *proxy
	store *recorder
}

func (f *far) Publisher(t *testing.T) (forward.Publisher, func()) {
	c, err := New(f.set, forwardtest.Open(t, t.TempDir()), nil)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	quiet := make(chan struct{})
	close(quiet) // the feed of the test is stopped before the client
	go func() { defer close(done); c.stay(ctx, quiet) }()
	return c, func() { cancel(); <-done }
}

func (f *far) Break()            { f.line.cut(true) }
func (f *far) Mend()             { f.line.cut(false) }
func (f *far) Arrived() []uint64 { return f.store.seqs(logTopic) }

func TestConforms(t *testing.T) {
	store := &recorder{}
	b := newBroker(t, nil, store)
	line := newProxy(t, b.address)
	forwardtest.Conform(t, &far{settings(line.address()), line, store})
}

func TestNothingIsLostWhileTheBrokerIsAway(t *testing.T) {
	store := &recorder{}
	b := newBroker(t, nil, store)
	j := forwardtest.Open(t, t.TempDir())
	c := start(t, settings(b.address), j, nil)
	const rounds, each = 4, 400
	for round := uint64(0); round < rounds; round++ {
		forwardtest.Record(j, round*each+1, round*each+each/2)
		b.stop()
		forwardtest.Record(j, round*each+each/2+1, (round+1)*each)
		b.start()
	}
	eventually(t, "all acknowledged", func() bool { return c.Health().Feed.Cursor == rounds*each })
	repeats := forwardtest.Complete(t, store.seqs(logTopic), rounds*each)
	t.Logf("%d repeats", repeats)
	require.Zero(t, c.Health().Feed.Missing)
	require.Equal(t, rounds*2, len(unique(store.seqs(alarmsTopic))), "one alarm for each run of entries")
}

func unique(list []uint64) map[uint64]bool {
	m := map[uint64]bool{}
	for _, v := range list {
		m[v] = true
	}
	return m
}

func TestNothingIsLostWhenTheStreamIsCutInTheMiddle(t *testing.T) {
	store := &recorder{}
	b := newBroker(t, nil, store)
	line := newProxy(t, b.address)
	j := forwardtest.Open(t, t.TempDir())
	forwardtest.Record(j, 1, 3000)
	line.after(50_000)
	c := start(t, settings(line.address()), j, nil)
	for cuts := 1; cuts <= 8; cuts++ {
		eventually(t, "the line is cut", func() bool { return line.count() >= cuts || c.Health().Feed.Cursor == 3000 })
		line.after(30_000 + rand.IntN(300_000))
	}
	line.after(-1)
	eventually(t, "all acknowledged", func() bool { return c.Health().Feed.Cursor == 3000 })
	repeats := forwardtest.Complete(t, store.seqs(logTopic), 3000)
	t.Logf("%d cuts, %d repeats", line.count(), repeats)
	require.Positive(t, line.count())
}

func TestAvailability(t *testing.T) {
	store := &recorder{}
	b := newBroker(t, nil, store)
	line := newProxy(t, b.address)
	c := start(t, settings(line.address()), forwardtest.Open(t, t.TempDir()), nil)
	avail := func(n int) map[string]any {
		eventually(t, fmt.Sprintf("%d messages of availability", n), func() bool { return len(store.on(availTopic)) >= n })
		list := store.on(availTopic)
		require.True(t, list[n-1].Retain, "retained")
		return list[n-1].Payload
	}
	birth := avail(1)
	require.Equal(t, "online", birth["avail"])
	require.Equal(t, c.boot, birth["boot"])
	require.InDelta(t, float64(time.Now().Unix()), float64(stamp(t, birth["at"]).Unix()), 60)
	eventually(t, "the self-test", func() bool { return c.Health().Tested })
	require.Empty(t, c.Health().SelfTest)

	line.cut(true)
	will := avail(2)
	require.Equal(t, "offline", will["avail"])
	require.Equal(t, "connection lost", will["reason"])
	require.Equal(t, birth["boot"], will["boot"])
	require.Equal(t, birth["session"], will["session"])
	line.cut(false)

	again := avail(3)
	require.Equal(t, "online", again["avail"])
	require.Greater(t, again["session"], will["session"])
	eventually(t, "up", func() bool { return c.Health().Connected })

	// A will of an older connection that comes late takes the retained place: it is put right.
	require.NoError(t, b.server.Publish(availTopic, availOfOld(c), true, 0))
	require.Equal(t, "offline", avail(4)["avail"])
	require.Equal(t, "online", avail(5)["avail"])

	c.stop()
	stop := avail(6)
	require.Equal(t, "offline", stop["avail"])
	require.Equal(t, "stop", stop["reason"])
	require.Len(t, store.on(availTopic), 6, "no will after a planned stop")
}

func availOfOld(c *running) []byte {
	return c.set.availOf(false, "connection lost", c.boot, 1, time.Unix(0, 0))
}

func stamp(t *testing.T, v any) time.Time {
	t.Helper()
	at, err := time.Parse(stampForm, v.(string))
	require.NoError(t, err)
	return at
}

func TestStateIsTheNewestAndNeverQueues(t *testing.T) {
	store := &recorder{}
	b := newBroker(t, nil, store)
	b.stop()
	j := forwardtest.Open(t, t.TempDir())
	forwardtest.Record(j, 1, 2000)
	latest := &agent.Latest{}
	snap := func(seq uint64) *agent.Snapshot {
		return &agent.Snapshot{Seq: seq, Epoch: j.Epoch(), At: 1e18, Settings: rules.Defaults()}
	}
	set := settings(b.address)
	set.Feed.Rate, set.Feed.Window = 100, 16 // the backlog takes many times longer than this test
	c := start(t, set, j, latest)
	for seq := uint64(1); seq <= 500; seq++ {
		latest.Put(snap(seq))
	}
	b.start()
	eventually(t, "the newest", func() bool { s := store.seqs(stateTopic); return len(s) > 0 && s[len(s)-1] == 500 })
	require.Equal(t, []uint64{500}, store.seqs(stateTopic), "what was missed is left out")
	require.Less(t, c.Health().Feed.Cursor, uint64(2000), "it did not wait for the backlog")
	for seq := uint64(501); seq <= 1500; seq++ {
		latest.Put(snap(seq))
	}
	eventually(t, "the newest", func() bool { s := store.seqs(stateTopic); return s[len(s)-1] == 1500 })
	seqs := store.seqs(stateTopic)
	for i := 1; i < len(seqs); i++ {
		require.Greater(t, seqs[i], seqs[i-1])
	}
	retained := b.server.Topics.Messages(stateTopic)
	require.Len(t, retained, 1)
	require.Contains(t, string(retained[0].Payload), `"seq":1500`)
}

// refuse is a broker's access list: it takes no subscription.
type refuse struct{ mochi.HookBase }

func (*refuse) ID() string                                  { return "refuse" }
func (*refuse) Provides(b byte) bool                        { return b == mochi.OnACLCheck || b == mochi.OnSubscribe }
func (*refuse) OnACLCheck(*mochi.Client, string, bool) bool { return true }
func (*refuse) OnSubscribe(_ *mochi.Client, pk packets.Packet) packets.Packet {
	for i := range pk.Filters {
		pk.Filters[i].Filter = "$invalid/#/x" // it answers 0x80
	}
	return pk
}

func TestSelfTestFailureIsReportedAndPublishingGoesOn(t *testing.T) {
	store := &recorder{}
	b := newBroker(t, nil, store, &refuse{})
	j := forwardtest.Open(t, t.TempDir())
	forwardtest.Record(j, 1, 50)
	c := start(t, settings(b.address), j, nil)
	eventually(t, "the self-test", func() bool { return c.Health().Tested })
	require.Contains(t, c.Health().SelfTest, availTopic)
	eventually(t, "all acknowledged", func() bool { return c.Health().Feed.Cursor == 50 })
}

func TestTwoClientsWithOneID(t *testing.T) {
	store := &recorder{}
	b := newBroker(t, nil, store)
	one := start(t, settings(b.address), forwardtest.Open(t, t.TempDir()), nil)
	two := start(t, settings(b.address), forwardtest.Open(t, t.TempDir()), nil)
	eventually(t, "the flapping is seen", func() bool { return one.Health().Flapping || two.Health().Flapping })
}

func TestSettingsCheck(t *testing.T) {
	good := Settings{Broker: "mqtts://broker.example:8883", Trailer: "T-100", Prefix: "a/b"}
	require.Empty(t, good.Check())
	require.Equal(t, "a-b-T-100", good.filled().ClientID)
	require.Equal(t, "ionward/T-100/log", ptr(Settings{Trailer: "T-100"}.filled()).topic("log"))
	for address, want := range map[string]string{"mqtt://h": "h:1883", "mqtts://h": "h:8883", "mqtt://h:99": "h:99", "mqtt://[::1]": "[::1]:1883"} {
		got, _ := ptr(Settings{Broker: address}).address()
		require.Equal(t, want, got)
	}
	for want, spoil := range map[string]func(*Settings){
		"must be mqtt://":       func(s *Settings) { s.Broker = "tcp://h:1883" },
		"must be mqtt:// or":    func(s *Settings) { s.Broker = "mqtt://" },
		"a name or password":    func(s *Settings) { s.Broker = "mqtt://u:p@h" },
		"more than a host":      func(s *Settings) { s.Broker = "mqtt://h/path" },
		"with mqtts:// only":    func(s *Settings) { s.Broker, s.CA = "mqtt://h", "ca.pem" },
		"mqtt.prefix":           func(s *Settings) { s.Prefix = "a/#" },
		"mqtt.trailer":          func(s *Settings) { s.Trailer = "a/b" },
		"the one needs":         func(s *Settings) { s.Cert = "c.pem" },
		"needs mqtt.user":       func(s *Settings) { s.PasswordFile = "p" },
		`mqtt.trailer: "" cann`: func(s *Settings) { s.Trailer = "" },
	} {
		s := good
		spoil(&s)
		faults := s.Check()
		require.Len(t, faults, 1, want)
		assert.Contains(t, faults[0].Error(), strings.TrimSuffix(want, " or"))
		_, err := New(s, nil, nil)
		require.Error(t, err)
	}
}

func ptr[T any](v T) *T { return &v }

func TestStopsWhileTheBrokerIsAway(t *testing.T) {
	b := newBroker(t, nil)
	b.stop()
	c := start(t, settings(b.address), forwardtest.Open(t, t.TempDir()), &agent.Latest{})
	eventually(t, "it has tried", func() bool { return strings.Contains(c.Health().LastError, "cannot connect to mqtt://127.0.0.1") })
	c.stop()
	require.False(t, c.Health().Connected)
}
