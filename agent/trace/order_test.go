package trace

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/rules"
	"ionward/rules/alarm"
)

func TestOrdersAreRead(t *testing.T) {
	for text, want := range map[string]rules.Order{
		"Ana Rey shelve frozen 2h cell is being cleaned":  {Who: "Ana Rey", Verb: rules.Shelve, Alarm: alarm.Frozen, Text: "2h cell is being cleaned"},
		"screen unshelve frozen":                          {Who: "screen", Verb: rules.Unshelve, Alarm: alarm.Frozen},
		"service out-of-service user-3 no such tank":      {Who: "service", Verb: rules.OutOfService, Alarm: alarm.User(2), Text: "no such tank"},
		"service in-service user-3":                       {Who: "service", Verb: rules.InService, Alarm: alarm.User(2)},
		"screen silence off-spec":                         {Who: "screen", Verb: rules.Silence, Alarm: alarm.OffSpec},
		"J. Doe storage 6h as the tank stands":            {Who: "J. Doe", Verb: rules.Storage, Text: "6h as the tank stands"},
		"J. Doe storage nobody knows":                     {Who: "J. Doe", Verb: rules.Storage, Text: "nobody knows"},
		"screen answer-no was-bypass-pressed":             {Who: "screen", Verb: rules.AnswerNo, Alarm: alarm.BypassQuestion},
		"the storage crew acknowledge off-spec looking":   {Who: "the storage crew", Verb: rules.Acknowledge, Alarm: alarm.OffSpec, Text: "looking"},
		"reset team 2 reset swapped":                      {Who: "reset team 2", Verb: rules.Reset, Alarm: alarm.Swapped},
		"Ana note acknowledge off-spec was pressed twice": {Who: "Ana", Verb: rules.Note, Text: "acknowledge off-spec was pressed twice"},
	} {
		list, err := parseOrders(text)
		require.NoError(t, err, text)
		require.Equal(t, []rules.Order{want}, list, text)
		again, err := parseOrders(FormatOrders(list))
		require.NoError(t, err, text)
		assert.Equal(t, list, again, "what is exported is read back")
	}
}

func TestOrdersThatAreNone(t *testing.T) {
	for text, want := range map[string]string{
		"acknowledge off-spec":      "is not an order", // nobody did it
		"Ana pressed it":            "verb (acknowledge, reset, note, shelve, unshelve, out-of-service, in-service, silence, storage, answer-yes, answer-no)",
		"Ana shelve":                "names no alarm",
		"Ana shelve user-33 2h":     `"user-33" is not an alarm`,
		"Ana silence everything":    `"everything" is not an alarm`,
		"Ana acknowledge; off-spec": "names no alarm",
	} {
		_, err := parseOrders(text)
		assert.ErrorContains(t, err, want, text)
	}
}
