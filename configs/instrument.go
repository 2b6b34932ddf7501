package configs

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"ionward/rules/signal"
)

var instrumentFields = []field[Instrument]{
	{
		Key: Key{Path: "address", Form: URL, Example: "tcp://192.0.2.10:502", Required: Always,
			Meaning: "where it is reached, on TCP, on a serial line or through a converter"},
		read: func(r *reader, v value, into *Instrument) {
			if s, ok := r.text(v); ok {
				a, err := ParseAddress(s)
				if err != nil {
					r.fault(v, "%v", err)
				}
				into.Address = a
			}
		},
	},
	wholeField(Key{Path: "unit_id", Default: "1", Example: "2", Meaning: "its Modbus unit id: 0 to 255 on TCP, 1 to 247 on a serial line"},
		0, 255, func(i *Instrument, n int64) { i.UnitID = uint8(n) }),
	durationField(Key{Path: "every", Default: "1s", Example: "2s", Meaning: "time between two polls"},
		10*time.Millisecond, 10*time.Minute, func(i *Instrument) *time.Duration { return &i.Every }),
	durationField(Key{Path: "timeout", Default: "1s", Example: "500ms", Meaning: "how long an answer may take"},
		10*time.Millisecond, time.Minute, func(i *Instrument) *time.Duration { return &i.Timeout }),
	choiceField(Key{Path: "word_order", Default: "ABCD", Example: "CDAB", Meaning: "order of the bytes of values that fill several registers, A the most significant"},
		[]string{"ABCD", "CDAB", "BADC", "DCBA"}, func(i *Instrument) *string { return &i.WordOrder }),
	wholeField(Key{Path: "max_registers", Unit: "registers", Default: "125", Example: "16", Meaning: "most that it gives in one answer"},
		1, 125, func(i *Instrument, n int64) { i.MaxRegisters = int(n) }),
	durationField(Key{Path: "warm_up", Default: "0s", Example: "30s", Meaning: "what it measures is no reading for so long after it was lost, for it may have lost its supply"},
		0, time.Hour, func(i *Instrument) *time.Duration { return &i.WarmUp }),
	sectionField("hold_off", "when a link that comes and goes is not believed any more", holdOffFields, func(i *Instrument) *HoldOff { return &i.HoldOff }),
	{
		Key:  Key{Path: "signals", Form: NamedList, Required: Always, Meaning: "the signals it holds, at least one"},
		sub:  named("<signal>", "where one signal stands; its name is one of the fixed list", described(signalFields)),
		read: func(r *reader, v value, into *Instrument) { r.signals(v, &into.Signals) },
	},
	durationField(Key{Path: "settings_every", Default: "10m", Example: "1h", Meaning: "time between two looks at its settings"},
		10*time.Second, 24*time.Hour, func(i *Instrument) *time.Duration { return &i.SettingsEvery }),
	{
		Key: Key{Path: "settings", Form: NamedList,
			Meaning: "settings of the instrument itself by name, read back and compared with what was commissioned"},
		sub:  named("<setting>", "one setting; the name is for messages", described(settingFields)),
		read: func(r *reader, v value, into *Instrument) { r.settings(v, &into.Settings) },
	},
}

// instruments reads the instruments, in file order.
func (r *reader) instruments(v value, into *[]Instrument) {
	r.each(v, func(name string, entry value) {
		if !r.note(entry) {
			return
		}
		if err := word("-_", 40)(name); err != nil {
			r.add(r.atNode(entry.key, v.path, "%q cannot name an instrument; want letters a to z, digits, - and _", name))
		}
		i := Instrument{
			Name: name, UnitID: 1, Every: time.Second, Timeout: time.Second, WordOrder: "ABCD", MaxRegisters: 125,
			HoldOff: HoldOff{Losses: 5, Within: 5 * time.Minute, Steady: 30 * time.Second}, SettingsEvery: 10 * time.Minute,
		}
		walk(r, entry, instrumentFields, &i)
		*into = append(*into, i)
	})
}

// signals reads the signals of one instrument, in file order.
func (r *reader) signals(v value, into *[]Signal) {
	before := len(r.faults)
	r.each(v, func(name string, entry value) {
		id, ok := signal.Parse(name)
		if !ok {
			near := signal.Nearest(name, signal.Names())
			r.add(r.atNode(entry.key, entry.path, "unknown signal; the nearest known signal is %s", near))
			if signal.Edits(name, near) > 2 {
				return
			}
			// Very likely meant: what stands under it is judged as that signal's.
			id, _ = signal.Parse(near)
		}
		if !r.note(entry) {
			return
		}
		s := newSignal(id)
		walk(r, entry, signalFields, &s)
		r.checkSignal(entry, &s)
		if ok {
			*into = append(*into, s)
		}
	})
	if len(*into) == 0 && len(r.faults) == before {
		r.fault(v, "holds no signal; want at least one, such as %s", signal.ProductConductivity)
	}
}

