package chart

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// SVG is a Canvas that writes Scalable Vector Graphics 1.1 (W3C Recommendation of 2011), also fit to stand inside an HTML
// page.
type SVG struct {
	body          bytes.Buffer
	width, height float64
	title, about  string
}

// NewSVG is an empty drawing of a size in pixels; title and about are read out to those who cannot see it.
func NewSVG(width, height float64, title, about string) *SVG {
	return &SVG{width: width, height: height, title: title, about: about}
}

// WriteTo writes the drawing as a file.
func (s *SVG) WriteTo(w io.Writer) (int64, error) {
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%s" height="%s" viewBox="0 0 %s %s" role="img" font-family="sans-serif">`+"\n",
		num(s.width), num(s.height), num(s.width), num(s.height))
	fmt.Fprintf(&b, "<title>%s</title>\n<desc>%s</desc>\n", escape(s.title), escape(s.about))
	b.Write(s.body.Bytes())
	b.WriteString("</svg>\n")
	return b.WriteTo(w)
}

// Line draws a straight line.
func (s *SVG) Line(from, to Point, st Style) {
	fmt.Fprintf(&s.body, `<line x1="%s" y1="%s" x2="%s" y2="%s"%s/>`+"\n", num(from.X), num(from.Y), num(to.X), num(to.Y), st.attributes())
}

// Path draws a line through points.
func (s *SVG) Path(points []Point, closed bool, st Style) {
	if len(points) == 0 {
		return
	}
	s.body.WriteString(`<path d="`)
	for i, p := range points {
		step := byte('L')
		if i == 0 {
			step = 'M'
		}
		fmt.Fprintf(&s.body, "%c%s %s", step, num(p.X), num(p.Y))
	}
	if closed {
		s.body.WriteByte('Z')
	}
	fmt.Fprintf(&s.body, `"%s/>`+"\n", st.attributes())
}

// Rect draws a rectangle.
func (s *SVG) Rect(corner Point, width, height float64, st Style) {
	fmt.Fprintf(&s.body, `<rect x="%s" y="%s" width="%s" height="%s"%s/>`+"\n", num(corner.X), num(corner.Y), num(width), num(height), st.attributes())
}

// Circle draws a circle.
func (s *SVG) Circle(centre Point, radius float64, st Style) {
	fmt.Fprintf(&s.body, `<circle cx="%s" cy="%s" r="%s"%s/>`+"\n", num(centre.X), num(centre.Y), num(radius), st.attributes())
}

// Text writes a line of text.
func (s *SVG) Text(at Point, text string, f Font) {
	more := ""
	if f.Anchor != Start {
		more = ` text-anchor="` + [...]string{Middle: "middle", End: "end"}[f.Anchor] + `"`
	}
	if f.Bold {
		more += ` font-weight="bold"`
	}
	if f.Turned {
		more += fmt.Sprintf(` transform="rotate(-90 %s %s)"`, num(at.X), num(at.Y))
	}
	fmt.Fprintf(&s.body, `<text x="%s" y="%s" font-size="%s" fill="%s"%s>%s</text>`+"\n", num(at.X), num(at.Y), num(f.Size), f.Color, more, escape(text))
}

// attributes are the style as presentation attributes: a style attribute would not pass a strict security policy.
func (s Style) attributes() string {
	text := ` fill="none"`
	if s.Filled {
		text = fmt.Sprintf(` fill="%s"`, s.Fill)
	}
	if s.Width > 0 {
		text += fmt.Sprintf(` stroke="%s" stroke-width="%s"`, s.Stroke, num(s.Width))
		if s.Dash > 0 {
			text += fmt.Sprintf(` stroke-dasharray="%s"`, num(s.Dash))
		}
	}
	return text
}

// String is the color as #rrggbb.
func (c Color) String() string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// num writes a coordinate in hundredths. One that is not finite would make the whole drawing unreadable: it becomes 0.
func num(v float64) string {
	v = math.Round(v*100) / 100
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return "0" // also for minus zero
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

var escapes = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;", "'", "&#39;")

// escape makes any text safe inside an element or an attribute. What XML 1.0 has no place for becomes U+FFFD.
func escape(text string) string {
	text = strings.Map(func(r rune) rune {
		switch {
		case r == '\t', r == '\n', r == '\r':
			return ' '
		case r < 0x20, r == 0xfffe, r == 0xffff:
			return '\ufffd'
		}
		return r
	}, strings.ToValidUTF8(text, "\ufffd"))
	return escapes.Replace(text)
}
