package rules

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A setting changed between two scans (an edited unit file and a restart with the saved state) is seen at the next scan:
// nothing that was worked out from the old one stands.
func TestAChangedLimitIsSeenAtTheNextScan(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Settings)
		water  float64
		off    bool
	}{
		{"endpoint", func(s *Settings) { s.Endpoint = 0.5 }, 0.8, true},
		{"band", func(s *Settings) { s.ClearBand = 0.3 }, 0.8, true}, // inside the new band: the class is kept, here off
		{"resolution", func(s *Settings) { s.Resolution = 0.4 }, 0.8, false},
		{"nothing", func(*Settings) {}, 0.8, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(Defaults())
			b.value = 2
			b.scan(0)
			require.True(t, b.state.Off())
			c.change(&b.set)
			b.value = c.water
			b.scan(unit)
			require.Equal(t, c.off, b.state.Off())
			// What is worked out anew is what a rule that never knew the old setting works out.
			fresh := newBench(b.set)
			fresh.value = c.water
			fresh.scan(0)
			require.Equal(t, fresh.state.Limits, b.state.Limits)
		})
	}
}
