package journal

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"time"
	"unicode/utf8"

	"ionward/rules"
	"ionward/rules/alarm"
)

// eventBody is an event as the file keeps it: by name, so that it can be read without this program.
type eventBody struct {
	At       time.Duration `json:"at"` // rule time, ns
	First    bool          `json:"first,omitempty"`
	From     string        `json:"from,omitempty"`
	To       string        `json:"to,omitempty"`
	Accepted bool          `json:"accepted,omitempty"`
	Alarm    string        `json:"alarm,omitempty"`
	Was      string        `json:"was,omitempty"`
	Now      string        `json:"now,omitempty"`
	Priority string        `json:"priority,omitempty"`
	Order    *orderBody    `json:"order,omitempty"`
	Reason   *reasonBody   `json:"reason,omitempty"`
}

type orderBody struct {
	Who   string `json:"who"`
	Verb  string `json:"verb"`
	Alarm string `json:"alarm"`
	Text  string `json:"text"`
	Bytes bool   `json:"bytes,omitempty"` // who and text were not UTF-8: they are in base64
}

func packOrder(o *rules.Order) *orderBody {
	b := &orderBody{Who: o.Who, Verb: o.Verb.String(), Alarm: o.Alarm.String(), Text: o.Text}
	if !utf8.ValidString(o.Who) || !utf8.ValidString(o.Text) {
		b.Bytes = true
		b.Who, b.Text = base64.StdEncoding.EncodeToString([]byte(o.Who)), base64.StdEncoding.EncodeToString([]byte(o.Text))
	}
	return b
}

func (b *orderBody) unpack(find *finder) rules.Order {
	verb, ok := rules.ParseVerb(b.Verb)
	o := rules.Order{Who: b.Who, Verb: verb, Alarm: alarm.ID(find.in(alarmNumbers, b.Alarm)), Text: b.Text}
	if b.Bytes {
		who, errWho := base64.StdEncoding.DecodeString(b.Who)
		text, errText := base64.StdEncoding.DecodeString(b.Text)
		o.Who, o.Text = string(who), string(text)
		ok = ok && errWho == nil && errText == nil
	}
	find.missed = find.missed || !ok
	return o
}

type reasonBody struct {
	Code  string        `json:"code"`
	Value number        `json:"value"`
	Limit number        `json:"limit"`
	For   time.Duration `json:"for"`
	Left  time.Duration `json:"left"`
}

// number is a float64 that survives JSON whatever it is.
type number float64

func (n number) MarshalJSON() ([]byte, error) {
	v := float64(n)
	text := strconv.FormatFloat(v, 'g', -1, 64)
	if math.IsNaN(v) || math.IsInf(v, 0) {
		text = strconv.Quote(text)
	}
	return []byte(text), nil
}

func (n *number) UnmarshalJSON(b []byte) error {
	text := string(b)
	if unquoted, err := strconv.Unquote(text); err == nil {
		text = unquoted
	}
	v, err := strconv.ParseFloat(text, 64)
	*n = number(v)
	return err
}

// naming finds the number of each name of one kind of thing.
func naming(count int, name func(int) string) map[string]int {
	m := make(map[string]int, count)
	for i := range count {
		m[name(i)] = i
	}
	return m
}

const (
	kinds      = int(rules.OrderDone) + 1
	priorities = int(alarm.High) + 1
	phases     = alarm.Phases
)

var (
	kindNumbers     = naming(kinds, func(i int) string { return rules.Kind(i).String() })
	modeNumbers     = naming(rules.Modes, func(i int) string { return rules.Mode(i).String() })
	codeNumbers     = naming(rules.Codes, func(i int) string { return rules.Code(i).String() })
	alarmNumbers    = naming(alarm.Count, func(i int) string { return alarm.ID(i).String() })
	phaseNumbers    = naming(phases, func(i int) string { return alarm.Phase(i).String() })
	priorityNumbers = naming(priorities, func(i int) string { return alarm.Priority(i).String() })
)

// packEvent gives the kind and the body of an event.
func packEvent(e *rules.Event) (kind string, body []byte, err error) {
	if int(e.Kind) >= kinds || int(e.From) >= rules.Modes || int(e.To) >= rules.Modes || int(e.Alarm) >= alarm.Count ||
		int(e.Was) >= phases || int(e.Now) >= phases || int(e.Priority) >= priorities || int(e.Reason.Code) >= rules.Codes ||
		int(e.Order.Verb) >= rules.Verbs || int(e.Order.Alarm) >= alarm.Count {
		return "", nil, fmt.Errorf("an event of kind %d has a part without a name", e.Kind)
	}
	b := eventBody{At: e.At, First: e.First, Accepted: e.Accepted}
	// What is zero is left out; it reads back as zero.
	if e.From != 0 || e.To != 0 || e.Kind == rules.ModeChange {
		b.From, b.To = e.From.String(), e.To.String()
	}
	if e.Alarm != 0 || e.Was != 0 || e.Now != 0 || e.Priority != 0 || e.Kind == rules.AlarmChange {
		b.Alarm, b.Was, b.Now, b.Priority = e.Alarm.String(), e.Was.String(), e.Now.String(), e.Priority.String()
	}
	if o := e.Order; o != (rules.Order{}) || e.Kind == rules.OrderDone {
		b.Order = packOrder(&o)
	}
	if r := e.Reason; !zeroReason(r) {
		b.Reason = &reasonBody{Code: r.Code.String(), Value: number(r.Value), Limit: number(r.Limit), For: r.For, Left: r.Left}
	}
	body, err = json.Marshal(&b)
	return e.Kind.String(), body, err
}

func zeroReason(r rules.Reason) bool {
	return math.Float64bits(r.Value) == 0 && math.Float64bits(r.Limit) == 0 && r == rules.Reason{}
}

// unpackEvent gives the event back.
func unpackEvent(kind string, body []byte) (rules.Event, error) {
	var b eventBody
	if err := json.Unmarshal(body, &b); err != nil {
		return rules.Event{}, errDamaged
	}
	find := finder{}
	e := rules.Event{
		At: b.At, First: b.First, Accepted: b.Accepted,
		Kind:     rules.Kind(find.in(kindNumbers, kind)),
		From:     rules.Mode(find.in(modeNumbers, b.From)),
		To:       rules.Mode(find.in(modeNumbers, b.To)),
		Alarm:    alarm.ID(find.in(alarmNumbers, b.Alarm)),
		Was:      alarm.Phase(find.in(phaseNumbers, b.Was)),
		Now:      alarm.Phase(find.in(phaseNumbers, b.Now)),
		Priority: alarm.Priority(find.in(priorityNumbers, b.Priority)),
	}
	if b.Order != nil {
		e.Order = b.Order.unpack(&find)
	}
	if r := b.Reason; r != nil {
		e.Reason = rules.Reason{
			Code: rules.Code(find.in(codeNumbers, r.Code)), Value: float64(r.Value), Limit: float64(r.Limit), For: r.For, Left: r.Left,
		}
	}
	if find.missed {
		return rules.Event{}, errDamaged
	}
	return e, nil
}

// finder looks names up and remembers whether one was missing; no name is zero.
type finder struct{ missed bool }

func (f *finder) in(numbers map[string]int, name string) int {
	n, ok := numbers[name]
	f.missed = f.missed || (!ok && name != "")
	return n
}
