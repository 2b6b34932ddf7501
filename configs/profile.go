package configs

import (
	"strings"
	"time"

	"ionward/rules"
)

// profileFields are the fifteen answers of the panel profile: a section each, with what was found and who found it.
var profileFields = []field[rules.Profile]{
	question(rules.TryTimers, "how long delay and bypass really are, the shortest and the longest of three runs each", func(p *rules.Profile) *rules.TimerTrial { return &p.Timers },
		measured("delay_min", "9m52s", "off_spec.delay", "shortest delay", func(t *rules.TimerTrial) *time.Duration { return &t.Delay.Lo }),
		measured("delay_max", "10m8s", "off_spec.delay", "longest delay", func(t *rules.TimerTrial) *time.Duration { return &t.Delay.Hi }),
		measured("bypass_min", "9m50s", "off_spec.bypass", "shortest bypass", func(t *rules.TimerTrial) *time.Duration { return &t.Bypass.Lo }),
		measured("bypass_max", "10m10s", "off_spec.bypass", "longest bypass", func(t *rules.TimerTrial) *time.Duration { return &t.Bypass.Hi }),
		conductivityField(Key{Path: "setpoint", Default: "(off_spec.endpoint)", Example: "1.02 uS/cm", Meaning: "what the relay is really set to"},
			false, func(t *rules.TimerTrial) *float64 { return &t.Setpoint }),
		tried(func(t *rules.TimerTrial) *rules.Trial { return &t.Trial })),
	yesNo(rules.TryShortDip, "restarts", "(true; false with an off_spec.clear_delay)", "false", "does one short dip below the endpoint restart the delay?",
		func(p *rules.Profile) *rules.Answer { return &p.ShortDip }),
	yesNo(rules.TryAtEndpoint, "trips", "true", "false", "does a reading exactly at the endpoint count as off spec?",
		func(p *rules.Profile) *rules.Answer { return &p.AtEndpoint }),
	yesNo(rules.TryPressOnSpec, "starts", "false", "true", "does a press on good water start the bypass?",
		func(p *rules.Profile) *rules.Answer { return &p.PressOnSpec }),
	yesNo(rules.TryPressInDelay, "accepted", "true", "false", "is a press in the delay accepted?",
		func(p *rules.Profile) *rules.Answer { return &p.PressInDelay }),
	yesNo(rules.TryPressWhileRunning, "restarts", "false", "true", "does a press while the bypass runs restart it?",
		func(p *rules.Profile) *rules.Answer { return &p.PressWhileRunning }),
	yesNo(rules.TryHeldButton, "holds_open", "false", "true", "does a button held for 12 minutes hold the inlet open?",
		func(p *rules.Profile) *rules.Answer { return &p.HeldButton }),
	yesNo(rules.TryGoodWhileShut, "stays_shut", "true", "false", "does the unit stay shut when product goes good?",
		func(p *rules.Profile) *rules.Answer { return &p.GoodWhileShut }),
	yesNo(rules.TryPowerWhileShut, "stays_shut", "(off_spec.keep_trip)", "true", "does it stay shut when control power goes and comes back?",
		func(p *rules.Profile) *rules.Answer { return &p.PowerWhileShut }),
	yesNo(rules.TryPowerDip, "restarts", "true", "false", "does a power dip of a second restart the delay?",
		func(p *rules.Profile) *rules.Answer { return &p.PowerDip }),
	question(rules.TryReliefWithoutPower, "how the relief stands without power", func(p *rules.Profile) *rules.ReliefTrial { return &p.ReliefWithoutPower },
		field[rules.ReliefTrial]{
			Key: Key{Path: "position", Form: Choice, Choices: rests, Default: "shut", Example: "open", Meaning: "shut, open, or stays as it stood"},
			read: func(r *reader, v value, into *rules.ReliefTrial) {
				if s, ok := r.choice(v, rests); ok {
					into.Rest, _ = rules.ParseRest(s)
				}
			},
		},
		tried(func(p *rules.ReliefTrial) *rules.Trial { return &p.Trial })),
	yesNo(rules.TryAnalyzerFault, "counts_as_off", "true", "false", "does a fault of the analyzer or an unplugged cell count as off spec?",
		func(p *rules.Profile) *rules.Answer { return &p.AnalyzerFault }),
	question(rules.TryTravel, "how long the valves travel, the longest of some strokes", func(p *rules.Profile) *rules.TravelTrial { return &p.Travel },
		durationField(Key{Path: "inlet", Default: "30s", Example: "12s", Meaning: "the inlet, from one end to the other"},
			never, time.Hour, func(t *rules.TravelTrial) *time.Duration { return &t.Inlet }),
		durationField(Key{Path: "relief", Default: "30s", Example: "6s", Meaning: "the relief, from one end to the other"},
			never, time.Hour, func(t *rules.TravelTrial) *time.Duration { return &t.Relief }),
		tried(func(t *rules.TravelTrial) *rules.Trial { return &t.Trial })),
	question(rules.TryReliefTee, "where the relief tees off", func(p *rules.Profile) *rules.TeeTrial { return &p.ReliefTee },
		textField(Key{Path: "place", Example: "before the inlet valve", Meaning: "where, in words"},
			printed(80), func(t *rules.TeeTrial) *string { return &t.Place }),
		switchField(Key{Path: "seen_by_meter", Default: "false", Example: "true", Meaning: "the flow meter sees the water that leaves by the relief"},
			func(t *rules.TeeTrial) *bool { return &t.Seen }),
		tried(func(t *rules.TeeTrial) *rules.Trial { return &t.Trial })),
	yesNo(rules.TryAgentSupply, "lost_with_power", "false", "true", "does this computer lose its supply together with control power?",
		func(p *rules.Profile) *rules.Answer { return &p.AgentSupply }),
	conductivityField(Key{Path: "margin", Default: "0.02 uS/cm", Example: "0.05 uS/cm", Meaning: "nearer to the relay's setpoint nobody can tell what the relay sees"},
		true, func(p *rules.Profile) *float64 { return &p.Margin }),
	durationField(Key{Path: "bridge", Default: "30s", Example: "10s", Meaning: "longest stretch without a reading, between two that are off spec, that counts as off spec"},
		never, time.Hour, func(p *rules.Profile) *time.Duration { return &p.Bridge }),
	durationField(Key{Path: "press", Default: "3s", Example: "1s", Meaning: "a longer stretch without a reading of the button may hide a press"},
		never, time.Hour, func(p *rules.Profile) *time.Duration { return &p.Press }),
}

