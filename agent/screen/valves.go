package screen

import (
	"ionward/agent/words"
	"ionward/rules"
	"ionward/rules/signal"
)

// valves shows the four valves and the two banks in words. What a switch says is shown as fact; where none says
// anything the word is "not seen" and the note tells what the rule expects.
func (s *Screen) valves(v *view, st *rules.State) {
	w := &s.set.Watch
	out := st.Mode.Outputs()
	inlet := inlet(w, st)
	s.valve(v, "inlet", inlet, expected(out.Inlet), st)
	s.valve(v, "relief", single(w, st, signal.ReliefOpen), expected(out.Relief), st)
	s.valve(v, "rinse", single(w, st, signal.RinseOpen), "", st)
	s.valve(v, "outlet", single(w, st, signal.ProductOutletOpen), "", st)
	for key, id := range map[string]signal.ID{"bank_a": signal.BankA, "bank_b": signal.BankB} {
		is := "unseen"
		if on, seen := w.Contact(st, id); on {
			is = "use"
		} else if seen {
			is = "standing"
		}
		v.set(key+".is", is)
		v.set(key, s.words.Bank(is))
	}
	// Water is drawn behind the inlet unless the inlet is seen or, unseen, expected to be shut.
	wet := inlet == "open" || inlet == "moving" || inlet == "not_shut" || inlet == "conflict" || (inlet == "unseen" && out.Inlet == rules.Open)
	v.set("wet", yes(wet))
	v.set("wet.out", yes(wet && v.fields["outlet.is"] != "shut"))
	v.set("wet.rinse", yes(wet && v.fields["rinse.is"] == "open"))
	v.set("wet.relief", yes(v.fields["relief.is"] == "open"))
}

// valve fills in one valve. expect is open, shut or, where the rule has no say, empty.
func (s *Screen) valve(v *view, key, is, expect string, st *rules.State) {
	note := ""
	if is == "unseen" && expect != "" && st.Started {
		note = s.words.Valve("expect_" + expect)
	}
	contrary := map[string]string{"open": "shut", "shut": "open", "not_open": "open", "not_shut": "shut"}
	odd := is == "conflict" || (expect != "" && contrary[is] == expect && !s.set.Watch.Moving(st))
	v.set(key, s.words.Valve(is))
	v.set(key+".is", is)
	v.set(key+".note", note)
	v.set(key+".odd", yes(odd))
}

func expected(x rules.Valve) string {
	switch x {
	case rules.Open:
		return "open"
	case rules.Closed:
		return "shut"
	}
	return ""
}

// inlet reads the inlet's two limit switches, of which either may be missing.
func inlet(w *words.Watch, st *rules.State) string {
	open, openSeen := w.Contact(st, signal.InletOpen)
	shut, shutSeen := w.Contact(st, signal.InletShut)
	switch {
	case open && shut:
		return "conflict"
	case open:
		return "open"
	case shut:
		return "shut"
	case openSeen && shutSeen:
		return "moving"
	case openSeen:
		return "not_open"
	case shutSeen:
		return "not_shut"
	}
	return "unseen"
}

func single(w *words.Watch, st *rules.State, id signal.ID) string {
	on, seen := w.Contact(st, id)
	switch {
	case on:
		return "open"
	case seen:
		return "shut"
	}
	return "unseen"
}
