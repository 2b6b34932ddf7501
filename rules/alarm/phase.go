package alarm

// Phase is where an alarm stands in its life cycle.
type Phase uint8

// The phases, named after ANSI/ISA-18.2-2016 and IEC 62682:2022.
const (
	Normal                Phase = iota
	Unacknowledged              // active, nobody has acknowledged
	Acknowledged                // active, acknowledged
	Returned                    // returned to normal, not yet acknowledged
	LatchedUnacknowledged       // condition gone, latched, not yet acknowledged
	LatchedAcknowledged         // condition gone, latched, acknowledged: waits for a reset
	Suppressed                  // suppressed by design: the mode of the unit makes it meaningless
	Shelved                     // put aside by a person for a time; the condition is followed underneath
	OutOfService                // taken out by a person until somebody puts it back

	Phases int = iota // how many phases there are
)

var phaseNames = [Phases]string{
	Normal: "normal", Unacknowledged: "unacknowledged", Acknowledged: "acknowledged", Returned: "returned",
	LatchedUnacknowledged: "latched-unacknowledged", LatchedAcknowledged: "latched-acknowledged", Suppressed: "suppressed",
	Shelved: "shelved", OutOfService: "out-of-service",
}

func (p Phase) String() string {
	if int(p) < Phases {
		return phaseNames[p]
	}
	return "?"
}

// Active reports whether the alarm's condition stands (after its delays) and is shown.
func (p Phase) Active() bool { return p == Unacknowledged || p == Acknowledged }

// Calls reports whether the alarm still wants somebody to acknowledge it.
func (p Phase) Calls() bool {
	return p == Unacknowledged || p == Returned || p == LatchedUnacknowledged
}

// Latched reports whether the condition is gone and the alarm is held until a reset.
func (p Phase) Latched() bool { return p == LatchedUnacknowledged || p == LatchedAcknowledged }
