package picture

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/report"
)

// corrections are the corrected spans that meet a stretch of time, with what they set.
func corrections(run *report.Run, from, until int64) (list []spanOfTime) {
	for i := range run.Site().Corrections {
		c := &run.Site().Corrections[i]
		s := spanOfTime{from: from, until: until, open: from}
		if c.From != nil {
			s.from = max(from, c.From.UTC)
		}
		if c.Until != nil {
			s.until = min(until, c.Until.UTC)
		}
		s.open = s.from
		if c.Onset != nil && c.Onset.LastGood != nil {
			s.open = max(from, min(s.open, c.Onset.LastGood.UTC))
		}
		if s.text = correctedWord + sets(run, c, s.from); s.from < s.until {
			list = append(list, s)
		}
	}
	slices.SortStableFunc(list, func(a, b spanOfTime) int { return cmp.Compare(a.from, b.from) })
	return list
}

// correctedWord is what the words of a bracket begin with where there is room.
const correctedWord = "corrected: "

// sets says what a correction sets, and in whose place: "empty distance 1.518 → 1.500 m".
func sets(run *report.Run, c *site.Correction, at int64) string {
	if c.Unusable {
		return "unusable"
	}
	then := &run.Result.Recorded.Segments[run.Result.Recorded.At(at)].Settings
	var list []string
	only := c.Settings
	only.Values = [len(only.Values)]*site.Ramp{}
	for i, v := range c.Values {
		if v == nil {
			continue
		}
		old := then.Values[i]
		if old == nil || old == v {
			list = append(list, site.Setting(i).Name()+" "+v.Written())
			continue
		}
		list = append(list, site.Setting(i).Name()+" "+change(old.Written(), v.Written()))
	}
	list = append(list, only.Words()...)
	if c.Device != nil {
		list = append(list, "device")
	}
	return strings.Join(list, ", ")
}

// change writes two values with an arrow, and their unit once where it is one.
func change(old, now string) string {
	number, unit, two := strings.Cut(old, " ")
	if _, other, also := strings.Cut(now, " "); two && also && unit == other {
		old = number
	}
	return old + " → " + now
}

// gapsOf are the times without readings that meet a stretch of time.
func gapsOf(run *report.Run, from, until int64) (list []spanOfTime) {
	for _, e := range run.Result.Events {
		if e.Flag != qa.Gap || e.Until <= from || e.From >= until {
			continue
		}
		s := spanOfTime{from: max(from, e.From), until: min(until, e.Until)}
		s.text = "no readings, " + long(time.Duration(e.Until-e.From))
		list = append(list, s)
	}
	slices.SortStableFunc(list, func(a, b spanOfTime) int { return cmp.Compare(a.from, b.from) })
	return list
}

// long writes a duration of hours or days.
func long(d time.Duration) string {
	switch hours := d.Hours(); {
	case hours < 1:
		return quantity.FormatDuration(d.Round(time.Minute))
	case hours < 72:
		return fmt.Sprintf("%.0f h", hours)
	default:
		return fmt.Sprintf("%.0f days", hours/24)
	}
}

// seen are the gaps that are to be drawn over so many units: short ones only while they are few.
func seen(gaps []spanOfTime, from, until int64, units float64) []spanOfTime {
	const few = 40
	if len(gaps) <= few {
		return gaps
	}
	least := int64(0.5 / units * float64(until-from))
	return slices.DeleteFunc(slices.Clone(gaps), func(s spanOfTime) bool { return s.until-s.from < least })
}

// calls are the site visits of a stretch of time.
type call struct {
	at  int64
	set bool // a correction begins or ends with it
}

// called lists the site visits that meet a stretch of time.
func called(run *report.Run, from, until int64) (list []call) {
	near := func(at int64, o *site.Instant) bool {
		return o != nil && math.Abs(float64(at-o.UTC)) <= float64(time.Hour)
	}
	for i := range run.Result.Visits {
		v := call{at: run.Result.Visits[i].At.UTC}
		for k := range run.Site().Corrections {
			c := &run.Site().Corrections[k]
			v.set = v.set || near(v.at, c.Until) || near(v.at, c.From)
		}
		if v.at >= from && v.at <= until {
			list = append(list, v)
		}
	}
	return list
}

// crown is what stands above a plot: brackets of corrected spans with their words, names of gaps and visits.
type crown struct {
	f        *frame
	brackets shelf
	texts    shelf
	marks    []mark
	visits   []call
	left     int // corrections for whose bracket there was no room
}

// mark is a bracket, or words, in a row; row 0 is the lowest.
type mark struct {
	spanOfTime
	row     int
	bracket bool
	label   string
	x       float64 // of the label
	leader  float64 // from where a line leads up to it; 0 for none
}

const (
	mostRows  = 3
	crownRow  = 18.0 // units
	crownFoot = 12.0
	// mostDotted is up to how many visits each has a line through the plot.
	mostDotted = 12
)

func newCrown(f *frame) *crown {
	return &crown{f: f, brackets: shelf{most: mostRows}, texts: shelf{most: mostRows + 1}}
}

