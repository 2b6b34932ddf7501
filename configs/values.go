package configs

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
	"time"
	"unicode"

	"go.yaml.in/yaml/v4"

	"ionward/rules/signal"
)

// text gives what was written for one value, trimmed; it reports a section, a list or nothing in its place.
func (r *reader) text(v value) (string, bool) {
	switch n := v.node; {
	case n.Kind == yaml.AliasNode: // reported by plain
		r.sound[v.path] = false
	case n.Kind == yaml.MappingNode:
		r.fault(v, "is written as a section; want %s", v.info.Example)
	case n.Kind == yaml.SequenceNode:
		r.fault(v, "is written as a list; want one value, such as %s", v.info.Example)
	case isNull(n), strings.TrimSpace(n.Value) == "":
		r.fault(v, "has no value; want one, such as %s, or remove the key", v.info.Example)
	default:
		return strings.TrimSpace(n.Value), true
	}
	return "", false
}

// whole reads a whole number within a range, decimal or 0x hexadecimal.
func (r *reader) whole(v value, least, most int64) (int64, bool) {
	s, ok := r.text(v)
	if !ok {
		return 0, false
	}
	n, err := wholeNumber(s, 63)
	switch {
	case err != nil:
		r.fault(v, "%v; want %d to %d", err, least, most)
	case int64(n) < least || int64(n) > most:
		r.fault(v, "%s is out of range; want %d to %d", s, least, most)
	default:
		return int64(n), true
	}
	return 0, false
}

// wholeNumber reads a number of up to so many bits. A leading zero is refused: some read 010 as ten, some as eight.
func wholeNumber(s string, bits int) (uint64, error) {
	digits, base := s, 10
	if hex, ok := strings.CutPrefix(strings.ToLower(s), "0x"); ok {
		digits, base = hex, 16
	} else if len(s) > 1 && s[0] == '0' && strings.Trim(s, "0123456789") == "" {
		return 0, fmt.Errorf("%s begins with 0, which some read as octal; write it without", s)
	}
	n, err := strconv.ParseUint(digits, base, bits)
	if err == nil {
		return n, nil
	}
	if _, hexErr := strconv.ParseUint(s, 16, 64); hexErr == nil && base == 10 && strings.Trim(s, "0123456789") != "" {
		return 0, fmt.Errorf("%q is not a whole number (hexadecimal is written 0x%s)", s, s)
	}
	if errors.Is(err, strconv.ErrRange) {
		return 0, fmt.Errorf("%s does not fit %d bits", s, bits)
	}
	return 0, fmt.Errorf("%q is not a whole number from 0 up", s)
}

// number reads a finite bare number.
func (r *reader) number(v value, ok func(float64) bool, want string) (float64, bool) {
	s, found := r.text(v)
	if !found {
		return 0, false
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) || strings.ContainsAny(s, "xX_pP") {
		r.fault(v, "%q is not a number; want %s, such as %s", s, want, v.info.Example)
		return 0, false
	}
	if !ok(x) {
		r.fault(v, "%s is out of range; want %s", s, want)
		return 0, false
	}
	return x, true
}

// duration reads 10m, 90s, 1h30m or 250ms. A bare number is refused: minutes or seconds would be a guess.
func (r *reader) duration(v value, least, most time.Duration) (time.Duration, bool) {
	s, ok := r.text(v)
	if !ok {
		return 0, false
	}
	d, err := time.ParseDuration(s)
	if _, bare := strconv.ParseFloat(s, 64); err != nil && bare == nil {
		r.fault(v, "%s has no unit of time; want %ss, %sm or %sh", s, s, s, s)
		return 0, false
	}
	switch {
	case err != nil:
		r.fault(v, "%q is not a duration; want one such as 10m, 90s, 1h30m or 250ms", s)
	case d < least:
		r.fault(v, "%s is too short; want at least %s", s, short(least))
	case d > most:
		r.fault(v, "%s is too long; want at most %s", s, short(most))
	default:
		return d, true
	}
	return 0, false
}

// short writes a duration as people do: 10m, not 10m0s.
func short(d time.Duration) string {
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}

