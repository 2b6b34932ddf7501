package rules

import "ionward/rules/alarm"

// Suspect is what may be behind a valve that does not stand as expected: something that no reading can show, so that
// somebody has to look.
type Suspect uint8

// The suspects, in the order in which they are worth a look.
const (
	UnseenPress  Suspect = iota // the bypass button was pressed, and nobody saw it
	UnseenDip                   // a power dip between two readings: relays begin anew
	NotMeasured                 // the wired timer was never measured on this unit
	Bridged                     // readings were lost, and what was read before and after was taken to have lasted
	StuckValve                  // the valve does not follow: stuck, no air, no solenoid
	MovedByHand                 // somebody turned it
	FalseContact                // the switch or contact says what is not so

	Suspects int = iota // how many there are
)

var suspectNames = [Suspects]string{
	"unseen_press", "unseen_dip", "not_measured", "bridged", "stuck_valve", "moved_by_hand", "false_contact",
}

// String is the code that the phrase files know it by.
func (x Suspect) String() string {
	if int(x) < Suspects {
		return suspectNames[x]
	}
	return "?"
}

// Suspects lists what may be behind an alarm about the valves; nil for any other alarm.
func (s *State) Suspects(set *Settings, id alarm.ID) (list []Suspect) {
	h := &s.Shadow
	add := func(x Suspect, possible bool) {
		if possible {
			list = append(list, x)
		}
	}
	assumed, dead := !set.Profile.Timers.Confirmed(), h.Expect == ExpectDead
	switch id {
	case alarm.DidNotShut, alarm.BypassQuestion, alarm.ReliefDidNotOpen:
		add(UnseenPress, !dead && h.Reply != ReplyNo && h.hidden(s, set))
		add(UnseenDip, !dead)
		add(NotMeasured, !dead && assumed)
		add(Bridged, !dead && h.Bridged)
		add(StuckValve, true)
	case alarm.MovedUnasked:
		add(UnseenPress, h.Expect == ExpectShut)
		add(UnseenDip, !dead)
		add(NotMeasured, h.Expect == ExpectOpen && assumed)
		add(MovedByHand, true)
	case alarm.ReliefOpen:
		add(UnseenDip, true)
		add(MovedByHand, true)
		add(StuckValve, true)
	case alarm.DidNotOpen:
		add(StuckValve, true)
	default:
		return nil
	}
	add(FalseContact, true)
	return list
}
