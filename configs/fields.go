package configs

import (
	"path/filepath"
	"strings"
	"time"

	"ionward/rules/signal"
)

// The makers of fields: each pairs a description with the way that form is read into its place.

func textField[T any](k Key, check func(string) error, to func(*T) *string) field[T] {
	k.Form = Text
	return field[T]{Key: k, read: func(r *reader, v value, into *T) {
		s, ok := r.text(v)
		if !ok {
			return
		}
		if err := check(s); err != nil {
			r.fault(v, "%v", err)
			return
		}
		*to(into) = s
	}}
}

func choiceField[T any](k Key, choices []string, to func(*T) *string) field[T] {
	k.Form, k.Choices = Choice, choices
	return field[T]{Key: k, read: func(r *reader, v value, into *T) {
		if s, ok := r.choice(v, choices); ok {
			*to(into) = s
		}
	}}
}

func switchField[T any](k Key, to func(*T) *bool) field[T] {
	k.Form = Switch
	return field[T]{Key: k, read: func(r *reader, v value, into *T) {
		// yes, on and their like mean different things to different YAML readers.
		if s, ok := r.choice(v, []string{"true", "false"}); ok {
			*to(into) = s == "true"
		}
	}}
}

func durationField[T any](k Key, least, most time.Duration, to func(*T) *time.Duration) field[T] {
	k.Form = Duration
	return field[T]{Key: k, read: func(r *reader, v value, into *T) {
		if d, ok := r.duration(v, least, most); ok {
			*to(into) = d
		}
	}}
}

func conductivityField[T any](k Key, difference bool, to func(*T) *float64) field[T] {
	k.Form, k.Unit = Quantity, signal.MicrosiemensPerCm.Symbol
	return field[T]{Key: k, read: func(r *reader, v value, into *T) {
		if x, ok := r.quantity(v, signal.Conductivity, difference); ok {
			*to(into) = x
		}
	}}
}

func wholeField[T any](k Key, least, most int64, to func(*T, int64)) field[T] {
	k.Form = Whole
	return field[T]{Key: k, read: func(r *reader, v value, into *T) {
		if n, ok := r.whole(v, least, most); ok {
			to(into, n)
		}
	}}
}

func numberField[T any](k Key, ok func(float64) bool, want string, to func(*T) *float64) field[T] {
	k.Form = Number
	return field[T]{Key: k, read: func(r *reader, v value, into *T) {
		if x, good := r.number(v, ok, want); good {
			*to(into) = x
		}
	}}
}

func listenField[T any](k Key, to func(*T) *string) field[T] {
	k.Form = Listen
	return field[T]{Key: k, read: func(r *reader, v value, into *T) {
		if s, ok := r.listen(v); ok {
			*to(into) = s
		}
	}}
}

// pathField reads a path. In the file it begins at the file's folder, so that a unit file and what lies beside it can
// move together; typed in an override it begins where the command was typed.
func pathField[T any](k Key, to func(*T) *string) field[T] {
	k.Form = Path
	return field[T]{Key: k, read: func(r *reader, v value, into *T) {
		s, ok := r.text(v)
		if !ok {
			return
		}
		if strings.ContainsRune(s, 0) {
			r.fault(v, "holds a zero character; want a path")
			return
		}
		if _, typed := r.origin[v.node]; !typed && !filepath.IsAbs(s) {
			s = filepath.Join(r.folder, s)
		}
		*to(into) = s
	}}
}

func sectionField[T, S any](name, meaning string, fields []field[S], to func(*T) *S) field[T] {
	return field[T]{
		Key: Key{Path: name, Form: Section, Meaning: meaning},
		sub: described(fields),
		read: func(r *reader, v value, into *T) {
			walk(r, v, fields, to(into))
		},
	}
}
