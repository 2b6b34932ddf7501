package replay

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"ionward/agent/chart"
	"ionward/rules/signal"
)

// Size of the plot, pixels.
const plotWidth, plotHeight = 900, 600

// Plot draws the outcomes as SVG: gallons off spec to the right, minutes without water up. The setting with the most
// values runs along a line; each combination of the others is a line of its own.
func Plot(out io.Writer, trailer string, outcomes []Outcome) error {
	title := "What the settings would have done"
	if trailer != "" {
		title += ": trailer " + trailer
	}
	s := chart.Scatter{
		Title: title,
		X:     chart.Axis{Label: "delivered off spec", Unit: "gal", Log: wide(outcomes, func(o *Outcome) float64 { return o.GallonsOffSpec })},
		Y:     chart.Axis{Label: "without water", Unit: "min", Log: wide(outcomes, (*Outcome).dry)},
	}
	along := longest(outcomes)
	index := map[string]int{}
	for i := range outcomes {
		o := &outcomes[i]
		name, label := nameOf(o, along)
		at, ok := index[name]
		if !ok {
			at = len(s.Series)
			index[name] = at
			s.Series = append(s.Series, chart.Series{Name: name})
		}
		s.Series[at].Points = append(s.Series[at].Points, chart.Mark{X: o.GallonsOffSpec, Y: o.dry(), Label: label, Hollow: !o.Best})
	}
	if len(outcomes) > 0 {
		s.Notes = notes(outcomes, along)
	}
	svg := chart.NewSVG(plotWidth, plotHeight, title, fmt.Sprintf("Minutes without water against gallons delivered off spec, for %d combinations of settings.", len(outcomes)))
	s.Draw(svg, plotWidth, plotHeight)
	if _, err := svg.WriteTo(out); err != nil {
		return fmt.Errorf("cannot write the plot: %w", err)
	}
	return nil
}

// notes are the small print below the plot.
func notes(outcomes []Outcome, along int) []string {
	first, marks := &outcomes[0], "A full mark: no other combination gives less of both. A hollow one: another does."
	if mixed(outcomes) {
		marks = "A full mark: no other combination of the same endpoint gives less of both. A hollow one: another does."
	}
	if along >= 0 {
		marks = "Beside each mark: " + plain(first.Set[along].Path) + ". " + marks
	}
	list := []string{marks, fmt.Sprintf("%s rows over %s. %s", thousands(float64(first.Rows), 0), long(time.Duration(first.Seconds)), pressNote)}
	if mixed(outcomes) {
		list = append(list, endpointNote)
	}
	return list
}

// wide reports whether the numbers are all above zero and span more than two powers of ten.
func wide(outcomes []Outcome, of func(*Outcome) float64) bool {
	if len(outcomes) == 0 {
		return false
	}
	low, high := of(&outcomes[0]), of(&outcomes[0])
	for i := range outcomes {
		low, high = min(low, of(&outcomes[i])), max(high, of(&outcomes[i]))
	}
	return low > 0 && high > 100*low
}

// longest is the index of the setting with the most values, -1 where nothing differs.
func longest(outcomes []Outcome) int {
	best, most := -1, 0
	if len(outcomes) == 0 {
		return best
	}
	for k := range outcomes[0].Set {
		values := map[string]bool{}
		for i := range outcomes {
			values[outcomes[i].Set[k].Value] = true
		}
		if len(values) > most {
			best, most = k, len(values)
		}
	}
	return best
}

// nameOf is the name of the line an outcome belongs to, and the label of its mark.
func nameOf(o *Outcome, along int) (name, label string) {
	var parts []string
	for k, s := range o.Set {
		if k == along {
			label = s.measured()
			continue
		}
		parts = append(parts, plain(s.Path)+" "+s.measured())
	}
	return strings.Join(parts, ", "), label
}

// measured is the value with its unit: a bare number of a conductivity is in uS/cm.
func (s *Setting) measured() string {
	_, err := strconv.ParseFloat(s.Value, 64)
	switch plain(s.Path) {
	case "endpoint", "clear band", "resolution":
		if err == nil {
			return s.Value + " " + signal.MicrosiemensPerCm.Symbol
		}
	}
	return s.Value
}

// plain is a setting's name for people.
func plain(path string) string {
	return strings.ReplaceAll(strings.TrimPrefix(path, "off_spec."), "_", " ")
}
