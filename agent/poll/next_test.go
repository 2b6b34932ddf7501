package poll_test

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/agent"
	"ionward/agent/poll"
	"ionward/rules"
	"ionward/rules/signal"
)

// two is an analyzer and a flow meter at their own addresses.
func two(t *testing.T, change func(*poll.Settings)) (b *bench, analyzers, meters *device) {
	analyzers, meters = newDevice(nil), newDevice(nil)
	analyzers.float(0, 0.5)
	meters.float(0, 36)
	s := poll.Settings{Instruments: []poll.Instrument{analyzer(), meter()}}
	if change != nil {
		change(&s)
	}
	return newBench(t, s, map[string]*device{analyzerAt: analyzers, meterAt: meters}), analyzers, meters
}

func after(d time.Duration) func(ask) reply {
	return func(ask) reply { return reply{after: d} }
}

func TestRhythm(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, analyzers, meters := two(t, func(s *poll.Settings) { s.Instruments[1].Every = 3 * time.Second })
		analyzers.script = after(20 * time.Millisecond)
		began := time.Now()
		for k := range 10 {
			set := b.scan()
			assert.Equal(t, good(0.5), set[signal.ProductConductivity])
			want := none(signal.NotPolled)
			if k%3 == 0 {
				want = good(36)
			}
			assert.Equal(t, want, set[signal.Flow], "scan %d", k)
			// Answers take their time, and yet the rhythm stays that of the start.
			assert.Equal(t, time.Duration(k)*time.Second+20*time.Millisecond, b.total)
			assert.Equal(t, began.Add(b.total).UnixNano(), b.in.At)
			assert.False(t, b.in.Estimated)
		}
		assert.Len(t, analyzers.asked(), 10)
		assert.Len(t, meters.asked(), 4)
		n, _ := b.source.Scans()
		assert.EqualValues(t, 10, n)
	})
}

// A loop that was held up makes up for no scan, and falls back into step.
func TestMissedScansAreNotMadeUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, _, _ := two(t, nil)
		b.scan()
		time.Sleep(3300 * time.Millisecond)
		for _, at := range []time.Duration{3300, 4000, 5000} {
			b.scan()
			assert.Equal(t, at*time.Millisecond, b.total)
		}
	})
}

// A hanging analyzer costs the others no more than the window, and the loop no scan.
func TestOneThatHangsHoldsNobodyBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, analyzers, _ := two(t, func(s *poll.Settings) { s.Instruments[0].Timeout = 7 * time.Second })
		analyzers.script = func(ask) reply { return reply{silent: true} }
		for k := range 20 {
			set := b.scan()
			assert.Equal(t, none(signal.TimedOut), set[signal.ProductConductivity])
			assert.Equal(t, good(36), set[signal.Flow])
			assert.LessOrEqual(t, b.total, time.Duration(k)*time.Second+500*time.Millisecond)
		}
		assert.Less(t, len(analyzers.asked()), 4, "who hangs is not asked again meanwhile")
	})
}

func TestTheWindowIsHalfOfAShortInterval(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, analyzers, _ := two(t, func(s *poll.Settings) {
			s.Instruments[0].Every, s.Instruments[1].Every = 200*time.Millisecond, time.Second
		})
		analyzers.script = func(ask) reply { return reply{silent: true} }
		b.scan()
		assert.Equal(t, 100*time.Millisecond, b.total)
	})
}

// An answer that misses its scan is still true: it counts in the next, once.
func TestALateAnswerCountsInTheNextScanOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, analyzers, _ := two(t, func(s *poll.Settings) {
			s.Instruments[0].Every, s.Instruments[0].Timeout = 5*time.Second, 3*time.Second
		})
		analyzers.script = after(700 * time.Millisecond)
		want := []signal.Reading{
			none(signal.TimedOut), // the window ends at 0.5 s
			good(0.5),             // came at 0.7 s
			none(signal.NotPolled), none(signal.NotPolled), none(signal.NotPolled),
			none(signal.TimedOut), good(0.5), none(signal.NotPolled),
		}
		for k, w := range want {
			assert.Equal(t, w, b.scan()[signal.ProductConductivity], "scan %d", k)
		}
	})
}

// With an interval of 1 s and answers after 1.3 s each scan in turn sees the answer asked for in the scan before.
func TestAnAnswerAfterItsIntervalIsReadAsItComes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, analyzers, _ := two(t, func(s *poll.Settings) { s.Instruments[0].Timeout = 5 * time.Second })
		analyzers.script = after(1300 * time.Millisecond)
		assert.Equal(t, none(signal.TimedOut), b.scan()[signal.ProductConductivity])
		assert.Equal(t, good(0.5), b.scan()[signal.ProductConductivity])
		assert.Equal(t, 1300*time.Millisecond, b.total, "the scan ends when the answer is there")
	})
}

// An answer that nobody could use in time is older than its interval by then: it must not pass for a present one.
func TestAnAnswerOlderThanItsIntervalIsNotUsed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, analyzers, meters := two(t, func(s *poll.Settings) {
			s.Instruments[0].Every, s.Instruments[1].Every = 400*time.Millisecond, 400*time.Millisecond
			s.Instruments[0].Timeout = 5 * time.Second
		})
		analyzers.script = after(250 * time.Millisecond) // the window is 200 ms
		assert.Equal(t, none(signal.TimedOut), b.scan()[signal.ProductConductivity])
		analyzers.set(func(d *device) { d.script = func(ask) reply { return reply{silent: true} } })
		meters.set(func(d *device) { d.script = func(ask) reply { return reply{silent: true} } })
		// The loop is held up for a second: longer than the interval.
		time.Sleep(time.Second)
		assert.Equal(t, none(signal.TimedOut), b.scan()[signal.ProductConductivity])
	})
}

