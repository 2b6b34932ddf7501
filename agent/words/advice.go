package words

import (
	"time"

	"ionward/rules"
	"ionward/rules/signal"
)

// Advice is what a person reads about a situation.
type Advice struct {
	Word     string   // state word, at most 12 letters
	Sentence string   // what is known
	Steps    []string // what to do now, 1 to 5, in order, with telephone numbers
}

// Advise puts a situation of the unit into words. now is the wall time that belongs to s.Elapsed; times of day are
// reckoned back from it.
func (p *Phrases) Advise(x Situation, w *Watch, set *rules.Settings, s *rules.State, now time.Time) Advice {
	text := p.file.Situations[x.String()]
	n := p.numbers(w, set, s, now)
	a := Advice{Word: text.Word, Sentence: p.fill(text.Sentence, n), Steps: make([]string, len(text.Steps))}
	for i, step := range text.Steps {
		a.Steps[i] = p.fill(step, n)
	}
	return a
}

// numbers are the texts that a situation may ask for.
func (p *Phrases) numbers(w *Watch, set *rules.Settings, s *rules.State, now time.Time) names {
	left, _ := s.TimeLeft(set)
	if !s.Off() {
		left, _ = s.Bypass.Left(set.Bypass)
	}
	low, unit := p.Flow(w.LowFlow)
	return names{
		"value": p.value(set, s), "limit": p.Limit(set.Endpoint), "for": p.Duration(set.Delay), "more": p.Duration(set.Bypass),
		"left": Countdown(left), "due": p.Clock(now.Add(left)), "at": p.Clock(now.Add(s.Since - s.Elapsed)),
		"since": p.since(s, now), "low": low + " " + unit, "relief": p.relief(w, s),
	}
}

// value is the product reading that counts: while stopped, the one at the stop.
func (p *Phrases) value(set *rules.Settings, s *rules.State) string {
	h := &s.Signals[signal.ProductConductivity]
	value, on := h.Value, s.Powered && !s.Off()
	if s.Mode == rules.Shut {
		value, on = s.Reason.Value, false
		// A stop long after the last usable reading was a stop on a bad one: no number stands for it.
		if h.Seen < s.Since-time.Minute {
			return p.Label("no_value")
		}
	}
	if !h.Known {
		return p.Label("no_value")
	}
	return p.Product(value, set.Endpoint, on)
}

// since is when the newest usable value of the product, or of any signal where product was never read, was seen.
func (p *Phrases) since(s *rules.State, now time.Time) string {
	h := &s.Signals[signal.ProductConductivity]
	seen, known := h.Seen, h.Known
	if !known {
		for i := range s.Signals {
			if s.Signals[i].Known {
				seen, known = max(seen, s.Signals[i].Seen), true
			}
		}
	}
	if !known {
		return p.Clock(now.Add(-s.Elapsed))
	}
	return p.Clock(now.Add(seen - s.Elapsed))
}

func (p *Phrases) relief(w *Watch, s *rules.State) string {
	if on, _ := w.Contact(s, signal.ReliefOpen); on {
		return p.file.Relief["seen"]
	}
	return p.file.Relief["unseen"]
}

// Valve is the word of a valve's position: one of open, shut, moving, not_open, not_shut, unseen, conflict, expect_open
// and expect_shut.
func (p *Phrases) Valve(key string) string { return p.file.Valves[key] }

// Bank is the word of a bank: one of use, standing and unseen.
func (p *Phrases) Bank(key string) string { return p.file.Banks[key] }

// Silent is the advice when the screen itself gets nothing any more, with the time of the last reading left open as
// {since}: the browser fills it in, since nobody else can tell it then.
func (p *Phrases) Silent() Advice {
	text := p.file.Situations[Blind.String()]
	a := Advice{Word: p.Label("no_data"), Sentence: p.file.Labels["blind"]}
	for _, step := range text.Steps {
		a.Steps = append(a.Steps, p.fill(step, nil))
	}
	return a
}
