package signal

// Status is the condition of a signal in the categories of NAMUR NE 107 (2017), for people who maintain instruments.
type Status uint8

// The categories, from good to bad but for CheckFunction, which says nothing about the signal's worth.
const (
	Sound               Status = iota
	MaintenanceRequired        // the value still holds; look soon
	OutOfSpecification         // outside what the instrument is made for: less certain than usual
	CheckFunction              // somebody works on the instrument; the value may be no water
	Failure                    // no valid value

	Statuses int = iota // how many categories there are
)

var statusNames = [Statuses]string{
	Sound: "sound", MaintenanceRequired: "maintenance_required", OutOfSpecification: "out_of_specification",
	CheckFunction: "check_function", Failure: "failure",
}

func (s Status) String() string {
	if int(s) < Statuses {
		return statusNames[s]
	}
	return "?"
}

// Status is what the quality and its cause alone say. A reading that is only late or was not asked for says nothing.
func (h Reading) Status() Status {
	switch h.Quality {
	case Bad:
		if h.Cause == OutOfSpan || h.Cause == Implausible || h.Cause == Negative {
			return OutOfSpecification
		}
		return Failure
	case Uncertain:
		return OutOfSpecification
	}
	return Sound
}
