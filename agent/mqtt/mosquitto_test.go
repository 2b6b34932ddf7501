package mqtt

import (
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"ionward/agent"
	"ionward/agent/forward/forwardtest"
)

// outside is a mosquitto with a folder and a port of its own.
type outside struct {
	t       *testing.T
	program string
	config  string
	address string
	cmd     *exec.Cmd
}

func newOutside(t *testing.T) *outside {
	t.Helper()
	o := &outside{t: t, program: need(t, "mosquitto")}
	folder := t.TempDir()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	o.address = l.Addr().String()
	require.NoError(t, l.Close())
	_, port, err := net.SplitHostPort(o.address)
	require.NoError(t, err)
	user := ""
	if os.Getuid() == 0 {
		user = "user root\n" // else it changes to a user that may not write to the folder
	}
	o.config = filepath.Join(folder, "mosquitto.conf")
	require.NoError(t, os.WriteFile(o.config, []byte(user+"listener "+port+" 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location "+
		folder+"/\nmax_queued_messages 0\nmax_inflight_messages 0\nlog_dest none\n"), 0o600))
	o.start()
	t.Cleanup(func() { o.end(syscall.SIGTERM) })
	return o
}

func (o *outside) start() {
	o.t.Helper()
	o.cmd = exec.Command(o.program, "-c", o.config)
	require.NoError(o.t, o.cmd.Start())
	eventually(o.t, "mosquitto listens", func() bool {
		c, err := net.Dial("tcp", o.address)
		if err == nil {
			_ = c.Close()
		}
		return err == nil
	})
}

// end stops it: SIGTERM lets it save what it has acknowledged, SIGKILL does not.
func (o *outside) end(how syscall.Signal) {
	if o.cmd != nil {
		_ = o.cmd.Process.Signal(how)
		_ = o.cmd.Wait()
		o.cmd = nil
	}
}

// reader is a subscriber with a kept session, so that the broker holds for it what comes while it is away.
type reader struct {
	client paho.Client
	mu     sync.Mutex
	seqs   []uint64
	avail  []string
}

func newReader(t *testing.T, address string) *reader {
	t.Helper()
	r := &reader{}
	o := paho.NewClientOptions().AddBroker("mqtt://" + address).SetClientID("reader").SetCleanSession(false).
		SetProtocolVersion(4).SetMaxReconnectInterval(100 * time.Millisecond).SetOrderMatters(true).
		SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) { r.take(m) })
	r.client = paho.NewClient(o)
	for _, token := range []func() paho.Token{r.client.Connect, func() paho.Token { return r.client.Subscribe("plant/T-100/#", 1, nil) }} {
		tk := token()
		require.True(t, tk.WaitTimeout(waitLimit))
		require.NoError(t, tk.Error())
	}
	t.Cleanup(func() { r.client.Disconnect(100) })
	return r
}

func (r *reader) take(m paho.Message) {
	var p struct {
		Seq    uint64
		Avail  string
		Reason string
	}
	if json.Unmarshal(m.Payload(), &p) != nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	switch m.Topic() {
	case logTopic:
		r.seqs = append(r.seqs, p.Seq)
	case availTopic:
		r.avail = append(r.avail, p.Avail+" "+p.Reason)
	}
}

func (r *reader) list() []uint64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]uint64(nil), r.seqs...)
}

func (r *reader) last() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.avail) == 0 {
		return ""
	}
	return r.avail[len(r.avail)-1]
}

func TestMosquittoStoppedAndStarted(t *testing.T) {
	o := newOutside(t)
	r := newReader(t, o.address)
	j := forwardtest.Open(t, t.TempDir())
	latest := &agent.Latest{}
	latest.Put(&agent.Snapshot{Seq: 1, Epoch: j.Epoch()})
	c := start(t, settings(o.address), j, latest)
	const rounds, each = 3, 600
	for round := uint64(0); round < rounds; round++ {
		forwardtest.Record(j, round*each+1, round*each+each/2)
		eventually(t, "some of it on its way", func() bool { return c.Health().Feed.Cursor > round*each })
		o.end(syscall.SIGTERM)
		forwardtest.Record(j, round*each+each/2+1, (round+1)*each)
		o.start()
	}
	eventually(t, "all acknowledged", func() bool { return c.Health().Feed.Cursor == rounds*each })
	require.Empty(t, c.Health().SelfTest)
	eventually(t, "all delivered", func() bool { return len(unique(r.list())) == rounds*each })
	repeats := forwardtest.Complete(t, r.list(), rounds*each)
	t.Logf("%d repeats", repeats)
	c.stop()
	eventually(t, "the stop is told", func() bool { return r.last() == "offline stop" })
}

// Killed outright, a broker forgets what it acknowledged; what it had not acknowledged must be sent again.
func TestMosquittoKilled(t *testing.T) {
	o := newOutside(t)
	j := forwardtest.Open(t, t.TempDir())
	forwardtest.Record(j, 1, 20000)
	c := start(t, settings(o.address), j, nil)
	eventually(t, "some of it on its way", func() bool { return c.Health().Feed.Cursor > 500 })
	o.end(syscall.SIGKILL)
	eventually(t, "the loss is noticed", func() bool { return !c.Health().Connected })
	_, acknowledged, err := j.Cursor("mqtt")
	require.NoError(t, err)
	require.Less(t, acknowledged, uint64(20000), "killed in the middle")
	o.start()
	// The new reader comes before the rest is sent or while it is; what it gets must run without a hole to the end.
	r := newReader(t, o.address)
	eventually(t, "all acknowledged", func() bool { return c.Health().Feed.Cursor == 20000 })
	forwardtest.Record(j, 20001, 20010)
	eventually(t, "the end is delivered", func() bool { l := r.list(); return len(l) > 0 && l[len(l)-1] == 20010 })
	list := r.list()
	for i := 1; i < len(list); i++ {
		require.Equal(t, list[i-1]+1, list[i], fmt.Sprintf("a hole after %d", list[i-1]))
	}
}