// The rule's deadline is met to the nanosecond while everything hangs.
func TestDeadlinesAreMetWhilePollingHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		silent := func(ask) reply { return reply{silent: true} }
		b, analyzers, meters := two(t, nil)
		analyzers.script, meters.script = silent, silent
		in := b.next(123 * time.Millisecond)
		assert.False(t, in.Scan)
		assert.Equal(t, signal.Set{}, in.Readings)
		assert.Equal(t, 123*time.Millisecond, in.Gap)
		in = b.next(77 * time.Millisecond)
		assert.False(t, in.Scan)
		assert.Equal(t, 200*time.Millisecond, b.total)
		assert.True(t, b.next(time.Hour).Scan, "the scan goes on and ends with its window")
		assert.Equal(t, 500*time.Millisecond, b.total)
		assert.False(t, b.next(499*time.Millisecond).Scan, "between two scans")
		assert.Equal(t, 999*time.Millisecond, b.total)
		assert.False(t, b.next(0).Scan, "due at once")
		assert.Zero(t, b.in.Gap)
	})
}

func TestOrdersComeThroughAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, analyzers, _ := two(t, nil)
		note := func(text string) rules.Order { return rules.Order{Who: "desk", Verb: rules.Note, Text: text} }

		b.source.Order(note("before the start"))
		in := b.next(agent.Never)
		assert.Equal(t, []rules.Order{note("before the start")}, in.Orders)
		assert.False(t, in.Scan)
		assert.Empty(t, b.next(agent.Never).Orders, "once")
		require.True(t, b.in.Scan)

		go func() {
			time.Sleep(300 * time.Millisecond)
			b.source.Order(note("while it sleeps"))
			b.source.Order(note("and another"))
		}()
		in = b.next(agent.Never)
		if len(in.Orders) == 1 { // the first wakes it, the second may come with it or after it
			in.Orders = append(in.Orders, b.next(agent.Never).Orders...)
		}
		assert.Equal(t, []rules.Order{note("while it sleeps"), note("and another")}, in.Orders)
		assert.Equal(t, 300*time.Millisecond, b.total)

		analyzers.set(func(d *device) { d.script = func(ask) reply { return reply{silent: true} } })
		go func() {
			time.Sleep(800 * time.Millisecond)
			b.source.Order(note("while it polls"))
		}()
		in = b.next(agent.Never)
		assert.Equal(t, []rules.Order{note("while it polls")}, in.Orders)
		assert.False(t, in.Scan)
		assert.Equal(t, 1100*time.Millisecond, b.total)
		assert.Equal(t, good(36), b.scan()[signal.Flow], "the scan that it interrupted lost nothing")
	})
}

func TestResume(t *testing.T) {
	for name, c := range map[string]struct{ away, gap time.Duration }{
		"after ten minutes":             {10 * time.Minute, 10 * time.Minute},
		"the wall clock was put back":   {-3 * time.Hour, 0},
		"at the very instant":           {0, 0},
		"power was away for two months": {60 * 24 * time.Hour, 60 * 24 * time.Hour},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				resume := time.Now().Add(-c.away)
				b, _, _ := two(t, func(s *poll.Settings) { s.Resume = resume })
				in := b.next(agent.Never)
				assert.True(t, in.Estimated)
				assert.Equal(t, c.gap, in.Gap)
				assert.Equal(t, time.Now().UnixNano(), in.At)
				b.scan()
				assert.False(t, b.in.Estimated, "only the first gap is a difference of wall clocks")
				assert.Equal(t, time.Second, b.in.Gap)
			})
		})
	}
}

// The checkpoint's deadline passed while the agent was away: it is settled before the instruments have answered.
func TestResumeBehindADeadline(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, _, _ := two(t, func(s *poll.Settings) { s.Resume = time.Now().Add(-time.Minute) })
		in := b.next(30 * time.Second)
		assert.False(t, in.Scan)
		assert.True(t, in.Estimated)
		assert.Equal(t, time.Minute, in.Gap)
		assert.Equal(t, good(0.5), b.scan()[signal.ProductConductivity])
	})
}

func TestCancelEndsEverything(t *testing.T) {
	for name, when := range map[string]time.Duration{"while it polls": 200 * time.Millisecond, "while it sleeps": 700 * time.Millisecond} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, analyzers, _ := two(t, func(s *poll.Settings) { s.Instruments[0].Timeout = time.Hour })
				analyzers.script = func(ask) reply { return reply{silent: true} }
				ctx, cancel := context.WithCancel(t.Context())
				defer cancel()
				began := time.Now()
				time.AfterFunc(when, cancel)
				var err error
				for err == nil {
					err = b.source.Next(ctx, agent.Never, &b.in)
				}
				assert.ErrorIs(t, err, context.Canceled)
				assert.Equal(t, when, time.Since(began), "no time-out was waited for")
				time.Sleep(2 * time.Hour) // a poll that had been left behind would time out meanwhile
				assert.Empty(t, b.source.Health()[0].Errors, "we gave up, not the instrument")
			})
		})
	}
}
