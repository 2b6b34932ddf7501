package rules

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The alarms are looked at only where something has happened that could matter to them. Looking at every step comes to the
// same, in the whole state but for what says when to look again: else what is skipped would depend on how time is cut.
func TestLookingOftenerLeavesTheSameState(t *testing.T) {
	check(t, func(t *rapid.T) {
		r := drawRun(t)
		var s, always State
		var out, outs Effects
		for _, in := range r.inputs {
			in = drawNoise(t, in)
			if rapid.Bool().Draw(t, "plain") {
				in.Facts, in.Orders = Facts{}, nil // what is told asks for a look by itself
			}
			Step(&r.set, &s, &in, &out)
			always.Watch.Touched = true
			Step(&r.set, &always, &in, &outs)
			require.Equal(t, out, outs)
			require.True(t, unhurried(s) == unhurried(always), "the states differ")
		}
	})
}

// unhurried forgets when the next look is asked for.
func unhurried(s State) State {
	s.Watch.Touched = false
	for i := range s.Signals {
		s.Signals[i].Low, s.Signals[i].High = 0, 0
	}
	return s
}
