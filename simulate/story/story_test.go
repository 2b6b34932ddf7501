package story_test

import (
	"errors"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"pgregory.net/rapid"

	"ionward/rules"
	"ionward/rules/signal"
	"ionward/simulate/pace"
	"ionward/simulate/plant"
	"ionward/simulate/story"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func stage(t require.TestingT, steps []story.Step) *story.Stage {
	p, err := plant.New(story.Settings())
	require.NoError(t, err)
	return story.NewStage(p, steps)
}

// entry is one mode of the panel and when it was entered.
type entry struct {
	mode rules.Mode
	at   time.Duration
}

// rounds plays whole stories by seconds, shows each second to look, and gives the panel's modes and when each round began.
func rounds(t *testing.T, s *story.Stage, n int, look func(plant.Truth, story.Scene)) (modes []entry, begun []time.Duration) {
	t.Helper()
	for at := time.Duration(0); at < time.Duration(n)*time.Hour; at += time.Second {
		s.Advance(at)
		now := s.Truth()
		scene, err := s.Scene()
		require.NoError(t, err)
		if scene.Round > len(begun) {
			begun = append(begun, scene.Since)
		}
		if scene.Round > n {
			return modes, begun
		}
		if m := now.Mode(); len(modes) == 0 || modes[len(modes)-1].mode != m {
			modes = append(modes, entry{m, now.Rule.Since})
		}
		if look != nil {
			look(now, scene)
		}
	}
	require.FailNow(t, "the story does not come to its end")
	return nil, nil
}

// The whole story, twice: the modes of the wired panel in their order, with the times that the rule gives them.
func TestStory(t *testing.T) {
	modes, begun := rounds(t, stage(t, story.Steps()), 2, nil)
	once := []rules.Mode{rules.Delay, rules.Shut, rules.Bypass, rules.Service, rules.NoPower, rules.Delay, rules.Service}
	want := append([]rules.Mode{rules.Service}, append(once, once...)...)
	got := make([]rules.Mode, len(modes))
	for i, m := range modes {
		got[i] = m.mode
	}
	require.Equal(t, want, got)
	for i := range 2 {
		m := modes[7*i:]
		good := m[1].at - begun[i]
		assert.True(t, good > 2*time.Minute && good < 4*time.Minute, "good water at first for %v", good)
		assert.Equal(t, 10*time.Minute, m[2].at-m[1].at, "the delay")
		assert.Equal(t, 10*time.Minute, m[4].at-m[3].at, "the bypass")
		dark := m[6].at - m[5].at
		assert.True(t, dark > 45*time.Second && dark < 90*time.Second, "without power for %v", dark)
		assert.Equal(t, story.Settings().WarmUp, m[7].at-m[6].at, "instruments warm up")
	}
	whole := begun[1] - begun[0]
	assert.True(t, whole > 35*time.Minute && whole < 45*time.Minute, "the story takes %v", whole)
}

// Nobody in the story sends off-spec water on once the outlet was shut, and every step comes once a round, in order.
func TestHands(t *testing.T) {
	steps := story.Steps()
	next, last := 0, time.Duration(-1)
	held := 0.0
	rounds(t, stage(t, steps), 1, func(now plant.Truth, scene story.Scene) {
		if scene.Step > 0 && scene.Since != last {
			require.Equal(t, steps[next].Name, scene.Name)
			require.Equal(t, len(steps), scene.Of)
			next, last = next+1, scene.Since
		}
		switch {
		case now.Outlet.Shut && held == 0:
			held = now.Volumes.Delivered
		case now.Outlet.Shut:
			require.Equal(t, held, now.Volumes.Delivered, "at %v", now.Now)
		default:
			held = 0
		}
		if scene.Step > 5 && now.Outlet.Opening > 0 && now.Flow > 0 {
			require.Less(t, now.Product, 1.0, "off-spec water delivered at %v in %q", now.Now, scene.Name)
		}
	})
	assert.Equal(t, len(steps), next)
}

// An agent that reads once a second what instruments give it comes to the panel's own modes, second by second.
func TestWatched(t *testing.T) {
	set := story.Settings().Rule
	var state rules.State
	var out rules.Effects
	in := rules.Input{Scan: true}
	rounds(t, stage(t, story.Steps()), 1, func(now plant.Truth, _ story.Scene) {
		in.Readings = now.Signals
		for _, id := range []signal.ID{signal.FeedConductivity, signal.ProductConductivity, signal.Flow} {
			if r := &in.Readings[id]; r.Usable() {
				*r = id.Default(float64(float32(r.Value)), r.Quality) // as it comes over the wire
			}
		}
		rules.Step(&set, &state, &in, &out)
		in.Gap = time.Second
		require.Equal(t, now.Mode(), state.Mode, "at %v", now.Now)
	})
	assert.Equal(t, 1, state.Trips)
	assert.Equal(t, 1, state.Bypasses)
	assert.Equal(t, 1, state.PowerLosses)
}

// However the stage is advanced, the same happens at the same instants.
func TestCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		whole, cut := stage(t, story.Steps()), stage(t, story.Steps())
		at := time.Duration(0)
		for range rapid.IntRange(1, 4).Draw(t, "stretches") {
			end := at + time.Duration(rapid.Int64Range(1, int64(15*time.Minute)).Draw(t, "stretch"))
			for at < end {
				at = min(end, at+time.Duration(rapid.Int64Range(1, int64(3*time.Minute)).Draw(t, "piece")))
				cut.Advance(at)
			}
			whole.Advance(end)
			a, _ := whole.Scene()
			b, _ := cut.Scene()
			if a != b || whole.Truth() != cut.Truth() {
				t.Fatalf("at %v: whole %+v, cut %+v", end, a, b)
			}
		}
	})
}

