package picture

import (
	"cmp"
	"math"
	"slices"
	"time"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/total"
)

// Gatherer takes in what pictures need of the rows of one pass over a log, in bounded memory: flow in short slots of
// time for as long as it can be drawn as a line, in steps of 20 minutes for the last 25 months, spread over every
// reporting day, week and month, and logged flow by head.
type Gatherer struct {
	from, until int64 // rows outside are passed by
	fine, steps track
	days        []bar
	weeks       []bar
	months      []bar
	units       [3]unitOfTime
	calendar    *total.Calendar
	report      *site.Report
	heads       heads
}

// New begins the pictures of one pass over the log of a site. A pass that has to begin again takes new ones.
func New(s *site.Site) *Gatherer { return NewWithin(s, math.MinInt64, math.MaxInt64) }

// NewWithin does the same for the rows from one instant until before another.
func NewWithin(s *site.Site, from, until int64) *Gatherer {
	g := &Gatherer{
		from: from, until: until, report: &s.Report, heads: heads{cells: map[int]*cell{}},
		fine:  track{width: int64(time.Second), most: mostSlots},
		steps: track{width: int64(20 * time.Minute), most: mostSteps, forgets: true},
	}
	for k := range g.units {
		g.units[k].until = math.MinInt64
	}
	return g
}

