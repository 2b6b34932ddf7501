package screen

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"time"
)

const (
	// heartbeat is how often a stream speaks at least; the page takes 4 s of silence for a stop.
	heartbeat = time.Second
	// breath is how often it speaks at most: what comes faster is put together, so that no pace can flood a browser.
	breath = 100 * time.Millisecond
	// streamLimit bounds how many browsers may listen at once.
	streamLimit = 64
)

// message is one event of the stream. Names are short since one goes out every second.
type message struct {
	Boot   string         `json:"b,omitempty"` // in the first message only
	Left   int64          `json:"l"`           // ms of the unit's time until it stops; -1 = no stop approaches
	Age    int64          `json:"a"`           // ms of the unit's time since the product reading; -1 = never read
	Fields map[string]any `json:"f,omitempty"` // what changed
	Points [][3]float64   `json:"p,omitempty"` // of the trend: key, lowest, highest
}

// stream is what one browser was told so far.
type stream struct {
	sent   map[string]string
	steps  []string
	points map[int64]bucket
	from   int64 // key of the last trend bucket that may still change
}

// next tells what changed since the last message.
func (s *Screen) next(st *stream) message {
	v := s.view()
	m := message{Left: -1, Age: -1, Fields: map[string]any{}}
	if v.left >= 0 {
		m.Left = v.left.Milliseconds()
	}
	if v.age >= 0 {
		m.Age = v.age.Milliseconds()
	}
	if st.sent == nil {
		m.Boot = s.boot
	}
	for k, text := range v.fields {
		if old, ok := st.sent[k]; !ok || old != text {
			m.Fields[k] = text
		}
	}
	if !slices.Equal(st.steps, v.steps) {
		m.Fields["steps"] = v.steps
	}
	st.sent, st.steps = maps.Clone(v.fields), slices.Clone(v.steps)
	m.Points = s.points(st)
	return m
}

// points are the buckets of the trend that are new or have grown. A new stream gets only the newest: the page asks for
// the whole trend by itself.
func (s *Screen) points(st *stream) [][3]float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	if st.from == 0 {
		st.from = s.trend.newest
	}
	var list [][3]float64
	grown := map[int64]bucket{}
	for _, b := range s.trend.since(st.from) {
		grown[b.key] = b
		if st.points[b.key] != b {
			list = append(list, [3]float64{float64(b.key), b.lo, b.hi})
		}
	}
	st.points, st.from = grown, max(st.from, s.trend.newest)
	return list
}

// events is the stream of one browser.
func (s *Screen) events(w http.ResponseWriter, r *http.Request) {
	if s.streams.Add(1) > streamLimit {
		s.streams.Add(-1)
		http.Error(w, "too many screens are open; close one", http.StatusServiceUnavailable)
		return
	}
	defer s.streams.Add(-1)
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	tick := time.NewTicker(heartbeat)
	defer tick.Stop()
	st := new(stream)
	for {
		_, _, changed := s.present()
		text, err := json.Marshal(s.next(st))
		if err != nil {
			return // cannot happen: numbers in the trend are finite
		}
		// A browser that takes nothing for so long is gone; the server's own time limits are not made for streams.
		_ = out.SetWriteDeadline(time.Now().Add(10 * time.Second))
		if _, err := fmt.Fprintf(w, "data: %s\n\n", text); err != nil {
			return
		}
		if out.Flush() != nil {
			return
		}
		select {
		case <-changed:
		case <-tick.C:
		case <-r.Context().Done():
			return
		}
		select {
		case <-time.After(breath):
		case <-r.Context().Done():
			return
		}
	}
}

// trendReply is the whole trend.
type trendReply struct {
	Newest int64        `json:"newest"` // key of the newest bucket
	Size   int          `json:"size"`   // how many buckets there may be
	Step   float64      `json:"step"`   // s, of one bucket
	Bridge int64        `json:"bridge"` // buckets further apart are not joined
	Top    float64      `json:"top"`    // full scale, uS/cm
	Points [][3]float64 `json:"points"` // key, lowest, highest; -1 = the reading was missing or bad
}

// trendJSON answers with the last 30 min of product readings.
func (s *Screen) trendJSON(w http.ResponseWriter, _ *http.Request) {
	snap, _, _ := s.present()
	t := trendReply{Size: trendSize, Step: trendStep.Seconds(), Bridge: trendBridge, Points: [][3]float64{}}
	if snap != nil {
		t.Top = trendScale * snap.Settings.Endpoint
	}
	s.mu.Lock()
	t.Newest = s.trend.newest
	for _, b := range s.trend.since(0) {
		t.Points = append(t.Points, [3]float64{float64(b.key), b.lo, b.hi})
	}
	s.mu.Unlock()
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(t) // a browser that went away needs no trend
}
