package signal

import "strings"

// Nearest is the known name that needs the fewest edits to become name; "" when none is known. Of equally near ones
// the first wins.
func Nearest(name string, known []string) string {
	best, least := "", 0
	for _, k := range known {
		if d := Edits(strings.ToLower(name), k); best == "" || d < least {
			best, least = k, d
		}
	}
	return best
}

// Edits counts the insertions, deletions, replacements and swaps of neighbours that turn a into b (the optimal string
// alignment form of the Damerau-Levenshtein distance), in bytes. Long input is cut: it is no misspelt key.
func Edits(a, b string) int {
	const longest = 64
	a, b = a[:min(len(a), longest)], b[:min(len(b), longest)]
	// Three rows of the table are enough: a swap looks two rows back.
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
