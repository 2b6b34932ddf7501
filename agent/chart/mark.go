package chart

import (
	"math"
	"slices"
)

// shape draws the mark of a series: a circle, a square, a triangle or a diamond, so that print without color tells the
// series apart too. A hollow mark is white inside: what runs below it does not shine through.
func shape(c Canvas, at Point, series int, hollow bool) {
	st := Style{Stroke: color(series), Width: 1.8, Fill: color(series), Filled: true}
	if hollow {
		st.Fill = paper
	}
	const r = markRadius
	switch series % 4 {
	case 0:
		c.Circle(at, r, st)
	case 1:
		c.Rect(Point{at.X - r*0.9, at.Y - r*0.9}, 1.8*r, 1.8*r, st)
	case 2:
		c.Path([]Point{{at.X, at.Y - 1.2*r}, {at.X + 1.1*r, at.Y + 0.8*r}, {at.X - 1.1*r, at.Y + 0.8*r}}, true, st)
	default:
		c.Path([]Point{{at.X, at.Y - 1.3*r}, {at.X + 1.3*r, at.Y}, {at.X, at.Y + 1.3*r}, {at.X - 1.3*r, at.Y}}, true, st)
	}
}

// box is a rectangle on the canvas.
type box struct{ left, top, right, bottom float64 }

func around(p Point, r float64) box { return box{p.X - r, p.Y - r, p.X + r, p.Y + r} }

func (b box) meets(o box) bool {
	return b.left < o.right && o.left < b.right && b.top < o.bottom && o.top < b.bottom
}

// labels writes each mark's label at the first of eight places around it where it meets nothing; a label that finds no
// place is left out, since one that cannot be read helps nobody.
func (f *frame) labels() {
	for i := range f.set.Series {
		for _, m := range f.set.Series[i].Points {
			if at, ok := f.at(m); ok && m.Label != "" && !f.label(at, m.Label, i, f.lines) {
				f.label(at, m.Label, i, nil)
			}
		}
	}
}

func (f *frame) label(at Point, text string, series int, lines []box) bool {
	const size = textSize - 1
	wide := textWidth(text, size)
	inside := box{f.x.from + 1, f.y.to - size, f.width - 2, f.y.from - 1}
	for _, turn := range []float64{45, 0, 90, 315, 135, 270, 180, 225} {
		sin, cos := math.Sincos(turn * math.Pi / 180)
		// The nearest point of the text to the mark stands away from it by its radius and a little.
		centre := Point{at.X + cos*(markRadius+4) + sign(cos)*wide/2, at.Y - sin*(markRadius+4) - sign(sin)*size*0.4}
		b := box{centre.X - wide/2, centre.Y - size*0.55, centre.X + wide/2, centre.Y + size*0.55}
		if b.left < inside.left || b.right > inside.right || b.top < inside.top || b.bottom > inside.bottom ||
			b.meetsAny(f.taken) || b.meetsAny(lines) {
			continue
		}
		f.taken = append(f.taken, b)
		f.c.Text(Point{centre.X, centre.Y + size*0.36}, text, Font{Size: size, Color: darker(color(series)), Anchor: Middle})
		return true
	}
	return false
}

func (b box) meetsAny(others []box) bool { return slices.ContainsFunc(others, b.meets) }

// sign is -1, 0 or 1; sines of whole quarter turns are 0 only within rounding.
func sign(v float64) float64 {
	switch {
	case v > 1e-9:
		return 1
	case v < -1e-9:
		return -1
	}
	return 0
}

// darker is a color in which small print stays readable on white.
func darker(c Color) Color {
	return Color{uint8(int(c.R) * 7 / 10), uint8(int(c.G) * 7 / 10), uint8(int(c.B) * 7 / 10)}
}