// checkInstruments judges the instruments against each other.
func (r *reader) checkInstruments(f *File) {
	lines := map[string]*Instrument{}
	homes := map[signal.ID]string{}
	for i := range f.Instruments {
		in := &f.Instruments[i]
		path := "instruments." + in.Name
		r.checkLine(in, path, lines)
		for _, s := range in.Signals {
			if home, twice := homes[s.ID]; twice {
				v, _ := r.written(path + ".signals." + s.ID.String())
				r.add(r.atNode(v.key, v.path, "is read from instrument %s already; want each signal once", home))
				continue
			}
			homes[s.ID] = in.Name
		}
		r.checkOverlap(f.Instruments[:i+1])
		r.checkEndpoint(in, path, f.Rule.Endpoint)
	}
	v, written := r.written("instruments")
	if r.purpose != ForRun || !written || !r.usable(v.path) {
		return
	}
	product, known := signal.ProductConductivity, false
	// A misspelt name is a fault already; a second one would only confuse.
	if _, known = homes[product]; !known && !r.doubted("instruments") {
		r.add(r.atNode(v.key, v.path, "no instrument reads %s; want it, the rule works on it", product))
	}
}

// doubted reports whether a fault was found in a section or anywhere below it.
func (r *reader) doubted(path string) bool {
	return slices.ContainsFunc(r.faults, func(f Fault) bool {
		return !f.Warning && (f.Path == path || strings.HasPrefix(f.Path, path+"."))
	})
}

// checkLine refuses one line used in two ways, and unit ids that a serial line does not have (Modbus over Serial Line
// V1.02, 2.2: 0 is for broadcasts, 248 to 255 are reserved).
func (r *reader) checkLine(in *Instrument, path string, lines map[string]*Instrument) {
	if in.Address.Scheme == "" {
		return
	}
	if in.Address.Serial() && (in.UnitID < 1 || in.UnitID > 247) {
		if v, ok := r.written(path + ".unit_id"); ok {
			r.fault(v, "%d is no unit id of a serial line; want 1 to 247", in.UnitID)
		}
	}
	first := lines[in.Address.Line()]
	if first == nil {
		lines[in.Address.Line()] = in
		return
	}
	if v, ok := r.written(path + ".address"); ok && first.Address != in.Address {
		r.fault(v, "%s, but instrument %s uses the same line as %s; want both the same", in.Address, first.Name, first.Address)
	}
}

// checkOverlap refuses a number of the last instrument that shares registers with another number there: one of the two
// addresses is wrong. Contacts may share a register, and even a bit (a selector switch that is not A is B).
func (r *reader) checkOverlap(all []Instrument) {
	last := &all[len(all)-1]
	for i := range last.Signals {
		s := &last.Signals[i]
		for j := range all {
			other := &all[j]
			if other.Address != last.Address || other.UnitID != last.UnitID || last.Address.Scheme == "" {
				continue
			}
			for k := range other.Signals {
				o := &other.Signals[k]
				if other == last && k >= i {
					break
				}
				if s.ID == o.ID || !s.overlaps(o) {
					continue
				}
				v, ok := r.written("instruments." + last.Name + ".signals." + s.ID.String() + ".register")
				if ok && r.usable(v.path) {
					r.fault(v, "%s overlaps %s (%s); want other registers for one of them", s.span(), o.ID, o.span())
				}
			}
		}
	}
}

// overlaps reports whether two numbers share a register.
func (s *Signal) overlaps(o *Signal) bool {
	if s.Kind != o.Kind || s.ID.Contact() || o.ID.Contact() {
		return false
	}
	if s.Pulse != nil && o.Pulse != nil && s.Register == o.Register && s.Type == o.Type {
		return false // flow and total of one meter, from one counter
	}
	a, b := int(s.Register), int(o.Register)
	return a < b+o.Words() && b < a+s.Words()
}

// span names the registers of a signal.
func (s *Signal) span() string {
	if n := s.Words(); n > 1 {
		return fmt.Sprintf("%s %d to %d", s.Kind, s.Register, int(s.Register)+n-1)
	}
	return fmt.Sprintf("%s %d", s.Kind, s.Register)
}
