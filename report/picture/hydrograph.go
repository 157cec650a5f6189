package picture

import (
	"fmt"
	"math"
	"slices"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/report"
)

// mostLine is the longest stretch of time over which flow is drawn as a line.
const mostLine = 16 * day

// flowPlot is flow over time.
type flowPlot struct {
	Options
	run         *report.Run
	from, until int64
	unit        quantity.Unit
	limit       float64 // of any single flow, in the report's unit; NaN without one
	line        *flowLine
	bars        []bar
	every       string // what a bar stands for
}

// Hydrograph draws flow before and after: as lines up to two weeks, beyond as a bar a day, a week or a month. Every
// peak is the end of some bar or band. Quartiles are exact up to 65,536 readings a bar, and to 0.4 % of themselves
// beyond.
func (g *Gatherer) Hydrograph(run *report.Run, o Options) *Picture {
	p := &flowPlot{run: run, unit: run.Site().Report.FlowUnit, limit: math.NaN()}
	p.from, p.until = o.span(run)
	if l := run.Site().Report.Peak; l != nil {
		p.limit = p.unit.FromSI(l.SI)
	}
	g.finish()
	switch length := p.until - p.from; {
	case length <= mostLine && g.fine.width <= int64(20*time.Minute):
		p.line = newFlowLine(run, g.fine.list(), g.fine.width, p.from, p.until, droppedSpans(run))
	case length <= 124*day:
		p.bars, p.every = g.days, "day"
	case length <= 4*366*day:
		p.bars, p.every = g.weeks, "week"
	default:
		p.bars, p.every = g.months, "month"
	}
	strip := newStrip(run, p.from, p.until)
	p.Options = o.size(760, 290+strip.height())
	return p.picture(strip)
}

// extent is between what the flows lie.
func (p *flowPlot) extent() (least, most float64) {
	if p.line != nil {
		return p.line.extent(&p.Options, p.unit.FromSI)
	}
	for i := range p.bars {
		b := &p.bars[i]
		if b.n > 0 && p.shows(LaneAfter) {
			least, most = math.Min(least, p.unit.FromSI(b.low)), math.Max(most, p.unit.FromSI(b.high))
		}
		if finite(b.was) && p.shows(LaneBefore) {
			most = math.Max(most, p.unit.FromSI(b.was))
		}
	}
	return least, most
}

// picture lays the plot out.
func (p *flowPlot) picture(strip *strip) *Picture {
	f := &frame{from: p.from, until: p.until, clock: clock{p.run.Site().Report.Clock.Location}}
	least, most := p.extent()
	inside := p.limit <= 1.6*most
	top := most
	if inside {
		top = math.Max(most, p.limit)
	}
	f.scaleTo(least, top, 0.05)
	f.left, f.right = math.Max(math.Max(46, room(f.low, f.high)), strip.room()), p.Width-14
	if finite(p.limit) {
		f.right = p.Width - limitRoom(p.limit)
	}
	spans := corrections(p.run, f.from, f.until)
	gaps := seen(gapsOf(p.run, f.from, f.until), f.from, f.until, f.right-f.left)
	c := newCrown(f)
	c.add(spans, gaps, nil)
	k := p.key(len(gaps) > 0, c.left)
	strip.keys(k)
	f.top = float64(k.lineCount(f.left, p.Width))*keyLine + 4 + c.height()
	f.bottom = math.Max(p.Height-26-strip.height(), f.top+20)
	text := fmt.Sprintf("Flow of %s, %s, before and after correction", p.run.Title(), dates(p.run, p.from, p.until))
	if most > 0 {
		text += fmt.Sprintf(": the highest is %s %s", rounded(most), symbol(p.unit))
	}
	text += "."
	return &Picture{
		Name: "hydrograph", Title: text, Caption: "Flow before and after", Width: p.Width, Height: p.Height,
		draw: func(s *sheet) {
			f.sheet = s
			k.draw(s, f.left, p.Width, 0)
			f.shade(spans)
			f.values()
			if p.line != nil {
				p.line.draw(f, &p.Options, p.unit.FromSI)
			} else {
				p.drawBars(f)
			}
			f.gaps(gaps)
			f.peakLimit(p.limit, inside)
			if after, _ := p.occur(); !after && (p.line == nil || len(p.line.runs) == 0) && p.shows(LaneAfter) {
				f.nothing()
			}
			f.base()
			c.draw()
			strip.draw(f)
		},
	}
}

