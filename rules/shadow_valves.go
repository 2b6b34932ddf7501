package rules

import (
	"time"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// What the limit switches say is a fact, what the shadow says is an expectation. A fact counts against the expectation
// only if it was read after the valve had time to travel; so nothing here is due by time alone.

// Which limit switches are known.
const (
	openWired = 1 << iota
	shutWired
	reliefWired

	inletWired = openWired | shutWired
)

func (s *State) wired() (w uint8) {
	if s.Signals[signal.InletOpen].Known {
		w |= openWired
	}
	if s.Signals[signal.InletShut].Known {
		w |= shutWired
	}
	if s.Signals[signal.ReliefOpen].Known {
		w |= reliefWired
	}
	return w
}

// inlet is how the inlet stands by its limit switches: whether that agrees with an open and with a shut inlet, and
// whether it was read in this scan. Two switches that are both made prove nothing.
func (s *State) inlet() (open, shut, read bool) {
	o, c := &s.Signals[signal.InletOpen], &s.Signals[signal.InletShut]
	see := func(h *Held) (wired, on, now bool) {
		ok := h.Known && (h.Quality == signal.Good || h.Quality == signal.Uncertain)
		return ok, ok && h.Value != 0, ok && h.Seen == s.Elapsed
	}
	seesOpen, isOpen, readOpen := see(o)
	seesShut, isShut, readShut := see(c)
	read = (readOpen || readShut) && !(isOpen && isShut)
	// With one switch only, "not at that end" is all that can be known of the other.
	open = isOpen || !seesOpen && seesShut && !isShut
	shut = isShut || !seesShut && seesOpen && !isOpen
	return open, shut, read
}

// expect works out how the inlet must stand now, and since when for certain.
func (s *State) expect(set *Settings) {
	h, now := &s.Shadow, s.Elapsed
	to, from := ExpectOpen, now
	switch {
	case !s.Powered:
		to = ExpectDead
	case h.Trip == Sure:
		to, from = ExpectShut, h.Tripped
	case h.Trip == Maybe || now >= h.earliest(set):
		to = ExpectEither
	}
	if to == h.Expect {
		return
	}
	h.Expect, h.From, h.Agreed = to, from, false
	h.Conditions = 0
}

// compareInlet compares the inlet with the expectation.
func (s *State) compareInlet(set *Settings) {
	const (
		didNotOpen = 1 << alarm.DidNotOpen
		didNotShut = 1 << alarm.DidNotShut
		moved      = 1 << alarm.MovedUnasked
		question   = 1 << alarm.BypassQuestion
	)
	h, now := &s.Shadow, s.Elapsed
	open, shut, read := s.inlet()
	if !read {
		return
	}
	travelled := now-h.From >= set.Profile.Travel.Inlet
	switch {
	case h.Expect == ExpectEither:
		s.seeTrip(set, open, shut)
	case h.Expect == ExpectOpen && open, h.Expect >= ExpectShut && shut:
		if !h.Agreed {
			h.Agreed, h.AgreedAt = true, now
		}
		h.Asking = false
		h.Conditions &^= didNotOpen | didNotShut | moved | question
	case h.Agreed && h.Expect == ExpectShut && h.hidden(s, set):
		// It opened without a press that anybody saw: so there was one.
		first := h.ShutAt
		if !s.Signals[signal.InletShut].Known {
			first -= set.Profile.Travel.Inlet // its open end is all that is seen
		}
		h.accept(first, now)
		s.expect(set)
	case h.Agreed:
		h.Conditions |= moved
	case !travelled:
	case h.Expect == ExpectOpen:
		h.Conditions |= didNotOpen
	case h.Expect == ExpectDead:
		h.Conditions |= didNotShut
	default:
		s.overdue(set)
	}
	if h.WasOpen = open && s.Powered; !open {
		h.ShutAt = now
	}
}

// seeTrip lets the inlet tell whether the wired timer stopped the water, where time alone does not.
func (s *State) seeTrip(set *Settings, open, shut bool) {
	h, now := &s.Shadow, s.Elapsed
	switch {
	case !open && (h.WasOpen || now-h.From >= set.Profile.Travel.Inlet):
		// It left its open end, or had the time to reach it.
		h.stop(now)
		s.expect(set)
		h.Agreed, h.AgreedAt = shut, now
	case open && h.Trip == Maybe && now-h.Tripped >= set.Profile.Travel.Inlet:
		// Had it been stopped, it would be shut by now.
		h.Trip = No
		s.expect(set)
		h.Agreed, h.AgreedAt = h.Expect == ExpectOpen, now
	}
}

// overdue decides what to say of an inlet that should be shut, and has had the time. Where a press may have gone unseen
// somebody is asked first; a unit whose timer was never measured is never said to have failed.
func (s *State) overdue(set *Settings) {
	h := &s.Shadow
	sure := !h.hidden(s, set) || h.Reply != NoReply || s.outlasted(set, set.Profile.Travel.Inlet)
	if sure && set.Profile.Timers.Confirmed() {
		h.Conditions = h.Conditions&^(1<<alarm.BypassQuestion) | 1<<alarm.DidNotShut
		h.Asking = false
		return
	}
	h.Conditions |= 1 << alarm.BypassQuestion
	if !sure && !h.Asking {
		h.Asking, h.Asked = true, s.Elapsed
	}
}

// outlasted reports whether even a bypass that began unseen has ended, with product off spec all the while, and the valve
// has had its time: a press while the valve is still on its way opens it again before anybody sees it shut.
func (s *State) outlasted(set *Settings, travel time.Duration) bool {
	h := &s.Shadow
	return h.Off == Sure && h.Last <= h.Tripped && s.Elapsed-h.Tripped >= set.BypassSpan().Hi+2*travel
}

// compareRelief compares the relief's contact with the expectation.
func (s *State) compareRelief(set *Settings) {
	const (
		relief  = 1 << alarm.ReliefOpen
		notOpen = 1 << alarm.ReliefDidNotOpen
	)
	h, r, now := &s.Shadow, &s.Signals[signal.ReliefOpen], s.Elapsed
	if !r.Known || r.Seen != now {
		return
	}
	open, inlet := r.Value != 0, s.wired()&inletWired != 0
	mustOpen, mustShut := h.Expect == ExpectShut, h.Expect == ExpectOpen
	left := h.ReliefAt >= h.From // it stood as expected since the expectation began
	agrees := open && !mustShut || !open && !mustOpen
	switch {
	case agrees:
		h.ReliefAt, h.ReliefLeft = now, 0
	case left && mustOpen && !inlet && h.hidden(s, set):
		// It shut again, and no inlet switch could show the press that did it.
		h.accept(h.ReliefAt, now)
		s.expect(set)
		return
	case h.ReliefLeft == 0:
		h.ReliefLeft = now
	}
	since, limit := max(h.From, h.AgreedAt), set.Profile.Travel.Relief
	if left {
		since = h.ReliefLeft
	}
	if h.hidden(s, set) {
		// It may be on its way because of a press: the inlet will show that once it has arrived.
		limit += set.Profile.Travel.Inlet
	}
	overdue := !agrees && now-since >= limit
	_, shut, _ := s.inlet()
	switch {
	case overdue && mustShut:
		h.Conditions |= relief
	case overdue && mustOpen && (inlet && shut || !inlet && s.certain(set)):
		h.Conditions |= notOpen
	default:
		h.Conditions &^= relief | notOpen
	}
}

// certain reports whether the wired timer must have stopped the water even if a press went unseen.
func (s *State) certain(set *Settings) bool {
	h := &s.Shadow
	return set.Profile.Timers.Confirmed() &&
		(!h.hidden(s, set) || h.Reply == ReplyNo || s.outlasted(set, set.Profile.Travel.Relief))
}
