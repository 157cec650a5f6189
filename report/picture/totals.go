package picture

import (
	"fmt"
	"math"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/recompute"
	"retotal/recompute/audit"
	"retotal/recompute/total"
	"retotal/report"
)

// volumeBar is the volume of a period, in the report's unit.
type volumeBar struct {
	from, until             int64
	label                   string
	before, after           float64 // NaN where missing, as are the next
	logged, counted, whatIf float64
	low, high               float64 // 95 % interval; NaN without one; high is +Inf where nothing bounds it
	limit                   float64 // NaN without one
	least                   bool    // after is only the least that flowed
	whole                   bool    // measured throughout, as good as
	unsure                  bool    // it cannot be told from the limit
}

// volumes are the bars of a picture and what they have in common.
type volumes struct {
	bars  []volumeBar
	unit  string // day, week, month or year
	limit string // how the limit is called; "" without one
	line  bool   // the limit is the same for all bars
}

const day = int64(24 * time.Hour)

// unitFor is the stretch of the calendar that bars of volume stand for: days below 120 days, weeks below 2 years,
// months below 40, years.
func unitFor(length int64) string {
	switch days := length / day; {
	case days < 120:
		return "day"
	case days < 731:
		return "week"
	case days < 40*366:
		return "month"
	}
	return "year"
}

// newVolumes makes the bars of a stretch of time.
func newVolumes(run *report.Run, from, until int64, unitName string) *volumes {
	res := run.Result
	periods := res.Days
	switch unitName {
	case "week":
		periods = res.Periods(weekOf)
	case "month":
		periods = res.Months
	case "year":
		periods = res.Periods(func(day string) string { return day[:4] })
	}
	v := &volumes{unit: unitName}
	unsure := map[string]bool{}
	for _, o := range run.Over {
		unsure[o.Day] = o.Outcome == audit.Unsure
	}
	for i := range periods {
		p := &periods[i]
		if p.Until <= from || p.From >= until {
			continue
		}
		b := newVolumeBar(run, p)
		v.limits(run, &b)
		b.unsure = unitName == "day" && unsure[p.Label]
		v.bars = append(v.bars, b)
	}
	return v
}

func newVolumeBar(run *report.Run, p *recompute.Period) volumeBar {
	unit := run.Site().Report.VolumeUnit
	in := func(v total.Volume) float64 {
		if v.Missing() {
			return math.NaN()
		}
		return unit.FromSI(v.M3())
	}
	b := volumeBar{
		from: p.From, until: p.Until, label: p.Label, before: in(p.Before), after: in(p.After),
		low: math.NaN(), high: math.NaN(), limit: math.NaN(),
		least: report.OnlyLeast(p), whole: p.Coverage() >= recompute.WholeDay,
	}
	b.logged, b.counted, b.whatIf = in(p.Logged), in(p.Counted), math.NaN()
	if len(run.Without) > 0 && len(p.WhatIf) > 0 {
		b.whatIf = in(p.WhatIf[len(p.WhatIf)-1])
	}
	if x, ok := p.Interval(); ok {
		if b.low, b.high = unit.FromSI(x.Low), unit.FromSI(x.High); x.Open {
			b.high = math.Inf(1)
		}
	}
	return b
}

// limits sets the limit of a bar: of a day, or of the mean of a month.
func (v *volumes) limits(run *report.Run, b *volumeBar) {
	r := &run.Site().Report
	switch {
	case v.unit == "day" && r.DailyVolume != nil:
		b.limit, v.limit, v.line = r.VolumeUnit.FromSI(r.DailyVolume.SI), "limit", true
	case v.unit == "month" && r.MonthlyMean != nil:
		b.limit, v.limit = r.VolumeUnit.FromSI(r.MonthlyMean.SI*float64(b.until-b.from)*1e-9), "limit"
	}
}

