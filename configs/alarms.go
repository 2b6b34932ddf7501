package configs

import (
	"math"
	"strconv"
	"strings"
	"time"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// longest is the longest delay of an alarm: what should be told later than that is no alarm.
const longest = 7 * 24 * time.Hour

var priorities = []string{"low", "medium", "high"}

func priority(s string) alarm.Priority {
	for p, name := range priorities {
		if s == name {
			return alarm.Priority(p)
		}
	}
	return alarm.Low
}

// alarmsField is the section of the rationalised list: each alarm by its name, with the numbers that it comes with.
var alarmsField = field[File]{
	Key: Key{Path: "alarms", Form: Section, Meaning: "what differs on this unit from the rationalised list of alarms"},
	sub: alarmKeys(),
	read: func(r *reader, v value, into *File) {
		walk(r, v, alarmFields, &into.Rule.Alarms)
	},
}

// alarmFields are the alarms of the list, in its order.
var alarmFields = func() []field[alarm.Table] {
	var fields []field[alarm.Table]
	list := alarm.Defaults()
	for i := range alarm.Listed {
		d := &list[i]
		fields = append(fields, sectionField(d.Name, alarmMeaning(d), definitionFields(d), func(t *alarm.Table) *alarm.Definition { return &t[i] }))
	}
	return fields
}()

func alarmKeys() []Key { return described(alarmFields) }

func alarmMeaning(d *alarm.Definition) string {
	if d.Row == "" {
		return "one alarm"
	}
	return "alarm " + d.Row + " of the list"
}

// definitionFields are the keys of one alarm, with its own defaults.
func definitionFields(d *alarm.Definition) []field[alarm.Definition] {
	on := "its condition must stand for so long before it is raised"
	least := time.Duration(0)
	if d.Window {
		on, least = "the time in which its condition is counted", time.Second
	}
	fields := []field[alarm.Definition]{
		{
			Key: Key{Path: "priority", Form: Choice, Choices: priorities, Default: d.Priority.String(), Example: other(d.Priority), Meaning: "how grave it is"},
			read: func(r *reader, v value, into *alarm.Definition) {
				if s, ok := r.choice(v, priorities); ok {
					into.Priority = priority(s)
				}
			},
		},
		durationField(Key{Path: "on_delay", Default: short(d.On), Example: short(d.On + time.Minute), Meaning: on},
			least, longest, func(d *alarm.Definition) *time.Duration { return &d.On }),
		durationField(Key{Path: "off_delay", Default: short(d.Off), Example: short(d.Off + time.Minute), Meaning: "its condition must be gone for so long before it returns to normal"},
			0, longest, func(d *alarm.Definition) *time.Duration { return &d.Off }),
		{
			Key: Key{Path: "enabled", Form: Switch, Choices: []string{"true", "false"}, Default: "true", Example: "false", Meaning: "false: never raised on this unit"},
			read: func(r *reader, v value, into *alarm.Definition) {
				if s, ok := r.choice(v, []string{"true", "false"}); ok {
					into.Disabled = s == "false"
				}
			},
		},
	}
	return append(fields, limitFields(d)...)
}

// other is a priority that differs.
func other(p alarm.Priority) string {
	if p == alarm.High {
		return "medium"
	}
	return "high"
}

// limitFields are the limits of an alarm that has some, in the form of what they measure.
func limitFields(d *alarm.Definition) []field[alarm.Definition] {
	limit := func(d *alarm.Definition) *float64 { return &d.Limit }
	number := func(x float64) string { return strconv.FormatFloat(x, 'g', 6, 64) }
	k := Key{Path: "limit", Meaning: "where its condition begins"}
	switch d.Measure {
	case alarm.Conductivity:
		k.Default, k.Example = number(d.Limit)+" uS/cm", "0.06 uS/cm"
		if d.Limit == 0 {
			k.Default, k.Example = "(nothing agreed: the alarm stays silent)", "500 uS/cm"
		}
		return []field[alarm.Definition]{quantityField(k, signal.Conductivity, false, limit)}
	case alarm.FlowRate:
		gpm := math.Round(signal.GallonPerMinute.From(d.Limit))
		k.Default, k.Example = number(gpm)+" gpm", number(gpm+10)+" gpm"
		return []field[alarm.Definition]{quantityField(k, signal.FlowRate, false, limit)}
	case alarm.Celsius:
		low, high := k, k
		low.Default, low.Example, low.Meaning = number(d.Limit)+" C", "4 C", "its condition begins below it"
		high.Path, high.Default, high.Example, high.Meaning = "high_limit", number(d.High)+" C", "35 C", "its condition begins above it"
		return []field[alarm.Definition]{
			quantityField(low, signal.Temperature, false, limit),
			quantityField(high, signal.Temperature, false, func(d *alarm.Definition) *float64 { return &d.High }),
		}
	case alarm.Percent:
		k.Unit, k.Default, k.Example = "%", number(d.Limit), number(d.Limit+10)
		return []field[alarm.Definition]{
			numberField(k, func(x float64) bool { return x > 0 && x <= 100 }, "above 0 and at most 100 %", limit),
		}
	case alarm.Times:
		k.Unit, k.Default, k.Example = "times", number(d.Limit), number(d.Limit+1)
		return []field[alarm.Definition]{wholeField(k, 1, 8, func(d *alarm.Definition, n int64) { d.Limit = float64(n) })}
	case alarm.Hours:
		return []field[alarm.Definition]{leadField()}
	}
	return nil
}

// leadField reads a time into hours.
func leadField() field[alarm.Definition] {
	return field[alarm.Definition]{
		Key: Key{Path: "limit", Form: Duration, Default: "(not set: the alarm stays silent)", Example: "72h", Meaning: "how long it takes to bring an exchange trailer to this site"},
		read: func(r *reader, v value, into *alarm.Definition) {
			if d, ok := r.duration(v, time.Hour, forever); ok {
				into.Limit = d.Hours()
			}
		},
	}
}

// quantityField reads a quantity with its unit.
func quantityField[T any](k Key, q signal.Quantity, difference bool, to func(*T) *float64) field[T] {
	k.Form, k.Unit = Quantity, signal.Units(q)[0]
	return field[T]{Key: k, read: func(r *reader, v value, into *T) {
		if x, ok := r.quantity(v, q, difference); ok {
			*to(into) = x
		}
	}}
}

// section is the path of the section that holds a key, "" at the top.
func section(path string) string {
	if i := strings.LastIndexByte(path, '.'); i >= 0 {
		return path[:i]
	}
	return ""
}
