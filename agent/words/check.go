package words

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// wordLimit is how many letters a state word may have: it must be read from two metres away.
const wordLimit = 12

// The placeholders that a phrase may use, by kind; the site's own are allowed everywhere.
var (
	siteNames        = []string{"bypass", "user", "service", "control_room"}
	reasonNames      = []string{"value", "limit", "for", "left"}
	situationNumbers = []string{"value", "limit", "for", "more", "left", "due", "at", "since", "low", "relief"}
	labelNames       = map[string][]string{
		"title": {"trailer"}, "simulation": nil, "simulation_note": nil, "stops_in": nil, "feed": nil, "product": nil,
		"flow": nil, "inlet": nil, "relief": nil, "rinse": nil, "outlet": nil, "bank": {"bank"},
		"not_true": {"low"}, "trend": nil, "endpoint_short": nil, "off_scale": nil, "ago": {"n"}, "now": nil, "do_now": nil,
		"acknowledge": nil, "reset": nil, "why": nil, "night": nil, "day": nil, "close": nil, "no_alarm": nil, "since": {"at"},
		"more_alarms": {"n"}, "age": {"age"}, "age_none": nil, "old": {"age"}, "profile_assumed": nil, "profile_note": nil,
		"endpoint": {"limit", "who"}, "nobody": nil, "no_number": nil, "no_value": nil, "no_data": nil, "blind": {"since"},
		"ordered": nil, "not_ordered": nil, "watches": nil, "cautions": nil, "about": nil, "back": nil,
		"version": {"version"},
	}
	valveKeys = []string{"open", "shut", "moving", "not_open", "not_shut", "unseen", "conflict", "expect_open", "expect_shut"}
)

// cautions is how many cautions every language carries.
const cautions = 11

// checker collects the faults of one file.
type checker struct{ faults []string }

func (c *checker) fault(format string, args ...any) {
	c.faults = append(c.faults, fmt.Sprintf(format, args...))
}

// text checks one phrase: not empty, only known placeholders.
func (c *checker) text(path, text string, allowed []string) {
	if strings.TrimSpace(text) == "" {
		c.fault("%s: is missing", path)
	}
	for _, name := range asked(text) {
		if !slices.Contains(allowed, name) && !slices.Contains(siteNames, name) {
			c.fault("%s: {%s} is not known here (use one of %s)", path, name, strings.Join(slices.Concat(allowed, siteNames), ", "))
		}
	}
}

// keys checks that a section has exactly the keys it needs.
func (c *checker) keys(section string, have, need []string) {
	for _, k := range need {
		if !slices.Contains(have, k) {
			c.fault("%s.%s: is missing", section, k)
		}
	}
	for _, k := range have {
		if !slices.Contains(need, k) {
			c.fault("%s.%s: is not a known key", section, k)
		}
	}
}

// section checks a section of plain phrases that all may use the same placeholders.
func (c *checker) section(section string, have map[string]string, need, allowed []string) {
	c.keys(section, sorted(have), need)
	for _, k := range sorted(have) {
		c.text(section+"."+k, have[k], allowed)
	}
}

func (c *checker) word(path, word string) {
	if n := utf8.RuneCountInString(word); n == 0 || n > wordLimit {
		c.fault("%s: %q must have 1 to %d letters", path, word, wordLimit)
	}
}

func sorted[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

// strings of the first n values of a kind.
func list(n int, name func(int) string) []string {
	keys := make([]string, 0, n)
	for i := range n {
		keys = append(keys, name(i))
	}
	return keys
}

// check names every fault of the file.
func (f *file) check() []string {
	c := new(checker)
	c.text("name", f.Name, nil)
	c.section("reasons", f.Reasons, list(rules.Codes-1, func(i int) string { return rules.Code(i + 1).String() }), reasonNames)
	c.section("modes", f.Modes, list(rules.Modes, func(i int) string { return rules.Mode(i).String() }), nil)
	for _, k := range sorted(f.Modes) {
		c.word("modes."+k, f.Modes[k])
	}
	f.checkSituations(c)
	f.checkAlarms(c)
	c.section("relief", f.Relief, []string{"seen", "unseen"}, nil)
	c.section("qualities", f.Qualities, list(int(signal.Bad)+1, func(i int) string { return signal.Quality(i).String() }), nil)
	c.section("statuses", f.Statuses, list(signal.Statuses, func(i int) string { return signal.Status(i).String() }), nil)
	c.section("causes", f.Causes, list(int(signal.Reported)+1, func(i int) string { return signal.Cause(i).String() }), nil)
	c.section("valves", f.Valves, valveKeys, nil)
	c.section("banks", f.Banks, []string{"use", "standing", "unseen"}, nil)
	c.section("durations", f.Durations, []string{"s", "min", "h", "d"}, []string{"n"})
	c.keys("labels", sorted(f.Labels), sorted(labelNames))
	for _, k := range sorted(f.Labels) {
		c.text("labels."+k, f.Labels[k], labelNames[k])
	}
	if len(f.Cautions) != cautions {
		c.fault("cautions: has %d, must have %d", len(f.Cautions), cautions)
	}
	for i, text := range f.Cautions {
		c.text(fmt.Sprintf("cautions.%d", i+1), text, nil)
	}
	return c.faults
}

func (f *file) checkSituations(c *checker) {
	c.keys("situations", sorted(f.Situations), list(Situations, func(i int) string { return Situation(i).String() }))
	for _, k := range sorted(f.Situations) {
		a, path := f.Situations[k], "situations."+k
		c.word(path+".word", a.Word)
		c.text(path+".sentence", a.Sentence, situationNumbers)
		if len(a.Steps) < 1 || len(a.Steps) > 5 {
			c.fault("%s.steps: has %d, must have 1 to 5", path, len(a.Steps))
		}
		for i, step := range a.Steps {
			c.text(fmt.Sprintf("%s.steps.%d", path, i+1), step, situationNumbers)
		}
	}
}

func (f *file) checkAlarms(c *checker) {
	c.keys("alarms", sorted(f.Alarms), listed())
	for _, k := range sorted(f.Alarms) {
		a, path := f.Alarms[k], "alarms."+k
		c.text(path+".message", a.Message, nil)
		if a.Second != "" {
			c.text(path+".second", a.Second, nil)
		}
		c.text(path+".cause", a.Cause, nil)
		c.text(path+".consequence", a.Consequence, nil)
		c.text(path+".action", a.Action, nil)
	}
	c.section("priorities", f.Priorities, list(int(alarm.High)+1, func(i int) string { return alarm.Priority(i).String() }), nil)
	c.section("phases", f.Phases, list(alarm.Phases, func(i int) string { return alarm.Phase(i).String() }), nil)
}

// listed are the names of the alarms of the list; one that a site defines brings its own message.
func listed() []string {
	var names []string
	for _, d := range alarm.Defaults() {
		if d.Name != "" {
			names = append(names, d.Name)
		}
	}
	return names
}
