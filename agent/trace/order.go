package trace

import (
	"fmt"
	"strings"
	"time"

	"ionward/rules"
	"ionward/rules/alarm"
)

// parseOrders reads what people did: "who verb alarm [text]", several separated by ";". Who may be several words: it
// ends before the first word that is a verb. A note and hours of storage have no alarm.
func parseOrders(text string) ([]rules.Order, error) {
	var list []rules.Order
	for _, part := range strings.Split(text, ";") {
		words := strings.Fields(part)
		if len(words) == 0 {
			continue
		}
		o, err := parseOrder(words)
		if err != nil {
			return nil, err
		}
		list = append(list, o)
	}
	return list, nil
}

func parseOrder(words []string) (rules.Order, error) {
	i := verbAt(words)
	if i < 0 {
		return rules.Order{}, fmt.Errorf("%q is not an order: it must be who, verb (%s), alarm, text", strings.Join(words, " "), strings.Join(rules.VerbNames(), ", "))
	}
	verb, _ := rules.ParseVerb(words[i])
	o := rules.Order{Who: strings.Join(words[:i], " "), Verb: verb}
	rest := words[i+1:]
	if verb.OfAlarm() {
		if len(rest) == 0 {
			return o, fmt.Errorf("the order %q names no alarm", strings.Join(words, " "))
		}
		ok := false
		if o.Alarm, ok = alarm.Parse(rest[0]); !ok {
			return o, fmt.Errorf("%q is not an alarm", rest[0])
		}
		rest = rest[1:]
	}
	o.Text = strings.Join(rest, " ")
	return o, nil
}

// verbAt finds the verb behind who, -1 where there is none. A word that is a verb can stand in a name too (the storage
// crew): the first one counts that is followed by what it needs, else the first one at all.
func verbAt(words []string) int {
	first := -1
	for i, w := range words {
		verb, ok := rules.ParseVerb(w)
		if !ok || i == 0 {
			continue
		}
		if first < 0 {
			first = i
		}
		switch next := strings.Join(words[i+1:min(i+2, len(words))], ""); {
		case verb == rules.Note:
			return i
		case verb == rules.Storage:
			if _, err := time.ParseDuration(next); err == nil {
				return i
			}
		default:
			if _, ok := alarm.Parse(next); ok {
				return i
			}
		}
	}
	return first
}

// FormatOrders is the inverse of parseOrders: what export writes into the order column.
func FormatOrders(list []rules.Order) string {
	parts := make([]string, len(list))
	for i, o := range list {
		words := []string{o.Who, o.Verb.String()}
		if o.Verb.OfAlarm() {
			words = append(words, o.Alarm.String())
		}
		if text := strings.Join(strings.Fields(strings.ReplaceAll(o.Text, ";", ",")), " "); text != "" {
			words = append(words, text)
		}
		parts[i] = strings.Join(words, " ")
	}
	return strings.Join(parts, "; ")
}
