package journal

import (
	"database/sql"
	"fmt"
	"strings"

	"ionward/rules"
	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// The kinds of word whose numbers stand in an entry's body.
const (
	signalWord = iota
	qualityWord
	causeWord
	modeWord
	wordKinds
)

var wordKindNames = [wordKinds]string{"signal", "quality", "cause", "mode"}

// words ties the numbers in a file to those of this program by name, so that a later program may number its signals or
// causes anew and still read, and go on writing, an old file.
type words struct {
	toFile   [wordKinds][]uint64
	fromFile [wordKinds]map[uint64]int
	signals  map[uint64]signalScale // by number in the file
}

// signalScale is what a count in the file stands for.
type signalScale struct {
	id         signal.ID
	resolution float64
}

// list gives this program's words of a kind, in its own order.
func list(kind int) []string {
	var out []string
	switch kind {
	case signalWord:
		for i := range signal.Count {
			out = append(out, signalText(signal.ID(i)))
		}
	case qualityWord:
		for i := 0; signal.Quality(i).String() != "?"; i++ {
			out = append(out, signal.Quality(i).String())
		}
	case causeWord:
		for i := 0; signal.Cause(i).String() != "?"; i++ {
			out = append(out, signal.Cause(i).String())
		}
	case modeWord:
		for i := range rules.Modes {
			out = append(out, rules.Mode(i).String())
		}
	}
	return out
}

// signalText names a signal with the unit and resolution of its counts: a signal that changes either is a new word.
func signalText(id signal.ID) string {
	i := id.Info()
	return fmt.Sprintf("%s %g %s", i.Name, i.Resolution, i.Unit.Symbol)
}

// learn reads the file's words and adds those of this program that it does not have yet.
func learn(tx *sql.Tx) (*words, error) {
	w := &words{signals: map[uint64]signalScale{}}
	for kind, name := range wordKindNames {
		ids, next, err := wordIDs(tx, name)
		if err != nil {
			return nil, err
		}
		w.fromFile[kind] = map[uint64]int{}
		for i, text := range list(kind) {
			id, known := ids[text]
			if !known {
				id = next
				next++
				if _, err := tx.Exec("INSERT INTO word(kind, id, text) VALUES(?, ?, ?)", name, id, text); err != nil {
					return nil, err
				}
			}
			w.toFile[kind] = append(w.toFile[kind], id)
			w.fromFile[kind][id] = i
		}
		if kind == signalWord {
			err = w.scales(ids)
		}
		if err != nil {
			return nil, err
		}
	}
	for i := range signal.Count {
		w.signals[w.toFile[signalWord][i]] = signalScale{signal.ID(i), signal.ID(i).Info().Resolution}
	}
	return w, nil
}

func wordIDs(tx *sql.Tx, kind string) (ids map[string]uint64, next uint64, err error) {
	rows, err := tx.Query("SELECT id, text FROM word WHERE kind = ?", kind)
	if err != nil {
		return nil, 0, err
	}
	defer rows.Close()
	ids = map[string]uint64{}
	for rows.Next() {
		var id uint64
		var text string
		if err := rows.Scan(&id, &text); err != nil {
			return nil, 0, err
		}
		ids[text] = id
		next = max(next, id+1)
	}
	return ids, next, rows.Err()
}

// scales learns signals that the file keeps in another resolution or unit than this program's.
func (w *words) scales(ids map[string]uint64) error {
	for text, id := range ids {
		name, rest, _ := strings.Cut(text, " ")
		number, symbol, _ := strings.Cut(rest, " ")
		var s signalScale
		var known bool
		s.id, known = signal.Parse(name)
		if _, err := fmt.Sscanf(number, "%g", &s.resolution); err != nil || !known || symbol != s.id.Info().Unit.Symbol {
			return fmt.Errorf("it holds the signal %q, which this program does not know: read it with the program that wrote it", text)
		}
		w.signals[id] = s
	}
	return nil
}

// shape says what the numbers inside a checkpoint mean: every list that the rule's state is indexed by. A state may be
// taken up again as long as lists only grew at their ends.
func shape() string {
	var codes, alarms, phases, buckets []string
	for i := range rules.Codes {
		codes = append(codes, rules.Code(i).String())
	}
	for i := range alarm.Count {
		alarms = append(alarms, alarm.ID(i).String())
	}
	for i := 0; alarm.Phase(i).String() != "?"; i++ {
		phases = append(phases, alarm.Phase(i).String())
	}
	for i := range rules.Buckets {
		buckets = append(buckets, rules.Bucket(i).String())
	}
	lists := [][]string{signal.Names(), list(qualityWord), list(causeWord), list(modeWord), codes, alarms, phases, buckets}
	lines := make([]string, len(lists))
	for i, l := range lists {
		lines[i] = strings.Join(l, ",")
	}
	return strings.Join(lines, "\n")
}

// fits reports whether a state saved in an old shape can be taken up in this one.
func fits(old string) bool {
	was, is := strings.Split(old, "\n"), strings.Split(shape(), "\n")
	if len(was) != len(is) {
		return false
	}
	for i := range was {
		if was[i] != is[i] && !strings.HasPrefix(is[i], was[i]+",") {
			return false
		}
	}
	return true
}
