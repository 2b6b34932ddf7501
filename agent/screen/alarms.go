package screen

import (
	"strconv"

	"ionward/agent"
	"ionward/rules"
	"ionward/rules/alarm"
)

// alarms shows the one alarm that most wants somebody: not acknowledged before acknowledged, then by priority.
func (s *Screen) alarms(v *view, snap *agent.Snapshot) {
	best, rank, count := alarm.ID(0), -1, 0
	for i := range snap.State.Alarms {
		p := snap.State.Alarms[i].Phase
		if p == alarm.Normal || p == alarm.Suppressed {
			continue
		}
		count++
		r := int(snap.Settings.Alarms[i].Priority)
		if p.Calls() {
			r += 20
		}
		if p.Active() {
			r += 10
		}
		if r > rank {
			best, rank = alarm.ID(i), r
		}
	}
	v.set("alarm", s.words.Label("no_alarm"))
	v.set("alarm.is", "none")
	for _, k := range []string{"alarm.word", "alarm.phase", "alarm.more", "alarm.name", "alarm.verb", "alarm.do"} {
		v.set(k, "")
	}
	v.set("alarm.button", s.words.Label("acknowledge"))
	if count == 0 {
		return
	}
	phase := snap.State.Alarms[best].Phase
	priority := snap.Settings.Alarms[best].Priority
	v.set("alarm", s.words.Alarm(best))
	if own := snap.Settings.Alarms[best].Message; own != "" {
		v.set("alarm", own) // of an alarm that the site defines
	}
	v.set("alarm.is", priority.String())
	v.set("alarm.word", s.words.Priority(priority))
	v.set("alarm.phase", s.words.Phase(phase))
	v.set("alarm.do", sentence(s.words.Consequence(best))+" "+sentence(s.words.Action(best)))
	if count > 1 {
		v.set("alarm.more", s.words.Label("more_alarms", "n", strconv.Itoa(count-1)))
	}
	v.set("alarm.name", best.String())
	switch {
	case phase.Calls():
		v.set("alarm.verb", rules.Acknowledge.String())
	case phase == alarm.LatchedAcknowledged:
		v.set("alarm.verb", rules.Reset.String())
		v.set("alarm.button", s.words.Label("reset"))
	}
	// A screen reader hears the alarm together with the new state word, and again when somebody acknowledged it.
	v.set("announce", v.fields["announce"]+". "+v.fields["alarm.word"]+": "+v.fields["alarm"]+", "+v.fields["alarm.phase"])
}