// quantity reads a number with its unit into the inside unit. A difference (a band, a step) has no meaning in a unit
// that runs the other way, as resistivity does.
func (r *reader) quantity(v value, q signal.Quantity, difference bool) (float64, bool) {
	s, ok := r.text(v)
	if !ok {
		return 0, false
	}
	x, err := signal.ParseQuantity(s, q)
	switch {
	case err != nil:
		r.fault(v, "%v", err)
		return 0, false
	case math.IsInf(x, 0) || math.IsNaN(x):
		r.fault(v, "%s is beyond all numbers in %s", s, signal.Units(q)[0])
		return 0, false
	case difference && strings.ContainsFunc(s, func(c rune) bool { return c == 'O' || c == '\u2126' || c == '\u03a9' }):
		r.fault(v, "%s: a difference of conductivities cannot be given as a resistivity; want uS/cm", s)
		return 0, false
	}
	_, err = strconv.ParseFloat(s, 64)
	r.bare[v.path] = err == nil
	return x, true
}

var sizes = map[string]int64{
	"B": 1, "kB": 1e3, "MB": 1e6, "GB": 1e9, "TB": 1e12, "KiB": 1 << 10, "MiB": 1 << 20, "GiB": 1 << 30, "TiB": 1 << 40,
}

// size reads a number of bytes with its unit, exactly: 2 GiB, 0.5 TB. Parts of a byte are cut off.
func (r *reader) size(v value, least, most int64) (int64, bool) {
	s, ok := r.text(v)
	if !ok {
		return 0, false
	}
	number := strings.TrimRightFunc(s, func(c rune) bool { return unicode.IsLetter(c) || c == ' ' })
	unit := strings.TrimSpace(s[len(number):])
	factor, known := sizes[unit]
	// Rat takes fractions and exponents of any length; a size needs neither.
	n, parsed := new(big.Rat).SetString(number)
	if !known || !parsed || len(number) > 24 || strings.Trim(number, "0123456789.") != "" {
		r.fault(v, "%q is not a size; want a number and one of B, kB, MB, GB, TB, KiB, MiB, GiB, TiB, such as %s", s, v.info.Example)
		return 0, false
	}
	n.Mul(n, new(big.Rat).SetInt64(factor))
	bytes := new(big.Int).Quo(n.Num(), n.Denom())
	if !bytes.IsInt64() || bytes.Int64() < least || bytes.Int64() > most {
		r.fault(v, "%s is out of range; want %d MiB to %d TiB", s, least>>20, most>>40)
		return 0, false
	}
	return bytes.Int64(), true
}

// choice reads one of a few words.
func (r *reader) choice(v value, choices []string) (string, bool) {
	s, ok := r.text(v)
	if !ok {
		return "", false
	}
	for _, c := range choices {
		if c == s {
			return c, true
		}
	}
	r.fault(v, "%q is not known; want %s", s, oneOf(choices))
	return "", false
}

// printed refuses text that a screen, a report or a topic cannot carry.
func printed(most int) func(string) error {
	return func(s string) error {
		if n := len([]rune(s)); n > most {
			return fmt.Errorf("has %d characters; want at most %d", n, most)
		}
		if strings.ContainsFunc(s, func(c rune) bool { return !unicode.IsPrint(c) }) {
			return fmt.Errorf("%q: want printable characters in one line", s)
		}
		return nil
	}
}

// word accepts letters, digits and a few marks: what is safe in a topic, a file name and a label alike.
func word(marks string, most int) func(string) error {
	return func(s string) error {
		bad := strings.IndexFunc(s, func(c rune) bool {
			return !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || strings.ContainsRune(marks, c))
		})
		switch {
		case s == "":
			return errors.New("is empty; want letters and digits")
		case bad >= 0:
			return fmt.Errorf("%q: want letters a to z, digits and %s only", s, strings.Join(strings.Split(marks, ""), " "))
		case len(s) > most:
			return fmt.Errorf("has %d characters; want at most %d", len(s), most)
		case strings.ContainsRune(marks, rune(s[0])):
			return fmt.Errorf("%q: want a letter or digit first", s)
		}
		return nil
	}
}