// At pace 20 the story takes two minutes, and the clock and the plant agree.
func TestOnTheClock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, from := stage(t, story.Steps()), time.Now()
		c, err := pace.New(time.Date(2031, 3, 4, 6, 0, 0, 0, time.UTC), 20, s.Advance)
		require.NoError(t, err)
		for {
			require.NoError(t, c.Sleep(t.Context(), time.Second))
			require.Equal(t, c.Now(), s.Truth().Now)
			if scene, err := s.Scene(); err != nil || scene.Round == 2 {
				require.NoError(t, err)
				break
			}
		}
		assert.InDelta(t, 2, time.Since(from).Minutes(), 0.3)
	})
}

// A condition must hold without a break; a step without one waits for its time alone.
func TestFor(t *testing.T) {
	done := 0
	s := stage(t, []story.Step{
		{Name: "first", For: 10 * time.Second},
		{Name: "second", For: 20 * time.Second, When: func(t *plant.Truth) bool { return !t.Button },
			Act: func(*plant.Plant) error { done++; return nil }},
		{Name: "third", When: func(t *plant.Truth) bool { return false }},
	})
	scene := func() string { now, err := s.Scene(); require.NoError(t, err); return now.Name }
	assert.Equal(t, "third", scene(), "the last step sets the scene for the first")
	s.Advance(10 * time.Second)
	assert.Equal(t, "first", scene())
	s.Advance(25 * time.Second)
	s.Do(func(p *plant.Plant) { p.PressBypass(2 * time.Second) })
	s.Advance(40 * time.Second)
	assert.Equal(t, "first", scene(), "the press broke it")
	s.Advance(47*time.Second - 1)
	assert.Zero(t, done)
	s.Advance(47 * time.Second)
	assert.Equal(t, 1, done)
	s.Advance(time.Hour)
	assert.Equal(t, "second", scene())
	s.Advance(time.Minute)
	assert.Equal(t, time.Hour, s.Truth().Now, "time does not go back")
}

// An act that cannot be done stops the story, not the plant, and is told.
func TestFault(t *testing.T) {
	broken := errors.New("the handle came off")
	s := stage(t, []story.Step{{Name: "turn", For: time.Minute, Act: func(*plant.Plant) error { return broken }}})
	s.Advance(time.Hour)
	scene, err := s.Scene()
	assert.ErrorIs(t, err, broken)
	assert.Equal(t, time.Minute, scene.Since)
	assert.Equal(t, time.Hour, s.Truth().Now)
}

func TestNoStory(t *testing.T) {
	s := stage(t, nil)
	s.Advance(time.Minute)
	scene, err := s.Scene()
	require.NoError(t, err)
	assert.Equal(t, story.Scene{Round: 1}, scene)
	assert.Equal(t, time.Minute, s.Truth().Now)
}

// Many may look while one advances (to be run with -race).
func TestLookers(t *testing.T) {
	s := stage(t, story.Steps())
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			last := time.Duration(0)
			for last < 20*time.Minute {
				now := s.Truth()
				assert.GreaterOrEqual(t, now.Now, last)
				last = now.Now
			}
		})
	}
	for at := time.Duration(0); at <= 20*time.Minute; at += 10 * time.Second {
		s.Advance(at)
	}
	all.Wait()
}

// Every step has a caption in every language, and no caption is left over.
func TestCaptions(t *testing.T) {
	for _, language := range []string{"en", "es"} {
		captions, err := story.Captions(language)
		require.NoError(t, err)
		for _, step := range story.Steps() {
			text := captions[step.Name]
			require.NotEmpty(t, text, "%s %s", language, step.Name)
			assert.True(t, len(text) > 20 && len(text) < 160 && strings.ContainsAny(text[len(text)-1:], ".?"), "%s %s: %q", language, step.Name, text)
		}
		assert.Len(t, captions, len(story.Steps()))
	}
	_, err := story.Captions("xx")
	assert.ErrorContains(t, err, "en or es")
}

// How many seconds of the story a second gives.
func BenchmarkStory(b *testing.B) {
	s := stage(b, story.Steps())
	at := time.Duration(0)
	for b.Loop() {
		at += time.Second
		s.Advance(at)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "sim-s/s")
}
