// Package picture draws the pictures of a report.
package picture

import (
	"bytes"
	"cmp"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"slices"
	"sync"

	"git.sr.ht/~sbinet/gg"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"retotal/ingest/problem"
	"retotal/qa"
	"retotal/recompute"
	"retotal/recompute/total"
	"retotal/report"
)

// Plots are black and grey, so that they can be told apart in print: what was is dashed and light, what is now is solid
// and dark.
var (
	ink   = color.Gray{0x10}
	pale  = color.Gray{0x8c}
	light = color.Gray{0xc8}
)

// picture is one plot: parts stacked above each other with shares of the height.
type picture struct {
	name   string
	height vg.Length
	parts  []*plot.Plot
	shares []float64
}

const pictureWidth = 26 * vg.Centimeter

// Drawn is a finished picture as the page needs it.
type Drawn struct {
	Name, Caption string
	SVG           []byte
}

// Gatherer takes in what pictures need of the rows.
type Gatherer struct{ tracks *tracks }

// New begins the pictures of one pass over a log. A pass that has to begin again takes new ones.
func New() *Gatherer { return &Gatherer{newTracks()} }

// Rows takes in a stretch of decided readings.
func (g *Gatherer) Rows(rows *recompute.Rows) { g.tracks.add(rows) }

// Draw draws every picture as PNG and SVG, hands the files to write, which is called by several goroutines, and returns
// the pictures for the page.
func (g *Gatherer) Draw(run *report.Run, write func(name string, content []byte) error) ([]Drawn, error) {
	makers := []struct {
		caption string
		draw    func(*report.Run) *picture
	}{
		{"Flow before and after, and the readings that screening flagged", g.hydrograph},
		{"Totals by reporting day, before and after", daily},
		{"Cumulative volume", cumulative},
		{"Flow duration: the mean flow of a day, and on how many of the days it was exceeded", duration},
		{"Rating, with the logged flow at the corrected head", g.rating},
		{"What the log says less what site visits found", visits},
	}
	out := make([]Drawn, len(makers))
	errs := make([]error, len(makers))
	problem.Beside(len(makers), func(i int) {
		if p := makers[i].draw(run); p != nil { // nil when there is nothing to show
			out[i].Name, out[i].Caption = p.name, makers[i].caption
			out[i].SVG, errs[i] = p.save(write)
		}
	})
	if err := cmp.Or(errs...); err != nil {
		return nil, err
	}
	return slices.DeleteFunc(out, func(d Drawn) bool { return d.SVG == nil }), nil
}

// save renders a picture to memory and hands on both files.
func (p *picture) save(write func(string, []byte) error) (svg []byte, err error) {
	raster, svg, err := p.encode()
	if err != nil {
		return nil, err
	}
	if err := write("plots/"+p.name+".png", raster); err != nil {
		return nil, err
	}
	return svg, write("plots/"+p.name+".svg", svg)
}

// encode renders a picture to memory, as PNG and as SVG.
func (p *picture) encode() (raster, svg []byte, err error) {
	var pixels, vector bytes.Buffer
	ground := newGround(pictureWidth, p.height)
	defer grounds.Put(ground)
	p.render(draw.New(vgimg.NewWith(vgimg.UseDPI(dotsPerInch), vgimg.UseImageWithContext(ground, contextOf(ground)))))
	encoder := png.Encoder{CompressionLevel: png.BestSpeed} // three percent larger, in half the time
	if err := encoder.Encode(&pixels, greyOf(ground)); err != nil {
		return nil, nil, err
	}
	lines := vgsvg.New(pictureWidth, p.height)
	page := draw.New(lines)
	page.SetColor(color.White)
	page.Fill(page.Rectangle.Path())
	p.render(page)
	if _, err := lines.WriteTo(&vector); err != nil {
		return nil, nil, err
	}
	return pixels.Bytes(), vector.Bytes(), nil
}

const dotsPerInch = 110

// grounds are the *image.RGBA on which pictures were drawn: memory that was never used before is slow to fill.
var grounds sync.Pool

