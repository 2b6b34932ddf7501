package configs

import "strings"

// Need says when a key must be written.
type Need uint8

// The needs.
const (
	Optional Need = iota
	Always        // within its section
	WhenRun       // by an agent that runs; replay does without
)

// Form says how the value of a key is written.
type Form string

// The forms.
const (
	Text      Form = "text"
	Number    Form = "number"    // a bare number
	Whole     Form = "whole"     // a whole number, decimal or 0x hexadecimal
	Switch    Form = "switch"    // true or false
	Choice    Form = "choice"    // one of Choices
	Duration  Form = "duration"  // 10m, 90s, 1h30m, 250ms
	Quantity  Form = "quantity"  // a number and its unit; a bare number is in Unit
	Size      Form = "size"      // bytes: 2 GiB, 500 MB
	Listen    Form = "listen"    // host:port to listen at, or off
	URL       Form = "url"       // an address with its scheme
	Path      Form = "path"      // a file or folder, from the folder of the unit file
	Bitmarks  Form = "bitmarks"  // one raw bit pattern, or a list
	Section   Form = "section"   // holds the keys listed below it
	NamedList Form = "namedlist" // a section whose keys are names, each with the keys listed below it
)

// Key describes one key of the unit file.
type Key struct {
	Path     string   // such as instruments.<name>.unit_id; <name> stands for any name, <signal> for a signal's
	Form     Form     //
	Unit     string   // the inside unit of a quantity, or what a number counts
	Choices  []string // for a choice, all of them
	Default  string   // as it would be written, or in words within brackets; "" = none
	Example  string   // a value that is accepted; "" for sections
	Required Need     //
	Meaning  string   // what it is, in a phrase
}

// wanted says in words what a key that is missing would hold.
func (k *Key) wanted() string {
	if k.Example == "" {
		return k.Meaning
	}
	return k.Meaning + ", such as " + k.Example
}

// Keys describes every key that a unit file may hold, sections before their keys, in the order of the example file.
// It is made from the tables that read the file.
func Keys() []Key { return described(unitFields) }

// described lists the keys of a table and of the sections in it.
func described[T any](fields []field[T]) []Key {
	var list []Key
	for _, f := range fields {
		list = append(list, f.Key)
		list = append(list, below(f.Path, f.sub)...)
	}
	return list
}

// below puts keys under a section.
func below(path string, keys []Key) []Key {
	list := make([]Key, len(keys))
	for i, k := range keys {
		list[i] = k
		list[i].Path = path + "." + k.Path
	}
	return list
}

// named describes a section whose keys are free names: the section for one name, and the keys in it.
func named(placeholder, meaning string, keys []Key) []Key {
	return append([]Key{{Path: placeholder, Form: Section, Meaning: meaning}}, below(placeholder, keys)...)
}

// oneOf lists choices for a sentence.
func oneOf(choices []string) string {
	if len(choices) == 1 {
		return choices[0]
	}
	last := len(choices) - 1
	return strings.Join(choices[:last], ", ") + " or " + choices[last]
}
