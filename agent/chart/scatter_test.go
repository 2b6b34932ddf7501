package chart

import (
	"fmt"
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// drawn is a chart with everything in it.
func drawn() *SVG {
	s := Scatter{
		Title: "Off-spec water against time without water <T-07>",
		Notes: []string{"A hollow mark: another setting is better in both.", "Recorded presses only."},
		X:     Axis{Label: "delivered off spec", Unit: "gal", Log: true}, Y: Axis{Label: "without water", Unit: "min"},
	}
	for i := range 5 {
		line := Series{Name: fmt.Sprintf("endpoint %g uS/cm", 0.5*float64(i+1))}
		for k := range 4 {
			line.Points = append(line.Points, Mark{
				X: 40 * math.Pow(3, float64(k)) * float64(i+1), Y: 900/float64(k+1) + 40*float64(i), Label: fmt.Sprintf("%d min", 5*(k+1)), Hollow: i > 2,
			})
		}
		s.Series = append(s.Series, line)
	}
	s.Series[4].Points = append(s.Series[4].Points, Mark{X: math.NaN(), Y: 1}, Mark{X: 1, Y: math.Inf(1)})
	svg := NewSVG(720, 480, s.Title, "five lines of four points")
	s.Draw(svg, 720, 480)
	return svg
}

func TestScatter(t *testing.T) { golden(t, "scatter.svg", drawn()) }

func TestAnEmptyScatterIsAFrame(t *testing.T) {
	svg := NewSVG(300, 200, "nothing", "")
	(&Scatter{Title: "nothing", X: Axis{Label: "x"}, Y: Axis{Label: "y"}}).Draw(svg, 300, 200)
	for _, e := range elements(t, written(t, svg)) {
		require.NotContains(t, []string{"path", "circle"}, e.name)
	}
}

// canvas keeps what is drawn.
type canvas struct {
	texts   []box
	words   []string
	fonts   []Font
	centres []Point
	outside int
	width   float64
	height  float64
}

func (c *canvas) see(p Point) {
	if !(p.X >= -0.01 && p.X <= c.width+0.01 && p.Y >= -0.01 && p.Y <= c.height+0.01) {
		c.outside++
	}
}
func (c *canvas) Line(a, b Point, _ Style) { c.see(a); c.see(b) }
func (c *canvas) Path(list []Point, _ bool, _ Style) {
	for _, p := range list {
		c.see(p)
	}
}
func (c *canvas) Rect(p Point, w, h float64, _ Style) { c.see(p); c.see(Point{p.X + w, p.Y + h}) }
func (c *canvas) Circle(p Point, r float64, _ Style) {
	c.see(Point{p.X - r, p.Y - r})
	c.see(Point{p.X + r, p.Y + r})
	c.centres = append(c.centres, p)
}
func (c *canvas) Text(p Point, text string, f Font) {
	c.see(p)
	wide := textWidth(text, f.Size)
	left := p.X - map[Anchor]float64{Start: 0, Middle: wide / 2, End: wide}[f.Anchor]
	c.texts = append(c.texts, box{left, p.Y - 0.8*f.Size, left + wide, p.Y + 0.2*f.Size})
	c.words, c.fonts = append(c.words, text), append(c.fonts, f)
}

// Every finite point is drawn, nothing leaves the canvas, and no label runs over another one or over a mark.
func TestEveryPointIsDrawnAndNoLabelIsInTheWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &canvas{width: 900, height: 600}
		s := Scatter{Title: "t", X: Axis{Label: "x", Unit: "gal", Log: rapid.Bool().Draw(t, "log")}, Y: Axis{Label: "y"}, Series: []Series{{Name: "only"}}}
		count := rapid.IntRange(1, 60).Draw(t, "points")
		for i := range count {
			s.Series[0].Points = append(s.Series[0].Points, Mark{
				X: rapid.Float64Range(0, 1e5).Draw(t, "x"), Y: rapid.Float64Range(0, 500).Draw(t, "y"), Label: "p" + strconv.Itoa(i),
			})
		}
		s.Draw(c, c.width, c.height)
		require.Len(t, c.centres, count)
		require.Zero(t, c.outside)
		for i, b := range c.texts {
			if c.words[i][0] != 'p' {
				continue
			}
			require.GreaterOrEqual(t, b.left, 0.0)
			require.LessOrEqual(t, b.right, c.width)
			for k, other := range c.texts {
				require.False(t, k != i && c.words[k][0] == 'p' && b.meets(other), "%s over %s", c.words[i], c.words[k])
			}
			for _, p := range c.centres {
				require.False(t, b.meets(around(p, markRadius-1.5)), "%s over a mark", c.words[i])
			}
		}
	})
}

// Of two lone points both are labelled.
func TestLabelsAreWrittenWhereThereIsRoom(t *testing.T) {
	c := &canvas{width: 900, height: 600}
	s := Scatter{Title: "t", Series: []Series{{Points: []Mark{{X: 1, Y: 9, Label: "10m"}, {X: 9, Y: 1, Label: "15m"}}}}}
	s.Draw(c, c.width, c.height)
	require.Contains(t, c.words, "10m")
	require.Contains(t, c.words, "15m")
}

// What is printed without color still tells eight series apart from their neighbours.
func TestNeighboursDifferInShapeAndColor(t *testing.T) {
	for i := range 20 {
		require.NotEqual(t, color(i), color(i+1))
		require.NotEqual(t, i%4, (i+1)%4)
		for k := range i {
			require.False(t, color(k) == color(i) && k%4 == i%4, "%d and %d look the same", k, i)
		}
	}
}
