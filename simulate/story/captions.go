package story

import (
	"bufio"
	"embed"
	"fmt"
	"strings"
)

// One file a language; a line is a name, a colon and the caption. Lines that begin with # are notes.
//
//go:embed captions/*.txt
var files embed.FS

// Captions are the sentences of one language for who watches the story, by the name of the step.
func Captions(language string) (map[string]string, error) {
	f, err := files.Open("captions/" + language + ".txt")
	if err != nil {
		return nil, fmt.Errorf("no captions in the language %q: use en or es", language)
	}
	defer func() { _ = f.Close() }() // a file in the program itself: nothing to lose
	captions := make(map[string]string)
	lines := bufio.NewScanner(f)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || line[0] == '#' {
			continue
		}
		name, text, ok := strings.Cut(line, ": ")
		if _, twice := captions[name]; !ok || twice {
			return nil, fmt.Errorf("captions/%s.txt:%d: want a name not used before, a colon and a sentence", language, n)
		}
		captions[name] = text
	}
	return captions, lines.Err()
}