// peakLimit draws the limit of any single flow, or says that it is far above.
func (f *frame) peakLimit(limit float64, inside bool) {
	if !finite(limit) {
		return
	}
	y, name := f.top+13, "limit ↑"
	if inside {
		y, name = math.Max(f.top+9, math.Min(f.y(limit), f.bottom-14)), "limit"
		ends := []point{{f.left, f.y(limit)}, {f.right + 4, f.y(limit)}}
		f.line(pen{Paper, 3, nil}, ends...)
		f.line(pen{Ink, 1.3, []float64{7, 3}}, ends...)
	}
	f.text(heavy, f.right+8, y-1, name)
	f.text(heavy, f.right+8, y+12, rounded(limit))
}

// key lists what occurs.
func (p *flowPlot) key(gaps bool, left int) *key {
	k := &key{title: "Flow", unit: symbol(p.unit) + yearOf(p.run, p.from, p.until)}
	if p.line != nil {
		p.line.keys(k, &p.Options)
	} else {
		k.unit += ", a bar a " + p.every
		after, before := p.occur()
		if after {
			k.add("after, median", lineSign(medianPen))
			k.add("middle half", boxSign(Middle))
			k.add("least to greatest", func(s *sheet, x, y float64) {
				s.box(Range, x+1, y-9, x+12, y)
				s.lines(edgePen, [][4]float64{{x + 1, y - 9, x + 12, y - 9}, {x + 1, y, x + 12, y}})
			})
		}
		if before {
			k.add("before, greatest", lineSign(beforeTick))
		}
	}
	if gaps {
		k.add("no readings", hatchSign(gapPen, 4, false))
	}
	if left > 0 {
		k.add(fmt.Sprintf("%d more corrections, shaded", left), boxSign(Span))
	}
	return k
}

// occur reports which lanes the bars show.
func (p *flowPlot) occur() (after, before bool) {
	for i := range p.bars {
		after, before = after || p.bars[i].n > 0, before || finite(p.bars[i].was)
	}
	return after && p.shows(LaneAfter), before && p.shows(LaneBefore)
}

var (
	medianPen = pen{Ink, 1.6, nil}
	edgePen   = pen{Middle, 0.9, nil}
	afterPen  = pen{After, 1.6, nil}
	bridgePen = pen{After, 1.4, []float64{5, 4}}
	wasPen    = pen{Before, 0.9, nil}
)

// drawBars draws a bar a unit of the calendar.
func (p *flowPlot) drawBars(f *frame) {
	var ranges, middles, edges, medians, ticks [][4]float64
	for i := range p.bars {
		b := &p.bars[i]
		x0, x1 := f.x(b.from), f.x(b.until)
		y := func(v float64) float64 { return f.y(p.unit.FromSI(v)) }
		if finite(b.was) && p.shows(LaneBefore) {
			ticks = append(ticks, [4]float64{x0, y(b.was), x1, y(b.was)})
		}
		if b.n == 0 || !p.shows(LaneAfter) || x1 <= x0 {
			continue
		}
		l, r := x0+0.1*(x1-x0), x1-0.1*(x1-x0)
		ranges = append(ranges, [4]float64{l, y(b.high), r, y(b.low)})
		middles = append(middles, [4]float64{l, y(b.threeQuarters), r, y(b.quarter)})
		edges = append(edges, [4]float64{l, y(b.high), r, y(b.high)}, [4]float64{l, y(b.low), r, y(b.low)})
		medians = append(medians, [4]float64{l, y(b.middle), r, y(b.middle)})
	}
	f.boxes(Range, ranges)
	f.boxes(Middle, middles)
	f.lines(edgePen, edges)
	f.lines(medianPen, medians)
	f.lines(beforeTick, ticks)
}

// flowLine is flow as lines over bands.
type flowLine struct {
	width   int64
	runs    [][]slot // that follow each other without a break
	bridges [][2]int // numbers of runs between which screening bridged
	before  [][]slot
	several bool // slots hold more than one reading
}

// newFlowLine cuts the slots of a stretch of time where something is missing between them.
func newFlowLine(run *report.Run, slots []slot, width, from, until int64, dropped *droppedTimes) *flowLine {
	l := &flowLine{width: width}
	gap := max(run.Log.LongestGap().Nanoseconds(), width)
	var lastWas int64
	var last *slot
	for i := range slots {
		s := &slots[i]
		if (s.at+1)*width <= from || s.at*width > until {
			continue
		}
		if finite(s.was) {
			if len(l.before) == 0 || (s.at-lastWas)*width > gap+width {
				l.before = append(l.before, nil)
			}
			n := len(l.before) - 1
			l.before[n], lastWas = append(l.before[n], *s), s.at
		}
		if !s.any() {
			continue
		}
		l.several = l.several || s.n > 1
		if last == nil {
			l.runs = append(l.runs, nil)
		} else if broken, bridged := dropped.between(last.last, s.first, gap); broken || bridged {
			l.runs = append(l.runs, nil)
			if bridged {
				l.bridges = append(l.bridges, [2]int{len(l.runs) - 2, len(l.runs) - 1})
			}
		}
		n := len(l.runs) - 1
		l.runs[n] = append(l.runs[n], *s)
		last = s
	}
	return l
}

