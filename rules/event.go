package rules

import (
	"time"

	"ionward/rules/alarm"
)

// Kind says what an event is. At one instant events come in this order.
type Kind uint8

// The kinds of event.
const (
	Press       Kind = iota // a rising edge of the bypass button
	ModeChange              // From, To
	AlarmChange             // Alarm, Was, Now
	OrderDone               // an order of a person; Accepted tells whether it had an effect
)

var kindNames = [...]string{Press: "press", ModeChange: "state", AlarmChange: "alarm", OrderDone: "order"}

func (k Kind) String() string { return kindNames[k] }

// Event is one thing that happened in a step, at its exact instant.
type Event struct {
	At       time.Duration // rule time: State.Elapsed at the instant
	Kind     Kind
	First    bool // ModeChange: the first mode ever, there is no From
	From, To Mode
	Accepted bool // Press, OrderDone
	Alarm    alarm.ID
	Was, Now alarm.Phase
	Priority alarm.Priority
	Order    Order
	Reason   Reason
}

// Effects are what a step did. Events is reused from step to step: copy what must outlive the next one.
type Effects struct {
	Events  []Event
	Outputs Outputs
}

// Verb is what a person orders.
type Verb uint8

// The verbs. Those about one alarm name it; the others need none.
const (
	Acknowledge  Verb = iota // of one alarm
	Reset                    // of one latched alarm
	Note                     // a line of text for the record
	Shelve                   // one alarm for a time: the text begins with it, such as 2h, and says why
	Unshelve                 // one alarm, before its time
	OutOfService             // one alarm, until it is put back
	InService                // one alarm that was taken out
	Silence                  // the horn, for one alarm
	Storage                  // hours of tank storage that the user of the water has: the text begins with them, such as 6h
	AnswerYes                // to an alarm that asks
	AnswerNo                 // to an alarm that asks

	Verbs int = iota // how many verbs there are
)

var verbNames = [Verbs]string{
	Acknowledge: "acknowledge", Reset: "reset", Note: "note", Shelve: "shelve", Unshelve: "unshelve",
	OutOfService: "out-of-service", InService: "in-service", Silence: "silence", Storage: "storage", AnswerYes: "answer-yes",
	AnswerNo: "answer-no",
}

func (v Verb) String() string {
	if int(v) < Verbs {
		return verbNames[v]
	}
	return "?"
}

// OfAlarm reports whether the verb is about one alarm.
func (v Verb) OfAlarm() bool { return v != Note && v != Storage }

// ParseVerb finds a verb by its name.
func ParseVerb(name string) (Verb, bool) {
	for i, n := range verbNames {
		if n == name {
			return Verb(i), true
		}
	}
	return 0, false
}

// VerbNames lists the verbs in their fixed order.
func VerbNames() []string { return append([]string(nil), verbNames[:]...) }

// Order is what a person did on the screen. It is an input: recorded, exported and replayed like a reading.
type Order struct {
	Who   string
	Verb  Verb
	Alarm alarm.ID // where the verb is about one
	Text  string
}
