package picture

import (
	"fmt"
	"math"
	"slices"

	"retotal/recompute"
	"retotal/recompute/total"
	"retotal/report"
)

// sums are volumes since the beginning, in the report's unit; nil where a lane has none.
type sums struct {
	before, after, counted []corner
	band                   []knownBy
}

// Cumulative draws the volume since the beginning by each lane and by the counter, with what is known of it.
func Cumulative(run *report.Run, o Options) *Picture {
	from, until := o.span(run)
	o = o.size(760, 290)
	x := &sums{
		before:  summed(run, from, until, func(d *recompute.Period) total.Volume { return d.Before }),
		after:   summed(run, from, until, func(d *recompute.Period) total.Volume { return d.After }),
		counted: summed(run, from, until, func(d *recompute.Period) total.Volume { return d.Counted }),
		band:    knownOf(run, from, until),
	}
	p := &plotOf{}
	p.from, p.until, p.clock = from, until, clock{run.Site().Report.Clock.Location}
	p.key = key{title: "Volume since the beginning", unit: symbol(run.Site().Report.VolumeUnit)}
	p.scaleTo(x.least(), x.most(), 0.04)
	x.keys(&p.key, &o)
	p.place(&o)
	return &Picture{
		Name: "cumulative", Caption: "Cumulative volume", Width: o.Width, Height: o.Height,
		Title: fmt.Sprintf("Volume since the beginning at %s, %s, before and after correction.", run.Title(),
			dates(run, from, until)),
		draw: func(s *sheet) {
			p.sheet = s
			p.key.draw(s, p.left, o.Width, 0)
			p.values()
			if o.shows(LaneBefore) {
				p.underLine(p.through(x.before))
			}
			if o.shows(LaneAfter) {
				p.known(x.band)
				p.line(afterPen, p.through(x.after)...)
			}
			if o.shows(LaneCounter) {
				p.counted(x.counted)
			}
			p.base()
			p.times(true)
		},
	}
}

// summed adds the days of a lane up; nil where none is covered.
func summed(run *report.Run, from, until int64, of func(*recompute.Period) total.Volume) []corner {
	sum, covered := 0.0, int64(0)
	list := []corner{{from, 0}}
	for i := range run.Result.Days {
		d := &run.Result.Days[i]
		if d.From < from || d.From >= until {
			continue
		}
		v := of(d)
		sum, covered = sum+v.M3(), covered+v.Covered
		list = append(list, corner{min(d.Until, until), run.Site().Report.VolumeUnit.FromSI(sum)})
	}
	if covered == 0 {
		return nil
	}
	return list
}

// least and most are between what the volumes lie.
func (x *sums) least() (v float64) {
	for _, l := range [][]corner{x.before, x.after, x.counted} {
		for _, c := range l {
			v = math.Min(v, c.v)
		}
	}
	return v
}

func (x *sums) most() (v float64) {
	for _, l := range [][]corner{x.before, x.after, x.counted} {
		for _, c := range l {
			v = math.Max(v, c.v)
		}
	}
	for _, b := range x.band {
		if finite(b.high) {
			v = math.Max(v, b.high)
		}
	}
	return v
}

// keys lists what occurs.
func (x *sums) keys(k *key, o *Options) {
	if x.after != nil && o.shows(LaneAfter) {
		k.add("after", lineSign(afterPen))
		if x.band != nil {
			k.add("95 % interval", boxSign(Middle))
		}
	}
	if x.before != nil && o.shows(LaneBefore) {
		k.add("before", beforeSign)
	}
	if x.counted != nil && o.shows(LaneCounter) {
		k.add("counter of the meter", func(s *sheet, x, y float64) { s.ring(pen{Ink, 1, nil}, x+7, y-4, 2.6, false) })
	}
}

// corner is a value at an instant.
type corner struct {
	at int64
	v  float64
}

func (f *frame) through(corners []corner) []point {
	points := make([]point, len(corners))
	for i, c := range corners {
		points[i] = point{f.x(c.at), f.y(c.v)}
	}
	return thinned(points)
}

// counted draws what the counter says as rings, 24 apart.
func (f *frame) counted(corners []corner) {
	last := math.Inf(-1)
	for _, c := range corners {
		if x := f.x(c.at); x-last >= 24 {
			f.ring(pen{Ink, 1, nil}, x, f.y(c.v), 2.6, false)
			last = x
		}
	}
}

// knownBy is between what the volume since the beginning lies, in the report's unit.
type knownBy struct {
	at        int64
	low, high float64
}

// knownOf works the interval out at a dozen instants: intervals of days do not add up.
func knownOf(run *report.Run, from, until int64) (list []knownBy) {
	if run.Result.Total.Budget == nil {
		return nil
	}
	first, last := 0, -1
	for i := range run.Result.Days {
		if d := &run.Result.Days[i]; d.From < from {
			first = i + 1
		} else if d.From < until {
			last = i
		}
	}
	const most = 12
	unit := run.Site().Report.VolumeUnit
	list = []knownBy{{at: from}}
	for k := 1; k <= most; k++ {
		end := first + (last-first+1)*k/most - 1
		if end < first || len(list) > 1 && list[len(list)-1].at >= run.Result.Days[end].Until {
			continue
		}
		begin, stop := run.Result.Days[first].Label, run.Result.Days[end].Label
		for _, p := range run.Result.Periods(func(day string) string {
			if day >= begin && day <= stop {
				return "within"
			}
			return day[:4]
		}) {
			if x, ok := p.Interval(); ok && p.Label == "within" {
				at := min(run.Result.Days[end].Until, until)
				list = append(list, knownBy{at, unit.FromSI(x.Low), unit.FromSI(x.High)})
			}
		}
	}
	return list
}

// known draws the band of intervals; one that nothing bounds goes up to the top.
func (f *frame) known(band []knownBy) {
	if len(band) < 2 {
		return
	}
	var up, down []point
	for _, b := range band {
		high := b.high
		if !finite(high) {
			high = f.high
		}
		up, down = append(up, point{f.x(b.at), f.y(high)}), append(down, point{f.x(b.at), f.y(b.low)})
	}
	slices.Reverse(down)
	f.area(Middle, append(up, down...)...)
}