// add places what stands above the plot: brackets and their words first, then visits that set them, then the longest
// gaps.
func (c *crown) add(spans, gaps []spanOfTime, visits []call) {
	for _, s := range spans {
		row, ok := c.brackets.place(c.f.x(s.open)+1, c.f.x(s.until)-1)
		if !ok {
			c.left++
			continue
		}
		c.marks = append(c.marks, mark{spanOfTime: s, row: row, bracket: true})
	}
	for i := range c.marks {
		c.words(&c.marks[i])
	}
	c.visits = visits
	for _, v := range visits {
		if v.set {
			c.visit(v)
		}
	}
	gaps = slices.Clone(gaps)
	slices.SortStableFunc(gaps, func(a, b spanOfTime) int { return cmp.Compare(b.until-b.from, a.until-a.from) })
	for i, s := range gaps {
		if i < 8 && s.until-s.from >= int64(12*time.Hour) {
			c.gap(s)
		}
	}
}

// words writes on a bracket what it stands for, as much as there is room for until the next one.
func (c *crown) words(m *mark) {
	x0, x1 := c.f.x(m.open), c.f.x(m.until)
	edge, before := c.f.right+c.f.margin(), c.f.left
	for _, t := range c.brackets.taken[m.row] {
		if t[0] > x0+1 {
			edge = math.Min(edge, t[0]-8)
		} else if t[0] < x0 {
			before = math.Max(before, t[1]+8)
		}
	}
	brief := strings.TrimPrefix(m.text, correctedWord)
	text := brief
	if w := width(plain, m.text); w <= x1-x0 || w <= edge-x0 && len(c.marks) == 1 {
		text = m.text
	}
	x := math.Max(before, math.Min(x0, edge-width(plain, text)))
	m.label, m.x = fit(plain, text, edge-x), x
	c.texts.take(m.row, x, x+width(plain, m.label)+8)
}

// visit places the name of a visit above the brackets.
func (c *crown) visit(v call) {
	text := "visit " + time.Unix(0, v.at).In(c.f.clock.location).Format("2 Jan")
	if slices.ContainsFunc(c.marks, func(m mark) bool { return m.label == text }) {
		return
	}
	w := width(plain, text)
	x := math.Max(c.f.left, math.Min(c.f.x(v.at)-w/2, c.f.right+c.f.margin()-w))
	for row := max(len(c.brackets.taken), 1); row <= mostRows; row++ {
		if c.texts.free(row, x, x+w+8) {
			c.texts.take(row, x, x+w+8)
			c.marks = append(c.marks, mark{row: row, label: text, x: x, leader: c.f.x(v.at)})
			return
		}
	}
}

// gap places the name of a gap.
func (c *crown) gap(s spanOfTime) {
	w := width(plain, s.text)
	x := math.Max(c.f.left, math.Min((c.f.x(s.from)+c.f.x(s.until)-w)/2, c.f.right-w))
	if row, ok := c.texts.place(x-4, x+w+8); ok {
		c.marks = append(c.marks, mark{row: row, label: s.text, x: x})
	}
}

// height is how much room it takes above the plot.
func (c *crown) height() float64 {
	rows := 0
	for _, m := range c.marks {
		rows = max(rows, m.row+1)
	}
	if rows == 0 && len(c.visits) == 0 {
		return 6
	}
	return float64(rows)*crownRow + crownFoot
}

// draw draws it; the frame has its top by now.
func (c *crown) draw() {
	f := c.f
	for _, m := range c.marks {
		y := f.top - 10 - float64(m.row)*crownRow
		if m.bracket {
			c.bracket(&m, y)
		}
		if m.leader != 0 {
			f.line(pen{Ink, 0.8, nil}, point{m.leader, y - 2}, point{m.leader, f.top - 10})
		}
		f.text(plain, m.x, y-4, m.label)
	}
	last := math.Inf(-1)
	for _, v := range c.visits {
		x := f.x(v.at)
		if x-last < 8 && !v.set {
			continue
		}
		last = x
		if v.set || len(c.visits) <= mostDotted {
			f.line(pen{Ink, 0.9, []float64{1.5, 3}}, point{x, f.top}, point{x, f.bottom})
		}
		f.pointer(x, f.top-1, v.set)
	}
}

// bracket draws the bracket of a span; where it is not sure when the span began, it begins dashed.
func (c *crown) bracket(m *mark, y float64) {
	f := c.f
	x0, x1, open := f.x(m.from), f.x(m.until), f.x(m.open)
	solid := pen{Ink, 1.5, nil}
	f.line(solid, point{x0, y}, point{x1, y})
	if open < x0 {
		f.line(pen{Ink, 1.5, []float64{3, 3}}, point{open, y}, point{x0, y})
	}
	var ends [][4]float64
	if m.from > f.from {
		ends = append(ends, [4]float64{x0, y, x0, y + 5})
	}
	if m.until < f.until {
		ends = append(ends, [4]float64{x1, y, x1, y + 5})
	}
	f.lines(solid, ends)
}
