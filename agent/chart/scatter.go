package chart

import "math"

// Scatter is a chart of points by two numbers, in series.
type Scatter struct {
	Title  string
	Notes  []string // small print below
	X, Y   Axis
	Series []Series
}

// Series is some points that belong together and are joined in their order.
type Series struct {
	Name   string // in the legend
	Points []Mark
}

// Mark is one point. One that is not finite is left out.
type Mark struct {
	X, Y   float64
	Label  string // written beside it where there is room; "" = none
	Hollow bool   // drawn as an outline
}

// The colors of series, after Okabe and Ito (2008): told apart with all common kinds of color vision. More series begin
// anew with another shape.
var palette = []Color{{0, 114, 178}, {213, 94, 0}, {0, 158, 115}, {204, 121, 167}, {86, 180, 233}, {230, 159, 0}, {60, 60, 60}}

var (
	ink   = Color{33, 37, 41}
	faint = Color{96, 103, 110}
	grid  = Color{222, 226, 230}
	paper = Color{255, 255, 255}
)

// Sizes, canvas units.
const (
	textSize   = 12
	titleSize  = 16
	noteSize   = 11
	markRadius = 4.5
	margin     = 16
)

// frame is the drawing in work.
type frame struct {
	c             Canvas
	set           *Scatter
	width, height float64
	x, y          scale
	taken         []box // where nothing more may be written
	lines         []box // where a line runs: written upon only where there is no other place
}

// Draw draws the chart over the whole canvas of the given size.
func (s *Scatter) Draw(c Canvas, width, height float64) {
	f := &frame{c: c, set: s, width: width, height: height}
	c.Rect(Point{}, width, height, Style{Fill: paper, Filled: true})
	c.Text(Point{margin, margin + titleSize}, s.Title, Font{Size: titleSize, Bold: true, Color: ink})
	top := f.legend(margin+titleSize+14) + 20
	bottom := f.notes()
	f.scales(top, bottom)
	f.axes()
	for i := range s.Series {
		f.join(i)
	}
	for i := range s.Series {
		for _, m := range s.Series[i].Points {
			if at, ok := f.at(m); ok {
				shape(c, at, i, m.Hollow)
				f.taken = append(f.taken, around(at, markRadius+1))
			}
		}
	}
	f.labels()
}

// legend names the series, line by line from y on; it gives where it ends.
func (f *frame) legend(y float64) float64 {
	if len(f.set.Series) < 2 {
		return y - 8
	}
	x := float64(margin)
	y += textSize
	for i, s := range f.set.Series {
		wide := 22 + textWidth(s.Name, textSize) + 18
		if x+wide > f.width-margin && x > margin {
			x, y = margin, y+textSize+6
		}
		f.c.Line(Point{x, y - 4}, Point{x + 16, y - 4}, Style{Stroke: color(i), Width: 1.5})
		shape(f.c, Point{x + 8, y - 4}, i, false)
		f.c.Text(Point{x + 22, y}, s.Name, Font{Size: textSize, Color: ink})
		x += wide
	}
	return y
}

// notes writes the small print at the bottom; it gives where the chart above must end.
func (f *frame) notes() float64 {
	y := f.height - margin - float64(len(f.set.Notes))*(noteSize+4)
	for i, text := range f.set.Notes {
		f.c.Text(Point{margin, y + float64(i+1)*(noteSize+4)}, text, Font{Size: noteSize, Color: faint})
	}
	return y - 8
}

// scales sets the scales into what is left of the canvas.
func (f *frame) scales(top, bottom float64) {
	var xs, ys []float64
	for _, s := range f.set.Series {
		for _, m := range s.Points {
			if finite(m.X) && finite(m.Y) {
				xs, ys = append(xs, m.X), append(ys, m.Y)
			}
		}
	}
	f.x, f.y = newScale(f.set.X, xs, 6), newScale(f.set.Y, ys, 5)
	wide := 0.0
	for _, t := range f.y.ticks {
		wide = max(wide, textWidth(t.text, textSize))
	}
	f.x.from, f.x.to = margin+textSize+12+wide+8, f.width-margin-24
	f.y.from, f.y.to = bottom-2*textSize-20, top
}

func (f *frame) axes() {
	for _, t := range f.y.ticks {
		y := f.y.place(t.at)
		f.c.Line(Point{f.x.from, y}, Point{f.x.to, y}, Style{Stroke: grid, Width: 1})
		f.c.Text(Point{f.x.from - 8, y + 4}, t.text, Font{Size: textSize, Color: faint, Anchor: End})
	}
	end := math.Inf(-1) // of the last text, so that none runs into the next
	for _, t := range f.x.ticks {
		x, half := f.x.place(t.at), textWidth(t.text, textSize)/2
		f.c.Line(Point{x, f.y.from}, Point{x, f.y.to}, Style{Stroke: grid, Width: 1})
		if x-half > end+6 {
			f.c.Text(Point{x, f.y.from + textSize + 6}, t.text, Font{Size: textSize, Color: faint, Anchor: Middle})
			end = x + half
		}
	}
	f.c.Line(Point{f.x.from, f.y.from}, Point{f.x.to, f.y.from}, Style{Stroke: ink, Width: 1.2})
	f.c.Line(Point{f.x.from, f.y.from}, Point{f.x.from, f.y.to}, Style{Stroke: ink, Width: 1.2})
	f.c.Text(Point{(f.x.from + f.x.to) / 2, f.y.from + 2*textSize + 16}, f.set.X.title(), Font{Size: textSize, Color: ink, Anchor: Middle})
	f.c.Text(Point{margin + textSize, (f.y.from + f.y.to) / 2}, f.set.Y.title(), Font{Size: textSize, Color: ink, Anchor: Middle, Turned: true})
}

// at is where a mark stands; false for one that is not finite.
func (f *frame) at(m Mark) (Point, bool) {
	if !finite(m.X) || !finite(m.Y) {
		return Point{}, false
	}
	return Point{f.x.place(m.X), f.y.place(m.Y)}, true
}

// join draws the line through a series.
func (f *frame) join(i int) {
	var points []Point
	for _, m := range f.set.Series[i].Points {
		if at, ok := f.at(m); ok {
			points = append(points, at)
		}
	}
	if len(points) < 2 {
		return
	}
	f.c.Path(points, false, Style{Stroke: color(i), Width: 1.5})
	for k := range points[1:] {
		a, b := points[k], points[k+1]
		steps := math.Ceil(math.Hypot(b.X-a.X, b.Y-a.Y) / 6)
		for n := 0.0; n <= steps && steps > 0; n++ {
			f.lines = append(f.lines, around(Point{a.X + (b.X-a.X)*n/steps, a.Y + (b.Y-a.Y)*n/steps}, 2))
		}
	}
}

func color(series int) Color { return palette[series%len(palette)] }
