package screen

import (
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"ionward/agent"
	"ionward/agent/words"
	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// view is everything the page shows that can change: texts and states by key. The page is rendered from it and the
// stream sends what changed in it, so that both always say the same.
type view struct {
	fields map[string]string
	steps  []string
	left   time.Duration // of the unit's time until it stops; below 0 = no stop approaches
	age    time.Duration // of the newest product reading, unit's time; below 0 = never read
}

func (v *view) set(key, text string) { v.fields[key] = text }

// view puts the present into words.
func (s *Screen) view() *view {
	snap, quiet, _ := s.present()
	v := &view{fields: make(map[string]string, 64), left: -1, age: -1}
	if snap == nil {
		snap = &agent.Snapshot{Trailer: s.set.Trailer, Settings: rules.Defaults()}
	}
	st, now := &snap.State, snap.Time()
	if snap.At == 0 {
		now = time.Now()
	}
	x := s.set.Watch.Situation(&snap.Settings, st)
	a := s.words.Advise(x, &s.set.Watch, &snap.Settings, st, now)
	tone := s.tone(x, snap)
	v.set("live", "yes")
	v.set("seen", s.words.Clock(now))
	if st.Started && quiet > s.set.Silence {
		a, tone = s.words.Silent(), "blind"
		a.Sentence = strings.ReplaceAll(a.Sentence, "{since}", v.fields["seen"])
		v.set("live", "no")
	}
	// The unit's time goes on between snapshots, faster than ours in a paced simulation.
	since := time.Duration(float64(quiet) * s.set.Pace)
	if left, ok := st.TimeLeft(&snap.Settings); ok && tone != "blind" && x != words.NotOpened {
		v.left = max(0, left-since)
	}
	if age, ok := st.Age(signal.ProductConductivity); ok {
		v.age = age + since
	}
	s.headline(v, a, tone)
	s.numbers(v, snap)
	s.valves(v, st)
	s.alarms(v, snap)
	s.foot(v, snap)
	s.reason(v, snap, a)
	return v
}

// headline is the top quarter and the steps.
func (s *Screen) headline(v *view, a words.Advice, tone string) {
	v.set("word", a.Word)
	v.set("word.box", box(a.Word, v.left >= 0))
	v.set("word.len", length(a.Word, v.left >= 0))
	v.set("sentence", a.Sentence)
	v.set("tone", tone)
	v.set("tone.word", "")
	if p, ok := priorities[tone]; ok {
		v.set("tone.word", s.words.Priority(p))
	}
	v.set("counts", yes(v.left >= 0))
	v.steps = a.Steps
	v.set("steps.n", strconv.Itoa(len(a.Steps)))
	v.set("announce", a.Word)
}

var priorities = map[string]alarm.Priority{"low": alarm.Low, "medium": alarm.Medium, "high": alarm.High}

// tone is how loud the top of the screen is: calm, low, medium, high or blind. A situation that belongs to an alarm is as
// loud as the site made that alarm, so that white on red stays with what is High here.
func (s *Screen) tone(x words.Situation, snap *agent.Snapshot) string {
	is := func(id alarm.ID) string { return snap.Settings.Alarms[id].Priority.String() }
	switch x {
	case words.Starting, words.Blind:
		return "blind"
	case words.OffSpec, words.OffSpecBad, words.OffSpecUnread, words.OffSpecNone, words.OffSpecRinse:
		// A dip shorter than the alarm's on-delay does not turn the screen red.
		if !snap.State.Alarms[alarm.OffSpec].Phase.Active() {
			return alarm.Medium.String()
		}
		return is(alarm.OffSpec)
	case words.StoppedDelay, words.StoppedBypass, words.StoppedKept:
		return is(alarm.StoppedOffSpec)
	case words.NotShut, words.ReliefNotOpen:
		return alarm.High.String()
	case words.PowerLost:
		return is(alarm.ControlPowerLost)
	case words.BypassOff, words.BypassRinse, words.BypassUnread:
		return is(alarm.BypassOn)
	case words.Lost:
		return is(alarm.ProductReadingLost)
	case words.NotOpened:
		return alarm.Medium.String()
	case words.NoFlow, words.LowFlow, words.BypassOn:
		return alarm.Low.String()
	}
	return "calm"
}

// numbers are feed, product and flow.
func (s *Screen) numbers(v *view, snap *agent.Snapshot) {
	st, end := &snap.State, snap.Settings.Endpoint
	s.number(v, "feed", st, signal.FeedConductivity, s.words.Conductivity)
	s.number(v, "product", st, signal.ProductConductivity, func(x float64) (string, string) {
		return s.words.ProductNumber(x, end, st.Powered && !st.Off()), signal.MicrosiemensPerCm.Symbol
	})
	s.number(v, "flow", st, signal.Flow, s.words.Flow)
	h := &st.Signals[signal.ProductConductivity]
	v.set("bar", "0")
	if h.Known && end > 0 {
		v.set("bar", strconv.FormatFloat(100*min(h.Value/(trendScale*end), 1), 'f', 0, 64))
	}
	v.set("bar.is", "under")
	switch is := v.fields["product.is"]; {
	case is != "good" && is != "uncertain":
		v.set("bar.is", "unknown")
	case h.Value >= end:
		v.set("bar.is", "over")
	}
	flow := &st.Signals[signal.Flow]
	v.set("flow.low", yes(flow.Known && flow.Value < s.set.Watch.LowFlow))
}

// missed is how old a number may get by polls that were lost before it is struck through: one lost poll is no news.
const missed = 2 * time.Second

// number shows one analog signal: a stale or bad one keeps its last number, struck through, with its age or cause.
func (s *Screen) number(v *view, key string, st *rules.State, id signal.ID, write func(float64) (string, string)) {
	h := &st.Signals[id]
	text, unit := write(h.Value)
	is, note := "good", ""
	age := st.Elapsed - h.Seen
	switch {
	case h.Quality == signal.Bad:
		is, note = "bad", s.words.Cause(h.Cause)
	case !h.Known:
		is, note = "none", s.words.Label("no_value")
	case h.Quality == signal.None && age > missed, age > s.set.Watch.Stale:
		is, note = "old", s.words.Label("old", "age", s.words.Age(age))
	case h.Quality == signal.Uncertain:
		is, note = "uncertain", s.words.Quality(signal.Uncertain)
	}
	if !h.Known {
		text = "\u2013"
	}
	v.set(key, text)
	v.set(key+".unit", unit)
	v.set(key+".is", is)
	v.set(key+".note", note)
}

// foot is the bottom edge.
func (s *Screen) foot(v *view, snap *agent.Snapshot) {
	v.set("clock", "")
	if snap.At != 0 {
		v.set("clock", s.words.Clock(snap.Time()))
	}
	who := s.set.AgreedBy
	if who == "" {
		who = s.words.Label("nobody")
	}
	v.set("endpoint", s.words.Label("endpoint", "limit", s.words.Limit(snap.Settings.Endpoint), "who", who))
	v.set("limit", s.words.Limit(snap.Settings.Endpoint))
	top := trendScale * snap.Settings.Endpoint
	v.set("trend.top", s.words.Limit(top))
	s.mu.Lock()
	_, off := s.trend.paths(top)
	s.mu.Unlock()
	v.set("trend.off", yes(off != ""))
}

// reason is what "Why?" opens.
func (s *Screen) reason(v *view, snap *agent.Snapshot, a words.Advice) {
	st := &snap.State
	v.set("why", a.Sentence)
	v.set("why.since", "")
	if !st.Started {
		return
	}
	if why := s.words.Why(st.Reason); why != "" {
		v.set("why", sentence(why))
	}
	v.set("why.since", s.words.State(st.Mode)+" "+s.words.Label("since", "at", s.words.ClockSeconds(snap.Time().Add(st.Since-st.Elapsed))))
}

// sentence gives a phrase its capital and full stop.
func sentence(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	if n == 0 {
		return ""
	}
	return string(unicode.ToUpper(r)) + text[n:] + "."
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// The state word is drawn 100 units high (its capitals) and exactly length units wide, whatever font the panel PC has:
// beside the countdown there is less room.
const (
	wordRoom      = 830
	wordRoomTimed = 530
)

// wide is the width of a letter in a narrow bold face, in hundredths of the capitals' height.
func wide(r rune) float64 {
	switch r {
	case ' ', 'I':
		return 34
	case 'M', 'W':
		return 104
	}
	return 80
}

func length(word string, timed bool) string {
	sum := 0.0
	for _, r := range word {
		sum += wide(r)
	}
	room := float64(wordRoom)
	if timed {
		room = wordRoomTimed
	}
	return strconv.FormatFloat(min(sum, room), 'f', 0, 64)
}

func box(word string, timed bool) string { return fmt.Sprintf("0 0 %s 100", length(word, timed)) }