// newGround is what a picture is drawn on; its pixels may be those of one drawn before.
func newGround(width, height vg.Length) *image.RGBA {
	dots := func(l vg.Length) int { return int(l.Dots(dotsPerInch) + 0.5) }
	size := image.Rect(0, 0, dots(width), dots(height))
	need := 4 * size.Dx() * size.Dy()
	if old, ok := grounds.Get().(*image.RGBA); ok && cap(old.Pix) >= need {
		return &image.RGBA{Pix: old.Pix[:need], Stride: 4 * size.Dx(), Rect: size}
	}
	return image.NewRGBA(size)
}

// contextOf draws on the ground itself; by itself the canvas would copy it first.
func contextOf(ground *image.RGBA) *gg.Context {
	context := gg.NewContextForRGBA(ground)
	context.SetLineCapButt()
	context.InvertY()
	return context
}

// greyOf is a picture with a byte a pixel: it has no colours, so that red says it all.
func greyOf(from *image.RGBA) *image.Gray {
	to := image.NewGray(from.Rect)
	for i := range to.Pix {
		to.Pix[i] = from.Pix[4*i]
	}
	return to
}

// render draws the parts below each other on a white ground, with their axes lined up.
func (p *picture) render(c draw.Canvas) {
	c = draw.Crop(c, 6*vg.Millimeter, -8*vg.Millimeter, 2*vg.Millimeter, -2*vg.Millimeter)
	if len(p.parts) == 1 {
		p.parts[0].Draw(c)
		return
	}
	rows := make([][]*plot.Plot, len(p.parts))
	for i, part := range p.parts {
		rows[i] = []*plot.Plot{part}
	}
	canvases := plot.Align(rows, draw.Tiles{Rows: len(p.parts), Cols: 1}, c)
	top := c.Max.Y
	for i, part := range p.parts {
		tile := canvases[i][0]
		height := vg.Length(p.shares[i]) * (c.Max.Y - c.Min.Y)
		tile.Max.Y, tile.Min.Y = top, top-height
		top -= height
		part.Draw(tile)
	}
}

// newPlot returns an empty plot in the house style.
func newPlot(title, y string) *plot.Plot {
	p := plot.New()
	p.Title.Text = title
	p.Title.TextStyle.Font.Size = 12
	p.Title.Padding = 2 * vg.Millimeter
	p.Y.Label.Text = y
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font.Size = 10
		a.Tick.Label.Font.Size = 9
		a.LineStyle.Color, a.Tick.LineStyle.Color = ink, ink
		a.Padding = 0
	}
	p.X.Tick.Marker, p.Y.Tick.Marker = roundTicks{}, roundTicks{}
	p.Legend.Top = true
	p.Legend.TextStyle.Font.Size = 9
	p.Legend.Padding = 1 * vg.Millimeter
	p.Legend.ThumbnailWidth = 9 * vg.Millimeter
	grid := plotter.NewGrid()
	grid.Horizontal.Color, grid.Vertical.Color = light, light
	grid.Horizontal.Width, grid.Vertical.Width = vg.Points(0.4), vg.Points(0.4)
	p.Add(grid)
	return p
}

// style of a line: what was, what is now.
func beforeLine(l *plotter.Line) {
	l.LineStyle = draw.LineStyle{Color: pale, Width: vg.Points(1.2), Dashes: []vg.Length{vg.Points(4), vg.Points(2)}}
}

func afterLine(l *plotter.Line) { l.LineStyle = draw.LineStyle{Color: ink, Width: vg.Points(1)} }

// addTrack adds a thinned flow to a plot, in the report's unit.
func addTrack(r *report.Run, p *plot.Plot, t *track, name string, style func(*plotter.Line)) {
	unit := r.Site().Report.FlowUnit
	legend := true
	for _, corners := range t.lines(r.Log.LongestGap().Nanoseconds()) {
		points := make(plotter.XYs, len(corners))
		for k, c := range corners {
			points[k] = plotter.XY{X: float64(c.at) / 1e9, Y: unit.FromSI(c.v)}
		}
		for start := 0; start == 0 || start < len(points)-1; start += strokeLength {
			addLine(p, points[start:min(start+strokeLength+1, len(points))], name, style, legend)
			legend = false
		}
	}
}

// strokeLength is how many points of a flow are drawn in one stroke: the time to draw a stroke grows with the square of
// the pixels that it covers.
const strokeLength = 60

