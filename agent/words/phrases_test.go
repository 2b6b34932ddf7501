package words

import (
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// site is a site with everything set, so that a placeholder left open shows.
var site = Settings{User: "555-0142", Service: "555-0117", ControlRoom: "555-0100", Bypass: "RUN ON"}

func load(t *testing.T, language string) *Phrases {
	p, err := Load(language)
	require.NoError(t, err)
	return p.With(site)
}

// full asserts that a text is there and has no placeholder left open.
func full(t *testing.T, what, text string) {
	t.Helper()
	assert.NotEmpty(t, strings.TrimSpace(text), what)
	assert.NotRegexp(t, `\{|\}|\[`, text, what)
}

func TestEveryLanguageHasAPhraseForEverything(t *testing.T) {
	require.Contains(t, Languages(), "en")
	require.Contains(t, Languages(), "es")
	for _, language := range Languages() {
		t.Run(language, func(t *testing.T) {
			p := load(t, language)
			assert.Equal(t, language, p.Language())
			full(t, "name", p.Name())
			for i := 1; i < rules.Codes; i++ {
				c := rules.Code(i)
				full(t, c.String(), p.Why(rules.Reason{Code: c, Value: 1.5, Limit: 1, For: 10 * time.Minute, Left: 90 * time.Second}))
			}
			for i := range rules.Modes {
				full(t, "mode", p.State(rules.Mode(i)))
			}
			for _, name := range listed() {
				id, ok := alarm.Parse(name)
				require.True(t, ok, name)
				full(t, name, p.Alarm(id))
				full(t, name, p.Consequence(id))
				full(t, name, p.Action(id))
			}
			for x := alarm.Low; x <= alarm.High; x++ {
				full(t, "priority", p.Priority(x))
			}
			for x := alarm.Normal; int(x) < alarm.Phases; x++ {
				full(t, "phase", p.Phase(x))
			}
			for q := signal.None; q <= signal.Bad; q++ {
				full(t, "quality", p.Quality(q))
			}
			for c := signal.NoCause; c <= signal.Reported; c++ {
				full(t, "cause", p.Cause(c))
			}
			assert.Len(t, p.Cautions(), 11)
		})
	}
}

// The last value of each enumeration must be the one that check and the test above count to.
func TestEnumerationsEndWhereThePhrasesThink(t *testing.T) {
	assert.Equal(t, "?", (signal.Reported + 1).String())
	assert.Equal(t, "?", (signal.Bad + 1).String())
	assert.Equal(t, "?", alarm.Phase(alarm.Phases).String())
	assert.Equal(t, "?", Situation(Situations).String())
	assert.Equal(t, "?", rules.Code(rules.Codes).String())
}

func TestEverySituationIsAdvised(t *testing.T) {
	u := newUnit()
	u.run(1, time.Second)
	w := DefaultWatch()
	for _, language := range Languages() {
		p := load(t, language)
		for i := range Situations {
			x := Situation(i)
			a := p.Advise(x, &w, &u.set, &u.state, u.at)
			full(t, x.String(), a.Sentence)
			assert.LessOrEqual(t, utf8.RuneCountInString(a.Word), 12, "%s %s", language, x)
			assert.Equal(t, strings.ToUpper(a.Word), a.Word, "%s %s", language, x)
			assert.True(t, isASCII(a.Word), "%s %s: an accent has no room above letters that fill the top of the screen", language, x)
			require.NotEmpty(t, a.Steps, "%s %s", language, x)
			assert.LessOrEqual(t, len(a.Steps), 5, "%s %s", language, x)
			for _, step := range a.Steps {
				full(t, x.String(), step)
			}
		}
		for _, step := range p.Silent().Steps {
			full(t, "silent", step)
		}
		assert.Contains(t, p.Silent().Sentence, "{since}", "the browser fills in the time")
	}
}

func isASCII(s string) bool {
	return !slices.ContainsFunc([]rune(s), func(r rune) bool { return r > unicode.MaxASCII })
}

// Whoever is to be told or called, the number stands in the step; a blank one says so.
func TestTellAndCallStepsCarryTheNumber(t *testing.T) {
	tell := map[string]*regexp.Regexp{"en": regexp.MustCompile(`(?i)\b(tell|call)\b`), "es": regexp.MustCompile(`(?i)\b(avise|llame)\b`)}
	for _, language := range Languages() {
		p := load(t, language)
		found := 0
		for name, a := range p.file.Situations {
			for _, step := range a.Steps {
				if !tell[language].MatchString(step) {
					continue
				}
				found++
				assert.Regexp(t, `555-01(42|17|00)`, p.fill(step, nil), "%s %s", language, name)
				assert.Contains(t, p.With(Settings{User: " "}).fill(step, nil), p.Label("no_number"), "%s %s", language, name)
			}
		}
		assert.Greater(t, found, 10, language)
	}
}

// Both "panels" are in the room: the wired one is always called so, and no phrase tells to press anything elsewhere.
func TestPressIsAlwaysOnTheWiredPanel(t *testing.T) {
	en := load(t, "en").file
	var all []string
	for _, a := range en.Situations {
		all = append(append(all, a.Sentence), a.Steps...)
	}
	for _, a := range en.Alarms {
		all = append(all, a.Action)
	}
	for _, m := range []map[string]string{en.Labels, en.Reasons} {
		for _, text := range m {
			all = append(all, text)
		}
	}
	for _, text := range append(all, en.Cautions...) {
		lower := strings.ToLower(text)
		assert.Equal(t, strings.Count(lower, "press {bypass}"), strings.Count(lower, "press {bypass} on the wired panel"), text)
		assert.NotRegexp(t, `(on|at) the panel`, lower, text)
	}
}

func TestEveryLanguageAsksForTheSameNumbers(t *testing.T) {
	en := load(t, "en").file
	phones := func(a advice) []string {
		var list []string
		for _, step := range a.Steps {
			for _, name := range asked(step) {
				if name != "bypass" {
					list = append(list, name)
				}
			}
		}
		return list
	}
	for _, language := range Languages() {
		f := load(t, language).file
		for k, text := range en.Reasons {
			assert.ElementsMatch(t, asked(text), asked(f.Reasons[k]), "%s reasons.%s", language, k)
		}
		for k, a := range en.Situations {
			assert.Len(t, f.Situations[k].Steps, len(a.Steps), "%s %s", language, k)
			assert.Equal(t, phones(a), phones(f.Situations[k]), "%s %s", language, k)
			assert.Subset(t, asked(f.Situations[k].Sentence), drop(asked(a.Sentence), "bypass"), "%s %s", language, k)
		}
		for k, text := range en.Labels {
			assert.ElementsMatch(t, asked(text), asked(f.Labels[k]), "%s labels.%s", language, k)
		}
	}
}

func drop(list []string, what string) []string {
	return slices.DeleteFunc(slices.Clone(list), func(s string) bool { return s == what })
}

func TestReasonsReadAsSentences(t *testing.T) {
	p := English()
	for _, c := range []struct {
		r    rules.Reason
		want string
	}{
		{rules.Reason{Code: rules.OffSpec, Value: 1.5, Limit: 1}, "product 1.500 uS/cm is at or above the endpoint 1.000 uS/cm"},
		{rules.Reason{Code: rules.OnSpec, Value: 0.9996, Limit: 1}, "product 0.999 uS/cm is below the endpoint 1.000 uS/cm"},
		{rules.Reason{Code: rules.OffSpec, Value: 0.996, Limit: 1}, "product 1.000 uS/cm is at or above the endpoint 1.000 uS/cm"},
		{rules.Reason{Code: rules.OffSpecForDelay, For: 10 * time.Minute}, "off spec for 10 min without a break"},
		{rules.Reason{Code: rules.PressAccepted, For: 10 * time.Minute}, "press accepted: 10 min more"},
		{rules.Reason{Code: rules.PressOnSpec}, "press had no effect: on spec"},
		{rules.Reason{Code: rules.PressWhileRunning, Left: 95 * time.Second}, "press had no effect: a bypass runs, 1 min 35 s left"},
		{rules.Reason{Code: rules.PowerLost}, "control power lost"},
		{rules.Reason{}, ""},
	} {
		assert.Equal(t, c.want, p.Why(c.r))
	}
}

func TestLabels(t *testing.T) {
	p := English()
	assert.Equal(t, "Trailer T-17", p.Label("title", "trailer", "T-17"))
	assert.Equal(t, "[nonsense]", p.Label("nonsense"))
	// A setting that looks like a placeholder stays what it is.
	assert.Equal(t, "Trailer {service}", p.Label("title", "trailer", "{service}"))
	assert.Equal(t, "tell the user, rinse, then press RUN ON on the wired panel", p.With(site).Action(alarm.StoppedOffSpec))
}