// greatest is the most that bars and limits reach; a limit that is far above does not count.
func (v *volumes) greatest(o *Options) (least, most float64, limitInside bool) {
	limit := 0.0
	for i := range v.bars {
		b := &v.bars[i]
		list := []float64{b.after, b.before, b.high, b.whatIf}
		if o.asks(LaneLogged) {
			list = append(list, b.logged)
		}
		if o.asks(LaneCounter) {
			list = append(list, b.counted)
		}
		for _, x := range list {
			if finite(x) {
				least, most = math.Min(least, x), math.Max(most, x)
			}
		}
		if finite(b.limit) {
			limit = math.Max(limit, b.limit)
		}
	}
	if limitInside = v.limit != "" && limit <= 1.6*most; limitInside {
		most = math.Max(most, limit)
	}
	return least, most, limitInside
}

// volumeOptions are how bars are drawn beside the size.
type volumePlot struct {
	*volumes
	Options
	run         *report.Run
	name        string
	phone       bool
	least, most float64 // of the value axis
	limitInside bool
	from, until int64
}

// Totals draws the volume of every day, week or month, before and after.
func Totals(run *report.Run, o Options) *Picture {
	from, until := o.span(run)
	v := newVolumes(run, from, until, unitFor(until-from))
	p := &volumePlot{volumes: v, Options: o.size(760, 310), run: run, name: "totals", from: from, until: until}
	if len(v.bars) > 0 {
		p.from, p.until = v.bars[0].from, v.bars[len(v.bars)-1].until
	}
	p.least, p.most, p.limitInside = v.greatest(&o)
	return p.picture()
}

// Phone draws the volumes of days for a narrow screen, a month a picture, all to one scale: all months up to two years,
// the last twelve beyond.
func Phone(run *report.Run) (list []*Picture) {
	from, until := (&Options{}).span(run)
	all := newVolumes(run, from, until, "day")
	least, most, inside := all.greatest(&Options{})
	months := run.Result.Months
	if len(months) > mostMonths {
		months = months[len(months)-12:]
	}
	for i := range months {
		m := &months[i]
		v := *all
		v.bars = nil
		for _, b := range all.bars {
			if b.from >= m.From && b.until <= m.Until {
				v.bars = append(v.bars, b)
			}
		}
		p := &volumePlot{
			volumes: &v, Options: Options{Width: 358, Height: 150}, run: run, name: "totals-" + m.Label, phone: true,
			least: least, most: most, limitInside: inside, from: m.From, until: m.Until,
		}
		list = append(list, p.picture())
	}
	return list
}

// picture lays the plot out.
func (p *volumePlot) picture() *Picture {
	f := &frame{from: p.from, until: p.until, clock: clock{p.run.Site().Report.Clock.Location}}
	f.scaleTo(p.least, p.most, 0.06)
	if p.phone {
		f.scaleTo(p.least, p.most, 0.12)
	}
	f.left, f.right = math.Max(46, room(f.low, f.high)), p.Width-14
	if n := len(p.bars); p.limit != "" && n > 0 {
		f.right = p.Width - limitRoom(p.bars[n-1].limit)
	}
	spans := corrections(p.run, f.from, f.until)
	gaps := seen(gapsOf(p.run, f.from, f.until), f.from, f.until, f.right-f.left)
	k := p.key(len(gaps) > 0)
	c := newCrown(f)
	if f.top = 4; !p.phone {
		visits := called(p.run, f.from, f.until)
		c.add(spans, gaps, visits)
		p.keyOfVisits(k, visits, c.left)
		f.top = float64(k.lineCount(f.left, p.Width))*keyLine + 4 + c.height()
	}
	f.bottom = math.Max(p.Height-26, f.top+20)
	return &Picture{
		Name: p.name, Title: p.sentence(), Caption: capital(p.unit) + " volumes, before and after",
		Width: p.Width, Height: p.Height,
		draw: func(s *sheet) {
			f.sheet = s
			if !p.phone {
				k.draw(s, f.left, p.Width, 0)
			}
			f.shade(spans)
			f.values()
			f.gaps(gaps)
			p.drawBars(f)
			p.drawMore(f)
			f.base()
			p.drawLimit(f)
			if p.drawWords(f); !p.phone {
				c.draw()
			}
			f.times(true)
		},
	}
}

