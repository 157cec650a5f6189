package picture

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"retotal/recompute"
	"retotal/recompute/total"
	"retotal/recompute/uncertainty"
	"retotal/report"
)

// plotOf lays out a plot with a key, and numbers on both axes.
type plotOf struct {
	frame
	key
	x0, x1 float64 // values of the horizontal axis
	name   string  // of the horizontal axis
}

// across is where a value of the horizontal axis lies.
func (p *plotOf) across(v float64) float64 {
	share := (v - p.x0) / (p.x1 - p.x0)
	return p.left + math.Max(0, math.Min(share, 1))*(p.right-p.left)
}

// place gives the plot its room in a picture.
func (p *plotOf) place(o *Options) {
	p.left, p.right = math.Max(46, room(p.low, p.high)), o.Width-20
	p.top = float64(p.lineCount(p.left, o.Width))*keyLine + 10
	p.bottom = math.Max(o.Height-26, p.top+20)
	if p.name != "" {
		p.bottom -= 14
	}
}

// numbers draws the horizontal axis.
func (p *plotOf) numbers() {
	list, step := rounds(p.x0, p.x1, 8)
	var ticks [][4]float64
	for _, v := range list {
		ticks = append(ticks, [4]float64{p.across(v), p.bottom, p.across(v), p.bottom + 5})
		p.text(plain.to(middleOf), p.across(v), p.bottom+17, roundName(v, step))
	}
	p.lines(pen{Ink, 1, nil}, ticks)
	p.line(pen{Ink, 1, nil}, point{p.left, p.bottom}, point{p.right, p.bottom})
	p.text(minor.to(rightOf), p.right, p.bottom+33, p.name)
}

// thinned leaves out corners so near to the one before that nobody sees them; the last one stays.
func thinned(points []point) []point {
	const near = 0.6
	out := points[:0:0]
	for i, p := range points {
		if n := len(out); n == 0 || i == len(points)-1 || math.Abs(p.x-out[n-1].x) > near ||
			math.Abs(p.y-out[n-1].y) > near {
			out = append(out, p)
		}
	}
	return out
}

// underLine draws what was as an area below a thin edge.
func (p *plotOf) underLine(points []point) {
	if len(points) < 2 {
		return
	}
	zero := p.y(0)
	for _, part := range p.parts(points) {
		p.area(BeforeArea, append(slices.Clone(part), point{part[len(part)-1].x, zero}, point{part[0].x, zero})...)
	}
	p.line(wasPen, points...)
}

func beforeSign(s *sheet, x, y float64) {
	s.box(BeforeArea, x+1, y-9, x+12, y)
	s.outline(wasPen, x+1, y-9, x+12, y)
}

// leastDuration is how many measured days a flow duration curve needs, common practice.
const leastDuration = 20

// Duration draws the mean flow of a day over the share of the days on which it was exceeded, by the plotting position i
// / (n + 1); nil for a few days.
func Duration(run *report.Run, o Options) *Picture {
	from, until := o.span(run)
	o = o.size(760, 290)
	before := daysOf(run, from, until, func(d *recompute.Period) total.Volume { return d.Before })
	after := daysOf(run, from, until, func(d *recompute.Period) total.Volume { return d.After })
	if len(before) < leastDuration || len(after) < leastDuration {
		return nil
	}
	p := &plotOf{x1: 100, name: "share of the measured days on which it was exceeded, %"}
	p.key = key{title: "Mean flow of a day", unit: symbol(run.Site().Report.FlowUnit)}
	p.add("after", lineSign(afterPen))
	p.add("before", beforeSign)
	p.scaleTo(math.Min(before[0], after[0]), math.Max(before[len(before)-1], after[len(after)-1]), 0.05)
	p.place(&o)
	return &Picture{
		Name: "duration", Caption: "Flow duration: the mean flow of a day, and on how many of the days it was exceeded",
		Title: fmt.Sprintf("Mean flow of a day at %s over the share of days on which it was exceeded, before "+
			"and after correction: half the days exceed %s before and %s after.", run.Title(),
			rounded(before[len(before)/2]), rounded(after[len(after)/2])),
		Width: o.Width, Height: o.Height,
		draw: func(s *sheet) {
			p.sheet = s
			p.key.draw(s, p.left, o.Width, 0)
			p.values()
			if o.shows(LaneBefore) {
				p.underLine(p.exceeded(before))
			}
			if o.shows(LaneAfter) {
				p.line(afterPen, p.exceeded(after)...)
			}
			p.numbers()
		},
	}
}

