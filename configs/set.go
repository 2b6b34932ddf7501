package configs

import (
	"strings"

	"go.yaml.in/yaml/v4"

	"ionward/rules/signal"
)

// overlay writes the overrides into the tree, as if they stood in the file, and makes the sections they need. Of two
// overrides of one key the later wins. An empty value takes the key away, so that its default holds.
func (r *reader) overlay(root *yaml.Node) {
	for i, set := range r.sets {
		path, text, ok := strings.Cut(set, "=")
		segments := strings.Split(path, ".")
		if !ok || path == "" {
			if set == "" {
				set = `""`
			}
			r.add(Fault{Set: set, order: i, What: "want PATH=VALUE, such as off_spec.delay=5m"})
			continue
		}
		value := &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: text, Style: yaml.DoubleQuotedStyle}
		r.origin[value] = i
		if text == "" {
			r.unset[value] = true
		}
		r.put(root, segments, value, i)
	}
}

// put hangs one value into the tree under its path.
func (r *reader) put(section *yaml.Node, segments []string, value *yaml.Node, i int) {
	for depth, name := range segments {
		if section.Kind != yaml.MappingNode {
			where := strings.Join(segments[:depth], ".")
			if depth == 0 {
				where = "the file"
			}
			r.add(Fault{Set: r.shown(i), order: i, What: where + " holds a value, not a section; mend that first"})
			return
		}
		slot := lookup(section, name)
		if slot == nil {
			key := &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: name}
			r.origin[key] = i
			section.Content = append(section.Content, key, r.section(i))
			slot = &section.Content[len(section.Content)-1]
		}
		if depth == len(segments)-1 {
			*slot = value
			return
		}
		// A section written down empty, or taken away by an earlier override, begins anew.
		if isNull(*slot) || r.unset[*slot] {
			*slot = r.section(i)
		}
		section = *slot
	}
}

// section is a new section that exists because of override i.
func (r *reader) section(i int) *yaml.Node {
	n := &yaml.Node{Kind: yaml.MappingNode, Tag: "!!map"}
	r.origin[n] = i
	return n
}

// lookup finds the slot that holds the value of a key in a mapping, or nil.
func lookup(section *yaml.Node, name string) **yaml.Node {
	for i := 0; i+1 < len(section.Content); i += 2 {
		if k := section.Content[i]; k.Kind == yaml.ScalarNode && k.Value == name {
			return &section.Content[i+1]
		}
	}
	return nil
}

// shown is an override as messages repeat it: without what may be a secret.
func (r *reader) shown(i int) string {
	path, text, ok := strings.Cut(r.sets[i], "=")
	if ok && (secret(path) || strings.Contains(text, "@")) {
		return path + "=***"
	}
	return r.sets[i]
}

// secret reports whether a key by its name would hold a password in clear, misspelt or not.
func secret(path string) bool {
	name := strings.ToLower(path[strings.LastIndexByte(path, '.')+1:])
	switch name {
	case "pass", "pwd", "secret", "token":
		return true
	}
	return signal.Edits(name, "password") <= 3
}

func isNull(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Tag == "!!null" }
