package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"ionward/cmd/line"
	"ionward/configs"
	"ionward/simulate/replay"
)

// mostCases is how many combinations of settings one replay tries: beyond that nobody reads the table.
const mostCases = 1000

// choice is one --set, split into the values to try; a single value is a list of one.
type choice struct {
	path   string
	values []string
	list   bool
	whole  string // as typed, for what is no list
}

// choices splits the values of the rule's keys at their commas. Of two --set of one key the later wins, as in a unit file.
func choices(sets []string) ([]choice, error) {
	var all []choice
	for _, set := range sets {
		path, text, ok := strings.Cut(set, "=")
		c := choice{path: path, whole: set}
		if ok && strings.Contains(text, ",") && mayBeList(path) {
			c.list, c.values = true, strings.Split(text, ",")
			for i := range c.values {
				if c.values[i] = strings.TrimSpace(c.values[i]); c.values[i] == "" {
					return nil, line.Usagef("--set %s: value %d of the list is empty", set, i+1)
				}
			}
		}
		all = slices.DeleteFunc(all, func(before choice) bool { return before.path == path && ok && (before.list || c.list) })
		all = append(all, c)
	}
	return all, nil
}

// mayBeList reports whether a key is one of the rule's and holds a value that has no comma in itself.
func mayBeList(path string) bool {
	return slices.ContainsFunc(configs.Keys(), func(k configs.Key) bool {
		return k.Path == path && strings.HasPrefix(path, "off_spec.") && k.Form != configs.Text && k.Form != configs.Section
	})
}

// isList reports whether any --set asks for a comparison.
func isList(all []choice) bool {
	return slices.ContainsFunc(all, func(c choice) bool { return c.list })
}

// cases makes every combination; the last list varies fastest. Each fault is named once, however many combinations
// share it.
func cases(config string, all []choice) ([]replay.Case, *configs.File, error) {
	total := 1
	var sizes []string
	for _, c := range all {
		if c.list {
			total *= len(c.values)
			sizes = append(sizes, fmt.Sprintf("%d of %s", len(c.values), c.path))
		}
		if total > mostCases {
			return nil, nil, line.Usagef("--set: more than %d combinations (%s, ...); want shorter lists", mostCases, strings.Join(sizes, " x "))
		}
	}
	var list []replay.Case
	var faults configs.Faults
	var first *configs.File
	for n := range total {
		sets, changed := combination(all, n)
		file, err := ruleFile(config, sets)
		var some configs.Faults
		switch {
		case errors.As(err, &some):
			faults = append(faults, some...)
		case err != nil:
			return nil, nil, err
		case first == nil:
			first = file
		}
		if err == nil {
			list = append(list, replay.Case{Set: changed, Rule: file.Rule})
		}
	}
	if len(faults) > 0 {
		return nil, nil, distinct(faults)
	}
	return list, first, nil
}

// combination is the n-th of all: the overrides, and those of them that differ from case to case.
func combination(all []choice, n int) (sets []string, changed []replay.Setting) {
	picked := make([]int, len(all))
	for i := len(all) - 1; i >= 0; i-- {
		if all[i].list {
			picked[i], n = n%len(all[i].values), n/len(all[i].values)
		}
	}
	for i, c := range all {
		if !c.list {
			sets = append(sets, c.whole)
			continue
		}
		value := c.values[picked[i]]
		sets = append(sets, c.path+"="+value)
		changed = append(changed, replay.Setting{Path: c.path, Value: value})
	}
	return sets, changed
}

// distinct keeps the first of faults that read the same.
func distinct(faults configs.Faults) configs.Faults {
	seen := map[string]bool{}
	return slices.DeleteFunc(faults, func(f configs.Fault) bool {
		again := seen[f.String()]
		seen[f.String()] = true
		return again
	})
}