// droppedTimes are spans whose readings do not count, in the order of time; each with whether it is bridged.
type droppedTimes struct {
	spans []droppedSpan
	next  int
}

type droppedSpan struct {
	from, until int64
	bridged     bool
}

func droppedSpans(run *report.Run) *droppedTimes {
	d := &droppedTimes{}
	for _, e := range run.Result.Events {
		if e.Drops() {
			d.spans = append(d.spans, droppedSpan{e.From, e.Until, e.Action == site.Bridge})
		}
	}
	slices.SortStableFunc(d.spans, func(a, b droppedSpan) int { return int(min(1, max(-1, a.from-b.from))) })
	return d
}

// between says what lies between two readings that count; they rise from call to call.
func (d *droppedTimes) between(a, b, gap int64) (broken, bridged bool) {
	for d.next < len(d.spans) && d.spans[d.next].until <= a {
		d.next++
	}
	for i := d.next; i < len(d.spans) && d.spans[i].from < b; i++ {
		if s := &d.spans[i]; s.until > a {
			broken, bridged = broken || !s.bridged, bridged || s.bridged
		}
	}
	if !bridged && b-a > gap {
		broken = true
	}
	return broken, bridged && !broken
}

// extent is between what the line lies, in the report's unit.
func (l *flowLine) extent(o *Options, unit func(float64) float64) (least, most float64) {
	for _, run := range l.runs {
		for i := range run {
			if o.shows(LaneAfter) {
				least, most = math.Min(least, unit(run[i].low)), math.Max(most, unit(run[i].high))
			}
		}
	}
	for _, run := range l.before {
		for i := range run {
			if o.shows(LaneBefore) {
				most = math.Max(most, unit(run[i].was))
			}
		}
	}
	return least, most
}

func (l *flowLine) keys(k *key, o *Options) {
	of := ""
	if l.several {
		of = ", mean of " + quantity.FormatDuration(time.Duration(l.width))
	}
	if o.shows(LaneAfter) && len(l.runs) > 0 {
		k.add("after"+of, lineSign(afterPen))
		if l.several {
			k.add("least to greatest", boxSign(Middle))
		}
		if len(l.bridges) > 0 {
			k.add("bridged", lineSign(bridgePen))
		}
	}
	if o.shows(LaneBefore) && len(l.before) > 0 {
		text := "before"
		if l.several {
			text = "before, greatest"
		}
		k.add(text, func(s *sheet, x, y float64) {
			s.box(BeforeArea, x+1, y-9, x+12, y)
			s.outline(wasPen, x+1, y-9, x+12, y)
		})
	}
}

// draw draws what was as an area, and what is as a line over its band.
func (l *flowLine) draw(f *frame, o *Options, unit func(float64) float64) {
	x := func(s *slot) float64 { return f.x(s.at*l.width + l.width/2) }
	if o.shows(LaneBefore) {
		for _, run := range l.before {
			l.drawBefore(f, run, x, unit)
		}
	}
	if !o.shows(LaneAfter) {
		return
	}
	for _, run := range l.runs {
		if l.several {
			l.drawBand(f, run, x, unit)
		}
	}
	for _, run := range l.runs {
		points := make([]point, 0, len(run)+1)
		for i := range run {
			points = append(points, point{x(&run[i]), f.y(unit(run[i].mean()))})
		}
		if len(points) == 1 {
			p := points[0]
			points = []point{{p.x - 0.8, p.y}, {p.x + 0.8, p.y}}
		}
		f.line(afterPen, points...)
	}
	for _, b := range l.bridges {
		from, to := &l.runs[b[0]][len(l.runs[b[0]])-1], &l.runs[b[1]][0]
		f.line(bridgePen, point{x(from), f.y(unit(from.mean()))}, point{x(to), f.y(unit(to.mean()))})
	}
}

// mostCorners bounds the corners of one area: the time to fill it grows with their square.
const mostCorners = 120

func (l *flowLine) drawBefore(f *frame, run []slot, x func(*slot) float64, unit func(float64) float64) {
	edge := make([]point, len(run))
	for i := range run {
		edge[i] = point{x(&run[i]), f.y(unit(run[i].was))}
	}
	zero := f.y(0)
	if len(edge) == 1 {
		edge = append(edge, point{edge[0].x + 0.8, edge[0].y})
	}
	for _, part := range f.parts(edge) {
		corners := append(slices.Clone(part), point{part[len(part)-1].x, zero}, point{part[0].x, zero})
		f.area(BeforeArea, corners...)
	}
	f.line(wasPen, edge...)
}

