package trace

import (
	"fmt"
	"strings"

	"ionward/rules"
	"ionward/rules/alarm"
)

// parseOrders reads what people did: "who verb alarm [text]", several separated by ";". Who may be several words: it
// ends before the first word that is a verb. A note has no alarm.
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
	for i, w := range words {
		verb, ok := rules.ParseVerb(w)
		if !ok || i == 0 {
			continue
		}
		o := rules.Order{Who: strings.Join(words[:i], " "), Verb: verb}
		rest := words[i+1:]
		if verb != rules.Note {
			if len(rest) == 0 {
				return o, fmt.Errorf("the order %q names no alarm", strings.Join(words, " "))
			}
			if o.Alarm, ok = alarm.Parse(rest[0]); !ok {
				return o, fmt.Errorf("%q is not an alarm", rest[0])
			}
			rest = rest[1:]
		}
		o.Text = strings.Join(rest, " ")
		return o, nil
	}
	return rules.Order{}, fmt.Errorf("%q is not an order: it must be who, verb (acknowledge, reset or note), alarm, text", strings.Join(words, " "))
}

// FormatOrders is the inverse of parseOrders: what export writes into the order column.
func FormatOrders(list []rules.Order) string {
	parts := make([]string, len(list))
	for i, o := range list {
		words := []string{o.Who, o.Verb.String()}
		if o.Verb != rules.Note {
			words = append(words, o.Alarm.String())
		}
		if text := strings.Join(strings.Fields(strings.ReplaceAll(o.Text, ";", ",")), " "); text != "" {
			words = append(words, text)
		}
		parts[i] = strings.Join(words, " ")
	}
	return strings.Join(parts, "; ")
}
