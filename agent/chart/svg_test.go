package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the drawings of the tests into testdata")

// written is a drawing as a file.
func written(t require.TestingT, s *SVG) string {
	var b bytes.Buffer
	n, err := s.WriteTo(&b)
	require.NoError(t, err)
	require.Equal(t, int64(b.Len()), n)
	return b.String()
}

// golden compares a drawing with the one that a person has looked at.
func golden(t *testing.T, name string, s *SVG) {
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, []byte(written(t, s)), 0o600))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), written(t, s), "look at the drawing; if it is right, run the test with -update")
}

// element is one element of a drawing with its text.
type element struct {
	name       string
	attributes map[string]string
	text       string
}

// elements parses a drawing; it fails on anything that is not well-formed.
func elements(t require.TestingT, text string) []element {
	var list []element
	d := xml.NewDecoder(strings.NewReader(text))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return list
		}
		require.NoError(t, err, text)
		switch token := token.(type) {
		case xml.StartElement:
			e := element{name: token.Name.Local, attributes: map[string]string{}}
			for _, a := range token.Attr {
				e.attributes[a.Name.Local] = a.Value
			}
			list = append(list, e)
		case xml.CharData:
			if len(list) > 0 {
				list[len(list)-1].text += strings.TrimSuffix(string(token), "\n")
			}
		}
	}
}

func TestEveryShapeIsDrawn(t *testing.T) {
	s := NewSVG(200, 120, "shapes", "one of each")
	s.Rect(Point{5, 5}, 190, 110, Style{Fill: paper, Filled: true, Stroke: ink, Width: 1})
	s.Line(Point{10, 20}, Point{190, 20.126}, Style{Stroke: Color{255, 0, 1}, Width: 2, Dash: 4})
	s.Path([]Point{{10, 40}, {60, 60}, {110, 40}}, false, Style{Stroke: ink, Width: 1.5})
	s.Path([]Point{{130, 40}, {150, 60}, {170, 40}}, true, Style{Fill: palette[2], Filled: true})
	s.Path(nil, true, Style{})
	s.Circle(Point{30, 90}, 10, Style{Fill: palette[0], Filled: true})
	s.Text(Point{60, 95}, "start", Font{Size: 12})
	s.Text(Point{120, 95}, "middle", Font{Size: 12, Anchor: Middle, Bold: true, Color: faint})
	s.Text(Point{190, 95}, "end", Font{Size: 12, Anchor: End, Turned: true})
	golden(t, "shapes.svg", s)
}

// Whatever a text holds, the drawing stays well-formed, shows the text, and gains no element.
func TestTextIsEscaped(t *testing.T) {
	for _, text := range []string{"<script>alert(1)</script>", `a"b'c`, "]]>", "&amp;", "\x00\x1b", "tab\tand\nline", "a\xffb", "uS/cm \u00b5"} {
		s := NewSVG(100, 100, text, text)
		s.Text(Point{1, 1}, text, Font{Size: 10})
		list := elements(t, written(t, s))
		require.Len(t, list, 4, text)
		require.Equal(t, []string{"svg", "title", "desc", "text"}, []string{list[0].name, list[1].name, list[2].name, list[3].name})
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		s := NewSVG(100, 100, "t", "d")
		s.Text(Point{1, 1}, text, Font{Size: 10})
		list := elements(t, written(t, s))
		want := strings.Map(func(r rune) rune {
			switch {
			case r == '\t', r == '\n', r == '\r':
				return ' '
			case r < 0x20, r == 0xfffe, r == 0xffff:
				return '\ufffd'
			}
			return r
		}, text)
		require.Equal(t, want, list[3].text)
	})
}

// A strict security policy lets no style sheet, style attribute, script or outside reference through.
func TestNothingForAPolicyToRefuse(t *testing.T) {
	for _, e := range elements(t, written(t, drawn())) {
		require.Contains(t, []string{"svg", "title", "desc", "line", "path", "rect", "circle", "text"}, e.name)
		for name, value := range e.attributes {
			require.NotContains(t, []string{"style", "href", "class", "id", "src"}, name)
			require.False(t, strings.HasPrefix(name, "on"), name)
			require.NotContains(t, value, "url(")
		}
	}
}

func TestACoordinateThatIsNotFiniteDoesNotSpoilTheDrawing(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), math.Copysign(0, -1), 0.001} {
		require.Equal(t, "0", num(v))
	}
	require.Equal(t, "-12.35", num(-12.3456))
	require.Equal(t, "1000000", num(1e6))
}
