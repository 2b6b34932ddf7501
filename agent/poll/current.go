package poll

import (
	"errors"
	"math"

	"ionward/rules/signal"
)

// Current says that a signal comes as a loop current of 4 to 20 mA into a remote input: the scaled number is in mA, and
// the measured value is linear in it. The zero Current = the number is the value itself.
type Current struct {
	On       bool
	From, To float64 // the value at 4 mA and at 20 mA, in the signal's Unit; they differ
}

func (c *Current) check(contact bool) error {
	switch {
	case !c.On:
		return nil
	case contact:
		return errors.New("a contact is no loop current")
	case !finite(c.From) || !finite(c.To) || c.From == c.To:
		return errors.New("loop current: want two different finite values for 4 mA and 20 mA")
	}
	return nil
}

// read turns a current into the value in the signal's unit, with the quality that the current itself carries.
//
// Just below 4 mA, within the measuring range, is the transmitter's zero, as at 4 mA: otherwise a meter at rest would
// read less than nothing and count as faulty.
func (c *Current) read(mA float64) (value float64, q signal.Quality, cause signal.Cause) {
	share, q, cause := signal.Current(mA)
	return c.From + max(0, share)*(c.To-c.From), q, cause
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
