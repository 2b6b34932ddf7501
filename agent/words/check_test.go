package words

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every fault of a phrase file is told, all in one error.
func TestFaultyFilesAreRefused(t *testing.T) {
	text, err := files.ReadFile("phrases/en.yaml")
	require.NoError(t, err)
	for name, c := range map[string]struct{ old, new, want string }{
		"reason missing":       {"  power_lost: control power lost\n", "", "reasons.power_lost: is missing"},
		"reason unknown":       {"  power_lost: ", "  power_gone: x\n  power_lost: ", "reasons.power_gone: is not a known key"},
		"reason empty":         {"  power_lost: control power lost\n", "  power_lost: \"\"\n", "reasons.power_lost: is missing"},
		"placeholder unknown":  {"off spec for {for}", "off spec for {four}", "reasons.off_spec_for_delay: {four} is not known here"},
		"word too long":        {"  service: GOOD WATER", "  service: VERY GOOD WATER", `modes.service: "VERY GOOD WATER" must have 1 to 12 letters`},
		"situation word":       {"    word: RINSING", "    word: RINSING THE BED", "situations.rinsing.word"},
		"situation unknown":    {"  rinsing:\n", "  rinsed:\n", "situations.rinsed: is not a known key"},
		"step asks too much":   {"Wait 10 seconds for", "Wait {n} for", "situations.starting.steps.1: {n} is not known here"},
		"six steps":            {"      - Decide before the time ends.\n", "      - Decide.\n      - Decide.\n      - Decide.\n", "situations.bypass_off.steps: has 6"},
		"alarm missing":        {"  bypass-on:", "  bypass-off:", "alarms.bypass-on: is missing"},
		"cause missing":        {"  sentinel: says no sensor\n", "", "causes.sentinel: is missing"},
		"label placeholder":    {"title: Trailer {trailer}", "title: Trailer {name}", "labels.title: {name}"},
		"label unknown":        {"  feed: FEED\n", "  feed: FEED\n  food: FOOD\n", "labels.food: is not a known key"},
		"ten cautions":         {"  - Mind freezing, the road, level ground and hearing.\n", "", "cautions: has 10, must have 11"},
		"section unknown":      {"relief:\n", "colour: red\nrelief:\n", "colour"},
		"language of the file": {"language: en\n", "language: fr\n", `the file says language "fr"`},
		"not YAML":             {"language: en\n", "language: [\n", "cannot read phrases en"},
	} {
		t.Run(name, func(t *testing.T) {
			require.Contains(t, string(text), c.old, "the test must change something")
			_, err := parse("en", []byte(strings.Replace(string(text), c.old, c.new, 1)))
			require.Error(t, err)
			assert.Contains(t, err.Error(), c.want)
		})
	}
	_, err = Load("tlh")
	assert.ErrorContains(t, err, `no phrases for language "tlh" (use one of en, es)`)
}
