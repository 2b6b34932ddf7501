package configs

import (
	"math"
	"slices"
	"time"
)

var holdOffFields = []field[HoldOff]{
	wholeField(Key{Path: "losses", Default: "5", Example: "3", Meaning: "it was lost so often, each time for two polls or more; 0 = every answer is believed"},
		0, 100, func(h *HoldOff, n int64) { h.Losses = int(n) }),
	durationField(Key{Path: "within", Default: "5m", Example: "10m", Meaning: "in so long a time"},
		time.Second, 24*time.Hour, func(h *HoldOff) *time.Duration { return &h.Within }),
	durationField(Key{Path: "steady", Default: "30s", Example: "1m", Meaning: "it is believed again after it has answered for so long"},
		0, time.Hour, func(h *HoldOff) *time.Duration { return &h.Steady }),
}

var settingFields = []field[Setting]{
	wholeField(Key{Path: "register", Example: "40", Required: Always, Meaning: "its address as sent, the first is 0"},
		0, math.MaxUint16, func(s *Setting, n int64) { s.Register = uint16(n) }),
	choiceField(Key{Path: "kind", Default: "holding", Example: "input", Meaning: "its table"},
		kinds, func(s *Setting) *string { return &s.Kind }),
	{
		Key: Key{Path: "type", Form: Choice, Choices: typeNames(), Default: "(f32; bit for a coil or discrete input)", Example: "u16", Meaning: "how it is written"},
		read: func(r *reader, v value, into *Setting) {
			if s, ok := r.text(v); ok {
				if !slices.Contains(typeNames(), s) {
					r.fault(v, "type %q is not known; want %s, or bit0 to bit15 of a register", s, oneOf(types))
					return
				}
				into.Type, into.Bit = splitBit(s)
			}
		},
	},
	numberField(Key{Path: "scale", Default: "1", Example: "0.001", Meaning: "the raw number is multiplied by it"},
		func(x float64) bool { return x != 0 }, "any number but 0", func(s *Setting) *float64 { return &s.Scale }),
	numberField(Key{Path: "offset", Default: "0", Example: "-50", Meaning: "added after scaling"},
		anyNumber, "any number", func(s *Setting) *float64 { return &s.Offset }),
	numberField(Key{Path: "value", Example: "0.1", Required: Always, Meaning: "the number it was commissioned with, after scaling"},
		anyNumber, "any number", func(s *Setting) *float64 { return &s.Value }),
	numberField(Key{Path: "tolerance", Default: "0", Example: "0.001", Meaning: "so far off still counts as equal"},
		func(x float64) bool { return x >= 0 }, "0 or more", func(s *Setting) *float64 { return &s.Tolerance }),
}

// settings reads the settings of one instrument, in file order.
func (r *reader) settings(v value, into *[]Setting) {
	r.each(v, func(name string, entry value) {
		if !r.note(entry) {
			return
		}
		if err := word("-_", 40)(name); err != nil {
			r.add(r.atNode(entry.key, v.path, "%q cannot name a setting; want letters a to z, digits, - and _", name))
		}
		s := Setting{Name: name, Kind: "holding", Scale: 1}
		walk(r, entry, settingFields, &s)
		bits := s.Kind == "coil" || s.Kind == "discrete"
		switch {
		case s.Type == "" && bits:
			s.Type = "bit"
		case s.Type == "":
			s.Type = "f32"
		case bits && (s.Type != "bit" || s.Bit != 0):
			at, _ := r.written(entry.under("type"))
			r.fault(at, "a %s is a single bit; want bit, or leave it out", s.Kind)
		}
		if end := int(s.Register) + words(s.Type); !bits && end > 1<<16 {
			at, _ := r.written(entry.under("register"))
			r.fault(at, "%d: %s fills %d registers, the last beyond 65535; want at most %d", s.Register, s.Type, words(s.Type), 1<<16-words(s.Type))
		}
		*into = append(*into, s)
	})
}

// words is the number of registers that a type fills.
func words(typ string) int { return (&Signal{Type: typ}).Words() }
