package picture

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"retotal/ingest/quantity"
	"retotal/recompute/device"
	"retotal/recompute/settings"
	"retotal/report"
)

// Rating draws the ratings of both lanes as they were last, the logged flow at each corrected head, and how often heads
// occur; nil where no head does.
func (g *Gatherer) Rating(run *report.Run, o Options) *Picture {
	if !g.heads.any {
		return nil
	}
	o = o.size(760, 330)
	unit := run.Site().Report.FlowUnit
	recorded, corrected := last(run.Result.Recorded), last(run.Result.Corrected)
	p := &plotOf{name: "head above the level of zero flow, corrected, m"}
	p.x1 = math.Max(g.heads.most*1.05, 0.01)
	after := curve(corrected.Rating, p.x1, unit)
	var before []point
	if !recorded.Rating.Describe().Same(corrected.Rating.Describe()) {
		before = curve(recorded.Rating, p.x1, unit)
	}
	low, high := g.cloud(unit)
	for _, list := range [][]point{after, before, low, high} {
		for _, q := range list {
			p.high = math.Max(p.high, q.y)
		}
	}
	p.scaleTo(0, p.high, 0.04)
	p.key = key{title: "Flow", unit: symbol(unit)}
	p.ratingKeys(before != nil, len(low) > 0)
	p.place(&o)
	p.bottom -= headsHigh + 8
	edge, heads := corrected.Rating.Limits().High, g.heads // without the gatherer, which is large
	return &Picture{
		Name: "rating", Caption: "Rating, with the logged flow at the corrected head", Width: o.Width, Height: o.Height,
		Title: fmt.Sprintf("Rating of %s: flow over head, with the logged flows and how often each head occurs.",
			run.Title()),
		draw: func(s *sheet) {
			p.sheet = s
			p.key.draw(s, p.left, o.Width, 0)
			p.values()
			p.draw(low, high, before, after)
			p.validity(edge)
			p.base()
			p.bottom += headsHigh + 8
			p.histogram(&heads)
			p.numbers()
			p.bottom -= headsHigh + 8
		},
	}
}

func last(l *settings.Lane) *settings.Segment { return &l.Segments[len(l.Segments)-1] }

// headsHigh is the height of what shows how often heads occur.
const headsHigh = 40.0

func (p *plotOf) ratingKeys(both, logged bool) {
	if both {
		p.add("rating as corrected", lineSign(afterPen))
		p.add("as recorded", lineSign(wasRating))
	} else {
		p.add("rating, recorded and corrected", lineSign(afterPen))
	}
	if logged {
		p.add("logged flow by head, least to greatest", beforeSign)
	}
	p.add("how often heads occur, below", boxSign(Middle))
}

var (
	wasRating = pen{Before, 1.6, []float64{2, 3}}
	cloudPen  = pen{Before, 2, nil}
)

// cloud is the least and the greatest logged flow at each head, in the report's unit, thinned to what can be seen.
func (g *Gatherer) cloud(unit quantity.Unit) (low, high []point) {
	for _, k := range g.heads.sorted() {
		if c := g.heads.cells[k]; c.low <= c.high {
			x := float64(k) * headStep
			low, high = append(low, point{x, unit.FromSI(c.low)}), append(high, point{x, unit.FromSI(c.high)})
		}
	}
	return low, high
}

// draw draws logged flows, and ratings above them.
func (p *plotOf) draw(low, high, before, after []point) {
	place := func(list []point) []point {
		out := make([]point, len(list))
		for i, q := range list {
			out[i] = point{p.across(q.x), p.y(q.y)}
		}
		return out
	}
	for first, i := 0, 1; i <= len(low); i++ {
		if i < len(low) && low[i].x-low[i-1].x < 3.5*headStep {
			continue
		}
		p.logged(place(low[first:i]), place(high[first:i]))
		first = i
	}
	p.line(afterPen, place(after)...)
	p.line(wasRating, place(before)...)
}

