package configs

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"go.yaml.in/yaml/v4"
)

// largest is the most bytes of a unit file; real ones have some thousands.
const largest = 1 << 20

// LoadFile reads the unit file at a path; see Load. A file that cannot be opened or read is a fault without a line.
func LoadFile(path string, sets []string, purpose Purpose) (*File, error) {
	data, err := read(path)
	if err != nil {
		// The path stands before the fault already.
		var failed *fs.PathError
		if errors.As(err, &failed) {
			err = failed.Err
		}
		return nil, Faults{{Name: path, What: fmt.Sprintf("cannot read the unit file: %v", err)}}
	}
	return Load(path, data, sets, purpose)
}

// read takes one byte more than a unit file may have, so that Load can tell.
func read(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, largest+1))
}

// Load reads the text of a unit file and the overrides PATH=VALUE, which count as if they stood in it. The name is for
// messages, and its folder is where relative paths in the file begin. The error is of type Faults.
func Load(name string, data []byte, sets []string, purpose Purpose) (*File, error) {
	r := newReader(name, sets, purpose)
	if len(data) > largest {
		r.atPlace(1, 1, "", "has more than %d bytes; want a unit file", largest)
		return nil, Faults(r.faults)
	}
	if root := r.parse(data); root != nil {
		return r.load(root)
	}
	return nil, Faults(r.faults)
}

// Default is what holds without a unit file: the defaults and the overrides, for the rule alone.
func Default(sets []string) (*File, error) {
	return newReader("", sets, ForRule).load(&yaml.Node{Kind: yaml.MappingNode, Tag: "!!map"})
}

func newReader(name string, sets []string, purpose Purpose) *reader {
	return &reader{
		name: name, folder: filepath.Dir(name), purpose: purpose, sets: sets, keys: Keys(),
		origin: map[*yaml.Node]int{}, unset: map[*yaml.Node]bool{},
		given: map[string]value{}, sound: map[string]bool{}, bare: map[string]bool{},
	}
}

// load walks the tree with its overrides, then judges what only several keys together show, and fills in what is left.
func (r *reader) load(root *yaml.Node) (*File, error) {
	r.overlay(root)
	file := defaults()
	file.Name = r.name
	walk(r, value{key: root, node: root}, unitFields, file)
	r.checkRule(file.Rule)
	r.checkProfile(&file.Rule)
	r.checkInstruments(file)
	r.settle(file)
	r.checkDelivery(file)

	sortFaults(r.faults)
	if slices.ContainsFunc(r.faults, func(f Fault) bool { return !f.Warning }) {
		return nil, Faults(r.faults)
	}
	file.Warnings = r.faults
	return file, nil
}

// settle fills in the defaults that hang on other keys.
func (r *reader) settle(f *File) {
	if f.Journal.Folder == "" && f.Name != "" {
		f.Journal.Folder = strings.TrimSuffix(f.Name, filepath.Ext(f.Name)) + ".journal"
	}
	if f.MQTT.ClientID == "" && f.Trailer != "" {
		f.MQTT.ClientID = "ionward-" + f.Trailer
	}
	if _, ok := r.written("metrics.listen"); !ok {
		f.Metrics.Listen = f.Screen.Listen
	}
}