var rests = []string{rules.RestShut.String(), rules.RestOpen.String(), rules.RestStays.String()}

// question makes the section of one question.
func question[S any](q rules.Question, meaning string, to func(*rules.Profile) *S, fields ...field[S]) field[rules.Profile] {
	return sectionField(q.String(), meaning, fields, to)
}

// yesNo makes the section of a question that is answered by yes or no.
func yesNo(q rules.Question, key, def, example, meaning string, to func(*rules.Profile) *rules.Answer) field[rules.Profile] {
	return question(q, meaning, to,
		switchField(Key{Path: key, Default: def, Example: example, Meaning: "the answer"}, func(a *rules.Answer) *bool { return &a.Yes }),
		tried(func(a *rules.Answer) *rules.Trial { return &a.Trial }))
}

func measured(key, example, setting, meaning string, to func(*rules.TimerTrial) *time.Duration) field[rules.TimerTrial] {
	return durationField(Key{Path: key, Default: "(" + setting + ")", Example: example, Meaning: meaning}, never, forever, to)
}

// tried reads who tried an answer on this unit, and when.
func tried[S any](to func(*S) *rules.Trial) field[S] {
	k := Key{Path: "confirmed", Form: Text, Example: "J. Doe, 2026-03-14",
		Meaning: "who tried it on this unit, and the day; without it the answer is assumed"}
	return field[S]{Key: k, read: func(r *reader, v value, into *S) {
		s, ok := r.text(v)
		if !ok {
			return
		}
		at := strings.LastIndexByte(s, ',')
		who, when := strings.TrimSpace(s[:max(at, 0)]), strings.TrimSpace(s[at+1:])
		if err := printed(80)(who); err != nil {
			r.fault(v, "%v", err)
			return
		}
		if _, err := time.Parse(time.DateOnly, when); err != nil || who == "" {
			r.fault(v, "%q: want a name and a day, such as %s", s, v.info.Example)
			return
		}
		*to(into) = rules.Trial{Who: who, When: when}
	}}
}

// checkProfile fills in what is assumed of a unit that nobody tried, that it does what the rule does, and warns of what
// was written and says another thing.
func (r *reader) checkProfile(s *rules.Settings) {
	p := &s.Profile
	if _, ok := r.written("profile.short_dip.restarts"); !ok {
		p.ShortDip.Yes = s.ClearDelay <= 0
	}
	if _, ok := r.written("profile.power_while_shut.stays_shut"); !ok {
		p.PowerWhileShut.Yes = s.KeepTrip
	}
	for _, f := range s.Differs() {
		if at, ok := r.written(f.Path); ok && r.usable(at.path) {
			r.warn(at, "%v", f.Err)
		}
	}
	at, ok := r.written("profile.timers.confirmed")
	if t := &p.Timers; ok && r.usable(at.path) && (t.Delay.Lo == 0 || t.Delay.Hi == 0 || t.Bypass.Lo == 0 || t.Bypass.Hi == 0) {
		r.warn(at, "a time that is not written is taken to be exactly as off_spec says; want delay_min, delay_max, bypass_min and bypass_max as measured")
	}
}
