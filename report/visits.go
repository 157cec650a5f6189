package report

import (
	"fmt"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"retotal/recompute/evidence"
)

type visit = evidence.Visit

// visits is the table of the site visits beside the log.
func (r *Run) visits() *Table {
	mm := func(key, title string, k Kind, of func(*visit) float64) figure[visit] {
		return figure[visit]{Column{Key: key, Title: title, Kind: k, Bare: k == Offset, Optional: true},
			func(v *visit) any { return known(of(v), v.Found) }}
	}
	return tabulate(r, r.Result.Visits, []figure[visit]{
		{Column{Key: "at", Title: "visit", Kind: Instant}, func(v *visit) any { return told{v.At.UTC, v.At.Text} }},
		words("reading", "reading", func(v *visit) string {
			return fmt.Sprintf("%s %s", v.Quantity, v.Value.Text)
		}),
		mm("u95_mm", "+/-", Millimetres, (*visit).U95),
		mm("recorded_less_visit_mm", "recorded", Offset, (*visit).Before),
		mm("corrected_less_visit_mm", "corrected", Offset, (*visit).After).styled(Strong),
		words("", "verdict", r.visitVerdict).styled(Verdict),
		words("", "note", func(v *visit) string {
			return strings.Trim(v.Phase+", "+v.By, ", ")
		}).styled(Small),
		words("phase", "", func(v *visit) string { return v.Phase }).optional(),
		words("by", "", func(v *visit) string { return v.By }).optional(),
	})
}

// visitVerdict says whether the corrected log agrees with a visit.
func (r *Run) visitVerdict(v *visit) string {
	switch {
	case !v.Found && !r.site().Report.Holds(&v.At, &v.At):
		return "outside what is reported"
	case !v.Found:
		return "no reading near it"
	case v.Explained(r.Log.Resolution[r.site().Log.Primary]):
		return "agrees"
	}
	return "differs"
}

// visitPoints are the differences of a lane from the site visits, with the uncertainty of each visit.
type visitPoints struct {
	plotter.XYs
	u95 []float64
}

// YError implements plotter.YErrorer.
func (v visitPoints) YError(i int) (low, high float64) { return -v.u95[i], v.u95[i] }

// visits shows what either lane says less what the visits found; nil when no visit has readings near it.
func (r *Report) visits(run *Run) *picture {
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
	run.addLine(p, plotter.XYs{{X: start}, {X: end}}, "",
		func(l *plotter.Line) { l.LineStyle = draw.LineStyle{Color: ink, Width: vg.Points(0.6)} }, false)
	addVisits(p, before, "recorded settings", draw.GlyphStyle{
		Color: pale, Radius: vg.Points(4), Shape: draw.RingGlyph{},
	})
	addVisits(p, after, "corrected settings", draw.GlyphStyle{
		Color: ink, Radius: vg.Points(3), Shape: draw.CircleGlyph{},
	})
	run.timeAxis(p)
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