func addLine(p *plot.Plot, points plotter.XYs, name string, style func(*plotter.Line), legend bool) {
	line, err := plotter.NewLine(points)
	if err != nil {
		return // no points
	}
	style(line)
	p.Add(line)
	if legend {
		p.Legend.Add(name, line)
	}
}

// timeAxis sets ticks and range of a time axis.
func timeAxis(r *report.Run, p *plot.Plot) {
	p.X.Tick.Marker = calendarTicks{r.Site().Report.Clock.Location}
	p.X.Min, p.X.Max = float64(r.Result.Total.From)/1e9, float64(r.Result.Total.Until)/1e9
}

// hydrograph shows both flows over time and, below, where readings were flagged.
func (g *Gatherer) hydrograph(run *report.Run) *picture {
	p := newPlot(run.Title(), "flow ("+run.Site().Report.FlowUnit.Symbol+")")
	addTrack(run, p, &g.tracks.before, "before: recorded settings", func(l *plotter.Line) {
		l.LineStyle = draw.LineStyle{Color: pale, Width: vg.Points(1.2)} // dashes are lost in a dense line
	})
	addTrack(run, p, &g.tracks.after, "after: corrected and screened", afterLine)
	timeAxis(run, p)
	headroom(p)
	strip := flagStrip(run)
	if strip == nil {
		return &picture{name: "hydrograph", height: 11 * vg.Centimeter, parts: []*plot.Plot{p}}
	}
	p.X.Tick.Marker = unlabelled{p.X.Tick.Marker}
	main, below := 10.5, 1.3+0.6*(strip.Y.Max-strip.Y.Min) // centimetres
	return &picture{name: "hydrograph", height: vg.Length(main+below) * vg.Centimeter, parts: []*plot.Plot{p, strip},
		shares: []float64{main / (main + below), below / (main + below)}}
}

// headroom starts the values at zero and leaves room for the legend above them.
func headroom(p *plot.Plot) {
	p.Y.Min = 0
	p.Y.Max = math.Max(p.Y.Max, 1e-9) * 1.3
}

// flagStrip is a plot with a row for every check that flagged something; nil when none did.
func flagStrip(r *report.Run) *plot.Plot {
	p := newPlot("", "")
	var ticks []plot.Tick
	for i := len(qa.Checks) - 1; i >= 0; i-- {
		c := qa.Checks[i]
		var spans [][2]float64
		for _, e := range r.Result.Events {
			if e.Flag == c.Flag {
				spans = append(spans, [2]float64{float64(e.From) / 1e9, float64(e.Until) / 1e9})
			}
		}
		if len(spans) > 0 {
			row := float64(len(ticks))
			ticks = append(ticks, plot.Tick{Value: row, Label: c.Name})
			p.Add(spanRow{spans, row})
		}
	}
	if len(ticks) == 0 {
		return nil
	}
	p.Y.Tick.Marker = plot.ConstantTicks(ticks)
	p.Y.Min, p.Y.Max = -0.6, float64(len(ticks))-0.4
	timeAxis(r, p)
	return p
}

// mostDays is the count of days up to which the bar plot shows days; with more it shows months.
const mostDays = 190

// daily shows totals of days, or months, side by side.
func daily(run *report.Run) *picture {
	periods, what := run.Result.Days, "day"
	if len(periods) > mostDays {
		periods, what = run.Result.Months, "month"
	}
	unit := run.Site().Report.VolumeUnit
	p := newPlot("Totals by reporting "+what, fmt.Sprintf("volume (%s per %s)", unit.Symbol, what))
	before := bars{shade: light, outline: pale, offset: -0.42, width: 0.42}
	after := bars{shade: ink, outline: ink, offset: 0, width: 0.42}
	for i := range periods {
		d := &periods[i]
		if !d.Before.Missing() {
			before.add(d, unit.FromSI(d.Before.M3()))
		}
		if !d.After.Missing() {
			after.add(d, unit.FromSI(d.After.M3()))
		}
	}
	p.Add(before, after)
	p.Legend.Add("before", before)
	p.Legend.Add("after", after)
	if limit := run.Site().Report.DailyVolume; limit != nil && what == "day" {
		line := plotter.XYs{
			{X: float64(run.Result.Total.From) / 1e9, Y: unit.FromSI(limit.SI)},
			{X: float64(run.Result.Total.Until) / 1e9, Y: unit.FromSI(limit.SI)},
		}
		addLine(p, line, "limit "+limit.Text, func(l *plotter.Line) {
			l.LineStyle = draw.LineStyle{
				Color: ink, Width: vg.Points(0.8), Dashes: []vg.Length{vg.Points(1), vg.Points(2)},
			}
		}, true)
	}
	timeAxis(run, p)
	p.X.Min, p.X.Max = float64(periods[0].From)/1e9, float64(periods[len(periods)-1].Until)/1e9
	headroom(p)
	return &picture{name: "totals", height: 10 * vg.Centimeter, parts: []*plot.Plot{p}}
}