// daysOf are the mean flows of measured days, the least first.
func daysOf(run *report.Run, from, until int64, of func(*recompute.Period) total.Volume) (flows []float64) {
	unit, least := run.Site().Report.FlowUnit, run.Site().Report.Complete.LeastDay
	for i := range run.Result.Days {
		d := &run.Result.Days[i]
		if d.Until <= from || d.From >= until {
			continue
		}
		if v := of(d); !v.Missing() && run.Result.Covered(d, v) >= least {
			flows = append(flows, unit.FromSI(v.M3()/(float64(v.Covered)*1e-9)))
		}
	}
	slices.Sort(flows)
	return flows
}

// exceeded are the corners of a duration curve.
func (p *plotOf) exceeded(flows []float64) []point {
	points := make([]point, len(flows))
	for i, v := range flows {
		points[i] = point{p.across(100 * float64(len(flows)-i) / float64(len(flows)+1)), p.y(v)}
	}
	return thinned(points)
}

// Budget draws the share of each source in the square of the total's uncertainty; nil without a budget.
func Budget(run *report.Run, o Options) *Picture {
	b := run.Result.Total.Budget
	if b == nil || !(b.Standard > 0) {
		return nil
	}
	parts := largest(b)
	const most, high = 10, 20.0
	parts = parts[:min(len(parts), most)]
	unit := run.Site().Report.VolumeUnit
	k := key{title: "Uncertainty of the total", unit: "share of each source in its square"}
	o = o.size(760, 0)
	if o.Height == 0 {
		o.Height = keyLine + 12 + high*float64(len(parts))
	}
	left := 0.0
	for _, p := range parts {
		left = math.Min(math.Max(left, width(plain, p.Component.Name)+8), o.Width/2)
	}
	scale := (o.Width - left - 160) / 1
	pitch := math.Min(high, (o.Height-keyLine-12)/float64(max(len(parts), 1)))
	return &Picture{
		Name: "budget", Caption: "Where the uncertainty of the total comes from", Width: o.Width, Height: o.Height,
		Title: fmt.Sprintf("Sources of the uncertainty of the total of %s, %s %s (95 %%), the largest first.",
			run.Title(), rounded(unit.FromSI(b.Expanded())), symbol(unit)),
		draw: func(s *sheet) {
			k.draw(s, 0, o.Width, 0)
			for i, p := range parts {
				y := keyLine + 8 + float64(i)*pitch
				share := p.Effect * p.Effect / (b.Standard * b.Standard)
				s.text(plain.to(rightOf), left-8, y+pitch*0.7, fit(plain, p.Component.Name, left-8))
				s.box(After, left, y+pitch*0.15, left+math.Max(share, 0.001)*scale, y+pitch*0.85)
				s.text(plain, left+share*scale+6, y+pitch*0.7, fmt.Sprintf("%s, ± %s %s", percent(share),
					figures(unit.FromSI(2*math.Abs(p.Effect)), 3), symbol(unit)))
			}
			s.line(pen{Ink, 1, nil}, point{left, keyLine + 6}, point{left, keyLine + 8 + pitch*float64(len(parts))})
		},
	}
}

// largest are the parts of a budget that add something, the largest first.
func largest(b *uncertainty.Budget) []uncertainty.Part {
	parts := slices.DeleteFunc(slices.Clone(b.Parts), func(p uncertainty.Part) bool {
		return math.Abs(p.Effect) <= 1e-6*b.Standard
	})
	slices.SortStableFunc(parts, func(a, b uncertainty.Part) int {
		return cmp.Compare(math.Abs(b.Effect), math.Abs(a.Effect))
	})
	return parts
}

// percent writes a share.
func percent(share float64) string {
	if share < 0.005 {
		return "< 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*share)
}
