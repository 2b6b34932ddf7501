package mqtt

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"time"

	"ionward/agent"
	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

const schema = 1

// object writes one flat JSON object.
type object struct{ b []byte }

func (o *object) key(name string) {
	if len(o.b) == 0 {
		o.b = append(o.b, '{')
	} else {
		o.b = append(o.b, ',')
	}
	o.b = append(o.b, '"')
	o.b = append(o.b, name...)
	o.b = append(o.b, '"', ':')
}

func (o *object) text(name, v string) {
	o.key(name)
	for i := range len(v) {
		if c := v[i]; c < ' ' || c > '~' || c == '"' || c == '\\' {
			quoted, err := json.Marshal(v)
			if err != nil {
				quoted = []byte("null") // a string always has a form; this keeps the object one whatever comes
			}
			o.b = append(o.b, quoted...)
			return
		}
	}
	o.b = append(o.b, '"')
	o.b = append(o.b, v...)
	o.b = append(o.b, '"')
}

func (o *object) flag(name string, v bool) {
	o.key(name)
	o.b = strconv.AppendBool(o.b, v)
}

func (o *object) count(name string, v uint64) {
	o.key(name)
	o.b = strconv.AppendUint(o.b, v, 10)
}

// number writes the shortest decimal that reads back as the same float, or null.
func (o *object) number(name string, v float64, known bool) {
	o.key(name)
	if !known || math.IsNaN(v) || math.IsInf(v, 0) {
		o.b = append(o.b, "null"...)
		return
	}
	form := byte('f')
	if a := math.Abs(v); a != 0 && (a < 1e-6 || a >= 1e21) {
		form = 'e'
	}
	o.b = strconv.AppendFloat(o.b, v, form, -1, 64)
}

const stampForm = "2006-01-02T15:04:05.000Z"

func (o *object) time(name string, ns int64) {
	o.key(name)
	o.b = append(o.b, '"')
	o.b = time.Unix(0, ns).UTC().AppendFormat(o.b, stampForm)
	o.b = append(o.b, '"')
}

func (o *object) end() []byte { return append(o.b, '}') }

// head begins every payload.
func (s *Settings) head(at int64) *object {
	o := &object{b: make([]byte, 0, 2048)}
	o.count("schema", schema)
	o.text("trailer", s.Trailer)
	if s.Simulation {
		o.flag("simulation", true)
	}
	o.time("at", at)
	return o
}

// names of the members of each signal, made once.
var members = func() (m [signal.Count]struct{ value, unit, code, quality, cause string }) {
	for i := range m {
		id := signal.ID(i)
		name := id.String()
		m[i].value, m[i].unit, m[i].quality, m[i].cause = name, name+"_unit", name+"_quality", name+"_cause"
		m[i].code = ucum(id)
	}
	return m
}()

// ucum is the case-sensitive code of a signal's unit in the Unified Code for Units of Measure.
func ucum(id signal.ID) string {
	switch u := id.Info().Unit; u.Symbol {
	case "":
		return "1"
	case "C":
		return "Cel"
	default:
		return u.Symbol // uS/cm, m3/h, m3 and kPa are their own codes
	}
}

func (o *object) reading(i int, r signal.Reading) {
	m := &members[i]
	o.number(m.value, r.Value, r.Usable())
	o.text(m.unit, m.code)
	o.text(m.quality, r.Quality.String())
	if r.Quality != signal.Good && r.Cause != signal.NoCause {
		o.text(m.cause, r.Cause.String())
	}
}

// logOf is the payload of one scan.
func (s *Settings) logOf(e *agent.Entry) []byte {
	o := s.head(e.At)
	o.text("epoch", e.Epoch)
	o.count("seq", e.Seq)
	o.text("state", e.State.Mode.String())
	if e.Estimated {
		o.flag("estimated", true)
	}
	for i := range e.Readings {
		o.reading(i, e.Readings[i])
	}
	return o.end()
}

// alarmOf is the payload of one alarm's change.
func (s *Settings) alarmOf(e *agent.Entry, n int) []byte {
	event := &e.Events[n]
	o := s.head(e.At - int64(e.State.Elapsed-event.At))
	o.text("epoch", e.Epoch)
	o.count("seq", e.Seq)
	o.count("n", uint64(n))
	o.text("state", e.State.Mode.String())
	o.text("alarm", event.Alarm.String())
	o.text("from", event.Was.String())
	o.text("to", event.Now.String())
	o.text("priority", event.Priority.String())
	o.flag("active", event.Now.Active())
	o.text("reason", event.Reason.Code.String())
	return o.end()
}

// alarmMembers are the names of the alarms' members, made once.
var alarmMembers = func() (m [alarm.Count]string) {
	for i := range m {
		m[i] = "alarm_" + strings.ReplaceAll(alarm.ID(i).String(), "-", "_")
	}
	return m
}()

// stateOf is the payload of the newest snapshot.
func (s *Settings) stateOf(snap *agent.Snapshot) []byte {
	st := &snap.State
	o := s.head(snap.At)
	o.text("epoch", snap.Epoch)
	o.count("seq", snap.Seq)
	o.text("state", st.Mode.String())
	o.time("since", snap.At-int64(st.Elapsed-st.Since))
	o.text("reason", st.Reason.Code.String())
	left, running := st.TimeLeft(&snap.Settings)
	o.number("time_left_s", left.Seconds(), running)
	o.flag("off_spec", st.Off())
	o.number("endpoint", snap.Settings.Endpoint, true)
	o.text("endpoint_unit", "uS/cm")
	o.text("inlet", snap.Outputs.Inlet.String())
	o.text("relief", snap.Outputs.Relief.String())
	for i := range st.Signals {
		h := &st.Signals[i]
		o.reading(i, signal.Reading{Value: h.Value, Quality: h.Quality, Cause: h.Cause})
	}
	for i := range st.Alarms {
		if snap.Settings.Alarms[i].Name != "" {
			o.text(alarmMembers[i], st.Alarms[i].Phase.String())
		}
	}
	return o.end()
}

// availOf is the payload of the availability topic.
func (s *Settings) availOf(online bool, reason, boot string, session int, at time.Time) []byte {
	o := s.head(at.UnixNano())
	word := "offline"
	if online {
		word = "online"
	}
	o.text("avail", word)
	o.text("reason", reason)
	o.text("boot", boot)
	o.count("session", uint64(session))
	return o.end()
}

// presence is what is read back of an availability payload.
type presence struct {
	Avail   string `json:"avail"`
	Reason  string `json:"reason"`
	Boot    string `json:"boot"`
	Session int    `json:"session"`
}

// alarms lists the places of an entry's alarm changes.
func alarms(e *agent.Entry) (list []int) {
	for n := range e.Events {
		if e.Events[n].Kind == rules.AlarmChange {
			list = append(list, n)
		}
	}
	return list
}