// cumulative shows the volume since the beginning by each lane, and by the counter.
func cumulative(run *report.Run) *picture {
	unit := run.Site().Report.VolumeUnit
	p := newPlot("Cumulative volume", "volume ("+unit.Symbol+")")
	for _, x := range []struct {
		name   string
		volume func(*recompute.Period) total.Volume
		style  func(*plotter.Line)
	}{
		{
			"counter of the meter", func(d *recompute.Period) total.Volume { return d.Counted },
			func(l *plotter.Line) {
				l.LineStyle = draw.LineStyle{Color: light, Width: vg.Points(4)}
			},
		},
		{"before: recorded settings", func(d *recompute.Period) total.Volume { return d.Before }, beforeLine},
		{"after: corrected and screened", func(d *recompute.Period) total.Volume { return d.After }, afterLine},
	} {
		points := plotter.XYs{{X: float64(run.Result.Total.From) / 1e9}}
		sum, covered := 0.0, int64(0)
		for i := range run.Result.Days {
			d := &run.Result.Days[i]
			v := x.volume(d)
			sum, covered = sum+v.M3(), covered+v.Covered
			points = append(
				points,
				plotter.XY{X: float64(min(d.Until, run.Result.Total.Until)) / 1e9, Y: unit.FromSI(sum)},
			)
		}
		if covered > 0 {
			addLine(p, points, x.name, x.style, true)
		}
	}
	timeAxis(run, p)
	p.Legend.Left = true
	return &picture{name: "cumulative", height: 10 * vg.Centimeter, parts: []*plot.Plot{p}}
}

// leastDuration is how many measured days a flow duration curve needs, common practice.
const leastDuration = 20

// duration shows the mean flow of a day over the share of the days on which it was exceeded, by the plotting position i
// / (n + 1); nil for a few days.
func duration(run *report.Run) *picture {
	unit, least := run.Site().Report.FlowUnit, run.Site().Report.Complete.LeastDay
	p := newPlot("Flow duration", "mean flow of a day ("+unit.Symbol+")")
	p.X.Label.Text = "share of the measured days on which it was exceeded (%)"
	for _, x := range []struct {
		name   string
		volume func(*recompute.Period) total.Volume
		style  func(*plotter.Line)
	}{
		{"before: recorded settings", func(d *recompute.Period) total.Volume { return d.Before }, beforeLine},
		{"after: corrected and screened", func(d *recompute.Period) total.Volume { return d.After }, afterLine},
	} {
		var flows []float64
		for i := range run.Result.Days {
			d := &run.Result.Days[i]
			if v := x.volume(d); !v.Missing() && run.Result.Covered(d, v) >= least {
				flows = append(flows, unit.FromSI(v.M3()/(float64(v.Covered)*1e-9)))
			}
		}
		if len(flows) < leastDuration {
			return nil
		}
		slices.Sort(flows)
		points := make(plotter.XYs, len(flows))
		for i, v := range flows {
			points[i] = plotter.XY{X: 100 * float64(len(flows)-i) / float64(len(flows)+1), Y: v}
		}
		addLine(p, points, x.name, x.style, true)
	}
	p.X.Min, p.X.Max = 0, 100
	headroom(p)
	return &picture{name: "duration", height: 9 * vg.Centimeter, parts: []*plot.Plot{p}}
}

// The default font of the plot package is a serif; tables and plots of a report read better without.
func init() {
	plot.DefaultFont = font.Font{Typeface: "Liberation", Variant: "Sans"}
	plotter.DefaultFont = plot.DefaultFont
}
