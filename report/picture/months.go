package picture

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"retotal/recompute"
	"retotal/report"
)

const (
	mostMonths   = 24 // of which a month a row is drawn; of a longer report, its last year
	rowsPerPage  = 6
	monthsWidth  = 1022 // units, A4 landscape between its margins
	monthsHeight = 640
)

// Months draws flow, a month a row, all to one scale, as pages of up to six rows: of all months up to two years, of the
// last twelve beyond.
func (g *Gatherer) Months(run *report.Run, o Options) (list []*Picture) {
	o = o.size(monthsWidth, monthsHeight)
	var months []recompute.Period
	for _, m := range run.Result.Months {
		if o.From == 0 && o.Until == 0 || m.Until > o.From && m.From < o.Until {
			months = append(months, m)
		}
	}
	if len(months) > mostMonths {
		months = months[len(months)-12:]
	}
	p := g.monthPages(run, o, months)
	pages := (len(months) + rowsPerPage - 1) / rowsPerPage
	for i := range pages { // as equal as it goes
		name := "months"
		if i > 0 {
			name += "-" + strconv.Itoa(i+1)
		}
		from, until := i*len(months)/pages, (i+1)*len(months)/pages
		list = append(list, p.page(name, p.lines[from:until], months[from:until]))
	}
	return list
}

// monthPages is what the rows have in common.
type monthPages struct {
	flowPlot
	lines []*flowLine
	low   float64
	high  float64
}

func (g *Gatherer) monthPages(run *report.Run, o Options, months []recompute.Period) *monthPages {
	p := &monthPages{flowPlot: flowPlot{Options: o, run: run, unit: run.Site().Report.FlowUnit, limit: math.NaN()}}
	slots, width := g.steps.list(), g.steps.width
	dropped := droppedSpans(run)
	for i := range months {
		own, wide := between(slots, floor(months[i].From, width), floor(months[i].Until, width)), width
		if len(months) > 3 { // a step would be less than a unit wide
			own, wide = merged(slices.Clone(own), width, int64(time.Hour)), int64(time.Hour)
		}
		line := newFlowLine(run, own, wide, months[i].From, months[i].Until, dropped)
		least, most := line.extent(&o, p.unit.FromSI)
		p.low, p.high = math.Min(p.low, least), math.Max(p.high, most)
		p.lines = append(p.lines, line)
	}
	return p
}

// between are the slots from one number to another.
func between(slots []slot, from, until int64) []slot {
	number := func(s slot, n int64) int { return cmp.Compare(s.at, n) }
	first, _ := slices.BinarySearchFunc(slots, from, number)
	last, _ := slices.BinarySearchFunc(slots, until+1, number)
	return slots[first:last]
}

// page draws some of the months.
func (p *monthPages) page(name string, lines []*flowLine, months []recompute.Period) *Picture {
	all := &flowLine{width: lines[0].width}
	for _, l := range lines {
		all.several = all.several || l.several
		all.before, all.bridges = append(all.before, l.before...), append(all.bridges, l.bridges...)
	}
	k := &key{title: "Flow, a month a row", unit: symbol(p.unit)}
	all.keys(k, &p.Options)
	gaps := gapsOf(p.run, months[0].From, months[len(months)-1].Until)
	if len(gaps) > 0 {
		k.add("no readings", hatchSign(gapPen, 4, false))
	}
	left := math.Max(46, room(p.low, p.high))
	top := float64(k.lineCount(0, p.Width))*keyLine + 8
	pitch := math.Min((p.Height-top)/float64(len(months)), 208)
	height := top + pitch*float64(len(months))
	return &Picture{
		Name: name, Caption: "Flow, a month a row", Width: p.Width, Height: height,
		Title: fmt.Sprintf("Flow of %s before and after correction, a month a row, %s.", p.run.Title(),
			dates(p.run, months[0].From, months[len(months)-1].Until)),
		draw: func(s *sheet) {
			k.draw(s, 0, p.Width, 0)
			for i := range months {
				y := top + float64(i)*pitch
				f := &frame{sheet: s, left: left, right: p.Width - 10, top: y + 20, bottom: y + pitch - 22,
					clock: clock{p.run.Site().Report.Clock.Location}}
				f.scaleTo(p.low, p.high, 0.04)
				p.row(f, &months[i], lines[i])
			}
		},
	}
}

// row draws one month.
func (p *monthPages) row(f *frame, m *recompute.Period, line *flowLine) {
	f.from, f.until = m.From, max(m.From+31*day, m.Until)
	title := m.Label
	if t, err := time.Parse("2006-01", m.Label); err == nil {
		title = t.Format("January 2006")
	}
	f.text(heavy, f.left, f.top-6, title)
	short := *f
	short.until, short.right = m.Until, f.x(m.Until)
	short.shade(corrections(p.run, m.From, m.Until))
	short.values()
	line.draw(f, &p.Options, p.unit.FromSI)
	short.gaps(seen(gapsOf(p.run, m.From, m.Until), m.From, m.Until, short.right-short.left))
	short.base()
	short.dayNames()
}

// dayNames draws the axis of a month: a tick and a number a day.
func (f *frame) dayNames() {
	var list [][4]float64
	for _, at := range f.clock.every(f.from, f.until, step{days: 1}) {
		x := f.x(at)
		list = append(list, [4]float64{x, f.bottom, x, f.bottom + 6})
		if at < f.until {
			f.text(letters{Ink, 11, false, leftOf}, x+3, f.bottom+13,
				strconv.Itoa(time.Unix(0, at).In(f.clock.location).Day()))
		}
	}
	f.lines(pen{Ink, 1, nil}, list)
	f.line(pen{Ink, 1, nil}, point{f.left, f.bottom}, point{f.right, f.bottom})
}
