package configs

import (
	"errors"
	"math"
	"time"

	"ionward/rules"
)

// The times of the rule are its own to judge (see checkRule); a year only keeps slips of the pen out.
const (
	never   = math.MinInt64
	forever = 365 * 24 * time.Hour
)

// unitFields are the keys at the top of the file.
var unitFields = []field[File]{
	textField(Key{Path: "trailer", Example: "T-07", Required: WhenRun, Meaning: "the trailer's id, used in topics and keys"},
		word("-_.", 40), func(f *File) *string { return &f.Trailer }),
	choiceField(Key{Path: "language", Default: "en", Example: "en", Meaning: "language of the screen and of messages"},
		[]string{"en"}, func(f *File) *string { return &f.Language }),
	choiceField(Key{Path: "units", Default: "us", Example: "metric", Meaning: "units that people read: us (gpm, gal, F) or metric (m3/h, m3, C)"},
		[]string{"us", "metric"}, func(f *File) *string { return &f.Units }),
	sectionField("off_spec", "the rule: when the water is off spec and when it stops", ruleFields, func(f *File) *File { return f }),
	sectionField("setup", "how the trailer is set up, as far as no contact shows it", setupFields, func(f *File) *rules.Setup { return &f.Rule.Setup }),
	sectionField("profile", "how the wired panel of this trailer really behaves, as tried on it", profileFields, func(f *File) *rules.Profile { return &f.Rule.Profile }),
	alarmsField,
	{
		Key:  Key{Path: "user_alarms", Form: NamedList, Meaning: "alarms of your own by name, at most 32; add new ones at the end: the record knows them by their number"},
		sub:  named("<name>", "one alarm on one signal", described(userFields)),
		read: func(r *reader, v value, into *File) { r.userAlarms(v, &into.Rule) },
	},
	sectionField("phones", "telephone numbers that the steps on the screen name", phoneFields, func(f *File) *Phones { return &f.Phones }),
	{
		Key: Key{Path: "instruments", Form: NamedList, Required: WhenRun,
			Meaning: "the instruments by name, at least one, with the signals they hold"},
		sub:  named("<name>", "one Modbus server; the name is for logs and messages", described(instrumentFields)),
		read: func(r *reader, v value, into *File) { r.instruments(v, &into.Instruments) },
	},
	sectionField("journal", "where the record lives", journalFields, func(f *File) *Journal { return &f.Journal }),
	sectionField("mqtt", "the broker to publish to", mqttFields, func(f *File) *MQTT { return &f.MQTT }),
	sectionField("screen", "the operator screen", screenFields, func(f *File) *Screen { return &f.Screen }),
	sectionField("metrics", "the page for Prometheus", metricsFields, func(f *File) *Metrics { return &f.Metrics }),
	sectionField("registers", "the read-only Modbus server for a control system", registersFields, func(f *File) *Registers { return &f.Registers }),
}

// ruleFields are the keys of off_spec. What the rule can work with is for the rule to judge, see checkRule.
var ruleFields = []field[File]{
	conductivityField(Key{Path: "endpoint", Default: "1.0 uS/cm", Example: "0.5 uS/cm", Meaning: "product at or above it is off spec"},
		false, func(f *File) *float64 { return &f.Rule.Endpoint }),
	durationField(Key{Path: "delay", Default: "10m", Example: "5m", Meaning: "off spec for so long without a break: the inlet shuts"},
		never, forever, func(f *File) *time.Duration { return &f.Rule.Delay }),
	durationField(Key{Path: "bypass", Default: "10m", Example: "15m", Meaning: "time that an accepted press of the bypass button gives"},
		never, forever, func(f *File) *time.Duration { return &f.Rule.Bypass }),
	conductivityField(Key{Path: "clear_band", Default: "0 uS/cm", Example: "0.05 uS/cm", Meaning: "on spec again only so far below the endpoint"},
		true, func(f *File) *float64 { return &f.Rule.ClearBand }),
	durationField(Key{Path: "clear_delay", Default: "0s", Example: "10s", Meaning: "good for so long before it counts as on spec"},
		never, forever, func(f *File) *time.Duration { return &f.Rule.ClearDelay }),
	switchField(Key{Path: "keep_trip", Default: "false", Example: "true", Meaning: "a stop outlives a loss of control power"},
		func(f *File) *bool { return &f.Rule.KeepTrip }),
	conductivityField(Key{Path: "resolution", Default: "0.001 uS/cm", Example: "0.01 uS/cm", Meaning: "product, endpoint and band are compared as whole counts of it"},
		true, func(f *File) *float64 { return &f.Rule.Resolution }),
	textField(Key{Path: "agreed_by", Example: "J. Doe, process water", Meaning: "who agreed the endpoint, shown beside it"},
		printed(80), func(f *File) *string { return &f.AgreedBy }),
}

