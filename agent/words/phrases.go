package words

import (
	"embed"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"go.yaml.in/yaml/v4"

	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

//go:embed phrases/*.yaml
var files embed.FS

// Settings are what one site wants in its phrases. The zero Settings are US units, UTC, 24 h, "BYPASS" and no numbers.
type Settings struct {
	Metric      bool           // L/min and m3 in place of gpm and gal; conductivity is uS/cm in both
	Clock12     bool           // 2:05 PM in place of 14:05
	Location    *time.Location // of the unit; nil = UTC
	Bypass      string         // the bypass button as engraved on this unit; empty = BYPASS
	User        string         // telephone of the user of the water
	Service     string         // telephone of the field service
	ControlRoom string         // telephone of the control room
}

// Phrases are the phrases of one language for one site. They are immutable and safe for concurrent use.
type Phrases struct {
	file *file
	set  Settings
}

// advice is the text of one situation.
type advice struct {
	Word     string   `yaml:"word"`
	Sentence string   `yaml:"sentence"`
	Steps    []string `yaml:"steps"`
}

// alarmText is the text of one alarm.
type alarmText struct {
	Message     string `yaml:"message"`
	Second      string `yaml:"second"` // the message while a circumstance lowers the alarm; empty = the same
	Cause       string `yaml:"cause"`
	Consequence string `yaml:"consequence"`
	Action      string `yaml:"action"`
}

// file is a phrase file as it is written.
type file struct {
	Language   string               `yaml:"language"` // BCP 47 tag, for the page's lang attribute
	Name       string               `yaml:"name"`     // the language in its own words
	Reasons    map[string]string    `yaml:"reasons"`
	Modes      map[string]string    `yaml:"modes"`
	Situations map[string]advice    `yaml:"situations"`
	Relief     map[string]string    `yaml:"relief"`
	Alarms     map[string]alarmText `yaml:"alarms"`
	Priorities map[string]string    `yaml:"priorities"`
	Phases     map[string]string    `yaml:"phases"`
	Qualities  map[string]string    `yaml:"qualities"`
	Statuses   map[string]string    `yaml:"statuses"`
	Causes     map[string]string    `yaml:"causes"`
	Valves     map[string]string    `yaml:"valves"`
	Banks      map[string]string    `yaml:"banks"`
	Labels     map[string]string    `yaml:"labels"`
	Durations  map[string]string    `yaml:"durations"`
	Cautions   []string             `yaml:"cautions"`
}

var english = sync.OnceValue(func() *Phrases {
	p, err := Load("en")
	if err != nil {
		panic(err) // the file is part of the program and a test loads it
	}
	return p
})

// English is the English phrases with the zero Settings.
func English() *Phrases { return english() }

// Languages lists the languages there are phrase files for, in alphabetical order.
func Languages() []string {
	entries, err := files.ReadDir("phrases")
	if err != nil {
		return nil
	}
	var list []string
	for _, e := range entries {
		list = append(list, strings.TrimSuffix(e.Name(), ".yaml"))
	}
	slices.Sort(list)
	return list
}

// Load reads the phrases of a language, such as "en". The error of an unknown language names those there are; the
// error of a faulty file names every fault.
func Load(language string) (*Phrases, error) {
	text, err := files.ReadFile("phrases/" + language + ".yaml")
	if err != nil {
		return nil, fmt.Errorf("no phrases for language %q (use one of %s)", language, strings.Join(Languages(), ", "))
	}
	return parse(language, text)
}

func parse(language string, text []byte) (*Phrases, error) {
	f := new(file)
	if err := yaml.Load(text, f, yaml.WithKnownFields()); err != nil {
		return nil, fmt.Errorf("cannot read phrases %s: %w", language, err)
	}
	if f.Language != language {
		return nil, fmt.Errorf("cannot read phrases %s: the file says language %q", language, f.Language)
	}
	if faults := f.check(); len(faults) > 0 {
		return nil, fmt.Errorf("cannot use phrases %s: %s", language, strings.Join(faults, "; "))
	}
	return &Phrases{file: f}, nil
}

// With gives the same phrases for another site.
func (p *Phrases) With(set Settings) *Phrases { return &Phrases{file: p.file, set: set} }

// Language is the BCP 47 tag of the language.
func (p *Phrases) Language() string { return p.file.Language }

// Name is the language in its own words.
func (p *Phrases) Name() string { return p.file.Name }

// Why is the sentence for a reason, without capital and full stop; empty for NoReason.
func (p *Phrases) Why(r rules.Reason) string {
	on := r.Code == rules.OnSpec
	value := r.Value
	if r.Code == rules.OffSpec {
		// At a coarse resolution 0.996 compares as 1.00: what was compared is shown.
		value = max(value, r.Limit)
	}
	n := names{"value": p.Product(value, r.Limit, on), "limit": p.Limit(r.Limit), "for": p.Duration(r.For), "left": p.Duration(r.Left)}
	if r.Code >= rules.ConstantsDiffer {
		// Those of the alarms are of any quantity, and compare with no endpoint.
		n["value"], n["limit"] = p.Quantity(r.Value, r.Code.Quantity()), p.Quantity(r.Limit, r.Code.Quantity())
	}
	return p.fill(p.file.Reasons[r.Code.String()], n)
}

// State is the state word of a mode, at most 12 letters.
func (p *Phrases) State(m rules.Mode) string { return p.file.Modes[m.String()] }

// Alarm is the message of an alarm of the list; of one that the site defines, its name.
func (p *Phrases) Alarm(id alarm.ID) string {
	text, ok := p.file.Alarms[id.String()]
	if !ok {
		return id.String()
	}
	return p.fill(text.Message, nil)
}

// LoweredAlarm is the message of an alarm while a circumstance lowers it to its second priority.
func (p *Phrases) LoweredAlarm(id alarm.ID) string {
	if second := p.file.Alarms[id.String()].Second; second != "" {
		return p.fill(second, nil)
	}
	return p.Alarm(id)
}

// AlarmCause is what usually brings an alarm about.
func (p *Phrases) AlarmCause(id alarm.ID) string {
	return p.fill(p.file.Alarms[id.String()].Cause, nil)
}

// Consequence is what follows if nobody acts on an alarm.
func (p *Phrases) Consequence(id alarm.ID) string {
	return p.fill(p.file.Alarms[id.String()].Consequence, nil)
}

// Action is what to do about an alarm.
func (p *Phrases) Action(id alarm.ID) string { return p.fill(p.file.Alarms[id.String()].Action, nil) }

// Priority is the word of a priority.
func (p *Phrases) Priority(x alarm.Priority) string { return p.file.Priorities[x.String()] }

// Phase is where an alarm stands, in words.
func (p *Phrases) Phase(x alarm.Phase) string { return p.file.Phases[x.String()] }

// Quality is the word of a quality.
func (p *Phrases) Quality(q signal.Quality) string { return p.file.Qualities[q.String()] }

// Status is how well a signal is, in words.
func (p *Phrases) Status(x signal.Status) string { return p.file.Statuses[x.String()] }

// Cause is the word of a cause.
func (p *Phrases) Cause(c signal.Cause) string { return p.file.Causes[c.String()] }

// Cautions are the eleven cautions, in their order.
func (p *Phrases) Cautions() []string { return slices.Clone(p.file.Cautions) }

// Label is a label of the screen; pairs are name, text, name, text for its placeholders. An unknown key gives the key in
// brackets, so that the fault is seen and never hides.
func (p *Phrases) Label(key string, pairs ...string) string {
	text, ok := p.file.Labels[key]
	if !ok {
		return "[" + key + "]"
	}
	n := names{}
	for i := 0; i+1 < len(pairs); i += 2 {
		n[pairs[i]] = pairs[i+1]
	}
	return p.fill(text, n)
}