// parts cuts a line where areas are best drawn in parts, which share two corners, so that no seam is seen.
func (s *sheet) parts(points []point) (list [][]point) {
	if s.chunk == 0 {
		return [][]point{points}
	}
	for len(points) > 1 {
		if len(points) <= mostCorners {
			return append(list, points)
		}
		list, points = append(list, points[:mostCorners]), points[mostCorners-2:]
	}
	return list
}

func (l *flowLine) drawBand(f *frame, run []slot, x func(*slot) float64, unit func(float64) float64) {
	low, high := make([]point, len(run)), make([]point, len(run))
	for i := range run {
		low[i] = point{x(&run[i]), f.y(unit(run[i].low)) + 0.3}
		high[i] = point{x(&run[i]), f.y(unit(run[i].high)) - 0.3}
	}
	if len(run) == 1 {
		f.box(Middle, low[0].x-0.8, high[0].y, low[0].x+0.8, low[0].y)
		return
	}
	lows := f.parts(low)
	for i, part := range f.parts(high) {
		under := slices.Clone(lows[i])
		slices.Reverse(under)
		f.area(Middle, append(slices.Clone(part), under...)...)
	}
}

// strip is a row a check that flagged something: filled where it changes the total, open where readings are kept.
type strip struct {
	rows []stripRow
	more int // checks without a row
}

type stripRow struct {
	name   string
	filled []spanOfTime
	open   []spanOfTime
}

const (
	mostStripRows = 6
	stripRowHigh  = 14.0
	// mostStrip is the longest stretch of time over which flags tell something: in a longer one they run together.
	mostStrip = 124 * day
)

func newStrip(run *report.Run, from, until int64) *strip {
	s := &strip{}
	if until-from > mostStrip {
		return s
	}
	for _, c := range qa.Checks {
		if c.Flag == qa.Gap {
			continue
		}
		row := stripRow{name: c.Name}
		for _, e := range run.Result.Events {
			if e.Flag != c.Flag || e.Until < from || e.From > until {
				continue
			}
			if span := (spanOfTime{from: e.From, until: e.Until}); e.Action != site.Keep {
				row.filled = append(row.filled, span)
			} else {
				row.open = append(row.open, span)
			}
		}
		if len(row.filled)+len(row.open) == 0 {
			continue
		}
		if len(s.rows) == mostStripRows {
			s.more++
			continue
		}
		s.rows = append(s.rows, row)
	}
	return s
}

func (s *strip) height() float64 {
	if len(s.rows) == 0 {
		return 0
	}
	return float64(len(s.rows))*stripRowHigh + 8
}

// room is how wide the names of the checks are.
func (s *strip) room() float64 {
	most := 0.0
	for _, r := range s.rows {
		most = math.Max(most, width(small, r.name)+12)
	}
	return most
}

var small = letters{Second, 11, false, rightOf}

// keys adds what the marks mean.
func (s *strip) keys(k *key) {
	var filled, open bool
	for _, r := range s.rows {
		filled, open = filled || len(r.filled) > 0, open || len(r.open) > 0
	}
	if filled {
		k.add("flag that changes the total", boxSign(Ink))
	}
	if open {
		k.add("flag, readings kept", func(s *sheet, x, y float64) {
			s.outline(pen{Ink, 0.9, nil}, x+1, y-8, x+12, y-1)
		})
	}
	if s.more > 0 {
		k.add(fmt.Sprintf("%d more checks flag readings", s.more), func(*sheet, float64, float64) {})
	}
}

// draw draws the rows below a plot, and the time axis below them.
func (s *strip) draw(f *frame) {
	below := *f
	for i, r := range s.rows {
		y := f.bottom + 8 + float64(i)*stripRowHigh
		f.text(small, f.left-6, y+10, r.name)
		f.line(pen{Grid, 0.8, nil}, point{f.left, y + 6.5}, point{f.right, y + 6.5})
		f.boxes(Ink, f.marks(r.filled, y+2, y+11))
		for _, b := range f.marks(r.open, y+2, y+11) {
			f.box(Paper, b[0], b[1], b[2], b[3])
			f.outline(pen{Ink, 0.9, nil}, b[0], b[1], b[2], b[3])
		}
	}
	below.bottom += s.height()
	below.times(true)
}

// marks are boxes of spans, at least 1.6 wide, joined where they would touch.
func (f *frame) marks(spans []spanOfTime, y0, y1 float64) (list [][4]float64) {
	for _, s := range spans {
		x0, x1 := f.x(s.from), f.x(s.until)
		if x1 < x0+1.6 {
			x0, x1 = (x0+x1)/2-0.8, (x0+x1)/2+0.8
		}
		if n := len(list); n > 0 && x0 <= list[n-1][2] {
			list[n-1][2] = math.Max(list[n-1][2], x1)
		} else {
			list = append(list, [4]float64{x0, y0, x1, y1})
		}
	}
	return list
}
