package pace_test

import (
	"context"
	"math"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"pgregory.net/rapid"

	"ionward/simulate/pace"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var epoch = time.Date(2031, 3, 4, 6, 0, 0, 0, time.UTC)

// log keeps what a clock told its plant.
type log struct{ to []time.Duration }

func (l *log) advance(to time.Duration) { l.to = append(l.to, to) }

func (l *log) last() time.Duration {
	if len(l.to) == 0 {
		return 0
	}
	return l.to[len(l.to)-1]
}

func clock(t *testing.T, p float64, advance func(time.Duration)) *pace.Clock {
	t.Helper()
	c, err := pace.New(epoch, p, advance)
	require.NoError(t, err)
	return c
}

// A sleep takes its length divided by the pace, and the plant is there when the sleeper wakes.
func TestPace(t *testing.T) {
	for _, p := range []float64{0.5, 1, 20, 1000} {
		synctest.Test(t, func(t *testing.T) {
			var l log
			c, from := clock(t, p, l.advance), time.Now()
			for _, d := range []time.Duration{time.Minute, 1, 1500 * time.Millisecond, 0, -time.Second, 7 * time.Second} {
				before := c.Now()
				require.NoError(t, c.Sleep(t.Context(), d))
				require.Equal(t, before+max(d, 0), c.Now())
				require.Equal(t, c.Now(), l.last())
				require.Equal(t, epoch.Add(c.Now()), c.UTC())
			}
			assert.InDelta(t, c.Now().Seconds()/p, time.Since(from).Seconds(), 1e-6)
		})
	}
}

// While nobody sleeps the clock stands, however long the agent is busy; a short absence is made up, a long one is lost.
func TestLateAgent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := clock(t, 20, nil)
		require.NoError(t, c.Sleep(t.Context(), 10*time.Second))
		from := time.Now()
		for range 100 { // polls of 10 ms fit into the 50 ms that a second takes
			time.Sleep(10 * time.Millisecond)
			require.NoError(t, c.Sleep(t.Context(), time.Second))
		}
		assert.InDelta(t, 5, time.Since(from).Seconds(), 1e-6)

		now := c.Now()
		time.Sleep(time.Hour)
		assert.Equal(t, now, c.Now())
		from = time.Now()
		require.NoError(t, c.Sleep(t.Context(), 10*time.Second))
		assert.InDelta(t, 0.5, time.Since(from).Seconds(), 1e-6, "it must not race to catch up")
	})
}

func TestTimerNeverFires(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := clock(t, 20, nil)
		fired, stop := c.Timer(time.Millisecond)
		defer stop()
		time.Sleep(time.Hour)
		require.NoError(t, c.Sleep(t.Context(), time.Hour))
		select {
		case <-fired:
			assert.Fail(t, "the timer fired")
		default:
		}
	})
}

// A sleep that is broken off leaves the clock where it stood between two slices, and the next sleep keeps the pace.
func TestCancel(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var l log
		c := clock(t, 2, l.advance)
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second+30*time.Millisecond)
		defer cancel()
		assert.ErrorIs(t, c.Sleep(ctx, time.Hour), context.DeadlineExceeded)
		assert.Equal(t, 20*time.Second, c.Now())
		assert.Equal(t, 20*time.Second, l.last())
		assert.ErrorIs(t, c.Sleep(ctx, time.Second), context.DeadlineExceeded)
		from := time.Now()
		require.NoError(t, c.Sleep(t.Context(), 10*time.Second))
		assert.InDelta(t, 5-0.03, time.Since(from).Seconds(), 1e-6, "the real time already waited counts")
	})
}

// Who looks meanwhile sees time move by a tenth of a real second at most.
func TestSmooth(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var l log
		c := clock(t, 3, l.advance)
		require.NoError(t, c.Sleep(t.Context(), time.Minute))
		last := time.Duration(0)
		for _, to := range l.to {
			require.Greater(t, to, last)
			require.LessOrEqual(t, to-last, 300*time.Millisecond)
			last = to
		}
	})
}

// Several sleepers share one time: none wakes early, and time does not run faster for their number.
func TestSleepers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var l log
		c, from := clock(t, 10, l.advance), time.Now()
		var all sync.WaitGroup
		for i := range 8 {
			all.Go(func() {
				for n := range 10 {
					d := time.Duration(n+i)*300*time.Millisecond + 1
					until := c.Now() + d
					assert.NoError(t, c.Sleep(t.Context(), d))
					assert.GreaterOrEqual(t, c.Now(), until)
				}
			})
		}
		all.Wait()
		assert.InDelta(t, c.Now().Seconds()/10, time.Since(from).Seconds(), 1e-6)
		last := time.Duration(0)
		for _, to := range l.to {
			assert.Greater(t, to, last)
			last = to
		}
	})
}

// At full speed every sleep still ends exactly.
func TestMaxExact(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var l log
		c := clock(t, pace.Max, l.advance)
		sum := time.Duration(0)
		for _, ms := range rapid.SliceOfN(rapid.IntRange(0, 200000), 1, 30).Draw(rt, "ms") {
			sum += time.Duration(ms) * time.Millisecond
			require.NoError(t, c.Sleep(t.Context(), time.Duration(ms)*time.Millisecond))
		}
		require.Equal(t, sum, c.Now())
		require.Equal(t, sum, l.last())
	})
}

// At full speed no real time passes at all.
func TestMax(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		from := time.Now()
		ctx, cancel := context.WithCancel(t.Context())
		c := clock(t, pace.Max, func(to time.Duration) {
			if to >= time.Hour {
				cancel()
			}
		})
		assert.ErrorIs(t, c.Run(ctx), context.Canceled)
		assert.Equal(t, time.Hour, c.Now())
		assert.ErrorIs(t, c.Sleep(ctx, math.MaxInt64), context.Canceled)
		assert.Equal(t, from, time.Now())
	})
}

// Run lets a plant go by itself at its pace until it is told to stop.
func TestRun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var l log
		c := clock(t, 1, l.advance)
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute+time.Millisecond)
		defer cancel()
		assert.ErrorIs(t, c.Run(ctx), context.DeadlineExceeded)
		assert.Equal(t, time.Minute, c.Now())
		assert.Len(t, l.to, 600)
	})
}

func TestParse(t *testing.T) {
	for text, want := range map[string]float64{"20": 20, "0.5": 0.5, "1e3": 1000, "max": pace.Max} {
		got, err := pace.Parse(text)
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
	for _, text := range []string{"", "0", "-1", "fast", "NaN", "Inf", "20x"} {
		_, err := pace.Parse(text)
		assert.ErrorContains(t, err, "max", text)
	}
	for _, p := range []float64{-1, math.NaN(), math.Inf(1)} {
		_, err := pace.New(epoch, p, nil)
		assert.Error(t, err)
	}
}
