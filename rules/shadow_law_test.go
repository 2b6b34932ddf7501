package rules

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/alarm"
)

// promise is what the shadow said of the stop to come.
type promise struct {
	at, lo, hi time.Duration
}

// Whatever is lost on the way, what the wired timer really does lies inside what the shadow says of it.
func TestTheTrueElapsedTimeIsInsideTheShadow(t *testing.T) {
	stops, promised := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		w := drawWorld(t)
		if !w.contact && w.valves&inletWired == 0 {
			w.presses = nil // nobody could know of them
		}
		var due []promise
		hidden := false
		w.watch(rapid.Uint64().Draw(t, "seed"), func(s *State, u *wired, read bool) {
			h := &s.Shadow
			hidden = h.hidden(s, &w.set)
			inside(t, w, s, u, read)
			if read && h.Trip == Sure && (len(w.presses) == 0 || w.contact && !h.hidden(s, &w.set)) {
				require.True(t, u.tripped, "%v: said to be stopped for certain: %+v", u, *h)
			}
			if left, ok := s.WiredBypass(&w.set); read && u.tp.Running && w.contact && !h.hidden(s, &w.set) {
				require.True(t, ok, "%v: the bypass runs unseen", u)
				require.LessOrEqual(t, u.bypass-u.tp.ET, left.Hi, u)
				require.GreaterOrEqual(t, u.bypass-u.tp.ET, left.Lo, u)
			}
			if span, ok := s.WiredDue(&w.set); ok && !u.tripped && u.ton.In {
				due = append(due, promise{u.now, u.now + span.Lo, u.now + span.Hi})
			}
		}, func(u *wired) {
			stops++
			for _, p := range due {
				// Only what was said since the countdown last began anew was about this stop.
				if p.at <= u.disturbed+w.set.Profile.Press+time.Duration(w.poll)*tick {
					continue
				}
				if len(w.presses) == 0 || w.contact && !hidden {
					promised++
					require.LessOrEqual(t, p.lo, u.now, "%v: said at %v", u, p.at)
					require.GreaterOrEqual(t, p.hi, u.now, "%v: said at %v", u, p.at)
				}
			}
			due = due[:0]
		})
	})
	t.Logf("%d stops, %d times foretold", stops, promised)
	require.Positive(t, stops)
	require.Positive(t, promised)
}

// inside asserts that the true elapsed time is inside the interval.
func inside(t require.TestingT, w *world, s *State, u *wired, read bool) {
	h := &s.Shadow
	span, runs := s.WiredDelay(&w.set)
	switch {
	case runs:
		require.LessOrEqual(t, u.ton.ET, span.Hi, u)
		// Without a reading in this very scan the lower end says "if it stayed as it was".
		if fell := u.now - u.disturbed; read || fell > u.now-h.Seen {
			require.GreaterOrEqual(t, u.ton.ET, span.Lo, u)
		}
	case h.Good && read:
		require.Zero(t, u.ton.ET, "%v: said to stand at zero", u)
	case h.Good:
		require.LessOrEqual(t, u.ton.ET, u.now-h.Clean, u)
	}
}

// A unit that does what its panel should gives no alarm of the valves, however badly it is watched.
func TestAHealthyUnitGivesNoAlarm(t *testing.T) {
	asked := 0
	rapid.Check(t, func(t *rapid.T) {
		w := drawWorld(t)
		w.valves |= uint8(rapid.SampledFrom([]int{openWired, shutWired, inletWired}).Draw(t, "at least"))
		wanted := uint64(0)
		w.watch(rapid.Uint64().Draw(t, "seed"), func(s *State, u *wired, _ bool) {
			conditions, _ := s.shadowConditions(&w.set)
			wanted |= conditions
			require.Zero(t, conditions&^(1<<alarm.BypassQuestion), "%v: %s, valves %d\n%+v", u, named(conditions), w.valves, s.Shadow)
		}, func(*wired) {})
		if wanted != 0 {
			asked++
			require.False(t, len(w.presses) == 0 && w.lost == 0 && w.poor == 0, "nobody pressed, and somebody was asked")
		}
	})
	t.Logf("asked in %d stories", asked)
}

func named(conditions uint64) (names []string) {
	for i := range alarm.Count {
		if conditions>>i&1 != 0 {
			names = append(names, alarm.ID(i).String())
		}
	}
	return names
}

// What bridging a short stretch is worth: the width of the interval at the moment the delay runs out, 2 s polls.
func TestWidthOfTheShadow(t *testing.T) {
	width := func(lost int, bridge time.Duration) (med, worst time.Duration) {
		var list []time.Duration
		random := rand.New(rand.NewPCG(1, 2))
		for range 800 {
			w := &world{set: Defaults(), poll: 20, jitter: 2, lost: lost, burst: 1, blur: 0.001}
			w.set.Profile.Bridge = bridge
			w.unit = wired{delay: 20 * time.Minute, bypass: time.Hour, setpoint: 1, power: true, inletTakes: time.Second, reliefTakes: time.Second}
			w.set.Delay = w.unit.delay // so that nothing is cut off at its end
			w.runs = []spell{{600 + random.IntN(20), 0.4, true}, {ticks(10*time.Minute) + 20, 1.5, true}}
			end := time.Duration(w.runs[0].ticks)*tick + 10*time.Minute
			seen := false
			w.watch(random.Uint64(), func(s *State, u *wired, _ bool) {
				if u.now < end || seen {
					return
				}
				seen = true
				span, ok := s.WiredDelay(&w.set)
				require.True(t, ok)
				list = append(list, span.Width())
			}, func(*wired) {})
		}
		med = median(list)
		return med, list[len(list)-1]
	}
	for _, c := range []struct {
		lost                   int
		bridgedMost, plainLest time.Duration
	}{{0, 2500 * time.Millisecond, 0}, {10, 2500 * time.Millisecond, 400 * time.Second}, {50, 2500 * time.Millisecond, 540 * time.Second}} {
		bridged, worst := width(c.lost, 30*time.Second)
		// Without the bridge a stretch longer than one poll is unseen.
		plain, _ := width(c.lost, 2500*time.Millisecond)
		t.Logf("%g %% of 2 s polls lost: median width %v bridged (worst %v), %v unbridged", float64(c.lost)/10, bridged, worst, plain)
		assert.LessOrEqual(t, bridged, c.bridgedMost)
		assert.GreaterOrEqual(t, plain, c.plainLest)
	}
}