var phoneFields = []field[Phones]{
	textField(Key{Path: "service", Example: "+1 555 0100", Meaning: "the trailer's service"},
		phone, func(p *Phones) *string { return &p.Service }),
	textField(Key{Path: "control_room", Example: "+1 555 0101", Meaning: "the control room of the site"},
		phone, func(p *Phones) *string { return &p.ControlRoom }),
	textField(Key{Path: "water_user", Example: "+1 555 0102", Meaning: "who uses the water"},
		phone, func(p *Phones) *string { return &p.WaterUser }),
}

// defaults is a File in which nothing was written.
func defaults() *File {
	return &File{
		Language: "en",
		Units:    "us",
		Rule:     rules.Defaults(),
		Journal:  Journal{Quota: 2 << 30},
		MQTT:     MQTT{Prefix: "ionward"},
		Screen:   Screen{Listen: "127.0.0.1:8480", BypassLabel: "BYPASS", Density: 149},
	}
}

// checkRule lets the rule judge its settings and reports each fault once, where the setting was written. The rule stops
// judging at its first doubts, so a setting at fault goes back to its default and the rule is asked again.
func (r *reader) checkRule(s rules.Settings) {
	plain := rules.Defaults()
	reported := map[string]bool{}
	for _, f := range ruleFields {
		v, ok := r.written("off_spec." + f.Path)
		reported[v.path] = ok && !r.usable(v.path)
	}
	// Endpoint and band are judged against each other: beside one that could not be read the other proves nothing.
	if reported["off_spec.endpoint"] {
		s.ClearBand = 0
	}
	for {
		anew := false
		for _, f := range s.Check() {
			if reported[f.Path] {
				continue
			}
			reported[f.Path], anew = true, true
			r.fault(r.settingAt(f.Path), "%v", f.Err)
			reset(&s, &plain, f.Path)
		}
		if !anew {
			return
		}
	}
}

// reset puts a setting that was found at fault, and what was judged by it, back to its default.
func reset(s, plain *rules.Settings, path string) {
	switch path {
	case "off_spec.endpoint":
		s.Endpoint, s.ClearBand, s.Resolution = plain.Endpoint, plain.ClearBand, plain.Resolution
	case "off_spec.delay":
		s.Delay = plain.Delay
	case "off_spec.bypass":
		s.Bypass = plain.Bypass
	case "off_spec.clear_delay":
		s.ClearDelay = plain.ClearDelay
	case "off_spec.clear_band":
		s.ClearBand = plain.ClearBand
	case "off_spec.resolution":
		s.Resolution = plain.Resolution
	}
}

// settingAt is where a setting was written; for one that was not, where the key was written that puts it at fault: an
// override before the file, else the section.
func (r *reader) settingAt(path string) value {
	if v, ok := r.written(path); ok {
		return v
	}
	// Outside the rule's own section the fault lies in what was written nearest above it.
	for up := section(path); up != "" && up != "off_spec"; up = section(up) {
		if v, ok := r.written(up); ok {
			return value{key: v.key, node: v.key, path: path}
		}
	}
	at, _ := r.written("off_spec")
	at.node = at.key
	last := -1
	for _, f := range ruleFields {
		v, ok := r.written("off_spec." + f.Path)
		if i, typed := r.origin[v.node]; ok && typed && i > last {
			at, last = v, i
		}
	}
	at.path = path
	return at
}

// phone accepts what can be dialled, with words such as "ext 12".
func phone(s string) error {
	if err := printed(40)(s); err != nil {
		return err
	}
	digits := 0
	for _, c := range s {
		if c >= '0' && c <= '9' {
			digits++
		}
	}
	if digits < 2 {
		return errors.New("want a telephone number, such as +1 555 0100")
	}
	return nil
}
