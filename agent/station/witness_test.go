package station

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/agent"
	"ionward/rules"
)

// still is a source in which nothing happens.
type still struct{}

func (still) Next(_ context.Context, _ time.Duration, in *rules.Input) error {
	*in = rules.Input{Scan: true}
	return nil
}

func TestTheStationTellsWhenItsRecordFails(t *testing.T) {
	failing := false
	w := &witness{Source: still{}, failing: func() bool { return failing }}
	told := func() rules.Facts {
		var in rules.Input
		require.NoError(t, w.Next(t.Context(), agent.Never, &in))
		return in.Facts
	}
	require.Equal(t, rules.Facts{Known: rules.StoreFailing}, told(), "once at the start")
	require.Zero(t, told(), "nothing new")
	failing = true
	require.Equal(t, rules.Facts{Known: rules.StoreFailing, Set: rules.StoreFailing}, told())
	require.Zero(t, told())
	failing = false
	require.Equal(t, rules.Facts{Known: rules.StoreFailing}, told())
}
