package signal

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestNearest(t *testing.T) {
	assert.Equal(t, 0, Edits("delay", "delay"))
	assert.Equal(t, 1, Edits("dealy", "delay"), "a swap of neighbours is one edit")
	assert.Equal(t, 3, Edits("kitten", "sitting"))
	assert.Equal(t, 5, Edits("", "delay"))
	assert.Equal(t, "endpoint", Nearest("EndPiont", []string{"delay", "endpoint"}))
	assert.Equal(t, "a", Nearest("zzz", []string{"a", "b"}), "the first of equals")
	assert.Empty(t, Nearest("x", nil))
}

// What a distance is: zero for the same only, the same both ways, and never more than the longer word.
func TestEditsAreADistance(t *testing.T) {
	word := rapid.StringMatching(`[a-c]{0,8}`)
	rapid.Check(t, func(t *rapid.T) {
		a, b := word.Draw(t, "a"), word.Draw(t, "b")
		d := Edits(a, b)
		assert.Equal(t, d, Edits(b, a))
		assert.Equal(t, a == b, d == 0)
		assert.LessOrEqual(t, d, max(len(a), len(b)))
		assert.GreaterOrEqual(t, d, max(len(a), len(b))-min(len(a), len(b)))
		// Restricted swaps break the triangle only where a swapped pair is edited again, by one at most.
		c := word.Draw(t, "c")
		assert.LessOrEqual(t, d, Edits(a, c)+Edits(c, b)+min(len(a), len(b)))
	})
}