// logged draws the logged flows at heads that follow each other.
func (p *plotOf) logged(low, high []point) {
	if len(low) == 1 {
		p.line(cloudPen, point{low[0].x, low[0].y + 1}, point{low[0].x, high[0].y - 1})
		return
	}
	under := p.parts(low)
	for i, part := range p.parts(high) {
		back := slices.Clone(under[i])
		slices.Reverse(back)
		p.area(BeforeArea, append(slices.Clone(part), back...)...)
	}
	p.line(wasPen, low...)
	p.line(wasPen, high...)
}

// validity marks where a rating stops to be valid.
func (p *plotOf) validity(edge float64) {
	if !(edge < p.x1) {
		return
	}
	x := p.across(edge)
	p.line(pen{Ink, 1, []float64{7, 3}}, point{x, p.top}, point{x, p.bottom})
	p.text(plain.to(rightOf), x-5, p.top+12, "valid to "+quantity.Digits(edge, 3)+" m")
}

// histogram draws how often heads occur, in steps of about three units.
func (p *plotOf) histogram(h *heads) {
	steps := max(1, int(math.Ceil(3/((p.right-p.left)/p.x1*headStep))))
	counts := map[int]int{}
	most := 0
	for k, c := range h.cells {
		counts[k/steps] += c.n
		most = max(most, counts[k/steps])
	}
	var list [][4]float64
	for _, k := range sortedKeys(counts) {
		x0, x1 := p.across(float64(k*steps)*headStep), p.across(float64((k+1)*steps)*headStep)
		high := math.Max(headsHigh*float64(counts[k])/float64(most), 0.5)
		list = append(list, [4]float64{x0, p.bottom - high, math.Max(x1-0.5, x0+0.5), p.bottom})
	}
	p.boxes(Middle, list)
}

// curve is a rating as a line of 200 parts.
func curve(r device.Rating, top float64, unit quantity.Unit) []point {
	points := make([]point, 0, 201)
	for i := range 201 {
		h := top * float64(i) / 200
		if q := unit.FromSI(r.Flow(h)); finite(q) {
			points = append(points, point{h, q})
		}
	}
	return points
}

// Ratings draws ratings over heads from zero to top into a file, PNG, SVG or PDF by its ending; the file appears whole
// or not at all. The last rating is solid, those before it are dotted.
func Ratings(name string, names []string, ratings []device.Rating, top float64, unit quantity.Unit) error {
	o := Options{Width: 760, Height: 340}
	p := &plotOf{x1: math.Max(top, 1e-6), name: "head above the level of zero flow, m"}
	p.key = key{title: "Flow", unit: symbol(unit)}
	curves := make([][]point, len(ratings))
	for i, r := range ratings {
		curves[i] = curve(r, p.x1, unit)
		for _, q := range curves[i] {
			p.high = math.Max(p.high, q.y)
		}
		p.add(names[i], lineSign(penOf(i, len(ratings))))
	}
	p.scaleTo(0, p.high, 0.04)
	p.place(&o)
	picture := &Picture{
		Name: "rating", Title: "Rating: flow over head of " + strings.Join(names, "; ") + ".", Caption: "Rating",
		Width: o.Width, Height: o.Height,
		draw: func(s *sheet) {
			p.sheet = s
			p.key.draw(s, p.left, o.Width, 0)
			p.values()
			for i, c := range curves {
				for k := range c {
					c[k] = point{p.across(c[k].x), p.y(c[k].y)}
				}
				p.line(penOf(i, len(curves)), c...)
			}
			p.numbers()
		},
	}
	return picture.Write(name)
}

func penOf(i, of int) pen {
	if i < of-1 {
		return wasRating
	}
	return afterPen
}

// Write writes the picture into a file, PNG, SVG or PDF by its ending; the file appears whole or not at all.
func (p *Picture) Write(name string) error {
	var content []byte
	var err error
	switch ending := strings.ToLower(filepath.Ext(name)); ending {
	case ".png":
		content, err = p.PNG()
	case ".svg":
		content = p.SVG()
	case ".pdf":
		content, err = p.PDF()
	default:
		return fmt.Errorf("%q does not end in .png, .svg or .pdf", name)
	}
	if err != nil {
		return err
	}
	return report.WriteWhole(name, content)
}
