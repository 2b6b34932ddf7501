package trace

import (
	"context"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"pgregory.net/rapid"

	"ionward/rules"
)

// Reading ahead gives the same inputs and the same end, whatever the trace.
func TestAheadGivesTheSame(t *testing.T) {
	defer goleak.VerifyNone(t)
	rapid.Check(t, func(t *rapid.T) {
		var b strings.Builder
		b.WriteString("time,product_conductivity,order,inlet_open\n")
		for i := range rapid.IntRange(0, 3*rowsAhead).Draw(t, "rows") {
			fmt.Fprintf(&b, "%d,0.%d,,%d\n", i, i%1000, i%2)
		}
		b.WriteString(rapid.SampledFrom([]string{"", "9999,0.4,me note x,\n", "9999,x,,\n", "-1,0.4,,\n"}).Draw(t, "end"))
		_, want, wantErr := all(b.String(), Settings{})
		r, err := Read("t.csv", strings.NewReader(b.String()), Settings{})
		require.NoError(t, err)
		a := NewAhead(r)
		defer a.Close()
		var got []rules.Input
		var in rules.Input
		for err = a.Next(context.Background(), 0, &in); err == nil; err = a.Next(context.Background(), 0, &in) {
			got = append(got, in)
		}
		require.Equal(t, want, got)
		if wantErr == nil {
			wantErr = io.EOF
		}
		require.Equal(t, wantErr, err)
	})
}

func TestAheadEndsWhenNobodyWantsMore(t *testing.T) {
	defer goleak.VerifyNone(t)
	text := "time,product_conductivity\n" + strings.Repeat("1,0.4\n", 10*rowsAhead)
	r, err := Read("t.csv", strings.NewReader(text), Settings{})
	require.NoError(t, err)
	a := NewAhead(r)
	ctx, cancel := context.WithCancel(context.Background())
	require.NoError(t, a.Next(ctx, 0, &rules.Input{}))
	cancel()
	for err = nil; err == nil; {
		err = a.Next(ctx, 0, &rules.Input{})
	}
	require.ErrorIs(t, err, context.Canceled)
	NewAhead(r).Close()
}