// capital is the word of a unit of time as an adjective.
func capital(unit string) string {
	return map[string]string{"day": "Daily", "week": "Weekly", "month": "Monthly", "year": "Yearly"}[unit]
}

// sentence says what is to be seen.
func (p *volumePlot) sentence() string {
	text := fmt.Sprintf("%s volume of %s, %s, before and after correction", capital(p.unit), p.run.Title(),
		dates(p.run, p.from, p.until))
	unit, sum := symbol(p.run.Site().Report.VolumeUnit), [2]float64{}
	for i := range p.bars {
		if finite(p.bars[i].before) {
			sum[0] += p.bars[i].before
		}
		if finite(p.bars[i].after) {
			sum[1] += p.bars[i].after
		}
	}
	return text + fmt.Sprintf(": together %s %s before and %s %[2]s after.", rounded(sum[0]), unit, rounded(sum[1]))
}

// rounded writes a number to five figures or the whole, without zeros at its end.
func rounded(v float64) string { return figures(v, 5) }

// figures writes a number to so many figures or the whole, without zeros at its end.
func figures(v float64, n int) string {
	decimals := 0
	if v != 0 && finite(v) {
		decimals = max(0, min(12, n-1-int(math.Floor(math.Log10(math.Abs(v))))))
	}
	text := minus(report.Grouped(v, decimals))
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// symbol writes a unit as in print: m³ for m3.
func symbol(u quantity.Unit) string {
	return strings.NewReplacer("m3", "m³", "ft3", "ft³").Replace(u.Symbol)
}

var (
	beforeTick = pen{Before, 1.8, nil}
	partPen    = pen{After, 0.9, nil}
)

// key lists what occurs.
func (p *volumePlot) key(gaps bool) *key {
	k := &key{title: "Volume", unit: symbol(p.run.Site().Report.VolumeUnit) + " a " + p.unit}
	k.unit += yearOf(p.run, p.from, p.until)
	var after, interval, before, part, unsure bool
	for i := range p.bars {
		b := &p.bars[i]
		after, interval, before = after || finite(b.after), interval || finite(b.low), before || finite(b.before)
		part, unsure = part || finite(b.after) && !b.whole, unsure || b.unsure
	}
	if after && p.shows(LaneAfter) {
		text := "after"
		if interval {
			text = "after, 95 % interval"
		}
		k.add(text, func(s *sheet, x, y float64) {
			s.box(After, x+3, y-8, x+11, y)
			if interval {
				s.line(pen{Ink, 1.1, nil}, point{x + 7, y - 11}, point{x + 7, y - 8})
				s.line(pen{Paper, 1.1, nil}, point{x + 7, y - 8}, point{x + 7, y - 5})
			}
		})
		if part {
			k.add(p.unit+" not fully measured", hatchSign(partPen, 3, true))
		}
	}
	if before && p.shows(LaneBefore) {
		k.add("before: as the meter had it", lineSign(beforeTick))
	}
	p.keysOfMore(k)
	if gaps {
		k.add("no readings", hatchSign(gapPen, 4, false))
	}
	if unsure {
		k.add("cannot be told from the limit", func(s *sheet, x, y float64) {
			s.text(letters{Ink, 13, true, middleOf}, x+9, y, "?")
		})
	}
	return k
}

// more are the lanes that are shown only where they are asked for.
func (p *volumePlot) more() []moreLane {
	return []moreLane{
		{"without correction", len(p.run.Without) > 0, func(b *volumeBar) float64 { return b.whatIf }, crossSign},
		{"logged flow", p.asks(LaneLogged), func(b *volumeBar) float64 { return b.logged }, ringSign},
		{"counter of the meter", p.asks(LaneCounter), func(b *volumeBar) float64 { return b.counted }, squareSign},
	}
}

type moreLane struct {
	name  string
	shown bool
	of    func(*volumeBar) float64
	sign  func(s *sheet, x, y float64) // around a place
}

func ringSign(s *sheet, x, y float64) { s.ring(pen{Ink, 1, nil}, x, y, 2.4, false) }

func squareSign(s *sheet, x, y float64) {
	s.box(Paper, x-2.2, y-2.2, x+2.2, y+2.2)
	s.outline(pen{Ink, 1, nil}, x-2.2, y-2.2, x+2.2, y+2.2)
}

func crossSign(s *sheet, x, y float64) {
	s.lines(pen{Paper, 3, nil}, [][4]float64{{x - 3, y - 3, x + 3, y + 3}, {x - 3, y + 3, x + 3, y - 3}})
	s.lines(pen{Ink, 1.2, nil}, [][4]float64{{x - 3, y - 3, x + 3, y + 3}, {x - 3, y + 3, x + 3, y - 3}})
}

func (p *volumePlot) keysOfMore(k *key) {
	for _, l := range p.more() {
		if l.shown {
			text := l.name
			if len(p.run.Without) > 0 && strings.HasPrefix(text, "without") {
				text += fmt.Sprintf(" %d", p.run.Without[len(p.run.Without)-1])
			}
			k.add(text, func(s *sheet, x, y float64) { l.sign(s, x+7, y-4) })
		}
	}
}

// drawMore draws them in the middle of each bar.
func (p *volumePlot) drawMore(f *frame) {
	for _, l := range p.more() {
		for i := range p.bars {
			if b := &p.bars[i]; l.shown && finite(l.of(b)) {
				l.sign(f.sheet, (f.x(b.from)+f.x(b.until))/2, f.y(l.of(b)))
			}
		}
	}
}

// keyOfVisits adds what stands above the plot.
func (p *volumePlot) keyOfVisits(k *key, visits []call, left int) {
	for _, v := range visits {
		if !v.set {
			k.add("visit", func(s *sheet, x, y float64) { s.pointer(x+7, y, false) })
			break
		}
	}
	if left > 0 {
		k.add(fmt.Sprintf("%d more corrections, shaded", left), boxSign(Span))
	}
}

// limitRoom is how much room is needed at the right of a plot for the words of a limit.
func limitRoom(limit float64) float64 { return math.Max(46, width(heavy, rounded(limit))+12) }

// nothing says that there is nothing to draw after the correction.
func (f *frame) nothing() {
	const text = "no reading counts after correction"
	x, y, half := (f.left+f.right)/2, (f.top+f.bottom)/2-4, width(plain, text)/2+6
	f.box(Paper, x-half, y-12, x+half, y+6)
	f.text(plain.to(middleOf), x, y, text)
}

// yearOf names the year of a span so short that the time axis does not.
func yearOf(run *report.Run, from, until int64) string {
	if until-from >= 28*day {
		return ""
	}
	return ", " + time.Unix(0, from).In(run.Site().Report.Clock.Location).Format("2006")
}

// drawBars draws what was before as ticks and what is after as bars.
func (p *volumePlot) drawBars(f *frame) {
	var solid, above, inside, ticks [][4]float64
	zero := f.y(0)
	for i := range p.bars {
		b := &p.bars[i]
		x0, x1 := f.x(b.from), f.x(b.until)
		if finite(b.before) && p.shows(LaneBefore) {
			ticks = append(ticks, [4]float64{x0, f.y(b.before), x1, f.y(b.before)})
		}
		if !finite(b.after) || !p.shows(LaneAfter) {
			continue
		}
		l, r, y := x0+0.14*(x1-x0), x1-0.14*(x1-x0), f.y(b.after)
		if b.whole {
			solid = append(solid, [4]float64{l, y, r, zero})
		} else {
			f.box(Paper, l, math.Min(y, zero), r, math.Max(y, zero))
			f.hatch(partPen, 3, true, l, math.Min(y, zero), r, math.Max(y, zero))
			f.outline(partPen, l, math.Min(y, zero), r, math.Max(y, zero))
		}
		if m := (x0 + x1) / 2; finite(b.low) {
			if high := f.y(b.high); high < y {
				above = append(above, [4]float64{m, high, m, y})
			}
			if low := f.y(b.low); low > y && r-l >= 3 && b.whole {
				inside = append(inside, [4]float64{m, y, m, low})
			}
		}
	}
	f.boxes(After, solid)
	f.lines(pen{Ink, 1.1, nil}, above)
	f.lines(pen{Paper, 1.1, nil}, inside)
	f.lines(beforeTick, ticks)
}

// drawLimit draws the limit, or says that it is far above.
func (p *volumePlot) drawLimit(f *frame) {
	if p.limit == "" || len(p.bars) == 0 {
		return
	}
	last := p.bars[len(p.bars)-1].limit
	label, x := rounded(last), f.right+8
	if !p.limitInside {
		f.text(heavy, x, f.top+12, p.limit+" ↑")
		f.text(heavy, x, f.top+25, label)
		return
	}
	var line []point // in steps where months are of unequal length
	for i := range p.bars {
		b := &p.bars[i]
		line = append(line, point{f.x(b.from), f.y(b.limit)}, point{f.x(b.until), f.y(b.limit)})
	}
	if p.line {
		line = []point{{f.left, f.y(last)}, {f.right + 4, f.y(last)}}
	}
	f.line(pen{Paper, 3, nil}, line...)
	f.line(pen{Ink, 1.3, []float64{7, 3}}, line...)
	y := math.Max(f.top+8, math.Min(f.y(last), f.bottom-14))
	f.text(heavy, x, y-1, p.limit)
	f.text(heavy, x, y+12, label)
}

// drawWords puts question marks and names the greatest bar that is only a least.
func (p *volumePlot) drawWords(f *frame) {
	named := -1
	for i := range p.bars {
		b := &p.bars[i]
		if b.least && finite(b.after) && (named < 0 || b.after > p.bars[named].after) {
			named = i
		}
		if !b.unsure || !finite(b.after) {
			continue
		}
		top := b.after
		for _, v := range []float64{b.before, b.high} {
			if finite(v) {
				top = math.Max(top, v)
			}
		}
		x, y := (f.x(b.from)+f.x(b.until))/2, math.Max(f.y(top)-6, f.top+12)
		f.box(Paper, x-5, y-11, x+5, y+2)
		f.text(letters{Ink, 13, true, middleOf}, x, y, "?")
	}
	if !p.shows(LaneAfter) || p.phone {
		return
	}
	if named < 0 {
		for i := range p.bars {
			if finite(p.bars[i].after) {
				return
			}
		}
		f.nothing()
		return
	}
	b := &p.bars[named]
	text := strings.TrimSpace(p.labelOf(b) + ", at least")
	y := math.Max(f.y(b.after)+4, f.top+12)
	if x := f.x(b.from) - 4; x-width(plain, text) > f.left {
		f.text(plain.to(rightOf), x, y, text)
	} else if x := f.x(b.until) + 4; x+width(plain, text) < f.right {
		f.text(plain, x, y, text)
	}
}

// labelOf names a bar.
func (p *volumePlot) labelOf(b *volumeBar) string {
	t := time.Unix(0, b.from).In(p.run.Site().Report.Clock.Location)
	switch p.unit {
	case "day":
		if t, err := time.Parse("2006-01-02", b.label); err == nil {
			return t.Format("2 Jan")
		}
	case "week":
		return "week of " + t.Format("2 Jan")
	case "month":
		return t.Format("Jan 2006")
	}
	return t.Format("2006")
}
