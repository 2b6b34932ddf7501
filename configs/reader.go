package configs

import (
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v4"

	"ionward/rules/signal"
)

// reader walks the tree of one unit file and collects its faults.
type reader struct {
	name    string // of the file, "" without one
	folder  string // relative paths in the file begin here
	purpose Purpose
	sets    []string
	keys    []Key // all of them, to say where a misplaced one belongs
	faults  []Fault
	last    int // line of the file

	origin map[*yaml.Node]int  // nodes that an override made, by its index
	unset  map[*yaml.Node]bool // values that an override took away
	given  map[string]value    // what was written, by path: cross checks point at it
	sound  map[string]bool     // paths whose value could be used
	bare   map[string]bool     // quantities written without a unit
}

// value is one value of the tree with its key.
type value struct {
	key  *yaml.Node // where a missing part of a section is reported; the section itself at the root
	node *yaml.Node
	path string
	info *Key // what the key wants; nil where names are free
}

// under is the path of a key in the section.
func (v value) under(name string) string {
	if v.path == "" {
		return name
	}
	return v.path + "." + name
}

func (r *reader) add(f Fault) { r.faults = append(r.faults, f) }

// atPlace reports a fault at a place in the file.
func (r *reader) atPlace(line, column int, path, what string, args ...any) {
	r.add(r.placed(line, column, path, what, args...))
}

// placed makes a fault that points at a place in the file.
func (r *reader) placed(line, column int, path, what string, args ...any) Fault {
	f := Fault{Name: r.name, Line: max(1, line), Column: max(1, column), Path: path, What: fmt.Sprintf(what, args...)}
	// The library ends a last line that has no line end, and may then point behind it.
	if r.last > 0 && f.Line > r.last {
		f.Line, f.Column = r.last, 1
	}
	return f
}

// atNode makes a fault that points at a node: at its place in the file, or at the override that made it.
func (r *reader) atNode(n *yaml.Node, path, what string, args ...any) Fault {
	if i, ok := r.origin[n]; ok {
		return Fault{Set: r.shown(i), order: i, Path: path, What: fmt.Sprintf(what, args...)}
	}
	return r.placed(n.Line, n.Column, path, what, args...)
}

// fault reports a value that cannot be used.
func (r *reader) fault(v value, what string, args ...any) {
	r.sound[v.path] = false
	r.add(r.atNode(v.node, v.path, what, args...))
}

// missing reports a key that a section should hold.
func (r *reader) missing(section value, name, what string, args ...any) {
	r.add(r.atNode(section.key, section.under(name), "missing; "+what, args...))
}

// warn reports a value that works but should be looked at.
func (r *reader) warn(v value, what string, args ...any) {
	f := r.atNode(v.node, v.path, what, args...)
	f.Warning = true
	r.add(f)
}

// each visits the entries of a section once, in order. It reports what is no section, and keys that are repeated or no
// plain words; an entry that an override took away is passed by, as if it were absent.
func (r *reader) each(v value, visit func(name string, entry value)) {
	switch n := v.node; {
	case n.Kind == yaml.AliasNode: // reported by plain
		return
	case isNull(n):
		r.fault(v, "is empty; write its keys under it, further in, or remove it")
		return
	case n.Kind != yaml.MappingNode:
		r.fault(v, "want a section: its keys under it, further in, one a line")
		return
	}
	first := map[string]*yaml.Node{}
	for i := 0; i+1 < len(v.node.Content); i += 2 {
		key, node := v.node.Content[i], v.node.Content[i+1]
		if key.Kind != yaml.ScalarNode || key.Tag == "!!merge" || isNull(key) {
			r.add(r.atNode(key, v.path, "want a plain word as key"))
			continue
		}
		entry := value{key: key, node: node, path: v.under(key.Value)}
		if twin := first[key.Value]; twin != nil {
			r.add(r.atNode(key, entry.path, "is given twice, first in line %d; remove one", twin.Line))
			continue
		}
		first[key.Value] = key
		visit(key.Value, entry)
	}
}

// note remembers what was written, for checks between keys; it reports whether there is anything to read.
func (r *reader) note(v value) bool {
	if r.unset[v.node] {
		return false
	}
	r.given[v.path] = v
	if _, judged := r.sound[v.path]; !judged {
		r.sound[v.path] = true
	}
	return true
}

// usable reports whether a key was written and its value could be used.
func (r *reader) usable(path string) bool { return r.sound[path] }

// written gives what was written at a path; ok is false when nothing was.
func (r *reader) written(path string) (v value, ok bool) {
	v, ok = r.given[path]
	return v, ok
}

// field is one key of a section that fills a T, with its description and how it is read.
type field[T any] struct {
	Key
	read func(r *reader, v value, into *T)
	sub  []Key // the keys of a section, below it
}

// walk reads a section by its table.
func walk[T any](r *reader, v value, fields []field[T], into *T) {
	have := map[string]bool{}
	r.each(v, func(name string, entry value) {
		i := slices.IndexFunc(fields, func(f field[T]) bool { return f.Path == name })
		if i < 0 {
			r.unknown(entry, name, names(fields))
			return
		}
		entry.info = &fields[i].Key
		if r.note(entry) {
			have[name] = true
			fields[i].read(r, entry, into)
		}
	})
	if v.node.Kind != yaml.MappingNode {
		return
	}
	for _, f := range fields {
		if !have[f.Path] && (f.Required == Always || f.Required == WhenRun && r.purpose == ForRun) {
			r.missing(v, f.Path, "want %s", f.wanted())
		}
	}
}

func names[T any](fields []field[T]) []string {
	list := make([]string, len(fields))
	for i, f := range fields {
		list[i] = f.Path
	}
	return list
}

// unknown reports a key that is not in the table: by its right place if it has one, else by the nearest known key.
func (r *reader) unknown(v value, name string, known []string) {
	switch {
	case secret(name):
		r.add(r.atNode(v.key, v.path, "a password in clear is refused; put it alone into a file that only the agent can read, and name that in mqtt.password_file"))
		return
	case name == "<<":
		r.add(r.atNode(v.key, v.path, "merging is refused; write the keys out"))
		return
	}
	near := signal.Nearest(name, known)
	place, far := r.elsewhere(name)
	switch {
	case signal.Edits(strings.ToLower(name), near) <= 2 || far*3 > len(name): // farther, likeness is chance
		all := ""
		if len(known) <= 20 {
			all = " (known here: " + strings.Join(known, ", ") + ")"
		}
		r.add(r.atNode(v.key, v.path, "unknown key; the nearest known key is %s%s", near, all))
	case far == 0:
		r.add(r.atNode(v.key, v.path, "unknown key here; its place is %s", place))
	default:
		r.add(r.atNode(v.key, v.path, "unknown key; the nearest known key is %s", place))
	}
}

// elsewhere finds the keys of the whole file whose last part is nearest to a name, and how many edits away they are.
func (r *reader) elsewhere(name string) (places string, far int) {
	var paths []string
	for _, k := range r.keys {
		switch d := signal.Edits(strings.ToLower(name), k.Path[strings.LastIndexByte(k.Path, '.')+1:]); {
		case paths == nil || d < far:
			paths, far = []string{k.Path}, d
		case d == far:
			paths = append(paths, k.Path)
		}
	}
	if len(paths) > 4 {
		return strings.Join(paths[:3], " or ") + " or another section", far
	}
	return strings.Join(paths, " or "), far
}
