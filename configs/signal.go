package configs

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v4"

	"ionward/rules/signal"
)

// lowest is the default low limit of a compensated conductivity in uS/cm. Pure water has 0.055 at 25 C; a float
// whose words come in another order decodes as almost nothing, and would be taken for perfect water for ever.
const lowest = 0.02

var (
	kinds = []string{"holding", "input", "coil", "discrete"}
	types = []string{"u16", "i16", "u32", "i32", "f32", "u64", "i64", "f64", "bit"}
)

var signalFields = []field[Signal]{
	wholeField(Key{Path: "register", Example: "2", Required: Always, Meaning: "its address as sent, the first is 0; of a coil or discrete input too"},
		0, math.MaxUint16, func(s *Signal, n int64) { s.Register = uint16(n) }),
	choiceField(Key{Path: "kind", Default: "(holding; discrete for a contact)", Example: "input", Meaning: "its table: holding or input registers, coils or discrete inputs"},
		kinds, func(s *Signal) *string { return &s.Kind }),
	{
		Key:  Key{Path: "type", Form: Choice, Choices: typeNames(), Default: "(f32; bit for a contact)", Example: "i16", Meaning: "how it is written; bit is bit0, the least significant"},
		read: func(r *reader, v value, into *Signal) { r.signalType(v, into) },
	},
	numberField(Key{Path: "scale", Default: "1", Example: "0.01", Meaning: "the raw number is multiplied by it; -1 with offset 1 turns a contact round"},
		func(x float64) bool { return x != 0 }, "any number but 0", func(s *Signal) *float64 { return &s.Scale }),
	numberField(Key{Path: "offset", Default: "0", Example: "-50", Meaning: "added after scaling"},
		func(float64) bool { return true }, "any number", func(s *Signal) *float64 { return &s.Offset }),
	{
		Key:  Key{Path: "unit", Form: Choice, Choices: unitSymbols(), Default: "(the inside unit)", Example: "mS/cm", Meaning: "unit of the scaled number; none for a contact"},
		read: func(r *reader, v value, into *Signal) { r.signalUnit(v, into) },
	},
	{
		Key:  Key{Path: "sentinel", Form: Bitmarks, Example: "[0x7FC00000, 0xFFFFFFFF]", Meaning: "raw bit patterns, before scaling, that mean no value"},
		read: func(r *reader, v value, into *Signal) { r.sentinels(v, into) },
	},
	limitField(Key{Path: "low", Default: "(0.02 uS/cm for a conductivity, else the signal's span)", Example: "0.03 uS/cm", Meaning: "a value below it is bad"},
		func(s *Signal) *float64 { return &s.Low }),
	limitField(Key{Path: "high", Default: "(the signal's span)", Example: "200 uS/cm", Meaning: "a value above it is bad"},
		func(s *Signal) *float64 { return &s.High }),
	{
		Key:  Key{Path: "current", Form: Section, Meaning: "the scaled number is a loop current in mA, judged after NAMUR NE 43"},
		sub:  described(currentFields),
		read: func(r *reader, v value, into *Signal) { r.current(v, into) },
	},
	{
		Key:  Key{Path: "pulse", Form: Section, Meaning: "the raw number counts a meter's pulses; for flows and totals"},
		sub:  described(pulseFields),
		read: func(r *reader, v value, into *Signal) { r.pulse(v, into) },
	},
}

// newSignal is a signal of which nothing was written.
func newSignal(id signal.ID) Signal {
	i := id.Info()
	s := Signal{ID: id, Kind: "holding", Type: "f32", Scale: 1, Unit: i.Unit, Low: i.Low, High: i.High}
	if id.Contact() {
		s.Kind, s.Type = "discrete", "bit"
	}
	if i.Unit.Quantity == signal.Conductivity {
		s.Low = lowest
	}
	return s
}

func limitField(k Key, to func(*Signal) *float64) field[Signal] {
	k.Form, k.Unit = Quantity, "the signal's inside unit"
	return field[Signal]{Key: k, read: func(r *reader, v value, into *Signal) {
		if into.ID.Contact() {
			r.fault(v, "a contact is 0 or 1; remove it")
			return
		}
		if x, ok := r.quantity(v, into.ID.Info().Unit.Quantity, false); ok {
			*to(into) = x
		}
	}}
}

// typeNames lists what may be written as a type: each bit of a register is one.
func typeNames() []string {
	list := slices.Clone(types)
	for n := range 16 {
		list = append(list, "bit"+strconv.Itoa(n))
	}
	return list
}

func (r *reader) signalType(v value, into *Signal) {
	s, ok := r.text(v)
	if !ok {
		return
	}
	if !slices.Contains(typeNames(), s) {
		r.fault(v, "type %q is not known; want %s, or bit0 to bit15 of a register", s, oneOf(types))
		return
	}
	into.Type, into.Bit = splitBit(s)
}

// splitBit parts bit7 into bit and 7; other types stay as they are.
func splitBit(s string) (name string, bit uint8) {
	n, ok := strings.CutPrefix(s, "bit")
	if !ok {
		return s, 0
	}
	k, _ := strconv.Atoi(n) // "" is bit 0
	return "bit", uint8(k)
}

