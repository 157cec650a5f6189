package picture

import (
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"retotal/report"
)

// visitPoints are the differences of a lane from the site visits, with the uncertainty of each visit.
type visitPoints struct {
	plotter.XYs
	u95 []float64
}

// YError implements plotter.YErrorer.
func (v visitPoints) YError(i int) (low, high float64) { return -v.u95[i], v.u95[i] }

// visits shows what either lane says less what the visits found; nil when no visit has readings near it.
func visits(run *report.Run) *picture {
	p := newPlot("Log less site visit, before and after correction", "difference of head (mm)")
	before, after := visitPoints{}, visitPoints{}
	for i := range run.Result.Visits {
		v := &run.Result.Visits[i]
		if v.Found {
			x := float64(v.At.UTC) / 1e9
			before.XYs = append(before.XYs, plotter.XY{X: x, Y: v.Before() * 1000})
			before.u95 = append(before.u95, v.U95()*1000)
			after.XYs = append(after.XYs, plotter.XY{X: x, Y: v.After() * 1000})
			after.u95 = append(after.u95, v.U95()*1000)
		}
	}
	if len(before.XYs) == 0 {
		return nil
	}
	start, end := float64(run.Result.Total.From)/1e9, float64(run.Result.Total.Until)/1e9
	addLine(p, plotter.XYs{{X: start}, {X: end}}, "",
		func(l *plotter.Line) { l.LineStyle = draw.LineStyle{Color: ink, Width: vg.Points(0.6)} }, false)
	addVisits(p, before, "recorded settings", draw.GlyphStyle{
		Color: pale, Radius: vg.Points(4), Shape: draw.RingGlyph{},
	})
	addVisits(p, after, "corrected settings", draw.GlyphStyle{
		Color: ink, Radius: vg.Points(3), Shape: draw.CircleGlyph{},
	})
	timeAxis(run, p)
	room := 0.25 * (p.Y.Max - p.Y.Min)
	p.Y.Min, p.Y.Max = min(p.Y.Min, -1)-room, max(p.Y.Max, 1)+2*room
	return &picture{name: "visits", height: 8 * vg.Centimeter, parts: []*plot.Plot{p}}
}

func addVisits(p *plot.Plot, points visitPoints, name string, style draw.GlyphStyle) {
	bars, err := plotter.NewYErrorBars(points)
	if err != nil {
		return // no points
	}
	bars.LineStyle.Color = style.Color
	scatter, err := plotter.NewScatter(points.XYs)
	if err != nil {
		return
	}
	scatter.GlyphStyle = style
	p.Add(bars, scatter)
	p.Legend.Add(name, scatter)
}
