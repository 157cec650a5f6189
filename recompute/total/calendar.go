package total

import (
	"sort"
	"sync"
	"sync/atomic"
	"time"
)

// Calendar cuts time into reporting days: from one start of day in local time to the next, 23 or 25 hours long where
// the clock changes. It grows as later times are asked for. A start that the clock skips or shows twice is as Civil has
// it; a date without a time of its own, where a place changed sides of the date line, is no day. Several goroutines may
// ask it.
type Calendar struct {
	location  *time.Location
	dayStarts time.Duration
	// days by which a label is ahead of the date on which its day begins: 1 for days named by their ends
	ahead  int
	known  atomic.Pointer[days] // never shrinks
	latest atomic.Int64         // a day that was asked for lately, among those known
	grows  sync.Mutex
	// of a calendar of cells: whose days they are parts of, and how long they are, ns
	whole *Calendar
	cell  int64
}

// days are those that a calendar has met.
type days struct {
	dates  []time.Time // noon of the date of day i, UTC; one more than there are days
	starts []int64     // start of day i; as many
}

// NewCalendar returns the calendar whose day 0 holds the instant first. Days that do not begin at midnight carry the
// date on which they begin or, with byEnd, the one on which they end.
func NewCalendar(location *time.Location, dayStarts time.Duration, byEnd bool, first int64) *Calendar {
	c := &Calendar{location: location, dayStarts: dayStarts}
	if byEnd && dayStarts > 0 {
		c.ahead = 1
	}
	y, m, d := time.Unix(0, first).In(location).Date()
	date := time.Date(y, m, d+1, 12, 0, 0, 0, time.UTC) // at the day of first or after it
	for c.start(date) > first {
		date = date.AddDate(0, 0, -1)
	}
	next, end := c.step(date, 1)
	c.known.Store(&days{[]time.Time{date, next}, []int64{c.start(date), end}})
	return c
}

// start returns the instant at which the day of a date begins.
func (c *Calendar) start(date time.Time) int64 {
	y, m, d := date.Date()
	return Civil(c.location, time.Date(y, m, d, 0, int(c.dayStarts/time.Minute), 0, 0, time.UTC))
}

// step returns the date of the day after a date, or before it for −1, and when it begins.
func (c *Calendar) step(date time.Time, by int) (time.Time, int64) {
	for {
		date = date.AddDate(0, 0, by)
		if start := c.start(date); start < c.start(date.AddDate(0, 0, 1)) {
			return date, start
		}
	}
}

// Day returns the number of the day that holds an instant not before day 0; a day begins with its start.
func (c *Calendar) Day(at int64) int {
	latest := int(c.latest.Load()) // before the days, which hold it
	starts := c.known.Load().starts
	if at >= starts[latest] && at < starts[latest+1] {
		return latest
	}
	if at >= starts[len(starts)-1] {
		starts = c.grow(at)
	}
	if next := latest + 1; next+1 < len(starts) && at >= starts[next] && at < starts[next+1] {
		c.latest.Store(int64(next)) // mostly
		return next
	}
	latest = sort.Search(len(starts)-1, func(i int) bool { return starts[i+1] > at })
	c.latest.Store(int64(latest))
	return latest
}

// grow goes on to the day of an instant and returns the starts of all days.
func (c *Calendar) grow(at int64) []int64 {
	c.grows.Lock()
	defer c.grows.Unlock()
	d := *c.known.Load()
	for c.whole != nil && at >= d.starts[len(d.starts)-1] {
		d.starts = append(d.starts, c.cellEnd(d.starts[len(d.starts)-1]))
	}
	for last := len(d.starts) - 1; at >= d.starts[last]; last++ {
		date, start := c.step(d.dates[last], 1)
		d.dates, d.starts = append(d.dates, date), append(d.starts, start)
	}
	c.known.Store(&d)
	return d.starts
}

// Bounds returns start and end of day i, which was returned by Day.
func (c *Calendar) Bounds(i int) (start, end int64) {
	starts := c.known.Load().starts
	return starts[i], starts[i+1]
}

// Days is the number of days that were met.
func (c *Calendar) Days() int { return len(c.known.Load().starts) - 1 }

// Cells returns the calendar whose days are equal parts of the days of this one, from each start of day on; the last
// one of a day ends with it, and may be shorter. Cell 0 begins with day 0. Cells have no labels.
func (c *Calendar) Cells(length time.Duration) *Calendar {
	cells := &Calendar{whole: c, cell: length.Nanoseconds()}
	start, _ := c.Bounds(0)
	cells.known.Store(&days{starts: []int64{start, cells.cellEnd(start)}})
	return cells
}

// cellEnd is the end of the cell that begins at an instant.
func (c *Calendar) cellEnd(start int64) int64 {
	_, end := c.whole.Bounds(c.whole.Day(start))
	return min(start+c.cell, end)
}

// cellLengths are parts of an hour or of half a day.
var cellLengths = []time.Duration{
	time.Second, 2 * time.Second, 5 * time.Second, 10 * time.Second, 15 * time.Second, 30 * time.Second,
	time.Minute, 2 * time.Minute, 3 * time.Minute, 5 * time.Minute, 6 * time.Minute, 10 * time.Minute,
	15 * time.Minute, 20 * time.Minute, 30 * time.Minute,
	time.Hour, 2 * time.Hour, 3 * time.Hour, 4 * time.Hour, 6 * time.Hour, 12 * time.Hour,
}

// CellLength is the least length of cells that holds a reading of a log with that interval between them and of which no
// more than so many cover the span; half a day where none does.
func CellLength(interval, span time.Duration, most int) time.Duration {
	for _, length := range cellLengths {
		if length >= interval && span/length < time.Duration(most) {
			return length
		}
	}
	return cellLengths[len(cellLengths)-1]
}

// Label names day i by its calendar date: 2031-04-02.
func (c *Calendar) Label(i int) string { return c.label(c.known.Load().dates[i]) }

func (c *Calendar) label(date time.Time) string {
	return date.AddDate(0, 0, c.ahead).Format("2006-01-02")
}

// Span returns start and end of the month, week or year of day i: the reporting days around it whose labels have the
// same name.
func (c *Calendar) Span(i int, name func(label string) string) (start, end int64) {
	own := name(c.Label(i))
	start, end = c.Bounds(i)
	dates := c.known.Load().dates
	for date, at := c.step(dates[i], -1); name(c.label(date)) == own; date, at = c.step(date, -1) {
		start = at
	}
	for date := dates[i+1]; name(c.label(date)) == own; {
		date, end = c.step(date, 1)
	}
	return start, end
}
