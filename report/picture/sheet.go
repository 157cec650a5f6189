package picture

import (
	"math"
	"sync"

	"golang.org/x/image/font"
	plotfont "gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// unit is what pictures are measured in, 1/96 inch, which is a pixel of style sheets.
const unit = vg.Inch / 96

// sheet draws in units from the upper left corner, down and to the right.
type sheet struct {
	c      vg.Canvas
	height float64
	pad    float64 // of paper around the picture
	chunk  int     // most corners of a line that are drawn at once; 0 for all
	// one is the path at hand, all are several; canvases do not keep them.
	one, all vg.Path
}

func newSheet(c vg.Canvas, height float64) *sheet {
	s := &sheet{c: c, height: height}
	if _, raster := c.(*vgimg.Canvas); raster {
		s.chunk = 60 // the time for a stroke grows with the square of the pixels that it covers
	}
	return s
}

// point is a place on a sheet.
type point struct{ x, y float64 }

// at is a place on the canvas. What is far outside would only make files long.
func (s *sheet) at(x, y float64) vg.Point {
	bound := func(v float64) vg.Length { return vg.Length(math.Max(-2000, math.Min(v, 4000))) }
	return vg.Point{X: bound(x+s.pad) * unit, Y: bound(s.height+s.pad-y) * unit}
}

// path is a line through points; it is good until the next one.
func (s *sheet) path(points []point, closed bool) vg.Path {
	p := s.one[:0]
	for i, q := range points {
		if i == 0 {
			p.Move(s.at(q.x, q.y))
		} else {
			p.Line(s.at(q.x, q.y))
		}
	}
	if closed {
		p.Close()
	}
	s.one = p
	return p
}

// area fills a polygon.
func (s *sheet) area(t Tint, points ...point) {
	if len(points) > 2 {
		s.c.SetColor(t)
		s.c.Fill(s.path(points, true))
	}
}

// box fills a rectangle between two corners.
func (s *sheet) box(t Tint, x0, y0, x1, y1 float64) {
	s.area(t, point{x0, y0}, point{x1, y0}, point{x1, y1}, point{x0, y1})
}

// boxes fills rectangles of one tint, given by corners; where it costs nothing, at once.
func (s *sheet) boxes(t Tint, list [][4]float64) {
	if len(list) == 0 {
		return
	}
	s.c.SetColor(t)
	all := s.all[:0]
	for _, b := range list {
		p := s.path([]point{{b[0], b[1]}, {b[2], b[1]}, {b[2], b[3]}, {b[0], b[3]}}, true)
		if s.chunk > 0 {
			s.c.Fill(p)
			continue
		}
		all = append(all, p...)
	}
	if len(all) > 0 {
		s.c.Fill(all)
	}
	s.all = all
}

// pen is how a line is drawn: its width and its dashes, in units.
type pen struct {
	tint   Tint
	width  float64
	dashes []float64
}

func (s *sheet) take(p pen) {
	s.c.SetColor(p.tint)
	s.c.SetLineWidth(vg.Length(p.width) * unit)
	dashes := make([]vg.Length, len(p.dashes))
	for i, d := range p.dashes {
		dashes[i] = vg.Length(d) * unit
	}
	s.c.SetLineDash(dashes, 0)
}

// line draws a line through points.
func (s *sheet) line(p pen, points ...point) {
	s.take(p)
	for len(points) > 1 {
		n := len(points)
		if s.chunk > 0 {
			n = min(n, s.chunk+1)
		}
		s.c.Stroke(s.path(points[:n], false))
		points = points[n-1:]
	}
}

// lines draws straight lines of one pen, given by their ends.
func (s *sheet) lines(p pen, list [][4]float64) {
	if len(list) == 0 {
		return
	}
	s.take(p)
	all := s.all[:0]
	for i, l := range list {
		all = append(all, s.path([]point{{l[0], l[1]}, {l[2], l[3]}}, false)...)
		if s.chunk > 0 || i == len(list)-1 {
			s.c.Stroke(all)
			all = all[:0]
		}
	}
	s.all = all
}

// outline draws the edge of a rectangle.
func (s *sheet) outline(p pen, x0, y0, x1, y1 float64) {
	s.take(p)
	s.c.Stroke(s.path([]point{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}, true))
}

// hatch fills a rectangle with lines of 45°, so far apart; rising to the right, or falling.
func (s *sheet) hatch(p pen, step float64, falling bool, x0, y0, x1, y1 float64) {
	var list [][4]float64
	if falling { // x − y = k
		for k := math.Ceil((x0-y1)/step) * step; k < x1-y0; k += step {
			a, b := math.Max(x0, y0+k), math.Min(x1, y1+k)
			list = append(list, [4]float64{a, a - k, b, b - k})
		}
	} else { // x + y = k
		for k := math.Ceil((x0+y0)/step) * step; k < x1+y1; k += step {
			a, b := math.Max(x0, k-y1), math.Min(x1, k-y0)
			list = append(list, [4]float64{a, k - a, b, k - b})
		}
	}
	s.lines(p, list)
}

// round is a quarter of a circle by a cubic curve: the distance of its control points for a radius of 1.
const round = 0.5522847498

// ring draws a circle, filled with its own tint or with that of the paper.
func (s *sheet) ring(p pen, x, y, r float64, filled bool) {
	var c vg.Path
	c.Move(s.at(x+r, y))
	k := r * round
	for _, q := range [][6]float64{
		{r, k, k, r, 0, r}, {-k, r, -r, k, -r, 0}, {-r, -k, -k, -r, 0, -r}, {k, -r, r, -k, r, 0},
	} {
		c.CubeTo(s.at(x+q[0], y+q[1]), s.at(x+q[2], y+q[3]), s.at(x+q[4], y+q[5]))
	}
	c.Close()
	if s.c.SetColor(Paper); filled {
		s.c.SetColor(p.tint)
	}
	s.c.Fill(c)
	s.take(p)
	s.c.Stroke(c)
}

// pointer draws a triangle that points down at (x, y), filled or open.
func (s *sheet) pointer(x, y float64, filled bool) {
	corners := []point{{x, y}, {x - 5.5, y - 9}, {x + 5.5, y - 9}}
	if filled {
		s.area(Ink, corners...)
		return
	}
	s.area(Paper, corners...)
	s.take(pen{Ink, 1.3, nil})
	s.c.Stroke(s.path(corners, true))
}

// side is the part of a text that lies at its place.
type side int

const (
	leftOf side = iota
	middleOf
	rightOf
)

// letters is how a text is written.
type letters struct {
	tint Tint
	size float64 // units
	bold bool
	side side
}

var (
	plain = letters{Ink, 12, false, leftOf}
	heavy = letters{Ink, 12, true, leftOf}
	minor = letters{Second, 12, false, leftOf}
)

func (l letters) to(s side) letters { l.side = s; return l }

// anchorer is a canvas that knows by itself where a text begins which is given by its middle or its end: the fonts of
// who looks at it may be wider than ours.
type anchorer interface {
	FillAnchored(f plotfont.Face, at vg.Point, anchor, text string)
}

// text writes a line at its base.
func (s *sheet) text(l letters, x, y float64, text string) {
	if text == "" {
		return
	}
	s.c.SetColor(l.tint)
	f := face(l)
	if c, ok := s.c.(anchorer); ok {
		c.FillAnchored(f, s.at(x, y), [...]string{"start", "middle", "end"}[l.side], text)
		return
	}
	s.c.FillString(f, s.at(x-width(l, text)*float64(l.side)/2, y), text)
}

// faces are the fonts that pictures are drawn and measured with.
var faces = sync.OnceValue(func() *plotfont.Cache { return plotfont.NewCache(liberation.Collection()) })

func face(l letters) plotfont.Face {
	f := plotfont.Font{Typeface: "Liberation", Variant: "Sans"}
	if l.bold {
		f.Weight = font.WeightBold
	}
	return faces().Lookup(f, vg.Length(l.size)*unit)
}

// width is how much room a text takes, in units.
func width(l letters, text string) float64 {
	f := face(l)
	return float64(f.Width(text) / unit)
}

// fit shortens a text to a width, with an ellipsis; "" when less than half would be left.
func fit(l letters, text string, room float64) string {
	if width(l, text) <= room {
		return text
	}
	runes := []rune(text)
	for n := len(runes) - 1; n > max(8, len(runes)/2); n-- {
		if short := string(runes[:n]) + "…"; width(l, short) <= room {
			return short
		}
	}
	return ""
}