func (r *reader) signalUnit(v value, into *Signal) {
	s, ok := r.text(v)
	if !ok {
		return
	}
	want := into.ID.Info().Unit.Quantity
	switch u, known := signal.ParseUnit(s); {
	case into.ID.Contact():
		r.fault(v, "a contact has no unit; remove it")
	case !known || u.Quantity != want:
		r.fault(v, "%q is not a unit of %s; want %s", s, want, oneOf(signal.Units(want)))
	default:
		into.Unit = u
	}
}

// sentinels reads one bit pattern or a list; an override writes a list with commas.
func (r *reader) sentinels(v value, into *Signal) {
	items := []value{v}
	switch {
	case v.node.Kind == yaml.SequenceNode:
		items = nil
		for _, n := range v.node.Content {
			items = append(items, value{key: v.key, node: n, path: v.path})
		}
		if items == nil {
			r.fault(v, "is an empty list; want a bit pattern, such as 0x8000, or remove the key")
		}
	case strings.Contains(v.node.Value, ","):
		items = nil
		for part := range strings.SplitSeq(strings.Trim(v.node.Value, "[] "), ",") {
			n := *v.node
			n.Value = part
			if i, ok := r.origin[v.node]; ok {
				r.origin[&n] = i
			}
			items = append(items, value{key: v.key, node: &n, path: v.path})
		}
	}
	pattern := Key{Example: "0x8000"}
	for _, item := range items {
		item.info = &pattern
		s, ok := r.text(item)
		if !ok {
			continue
		}
		n, err := wholeNumber(s, 64)
		if err != nil {
			r.fault(item, "%v; want a bit pattern, such as 0x8000", err)
			continue
		}
		into.Sentinels = append(into.Sentinels, n)
	}
}

// checkSignal judges what only several keys of a signal together show.
func (r *reader) checkSignal(entry value, s *Signal) {
	check := func(name string, err error) {
		at, ok := r.written(entry.under(name))
		if err != nil && ok && r.usable(at.path) {
			r.fault(at, "%v", err)
		} else if err != nil && !ok {
			// A default can be at fault too, beside a key that was written.
			r.add(r.atNode(entry.key, entry.under(name), "%v", err))
		}
	}
	if !r.usable(entry.under("kind")) && r.wrote(entry, "kind") || !r.usable(entry.under("type")) && r.wrote(entry, "type") {
		return
	}
	check("kind", s.kindFault())
	check("type", s.typeFault())
	check("register", s.registerFault())
	check("scale", s.scaleFault())
	// A list may hold one pattern that cannot be read and another that does not fit: both are told.
	if at, ok := r.written(entry.under("sentinel")); ok {
		if err := s.sentinelFault(); err != nil {
			r.fault(at, "%v", err)
		}
	}
	if s.Pulse != nil {
		check("pulse", s.pulseFault())
		s.Pulse.settle(s)
	}
	if !s.ID.Contact() {
		r.checkLimits(entry, s)
	}
	r.checkOffByOne(entry, s)
}

// wrote reports whether a key of the section was written.
func (r *reader) wrote(section value, name string) bool {
	_, ok := r.written(section.under(name))
	return ok
}

func (s *Signal) kindFault() error {
	if s.ID.Contact() || !s.Bits() {
		return nil
	}
	return fmt.Errorf("%s: %s is a number and does not fit one bit; want holding or input", s.Kind, s.ID)
}

func (s *Signal) typeFault() error {
	switch {
	case !s.ID.Contact() && s.Type == "bit":
		return fmt.Errorf("bit: %s is a number; want %s", s.ID, oneOf(types[:len(types)-1]))
	case s.ID.Contact() && s.Bits() && (s.Type != "bit" || s.Bit != 0):
		return fmt.Errorf("a %s is a single bit; want bit, or leave it out", s.Kind)
	case s.ID.Contact() && s.Type != "bit" && s.Type != "u16":
		return fmt.Errorf("%s: %s is a contact; want bit, bit0 to bit15, or u16", s.Type, s.ID)
	}
	return nil
}

func (s *Signal) registerFault() error {
	if s.Bits() || int(s.Register)+s.Words() <= 1<<16 {
		return nil
	}
	return fmt.Errorf("%d: %s fills %d registers, the last beyond 65535; want at most %d", s.Register, s.Type, s.Words(), 1<<16-s.Words())
}

func (s *Signal) scaleFault() error {
	plain, turned := s.Scale == 1 && s.Offset == 0, s.Scale == -1 && s.Offset == 1
	if !s.ID.Contact() || plain || turned {
		return nil
	}
	return errors.New("a contact is 0 or 1; want neither scale nor offset, or scale -1 with offset 1 to turn it round")
}

func (s *Signal) sentinelFault() error {
	if s.Bits() && s.Sentinels != nil {
		return fmt.Errorf("a %s is a single bit, it has no sentinel; remove it", s.Kind)
	}
	width := 16 * s.Words()
	for _, pattern := range s.Sentinels {
		if width < 64 && pattern>>width != 0 {
			return fmt.Errorf("%#X does not fit %s of %d bits; want at most %#X", pattern, s.Type, width, uint64(1)<<width-1)
		}
	}
	return nil
}

// unitSymbols lists the units of what the analog signals measure, each once.
func unitSymbols() []string {
	var list []string
	for i := range signal.Count {
		q := signal.ID(i).Info().Unit.Quantity
		if us := signal.Units(q); q != signal.NoQuantity && !slices.Contains(list, us[0]) {
			list = append(list, us...)
		}
	}
	return list
}
