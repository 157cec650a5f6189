package picture

import (
	"cmp"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"retotal/ingest/quantity"
	"retotal/recompute/device"
	"retotal/recompute/settings"
	"retotal/report"
)

// rating shows the ratings of both lanes as they were last, and the logged flow at the corrected head.
func (g *Gatherer) rating(run *report.Run) *picture {
	unit := run.Site().Report.FlowUnit
	p := newPlot("Rating and readings", "flow ("+unit.Symbol+")")
	p.X.Label.Text = "head above the level of zero flow, corrected (m)"
	top := math.Max(g.tracks.maxHead*1.05, 0.01)
	g.addCloud(p, run)
	recorded, corrected := last(run.Result.Recorded), last(run.Result.Corrected)
	name := "rating, recorded and corrected"
	if !recorded.Rating.Describe().Same(corrected.Rating.Describe()) {
		addLine(p, curve(recorded, top, unit.FromSI), "rating as recorded", beforeLine, true)
		name = "rating as corrected"
	}
	addLine(p, curve(corrected, top, unit.FromSI), name, afterLine, true)
	if l := corrected.Rating.Limits(); l.High < top {
		edge := plotter.XYs{{X: l.High, Y: 0}, {X: l.High, Y: unit.FromSI(corrected.Rating.Flow(top))}}
		addLine(p, edge, fmt.Sprintf("limit of validity %s m", quantity.Digits(l.High, 3)), func(l *plotter.Line) {
			l.LineStyle = draw.LineStyle{
				Color: ink, Width: vg.Points(0.8), Dashes: []vg.Length{vg.Points(1), vg.Points(2)},
			}
		}, true)
	}
	p.X.Min, p.X.Max, p.Y.Min = 0, top, 0
	p.Legend.Left = true
	return &picture{name: "rating", height: 11 * vg.Centimeter, parts: []*plot.Plot{p}}
}

func last(l *settings.Lane) *settings.Segment { return &l.Segments[len(l.Segments)-1] }

// addCloud adds the least and greatest logged flow at each head.
func (g *Gatherer) addCloud(p *plot.Plot, run *report.Run) {
	unit := run.Site().Report.FlowUnit
	var points plotter.XYs
	for k, c := range g.tracks.cloud {
		x := float64(k) * cloudStep
		points = append(points, plotter.XY{X: x, Y: unit.FromSI(c.low)})
		if c.high != c.low {
			points = append(points, plotter.XY{X: x, Y: unit.FromSI(c.high)})
		}
	}
	scatter, err := plotter.NewScatter(sortedByX(points))
	if err != nil || len(points) == 0 {
		return
	}
	scatter.GlyphStyle = draw.GlyphStyle{Color: pale, Radius: vg.Points(1.4), Shape: draw.RingGlyph{}}
	p.Add(scatter)
	p.Legend.Add("logged flow, least and greatest per mm of head", scatter)
}

// sortedByX orders points, so that pictures do not depend on the order of a map.
func sortedByX(points plotter.XYs) plotter.XYs {
	slices.SortFunc(points, func(a, b plotter.XY) int { return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y)) })
	return points
}

// curve is a rating as a line of 200 points.
func curve(s *settings.Segment, top float64, unit func(float64) float64) plotter.XYs {
	points := make(plotter.XYs, 201)
	for i := range points {
		h := top * float64(i) / 200
		points[i] = plotter.XY{X: h, Y: unit(s.Rating.Flow(h))}
	}
	return points
}

// Ratings draws ratings over heads from zero to top into a file, PNG or SVG by its ending; the file appears whole
// or not at all.
func Ratings(name string, names []string, ratings []device.Rating, top float64, unit quantity.Unit) error {
	p := newPlot("Rating", "flow ("+unit.Symbol+")")
	p.X.Label.Text = "head above the level of zero flow (m)"
	for i, r := range ratings {
		style := afterLine
		if i < len(ratings)-1 {
			style = beforeLine
		}
		addLine(p, curve(&settings.Segment{Rating: r}, top, unit.FromSI), names[i], style, true)
	}
	p.X.Min, p.X.Max, p.Y.Min = 0, top, 0
	p.Legend.Left = true
	png, svg, err := (&picture{height: 12 * vg.Centimeter, parts: []*plot.Plot{p}}).encode()
	if err != nil {
		return err
	}
	switch ending := strings.ToLower(filepath.Ext(name)); ending {
	case ".png":
		return report.WriteWhole(name, png)
	case ".svg":
		return report.WriteWhole(name, svg)
	}
	return fmt.Errorf("%q does not end in .png or .svg", name)
}
