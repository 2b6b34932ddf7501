package rules

import (
	"math/bits"

	"ionward/rules/alarm"
)

// Bits are what is offered to the alarms, bit by alarm.
type Bits struct {
	On      uint64 `json:"on"`      // the condition stands
	Quiet   uint64 `json:"quiet"`   // suppressed by design
	Lowered uint64 `json:"lowered"` // a circumstance lowers it to its second priority
	Again   uint64 `json:"again"`   // rising: it calls again
}

var _ [64 - alarm.Count]struct{} // every alarm has a bit

// set adds an alarm where its condition stands.
func (b *Bits) set(id alarm.ID, on bool) {
	if on {
		b.On |= 1 << id
	}
}

// quiet adds an alarm where it is suppressed by design.
func (b *Bits) quiet(id alarm.ID, suppressed bool) {
	if suppressed {
		b.Quiet |= 1 << id
	}
}

// alarms offers every alarm its condition and records what changed. Where no reading has left its band, no contact,
// quality, mode or class has changed and no deadline has come, there is nothing to look at.
func (s *State) alarms(set *Settings, out *Effects) {
	w := &s.Watch
	if !w.Touched && w.Began && w.Mode == s.Mode && w.Off == s.Off() && (s.Due == 0 || s.Elapsed < s.Due) {
		return
	}
	w.Touched, s.Due = false, 0
	s.open()
	s.follow(set)
	now, was := s.conditions(set), s.Offered
	s.close(set)
	s.Offered = now
	look := s.Pending | (now.On ^ was.On) | (now.Quiet ^ was.Quiet) | (now.Lowered ^ was.Lowered) | (now.Again &^ was.Again)
	s.Pending = 0
	for ; look != 0; look &= look - 1 {
		id := alarm.ID(bits.TrailingZeros64(look))
		s.present(set, out, id, (now.Again&^was.Again)>>id&1 != 0)
	}
}

// present tells one alarm what holds and records what came of it.
func (s *State) present(set *Settings, out *Effects, id alarm.ID, again bool) {
	a, d := &s.Alarms[id], &set.Alarms[id]
	phase, priority := a.Phase, a.Priority(d)
	a.Lower(s.Offered.Lowered>>id&1 != 0)
	a.Offer(d, s.Elapsed, s.Offered.On>>id&1 != 0, s.Offered.Quiet>>id&1 != 0)
	if again {
		a.Repeat()
	}
	if at, waits := a.Due(d); waits {
		s.Pending |= 1 << id
		s.wake(at)
	}
	shown := a.Phase.Active() || a.Phase == alarm.Returned || a.Phase.Latched()
	if a.Phase == phase && (!shown || a.Priority(d) == priority) {
		return
	}
	e := Event{
		At: s.Elapsed, Kind: AlarmChange, Alarm: id, Was: phase, Now: a.Phase, Priority: a.Priority(d), Reason: s.because(set, id),
	}
	if phase == alarm.Shelved {
		e.Reason = Reason{Code: ShelfOver}
	}
	out.Events = append(out.Events, e)
}

// Sounds is the highest priority for which the horn should sound, false where it is still: somebody is wanted and nobody
// has silenced it.
func (s *State) Sounds(set *Settings) (loudest alarm.Priority, sounds bool) {
	for i := range s.Alarms {
		if a := &s.Alarms[i]; a.Sounds() {
			loudest, sounds = max(loudest, a.Priority(&set.Alarms[i])), true
		}
	}
	return loudest, sounds
}

// conditions says which conditions stand, which the mode of the unit makes meaningless and which are lowered.
func (s *State) conditions(set *Settings) Bits {
	var b Bits
	b.On, b.Quiet = s.shadowConditions(set)
	s.stops(set, &b)
	s.health(set, &b)
	s.setup(set, &b)
	s.known(set, &b)
	s.users(set, &b)
	b.Quiet &= b.On | recorded | s.hidden(b.Quiet)
	return b
}

// recorded are the alarms whose suppression is a change of phase even while they are normal: those about the stop.
const recorded = 1<<alarm.OffSpec | 1<<alarm.StoppedOffSpec | 1<<alarm.BypassOn | 1<<alarm.ProductReadingLost

// hidden picks those that a suppression hides: an alarm that is normal has nothing to hide, and a record of every one
// that could not have been raised anyway would bury what matters.
func (s *State) hidden(quiet uint64) (hidden uint64) {
	for ; quiet != 0; quiet &= quiet - 1 {
		if id := bits.TrailingZeros64(quiet); s.Alarms[id].Under != alarm.Normal {
			hidden |= 1 << id
		}
	}
	return hidden
}
