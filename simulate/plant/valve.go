package plant

import "time"

// valve travels at an even speed between its limit switches. The place is kept as time, so that it arrives exactly.
type valve struct {
	travel time.Duration // from shut to open
	place  time.Duration // 0 = shut, travel = open
	opens  bool          // which way it is driven
}

// newValve stands at one end.
func newValve(travel time.Duration, open bool) valve {
	v := valve{travel: travel, opens: open}
	if open {
		v.place = travel
	}
	return v
}

// advance lets the valve travel for dt and gives its mean opening meanwhile; dt must not go beyond its arrival.
func (v *valve) advance(dt time.Duration) float64 {
	from := v.opening()
	if v.opens {
		v.place = min(v.place+dt, v.travel)
	} else {
		v.place = max(v.place-dt, 0)
	}
	return (from + v.opening()) / 2
}

// arrives is the time left until the valve stands at the end it is driven to, and whether it travels at all.
func (v *valve) arrives() (time.Duration, bool) {
	if v.opens {
		return v.travel - v.place, v.place < v.travel
	}
	return v.place, v.place > 0
}

func (v *valve) opening() float64 { return ratio(v.place, v.travel) }

// Position is how a valve stands. In travel neither limit switch is made.
type Position struct {
	Opening float64 // 0 shut to 1 open
	Open    bool    // limit switch: fully open
	Shut    bool    // limit switch: fully shut
}

func (v *valve) position() Position {
	return Position{Opening: v.opening(), Open: v.place == v.travel, Shut: v.place == 0}
}
