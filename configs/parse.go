package configs

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
)

// parse turns the text into a tree. It returns nil after a fault that leaves nothing to walk: text that is no YAML ends
// the search, because what stands behind it cannot be told apart.
func (r *reader) parse(data []byte) *yaml.Node {
	r.last = lines(data)
	if !r.readable(data) {
		return nil
	}
	loader, err := yaml.NewLoader(bytes.NewReader(data))
	if err != nil {
		r.atPlace(1, 1, "", "cannot be read as YAML: %v", err)
		return nil
	}
	var doc, second yaml.Node
	switch err := loader.Load(&doc); {
	case errors.Is(err, io.EOF):
		r.atPlace(1, 1, "", "nothing in it; want at least %q and its keys, see the example files", "off_spec:")
		return nil
	case err != nil:
		r.syntax(err, data)
		return nil
	}
	switch err := loader.Load(&second); {
	case errors.Is(err, io.EOF):
	case err != nil:
		r.syntax(err, data)
	default:
		r.atPlace(second.Line, second.Column, "", "a second document begins here; want one unit a file: remove the --- line or split the file")
	}
	if len(doc.Content) != 1 {
		r.atPlace(1, 1, "", "cannot be read as YAML: no content")
		return nil
	}
	root := doc.Content[0]
	r.plain(root)
	return root
}

// readable refuses text that no YAML reader takes, with the place, which the library does not give.
func (r *reader) readable(data []byte) bool {
	line, column := 1, 1
	for i := 0; i < len(data); {
		c, size := utf8.DecodeRune(data[i:])
		switch {
		case c == utf8.RuneError && size <= 1:
			r.atPlace(line, column, "", "byte 0x%02X is not UTF-8; save the file as UTF-8", data[i])
			return false
		case c < ' ' && c != '\n' && c != '\r' && c != '\t', c == 0x7F:
			r.atPlace(line, column, "", "control character 0x%02X; remove it", c)
			return false
		case c == '\n':
			line, column = line+1, 0
		}
		column++
		i += size
	}
	return true
}

// syntax reports what the YAML library found, in words for the person who edits the file.
func (r *reader) syntax(err error, data []byte) {
	line, column, what := 1, 1, err.Error()
	var le *yaml.LoadError
	if errors.As(err, &le) {
		what = le.Message
		mark, context := le.Mark, le.ContextMark
		switch {
		case le.ContextMsg == "" || context.Line == 0:
		case mark.Line > bytes.Count(data, []byte("\n")):
			// What was never closed is found at the end of the file; the person looks for its beginning.
			mark, what = context, fmt.Sprintf("%s (%s that begins here)", what, le.ContextMsg)
		default:
			what = fmt.Sprintf("%s (%s that begins at %d:%d)", what, le.ContextMsg, context.Line, context.Column)
		}
		if mark.Line > 0 {
			line, column = mark.Line, max(1, mark.Column)
		}
	}
	switch {
	case strings.Contains(what, "cannot start any token") && at(data, line, column) == '\t':
		what = "a tab; indent with spaces"
	case strings.HasPrefix(what, "mapping values are not allowed"):
		what = "a key where none can be; check the indent, and put text that holds a colon and a space in quotes"
	case strings.HasPrefix(what, "unknown anchor"):
		what = "an alias of nothing; write the value out"
	}
	r.atPlace(line, column, "", "cannot be read as YAML: %s; the rest is checked once this is mended", what)
}

// lines counts the lines of a text by the line ends that YAML 1.1 knows.
func lines(data []byte) int {
	n := 1 + bytes.Count(data, []byte("\r")) - bytes.Count(data, []byte("\r\n"))
	for _, end := range []string{"\n", "\u0085", "\u2028", "\u2029"} {
		n += bytes.Count(data, []byte(end))
	}
	return n
}

// at is the character at a place, or 0.
func at(data []byte, line, column int) rune {
	lines := strings.SplitAfterN(string(data), "\n", line+1)
	if line > len(lines) {
		return 0
	}
	if runes := []rune(lines[line-1]); column <= len(runes) {
		return runes[column-1]
	}
	return 0
}

// plain refuses what makes YAML say another thing than is seen: anchors, aliases, merges and tags. A unit file is read
// on the trailer by people who must see each value where it counts.
func (r *reader) plain(n *yaml.Node) {
	switch {
	case n.Kind == yaml.AliasNode:
		r.atPlace(n.Line, n.Column, "", "alias *%s; write the value out", n.Value)
		return
	case n.Anchor != "":
		r.atPlace(n.Line, n.Column, "", "anchor &%s; remove it, and write the value out where it is needed", n.Anchor)
	case n.Style&yaml.TaggedStyle != 0:
		r.atPlace(n.Line, n.Column, "", "tag %s; remove it", n.Tag)
	}
	for _, c := range n.Content {
		r.plain(c)
	}
}
