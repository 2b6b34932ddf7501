package alarm

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// deed is one thing done to an alarm at a second, and the phase expected after it.
type deed struct {
	at   int
	do   string // on, off, suppress, tick, ack, reset
	want Phase
}

func TestLifeCycle(t *testing.T) {
	plain := Definition{Name: "plain", On: 5 * time.Second, Off: 10 * time.Second}
	latched := Definition{Name: "latched", Latch: true}
	for name, c := range map[string]struct {
		def   Definition
		deeds []deed
	}{
		"a short condition raises nothing": {plain, []deed{{0, "on", Normal}, {4, "off", Normal}, {20, "tick", Normal}}},
		"raised after the on-delay, acknowledged, back to normal after the off-delay": {plain, []deed{
			{0, "on", Normal}, {5, "tick", Unacknowledged}, {7, "ack", Acknowledged}, {8, "off", Acknowledged}, {17, "tick", Acknowledged}, {18, "tick", Normal},
		}},
		"a dip within the off-delay changes nothing": {plain, []deed{
			{0, "on", Normal}, {5, "tick", Unacknowledged}, {6, "off", Unacknowledged}, {15, "on", Unacknowledged}, {16, "off", Unacknowledged}, {26, "tick", Returned},
		}},
		"returned before anybody looked": {plain, []deed{
			{0, "on", Normal}, {5, "tick", Unacknowledged}, {6, "off", Unacknowledged}, {16, "tick", Returned}, {17, "ack", Normal},
		}},
		"comes back while returned": {plain, []deed{
			{0, "on", Normal}, {5, "tick", Unacknowledged}, {6, "off", Unacknowledged}, {16, "tick", Returned}, {20, "on", Returned}, {25, "tick", Unacknowledged},
		}},
		"latched: acknowledged, gone, reset": {latched, []deed{
			{0, "on", Unacknowledged}, {1, "reset", Unacknowledged}, {2, "ack", Acknowledged}, {3, "off", LatchedAcknowledged}, {4, "ack", LatchedAcknowledged}, {5, "reset", Normal},
		}},
		"latched: gone before anybody looked": {latched, []deed{
			{0, "on", Unacknowledged}, {1, "off", LatchedUnacknowledged}, {2, "ack", LatchedAcknowledged}, {3, "on", Unacknowledged},
		}},
		"suppressed by design, then the on-delay begins anew": {plain, []deed{
			{0, "on", Normal}, {5, "tick", Unacknowledged}, {6, "suppress", Suppressed}, {7, "ack", Suppressed}, {9, "on", Normal}, {13, "tick", Normal}, {14, "tick", Unacknowledged},
		}},
	} {
		t.Run(name, func(t *testing.T) {
			var s State
			condition := false
			for _, d := range c.deeds {
				now := time.Duration(d.at) * time.Second
				switch d.do {
				case "ack":
					require.Equal(t, s.Phase.Calls(), s.Acknowledge(), "acknowledging has an effect while the alarm calls")
				case "reset":
					require.Equal(t, s.Phase == LatchedAcknowledged, s.Reset())
				default:
					condition = d.do == "on" || (condition && d.do != "off")
					s.Offer(&c.def, now, condition, d.do == "suppress")
				}
				require.Equal(t, d.want, s.Phase, "after %s at %d", d.do, d.at)
			}
		})
	}
}

func TestDueIsTheInstantOfTheNextChange(t *testing.T) {
	d := Definition{On: 5 * time.Second, Off: 10 * time.Second}
	var s State
	_, runs := s.Due(&d)
	require.False(t, runs)
	s.Offer(&d, time.Second, true, false)
	at, runs := s.Due(&d)
	require.True(t, runs)
	require.Equal(t, 6*time.Second, at)
	s.Offer(&d, at-1, true, false)
	require.Equal(t, Normal, s.Phase)
	s.Offer(&d, at, true, false)
	require.Equal(t, Unacknowledged, s.Phase)
	require.Equal(t, at, s.Raised)
	_, runs = s.Due(&d)
	require.False(t, runs)
	s.Offer(&d, 8*time.Second, false, false)
	at, _ = s.Due(&d)
	require.Equal(t, 18*time.Second, at)
}

func TestTheListIsComplete(t *testing.T) {
	list := Defaults()
	for i, d := range list[:Listed] {
		require.NotEmpty(t, d.Name)
		id, ok := Parse(d.Name)
		require.True(t, ok)
		require.Equal(t, ID(i), id)
		require.NotEmpty(t, d.Priority.String())
	}
	_, ok := Parse("flood")
	require.False(t, ok)
	require.Equal(t, "?", ID(Count).String())
	require.True(t, Acknowledged.Active())
	require.False(t, Returned.Active())
}
