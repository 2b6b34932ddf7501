package alarm

import (
	"cmp"
	"slices"
	"time"
)

// The spans that the published figures count in.
const (
	TenMinutes    = 10 * time.Minute // how much comes at once
	OneDay        = 24 * time.Hour
	StaleAfter    = 24 * time.Hour // active for longer without a break: stale
	ChatterWithin = time.Minute    // raised ChatterTimes within it: chattering
)

const (
	ChatterTimes = 3  // raised so often within ChatterWithin: chattering
	FloodOver    = 10 // more than so many in one TenMinutes: flood
	TopTen       = 10
)

// The published figures of a system that people can follow. From memory: EEMUA 191 third edition (2013) and ANSI/ISA-18.2-2016,
// clause on monitoring, for one operator's place.
const (
	AcceptableADay    = 150  // alarms a day "very likely to be acceptable"
	ManageableADay    = 300  // "maximum manageable"
	AcceptablePerTen  = 1.0  // alarms in ten minutes, on average
	ManageablePerTen  = 2.0  //
	FloodShare        = 0.01 // of the ten-minute periods, at most
	TopTenShare       = 0.05 // of all alarms, at most
	StaleAtOnce       = 5    // fewer on any day
	LowShare          = 0.80 // of the annunciated alarms
	MediumShare       = 0.15 //
	HighShare         = 0.05 //
	ChatteringAllowed = 0    //
)

// Figures measures an alarm system from its record: how many alarms people had to take in, how unevenly, and which ones
// wear them out. It takes the events once, in time order, and its memory does not grow with the record. The zero Figures
// begins at its first event; Begin begins it earlier.
type Figures struct {
	begun      bool
	start, now time.Duration
	raised     int
	byAlarm    [Count]int
	byPriority [int(High) + 1]int

	period, inPeriod     int // number of the open period, raised in it
	worstPeriod          int
	floodPeriods, floods int
	flooded              bool // the period before the open one was a flood
	day, inDay, worstDay int

	last       [Count][ChatterTimes]time.Duration // rule times of the last raises, newest first
	chattering [Count]bool
	active     [Count]bool
	since      [Count]time.Duration
	stale      [Count]bool
}

// Begin says when the record begins, where that is before its first event.
func (f *Figures) Begin(at time.Duration) {
	if !f.begun {
		f.begun, f.start, f.now = true, at, at
	}
}

// Take counts one change of an alarm; times must not go backwards. An alarm counts each time it begins to call.
func (f *Figures) Take(at time.Duration, id ID, was, now Phase, p Priority) {
	if int(id) >= Count || p > High {
		return
	}
	f.advance(at)
	if now == Unacknowledged && was != Unacknowledged {
		f.raise(at, id, p)
	}
	if now.Active() != f.active[id] {
		f.settle(id)
		f.active[id], f.since[id] = now.Active(), at
	}
}

func (f *Figures) raise(at time.Duration, id ID, p Priority) {
	f.raised++
	f.inPeriod++
	f.inDay++
	f.byPriority[p]++
	last := &f.last[id]
	copy(last[1:], last[:])
	last[0] = at
	if f.byAlarm[id]++; f.byAlarm[id] >= ChatterTimes && at-last[ChatterTimes-1] <= ChatterWithin {
		f.chattering[id] = true
	}
}

// settle marks an alarm that was active for too long.
func (f *Figures) settle(id ID) {
	f.stale[id] = f.stale[id] || f.active[id] && f.now-f.since[id] > StaleAfter
}

// advance closes the periods and days that lie behind. Empty ones in between need no visit each.
func (f *Figures) advance(at time.Duration) {
	f.Begin(at)
	f.now = max(f.now, at)
	if n := int((f.now - f.start) / TenMinutes); n != f.period {
		f.closePeriod()
		f.flooded = f.inPeriod > FloodOver && n == f.period+1
		f.period, f.inPeriod = n, 0
	}
	if n := int((f.now - f.start) / OneDay); n != f.day {
		f.worstDay = max(f.worstDay, f.inDay)
		f.day, f.inDay = n, 0
	}
}

func (f *Figures) closePeriod() {
	f.worstPeriod = max(f.worstPeriod, f.inPeriod)
	if f.inPeriod > FloodOver {
		f.floodPeriods++
		if !f.flooded {
			f.floods++
		}
	}
}

// Bad is one alarm of the top ten.
type Bad struct {
	Alarm ID
	Times int
	Share float64 // of all alarms, 0 to 1
}

// Report is what the record shows up to an instant.
type Report struct {
	Span         time.Duration
	Raised       int
	ByPriority   [int(High) + 1]int
	ADay         float64 // mean; of a record shorter than a day what a day of it would hold; 0 for one without length
	WorstDay     int     // most in one day of the record, counted from its begin
	PerTen       float64 // mean of ten minutes
	WorstTen     int     // most in one period of ten minutes
	Periods      int     // of ten minutes, the open one included
	FloodPeriods int     // periods with more than FloodOver
	Floods       int     // runs of such periods
	Chattering   []ID
	Stale        []ID    // active for more than StaleAfter without a break
	Standing     int     // active at the end
	Top          []Bad   // at most TopTen, the most frequent first
	TopShare     float64 // of all alarms
}

// Report gives the figures up to at; the count goes on behind it.
func (f *Figures) Report(at time.Duration) Report {
	c := *f
	c.advance(at)
	c.closePeriod()
	r := Report{
		Span: c.now - c.start, Raised: c.raised, ByPriority: c.byPriority, WorstDay: max(c.worstDay, c.inDay), WorstTen: c.worstPeriod,
		Periods: c.period + 1, FloodPeriods: c.floodPeriods, Floods: c.floods,
	}
	if r.Span > 0 {
		r.ADay = float64(c.raised) * float64(OneDay) / float64(r.Span)
		r.PerTen = float64(c.raised) * float64(TenMinutes) / float64(r.Span)
	}
	for i := range c.byAlarm {
		id := ID(i)
		c.settle(id)
		if c.chattering[i] {
			r.Chattering = append(r.Chattering, id)
		}
		if c.stale[i] {
			r.Stale = append(r.Stale, id)
		}
		if c.active[i] {
			r.Standing++
		}
		if n := c.byAlarm[i]; n > 0 {
			r.Top = append(r.Top, Bad{Alarm: id, Times: n, Share: float64(n) / float64(c.raised)})
		}
	}
	slices.SortStableFunc(r.Top, func(a, b Bad) int { return cmp.Compare(b.Times, a.Times) })
	r.Top = r.Top[:min(len(r.Top), TopTen)]
	for _, b := range r.Top {
		r.TopShare += b.Share
	}
	return r
}
