package configs

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Fault is one thing wrong with a unit file or an override, and what would be right.
type Fault struct {
	Name         string // of the file; "" when an override is at fault
	Line, Column int    // from 1; 0 when an override is at fault, or the file could not be read
	Set          string // the override PATH=VALUE at fault; "" for the file
	Path         string // the key, such as off_spec.delay; "" when the file as a whole is at fault
	What         string
	Warning      bool // it works, but should be looked at

	order int // of the override on the command line
}

// String is the fault in one line: file:line:col: path: what, or --set PATH=VALUE: what.
func (f Fault) String() string {
	var b strings.Builder
	path := f.Path
	switch {
	case f.Set != "":
		fmt.Fprintf(&b, "--set %s: ", f.Set)
		// The override names its path already.
		if given, _, _ := strings.Cut(f.Set, "="); given == path {
			path = ""
		}
	case f.Line == 0:
		b.WriteString(f.Name + ": ")
	default:
		fmt.Fprintf(&b, "%s:%d:%d: ", f.Name, f.Line, f.Column)
	}
	if path != "" {
		b.WriteString(path + ": ")
	}
	if f.Warning {
		b.WriteString("warning: ")
	}
	b.WriteString(f.What)
	return b.String()
}

// Faults is the error of Load: every fault, and the warnings among them, in file order, overrides last.
type Faults []Fault

// Error is one line for each fault.
func (fs Faults) Error() string {
	lines := make([]string, len(fs))
	for i, f := range fs {
		lines[i] = f.String()
	}
	return strings.Join(lines, "\n")
}

// sortFaults puts faults in file order, those of overrides behind, in the order of the command line.
func sortFaults(fs []Fault) {
	slices.SortStableFunc(fs, func(a, b Fault) int {
		if (a.Set != "") != (b.Set != "") {
			if a.Set != "" {
				return 1
			}
			return -1
		}
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column), cmp.Compare(a.order, b.order))
	})
}
