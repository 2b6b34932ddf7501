package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// An agent that shares control power with the panel (P15) was dark itself: after its restart the first scan counts as
// power coming back, with fresh timers, and the trip is kept or forgotten as the panel does.
func TestALossOfPowerThatNobodySaw(t *testing.T) {
	for _, keep := range []bool{false, true} {
		set := Defaults()
		set.KeepTrip = keep
		b := newBench(set)
		b.value = 1.5
		b.scan(0)
		b.scan(300 * time.Second)
		require.Equal(t, 300*time.Second, b.state.Delay.ET)
		b.state.LosePower(&set)
		require.Equal(t, NoPower, b.state.Mode)
		require.Equal(t, 1, b.state.PowerLosses)
		b.scan(310 * time.Second)
		require.Equal(t, Delay, b.state.Mode)
		left, _ := b.state.TimeLeft(&set)
		require.Equal(t, 10*time.Minute, left, "fresh timers")
		require.Equal(t, 10*time.Second, b.state.Custody.In[NoPower])

		b.scan(1000 * time.Second)
		require.Equal(t, Shut, b.state.Mode)
		b.state.LosePower(&set)
		b.state.LosePower(&set) // once is enough
		b.scan(1010 * time.Second)
		require.Equal(t, map[bool]Mode{true: Shut, false: Delay}[keep], b.state.Mode)
		require.Equal(t, 2, b.state.PowerLosses)
	}
}
