package screen

import (
	"bufio"
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"ionward/rules/signal"
)

// listener reads the stream as a browser does.
type listener struct {
	t     *testing.T
	lines *bufio.Scanner
}

func listen(t *testing.T, url string) *listener {
	ctx, done := context.WithTimeout(t.Context(), 30*time.Second)
	t.Cleanup(done)
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url+"events", nil)
	require.NoError(t, err)
	answer, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	t.Cleanup(func() { _ = answer.Body.Close() })
	require.Equal(t, "text/event-stream", answer.Header.Get("Content-Type"))
	return &listener{t: t, lines: bufio.NewScanner(answer.Body)}
}

// next is the next message; false at the end of the stream.
func (l *listener) next() (message, bool) {
	for l.lines.Scan() {
		if data, ok := strings.CutPrefix(l.lines.Text(), "data: "); ok {
			var m message
			require.NoError(l.t, json.Unmarshal([]byte(data), &m))
			return m, true
		}
	}
	return message{}, false
}

// until reads on until a field has a value.
func (l *listener) until(key, value string) message {
	for {
		m, ok := l.next()
		require.True(l.t, ok, "the stream ended before %s became %q", key, value)
		if m.Fields[key] == value {
			return m
		}
	}
}

func TestTheStreamTellsAllFirstAndThenWhatChanged(t *testing.T) {
	u := newUnit()
	s := newScreen(t, u, nil)
	u.run(2, time.Second)
	url, _ := serve(t, s)
	l := listen(t, url)

	first, ok := l.next()
	require.True(t, ok)
	assert.Equal(t, s.boot, first.Boot)
	assert.Equal(t, "GOOD WATER", first.Fields["word"])
	assert.Equal(t, "0.084", first.Fields["product"])
	assert.NotEmpty(t, first.Fields["steps"])
	assert.EqualValues(t, -1, first.Left)

	u.analog(signal.ProductConductivity, 1.2)
	u.run(30, time.Second)
	m := l.until("word", "OFF SPEC")
	assert.Empty(t, m.Boot)
	assert.Equal(t, "1.200", m.Fields["product"])
	assert.NotContains(t, m.Fields, "feed", "what did not change is not sent again")
	assert.InDelta(t, 571_000, m.Left, 5000)
	require.NotEmpty(t, m.Points)
	assert.Equal(t, 1.2, m.Points[len(m.Points)-1][2])
}

// Nobody who reads slowly, or not at all, makes the loop wait; what a reader missed is put together into one message.
func TestASlowReaderHoldsNobodyUp(t *testing.T) {
	u := newUnit()
	s := newScreen(t, u, nil)
	u.run(1, time.Second)
	url, _ := serve(t, s)
	l := listen(t, url)
	_, ok := l.next()
	require.True(t, ok)
	u.analog(signal.ProductConductivity, 0.9)
	u.run(20000, time.Second) // by now the loop is hours ahead of a reader that takes ten messages a second
	u.analog(signal.ProductConductivity, 0.3)
	u.run(1, time.Second)
	count := 1
	for m, ok := l.next(); m.Fields["product"] != "0.300"; m, ok = l.next() {
		require.True(t, ok)
		count++
	}
	assert.Less(t, count, 200)
}

func TestStreamsAreBounded(t *testing.T) {
	s := newScreen(t, newUnit(), nil)
	s.streams.Store(streamLimit)
	w := httptest.NewRecorder()
	s.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/events", nil))
	assert.Equal(t, 503, w.Code)
	assert.EqualValues(t, streamLimit, s.streams.Load())
}

func TestAStopEndsStreamsAndLeavesNothingBehind(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	u := newUnit()
	s := newScreen(t, u, nil)
	u.run(1, time.Second)
	url, stop := serve(t, s)
	l := listen(t, url)
	_, ok := l.next()
	require.True(t, ok)
	stop()
	for ok {
		_, ok = l.next()
	}
	assert.Zero(t, s.streams.Load())
	http.DefaultClient.CloseIdleConnections()
}

// A message in calm is small: at one a second it must stay below 200 bytes.
func TestCalmIsCheap(t *testing.T) {
	u := newUnit()
	s := newScreen(t, u, nil)
	u.run(10, time.Second)
	st := new(stream)
	s.next(st)
	sum, n := 0, 120
	for i := range n {
		u.analog(signal.ProductConductivity, 0.084+0.001*float64(i%3))
		u.run(1, time.Second)
		text, err := json.Marshal(s.next(st))
		require.NoError(t, err)
		sum += len("data: \n\n") + len(text)
	}
	t.Logf("stream in calm: %d bytes a message", sum/n)
	assert.Less(t, sum/n, 200)
}

// The loop stands still: the server itself says that it knows nothing, and takes it back when the loop goes on.
func TestAStoppedLoopShows(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		u := newUnit()
		s := newScreen(t, u, func(set *Settings) { set.Silence = 5 * time.Second })
		assert.Equal(t, "NO READING YET. Watching has just begun.", s.view().fields["sentence"])
		u.run(2, time.Second)
		time.Sleep(5 * time.Second)
		assert.Equal(t, "yes", s.view().fields["live"])
		time.Sleep(time.Second)
		v := s.view()
		assert.Equal(t, "no", v.fields["live"])
		assert.Equal(t, "NO DATA", v.fields["word"])
		assert.Equal(t, "THIS SCREEN KNOWS NOTHING SINCE 13:20", v.fields["sentence"])
		assert.Equal(t, "blind", v.fields["tone"])
		assert.Equal(t, 6*time.Second, v.age)
		assert.Equal(t, "0.084", v.fields["product"], "the last number stays, struck through")
		assert.Equal(t, 503, get(t, s, "/healthz").Code)
		u.run(1, time.Second)
		assert.Equal(t, "yes", s.view().fields["live"])
	})
}

// Between two snapshots the countdown and the age go on, at the pace of the unit.
func TestTimeGoesOnBetweenSnapshots(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		u := newUnit()
		s := newScreen(t, u, func(set *Settings) { set.Pace = 20 })
		u.analog(signal.ProductConductivity, 1.2)
		u.run(61, time.Second)
		assert.Equal(t, 540*time.Second, s.view().left)
		time.Sleep(3 * time.Second)
		assert.Equal(t, 480*time.Second, s.view().left)
		assert.Equal(t, time.Minute, s.view().age)
		time.Sleep(time.Minute)
		assert.Zero(t, s.view().left, "never below 0:00")
	})
}
