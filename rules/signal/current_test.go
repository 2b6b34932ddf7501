package signal

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// The limits are those of NAMUR NE 43, each side of each.
func TestCurrentAfterNE43(t *testing.T) {
	for _, c := range []struct {
		mA    float64
		q     Quality
		cause Cause
	}{
		{0, Bad, FailureLevel}, {3.6, Bad, FailureLevel}, {3.61, Uncertain, OutOfSpan}, {3.79, Uncertain, OutOfSpan},
		{3.8, Good, NoCause}, {4, Good, NoCause}, {20, Good, NoCause}, {20.5, Good, NoCause},
		{20.51, Uncertain, OutOfSpan}, {20.99, Uncertain, OutOfSpan}, {21, Bad, FailureLevel}, {25, Bad, FailureLevel}, {-1, Bad, FailureLevel},
		{math.NaN(), Bad, NotANumber}, {math.Inf(1), Bad, NotANumber}, {math.Inf(-1), Bad, NotANumber},
	} {
		share, q, cause := Current(c.mA)
		assert.Equal(t, c.q, q, c.mA)
		assert.Equal(t, c.cause, cause, c.mA)
		if q == Bad {
			assert.Zero(t, share, "a failed signal has no number")
		} else {
			assert.InDelta(t, (c.mA-4)/16, share, 1e-12)
		}
	}
}

func TestStatusOfAReading(t *testing.T) {
	for r, want := range map[Reading]Status{
		{Quality: Good}:                              Sound,
		{Quality: None, Cause: TimedOut}:             Sound,
		{Quality: Uncertain, Cause: Reported}:        OutOfSpecification,
		{Quality: Bad, Cause: OutOfSpan}:             OutOfSpecification,
		{Quality: Bad, Cause: Negative}:              OutOfSpecification,
		{Quality: Bad, Cause: Implausible}:           OutOfSpecification,
		{Quality: Bad, Cause: Sentinel}:              Failure,
		{Quality: Bad, Cause: FailureLevel}:          Failure,
		{Quality: Bad, Cause: Refused}:               Failure,
		{Quality: Good, Cause: NoCause, Value: 1e99}: Sound,
	} {
		assert.Equal(t, want, r.Status(), "%v", r)
	}
	assert.Equal(t, "check_function", CheckFunction.String())
	assert.Equal(t, "?", Status(Statuses).String())
}
