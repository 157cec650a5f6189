package picture

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"retotal/recompute"
)

// spanRow draws spans of time as bars in one row, each at least a hair wide.
type spanRow struct {
	spans [][2]float64
	row   float64
}

// Plot implements plot.Plotter.
func (s spanRow) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	last := vg.Length(math.Inf(-1))
	for _, span := range s.spans {
		left, right := x(math.Max(span[0], p.X.Min)), x(math.Min(span[1], p.X.Max))
		right = max(right, left+vg.Points(0.8))
		if right <= last || right < c.Min.X || left > c.Max.X { // hidden by the bar before it, or outside
			continue
		}
		last = right
		c.FillPolygon(ink, []vg.Point{
			{X: left, Y: y(s.row - 0.32)},
			{X: right, Y: y(s.row - 0.32)},
			{X: right, Y: y(s.row + 0.32)},
			{X: left, Y: y(s.row + 0.32)},
		})
	}
}

// bars are the totals of periods of unequal length: each takes its share of the period's width.
type bars struct {
	shade, outline color.Color
	offset, width  float64 // in parts of the period, from its middle
	periods        [][2]float64
	values         []float64
}

func (b *bars) add(p *recompute.Period, v float64) {
	b.periods = append(b.periods, [2]float64{float64(p.From) / 1e9, float64(p.Until) / 1e9})
	b.values = append(b.values, v)
}

// Plot implements plot.Plotter.
func (b bars) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	for i, period := range b.periods {
		middle, length := (period[0]+period[1])/2, period[1]-period[0]
		left, right := x(middle+b.offset*length), x(middle+(b.offset+b.width)*length)
		corners := []vg.Point{
			{X: left, Y: y(0)},
			{X: right, Y: y(0)},
			{X: right, Y: y(b.values[i])},
			{X: left, Y: y(b.values[i])},
		}
		c.FillPolygon(b.shade, corners)
		c.StrokeLines(draw.LineStyle{Color: b.outline, Width: vg.Points(0.3)}, append(corners, corners[0]))
	}
}

// DataRange implements plot.DataRanger.
func (b bars) DataRange() (xmin, xmax, ymin, ymax float64) {
	xmin, xmax = math.Inf(1), math.Inf(-1)
	for i, period := range b.periods {
		xmin, xmax, ymax = math.Min(xmin, period[0]), math.Max(xmax, period[1]), math.Max(ymax, b.values[i])
	}
	return xmin, xmax, 0, ymax
}

// Thumbnail implements plot.Thumbnailer.
func (b bars) Thumbnail(c *draw.Canvas) {
	corners := []vg.Point{
		{X: c.Min.X, Y: c.Min.Y},
		{X: c.Max.X, Y: c.Min.Y},
		{X: c.Max.X, Y: c.Max.Y},
		{X: c.Min.X, Y: c.Max.Y},
	}
	c.FillPolygon(b.shade, corners)
	c.StrokeLines(draw.LineStyle{Color: b.outline, Width: vg.Points(0.3)}, append(corners, corners[0]))
}