// Rows takes in a stretch of decided readings.
func (g *Gatherer) Rows(rows *recompute.Rows) {
	for i, at := range rows.Time {
		if at < g.from || at >= g.until {
			continue
		}
		before, after, used := rows.Before[i], rows.After[i], rows.Used[i] && finite(rows.After[i])
		g.fine.add(at, before, after, used)
		g.steps.add(at, before, after, used)
		if at >= g.units[0].until {
			g.nextDay(at)
		}
		for k := range g.units {
			g.units[k].add(before, after, used)
		}
		if used {
			g.heads.add(rows, i)
		}
	}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// bar is the flow of a stretch of the calendar.
type bar struct {
	from, until int64
	spread              // of the corrected flow, m³/s
	was         float64 // greatest flow before, m³/s; NaN without one
}

// unitOfTime is the day, the week or the month at hand.
type unitOfTime struct {
	from, until int64
	spreading
	was float64
}

func (u *unitOfTime) add(before, after float64, used bool) {
	if used {
		u.spreading.add(after)
	}
	if finite(before) && !(u.was >= before) {
		u.was = before
	}
}

// end puts what there was into a list and begins another stretch.
func (u *unitOfTime) end(list *[]bar, from, until int64) {
	if u.until > math.MinInt64 {
		*list = append(*list, bar{u.from, u.until, u.spreading.finish(), u.was})
	}
	u.from, u.until, u.was = from, until, math.NaN()
}

// nextDay begins the day of an instant and, where they change with it, week and month.
func (g *Gatherer) nextDay(at int64) {
	if g.calendar == nil {
		g.calendar = total.NewCalendar(g.report.Clock.Location, g.report.DayStarts, g.report.LabelByEnd, at)
	}
	day := g.calendar.Day(at)
	from, until := g.calendar.Bounds(day)
	g.units[0].end(&g.days, from, until)
	if at >= g.units[1].until {
		from, until := g.calendar.Span(day, weekOf)
		g.units[1].end(&g.weeks, from, until)
	}
	if at >= g.units[2].until {
		from, until := g.calendar.Span(day, monthOf)
		g.units[2].end(&g.months, from, until)
	}
}

// finish closes what is open. It may be called again.
func (g *Gatherer) finish() {
	for k, list := range []*[]bar{&g.days, &g.weeks, &g.months} {
		g.units[k].end(list, math.MinInt64, math.MinInt64)
	}
}

// weekOf and monthOf name the week (of ISO 8601) and the month of a day by its label.
func weekOf(day string) string {
	t, err := time.Parse("2006-01-02", day)
	if err != nil {
		return day
	}
	return t.AddDate(0, 0, -int(t.Weekday()+6)%7).Format("2006-01-02")
}

func monthOf(day string) string { return day[:min(7, len(day))] }

// mostSlots is how many slots of a line are kept, two weeks of ten minutes and a little; mostSteps how many steps of a
// month a row, 25 months.
const (
	mostSlots = 2400
	mostSteps = 25 * 31 * 72
)

// widths are those that slots have, each a multiple of the one before it.
var widths = []time.Duration{
	time.Second, 5 * time.Second, 10 * time.Second, 30 * time.Second, time.Minute, 2 * time.Minute, 10 * time.Minute,
	20 * time.Minute, time.Hour, 2 * time.Hour, 6 * time.Hour, 24 * time.Hour,
}

// slot is the readings of a short time.
type slot struct {
	at          int64 // its number
	first, last int64 // readings that count after; 0 and −1 for none
	n           int
	sum         float64
	low, high   float64
	was         float64 // greatest before; NaN for none
}

func (s *slot) any() bool { return s.n > 0 }

func (s *slot) mean() float64 { return s.sum / float64(s.n) }

// merge adds a slot that follows.
func (s *slot) merge(o *slot) {
	if finite(o.was) && !(s.was >= o.was) {
		s.was = o.was
	}
	if !o.any() {
		return
	}
	if !s.any() {
		s.first, s.low, s.high = o.first, o.low, o.high
	}
	s.last, s.n, s.sum = o.last, s.n+o.n, s.sum+o.sum
	s.low, s.high = math.Min(s.low, o.low), math.Max(s.high, o.high)
}

// track is a flow over time in slots that hold readings, in the order of time. When there are too many, they become
// wider, or the oldest go.
type track struct {
	width   int64 // ns
	most    int
	forgets bool
	start   int // of the oldest, where the oldest go
	slots   []slot
}

// add takes in a reading; times rise.
func (t *track) add(at int64, before, after float64, used bool) {
	s := t.slot(at)
	if finite(before) && !(s.was >= before) {
		s.was = before
	}
	if !used {
		return
	}
	if s.n == 0 {
		s.first, s.low, s.high = at, after, after
	}
	s.last, s.n, s.sum = at, s.n+1, s.sum+after
	s.low, s.high = math.Min(s.low, after), math.Max(s.high, after)
}

// slot is the one that an instant belongs to; a new one where it is none of the latest.
func (t *track) slot(at int64) *slot {
	if s := t.latest(); s != nil && s.at == t.number(at) {
		return s
	}
	for len(t.slots) == t.most && !t.forgets { // where readings are far apart, slots of the next width are as many
		t.widen()
		if s := t.latest(); s.at == t.number(at) {
			return s
		}
	}
	fresh := slot{at: t.number(at), last: -1, was: math.NaN()}
	if len(t.slots) < t.most {
		t.slots = append(t.slots, fresh)
		return t.latest()
	}
	t.slots[t.start] = fresh
	t.start = (t.start + 1) % t.most
	return t.latest()
}

// number is that of the slot of an instant, rounded down.
func (t *track) number(at int64) int64 { return floor(at, t.width) }

func floor(a, b int64) int64 {
	if a < 0 && a%b != 0 {
		return a/b - 1
	}
	return a / b
}

// latest is the slot that was begun last; nil without one.
func (t *track) latest() *slot {
	switch {
	case t.start > 0:
		return &t.slots[t.start-1]
	case len(t.slots) == 0:
		return nil
	}
	return &t.slots[len(t.slots)-1]
}

// widen makes slots of the next width.
func (t *track) widen() {
	next := 2 * t.width
	for _, w := range widths {
		if int64(w) > t.width {
			next = int64(w)
			break
		}
	}
	t.slots = merged(t.slots, t.width, next)
	t.width = next
}

// merged are slots of another width, in the place of the old ones.
func merged(slots []slot, old, width int64) []slot {
	out := slots[:0]
	for i := range slots {
		s := slots[i]
		if s.at = floor(s.at*old, width); len(out) > 0 && out[len(out)-1].at == s.at {
			out[len(out)-1].merge(&s)
		} else {
			out = append(out, s)
		}
	}
	return out
}

// list is every slot in the order of time.
func (t *track) list() []slot {
	if t.start == 0 {
		return t.slots
	}
	return slices.Concat(t.slots[t.start:], t.slots[:t.start])
}

// heads is the logged flow by corrected head in steps of a millimetre, and how often each head occurs.
type heads struct {
	cells  map[int]*cell
	most   float64
	any    bool
	number int
}

// cell is the readings at one head; low exceeds high where no flow is logged.
type cell struct {
	n         int
	low, high float64
}

// headStep is the step of head, in metres; mostCells bounds the memory: heads beyond it, 20 m, are not drawn.
const (
	headStep  = 0.001
	mostCells = 20000
)

func (h *heads) add(rows *recompute.Rows, i int) {
	v := rows.Head[i]
	if !finite(v) {
		return
	}
	h.most, h.any = math.Max(h.most, v), true
	if v < 0 || v > mostCells*headStep {
		return
	}
	k := int(math.Round(v / headStep))
	c := h.cells[k]
	if c == nil {
		c = &cell{low: math.Inf(1), high: math.Inf(-1)}
		h.cells[k] = c
	}
	c.n, h.number = c.n+1, h.number+1
	if rows.Logged != nil && rows.State[i] == reading.Present && rows.Flags[i] == 0 && finite(rows.Logged[i]) {
		c.low, c.high = math.Min(c.low, rows.Logged[i]), math.Max(c.high, rows.Logged[i])
	}
}

// sorted are the steps of head that occur.
func (h *heads) sorted() []int { return sortedKeys(h.cells) }

func sortedClasses(counts map[uint64]int32) []uint64 {
	list := sortedKeys(counts)
	slices.SortFunc(list, func(a, b uint64) int {
		return cmp.Compare(math.Float64frombits(a<<classBits), math.Float64frombits(b<<classBits))
	})
	return list
}

// sortedKeys keeps pictures from depending on the order of a map.
func sortedKeys[K cmp.Ordered, V any](m map[K]V) []K {
	list := make([]K, 0, len(m))
	for k := range m {
		list = append(list, k)
	}
	slices.Sort(list)
	return list
}
