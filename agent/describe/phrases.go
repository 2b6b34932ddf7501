package describe

import (
	"embed"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v4"

	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

//go:embed phrases/*.yaml
var files embed.FS

// file is a phrase file as it is written.
type file struct {
	Language   string            `yaml:"language"`
	Title      string            `yaml:"title"`
	Plain      string            `yaml:"plain"` // the title without a trailer
	Columns    map[string]string `yaml:"columns"`
	Causes     map[string]string `yaml:"causes"`
	Cells      map[string]string `yaml:"cells"`
	Water      map[string]string `yaml:"water"`
	Priorities map[string]string `yaml:"priorities"`
	About      map[string]string `yaml:"about"`
	Notes      map[string]string `yaml:"notes"`
	Durations  map[string]string `yaml:"durations"`
}

// Languages lists the languages there are, in alphabetical order.
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

func load(language string) (*file, error) {
	if language == "" {
		language = "en"
	}
	if !slices.Contains(Languages(), language) {
		return nil, fmt.Errorf("cannot describe in language %q (use one of %s)", language, strings.Join(Languages(), ", "))
	}
	text, err := files.ReadFile("phrases/" + language + ".yaml")
	if err != nil {
		return nil, err
	}
	f := new(file)
	if err := yaml.Load(text, f, yaml.WithKnownFields()); err != nil {
		return nil, fmt.Errorf("cannot read the phrases of describe in %s: %w", language, err)
	}
	return f, nil
}

// key explains the words of the cells.
func (f *file) key() (list [][2]string) {
	for _, name := range []string{"inlet", "relief", "delay", "bypass", "trip"} {
		list = append(list, [2]string{f.Columns[name], f.Columns[name+"_key"]})
	}
	return list
}

// fill puts the numbers of the settings into a phrase.
func (d *draft) fill(text string) string {
	if !strings.Contains(text, "{") {
		return text
	}
	p := &d.rule.Profile
	delay, bypass := d.rule.DelaySpan(), d.rule.BypassSpan()
	flow := func(id alarm.ID) string {
		return strconv.FormatFloat(signal.GallonPerMinute.From(d.rule.Alarms[id].Limit), 'f', 0, 64) + " gpm"
	}
	return strings.NewReplacer(
		"{trailer}", d.set.Trailer,
		"{endpoint}", conductivity(d.rule.Endpoint), "{clear}", conductivity(d.rule.Endpoint-d.rule.ClearBand),
		"{band}", conductivity(d.rule.ClearBand), "{clear_delay}", d.time(d.rule.ClearDelay),
		"{delay}", d.time(d.rule.Delay), "{bypass}", d.time(d.rule.Bypass),
		"{delay_min}", d.time(delay.Lo), "{delay_max}", d.time(delay.Hi),
		"{bypass_min}", d.time(bypass.Lo), "{bypass_max}", d.time(bypass.Hi),
		"{who}", p.Timers.Who, "{when}", p.Timers.When,
		"{tried}", strconv.Itoa(p.Confirmed()), "{questions}", strconv.Itoa(rules.Questions),
		"{high}", flow(alarm.FlowTooHigh), "{low}", flow(alarm.FlowTooLow),
	).Replace(text)
}

func conductivity(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) + " uS/cm" }

// time writes a duration as people say it.
func (d *draft) time(t time.Duration) string {
	var parts []string
	for _, u := range []struct {
		name string
		long time.Duration
	}{{"h", time.Hour}, {"min", time.Minute}, {"s", time.Second}} {
		n := t / u.long
		if u.name == "s" && (t > 0 || parts == nil) {
			parts = append(parts, strconv.FormatFloat(t.Seconds(), 'f', -1, 64)+" "+d.file.Durations[u.name])
			break
		}
		if n > 0 {
			parts = append(parts, strconv.Itoa(int(n))+" "+d.file.Durations[u.name])
			t -= n * u.long
		}
	}
	return strings.Join(parts, " ")
}
