package configs

import (
	"strings"
	"time"

	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// userAlarm is an alarm of the unit file while it is read: which signal it is of may be written last.
type userAlarm struct {
	signal   string
	test     rules.Test
	limit    value // as written; what it means depends on the signal
	limits   int   // how many of above, below and not_equal were written
	band     value
	hasBand  bool
	wait     time.Duration
	priority string
	message  string
}

var userFields = []field[userAlarm]{
	choiceField(Key{Path: "signal", Example: "feed_conductivity", Required: Always, Meaning: "the signal that is watched"},
		signal.Names(), func(u *userAlarm) *string { return &u.signal }),
	testField("above", "30 C", "the alarm's condition is a value above it", rules.Above),
	testField("below", "5 C", "... or a value below it", rules.Below),
	testField("not_equal", "1", "... or any value farther from it than the deadband; one of the three is written", rules.NotEqual),
	{
		Key:  Key{Path: "deadband", Form: Quantity, Unit: signalUnit, Default: "0", Example: "0.5", Meaning: "the condition clears only so far behind the limit; that of not_equal begins so far from it and clears at half"},
		read: func(r *reader, v value, into *userAlarm) { into.band, into.hasBand = v, true },
	},
	durationField(Key{Path: "for", Default: "0s", Example: "5m", Meaning: "the condition must stand for so long"},
		0, longest, func(u *userAlarm) *time.Duration { return &u.wait }),
	choiceField(Key{Path: "priority", Default: "low", Example: "medium", Meaning: "how grave it is"},
		priorities, func(u *userAlarm) *string { return &u.priority }),
	textField(Key{Path: "message", Default: "(its name)", Example: "FEED TOO WARM", Meaning: "what the screen says"},
		printed(60), func(u *userAlarm) *string { return &u.message }),
}

const signalUnit = "the signal's inside unit"

// testField reads one of the three tests; the limit itself is read once the signal is known.
func testField(name, example, meaning string, test rules.Test) field[userAlarm] {
	return field[userAlarm]{
		Key: Key{Path: name, Form: Quantity, Unit: signalUnit, Example: example, Meaning: meaning},
		read: func(r *reader, v value, into *userAlarm) {
			into.limits++
			if into.limits > 1 {
				r.fault(v, "only one of above, below and not_equal can be an alarm's condition; want two alarms")
				return
			}
			into.test, into.limit = test, v
		},
	}
}

// userAlarms reads the alarms that the unit file defines, in file order: their number is what the record knows them by.
func (r *reader) userAlarms(v value, into *rules.Settings) {
	n := 0
	r.each(v, func(name string, entry value) {
		if !r.note(entry) {
			return
		}
		if err := word("-_", 40)(name); err != nil {
			r.add(r.atNode(entry.key, v.path, "%q cannot name an alarm; want letters a to z, digits, - and _", name))
		} else if id, known := alarm.Parse(name); known {
			r.add(r.atNode(entry.key, entry.path, "there is an alarm %s already; want another name, or alarms.%s to change that one", id, id))
		}
		u := userAlarm{priority: "low", message: name}
		before := len(r.faults)
		walk(r, entry, userFields, &u)
		if u.limits == 0 && len(r.faults) == before {
			r.missing(entry, "above", "want one of above, below and not_equal")
		}
		if n == alarm.Users {
			r.add(r.atNode(entry.key, entry.path, "is one too many; want at most %d", alarm.Users))
		}
		if n++; n <= alarm.Users && len(r.faults) == before {
			r.user(n-1, name, &u, into)
		}
	})
}

// user puts one alarm into its place.
func (r *reader) user(n int, name string, u *userAlarm, into *rules.Settings) {
	id, _ := signal.Parse(u.signal)
	d := alarm.Definition{Name: name, Message: u.message, Priority: priority(u.priority), On: u.wait}
	d.Second = d.Priority
	ok := true
	if d.Limit, ok = r.level(u.limit, id, false); !ok {
		return
	}
	if u.hasBand {
		if d.Band, ok = r.level(u.band, id, true); !ok {
			return
		}
		if d.Band < 0 {
			r.fault(u.band, "%s must not be negative", u.band.node.Value)
			return
		}
	}
	into.Users[n] = rules.User{Signal: id, Test: u.test}
	into.Alarms[alarm.User(n)] = d
}

// level reads a limit, or the difference to it, of any signal.
func (r *reader) level(v value, id signal.ID, difference bool) (float64, bool) {
	if id.Contact() {
		return r.number(v, func(x float64) bool { return x >= 0 && x <= 1 }, "0 to 1 for a contact")
	}
	q := id.Info().Unit.Quantity
	if s, ok := r.text(v); ok && difference && q == signal.Temperature && strings.ContainsAny(s, "FK") {
		// A difference of 9 F is one of 5 C: the zero of the scale must stay out of it.
		r.fault(v, "%s: a difference of temperatures is given in C", s)
		return 0, false
	}
	return r.quantity(v, q, difference)
}
