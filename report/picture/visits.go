package picture

import (
	"fmt"
	"math"
	"time"

	"retotal/report"
)

// residual is what either lane says less what a visit found, in mm, and within what they agree.
type residual struct {
	at            int64
	before, after float64
	within        float64
}

// Visits draws what the log says less what site visits found, before and after; nil when no visit has readings near it.
func Visits(run *report.Run, o Options) *Picture {
	from, until := o.span(run)
	o = o.size(760, 230)
	half := 500 * run.Log.Resolution[run.Site().Log.Primary] // half a step of the log, mm
	var list []residual
	for i := range run.Result.Visits {
		if v := &run.Result.Visits[i]; v.Found && v.At.UTC >= from && v.At.UTC <= until {
			list = append(list, residual{v.At.UTC, 1000 * v.Before(), 1000 * v.After(), 1000*v.U95() + half})
		}
	}
	if len(list) == 0 {
		return nil
	}
	p := &plotOf{}
	p.from, p.until, p.clock = from, until, clock{run.Site().Report.Clock.Location}
	for _, r := range list {
		p.low = math.Min(p.low, math.Min(math.Min(r.before, r.after), -r.within))
		p.high = math.Max(p.high, math.Max(math.Max(r.before, r.after), r.within))
	}
	p.low, p.high = p.low-0.08*(p.high-p.low), p.high+0.08*(p.high-p.low)
	p.key = key{title: "Log less visit", unit: "mm of head"}
	p.add("after", func(s *sheet, x, y float64) { s.ring(pen{After, 1, nil}, x+7, y-4, 3.4, true) })
	p.add("before", func(s *sheet, x, y float64) { s.ring(pen{Before, 1.6, nil}, x+7, y-4, 4, false) })
	p.add("within the visit's uncertainty", boxSign(Range))
	p.place(&o)
	return &Picture{
		Name: "visits", Caption: "What the log says less what site visits found", Width: o.Width, Height: o.Height,
		Title: visitSentence(run, list),
		draw: func(s *sheet) {
			p.sheet = s
			p.key.draw(s, p.left, o.Width, 0)
			p.values()
			p.residuals(list, &o)
			p.base()
			p.times(true)
		},
	}
}

// agrees reports whether the corrected log agrees with the visit.
func (r *residual) agrees() bool { return math.Abs(r.after) <= r.within+1e-6 }

func visitSentence(run *report.Run, list []residual) string {
	agree := 0
	for i := range list {
		if list[i].agrees() {
			agree++
		}
	}
	return fmt.Sprintf("Log less site visit at %s, before and after correction: after it, %d of %d visits agree.",
		run.Title(), agree, len(list))
}

// residuals draws the visits, and dates of those that differ.
func (f *frame) residuals(list []residual, o *Options) {
	names := shelf{most: 1}
	for i := range list {
		r := &list[i]
		x := math.Max(f.left+5, math.Min(f.x(r.at), f.right-5))
		f.box(Range, x-4, f.y(r.within), x+4, f.y(-r.within))
	}
	for i := range list {
		r := &list[i]
		x := math.Max(f.left+5, math.Min(f.x(r.at), f.right-5))
		if o.shows(LaneBefore) && o.shows(LaneAfter) && math.Abs(f.y(r.before)-f.y(r.after)) > 9 {
			f.line(pen{Second, 0.8, nil}, point{x, f.y(r.before)}, point{x, f.y(r.after)})
		}
		if o.shows(LaneBefore) {
			f.ring(pen{Before, 1.6, nil}, x, f.y(r.before), 4, false)
		}
		if o.shows(LaneAfter) {
			f.ring(pen{After, 1, nil}, x, f.y(r.after), 3.4, true)
		}
		if r.agrees() {
			continue
		}
		text := time.Unix(0, r.at).In(f.clock.location).Format("2 Jan") + " differs"
		if w := width(plain, text); x+8+w < f.right {
			if _, ok := names.place(x+8, x+12+w); ok {
				f.text(plain, x+8, f.y(r.after)+4, text)
			}
		}
	}
}
