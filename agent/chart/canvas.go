package chart

// Canvas is what a drawing is made on. Coordinates are in units of the canvas, x to the right, y down, and must be finite.
type Canvas interface {
	Line(from, to Point, s Style)
	Path(points []Point, closed bool, s Style)
	Rect(corner Point, width, height float64, s Style) // corner is the upper left one
	Circle(centre Point, radius float64, s Style)
	Text(at Point, text string, f Font) // at is on the base line
}

// Point is a place on a canvas or, before scaling, in the data.
type Point struct{ X, Y float64 }

// Color is red, green and blue, 0 to 255. The zero Color is black.
type Color struct{ R, G, B uint8 }

// Style is how a shape is drawn.
type Style struct {
	Stroke Color
	Width  float64 // of the stroke, canvas units; 0 = no stroke
	Dash   float64 // length of dashes and gaps, canvas units; 0 = an unbroken line
	Fill   Color
	Filled bool
}

// Anchor says which part of a text stands at its point.
type Anchor uint8

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// Font is how a text is written, in a sans serif of the viewer's choice.
type Font struct {
	Size   float64 // canvas units
	Bold   bool
	Color  Color
	Anchor Anchor
	Turned bool // by 90 degrees, so that it reads upwards
}

// textWidth estimates how wide a text gets, canvas units: a viewer's sans serif is not known, so the widths are those of
// common ones (digits 0.556 of the size), rounded up.
func textWidth(text string, size float64) float64 {
	width := 0.0
	for _, r := range text {
		switch {
		case r == ' ' || r == '.' || r == ',' || r == ':' || r == 'i' || r == 'l' || r == 'j' || r == '\'' || r == '|':
			width += 0.28
		case r == 'm' || r == 'w' || r == 'M' || r == 'W' || r == '%' || r == '@':
			width += 0.86
		case r >= 'A' && r <= 'Z':
			width += 0.7
		default:
			width += 0.57
		}
	}
	return width * size
}
