package total

import (
	"sort"
	"time"
)

// Calendar cuts time into reporting days: from one start of day in local time to the next, 23 or 25 hours long where the
// clock changes. It grows as later times are asked for.
type Calendar struct {
	location  *time.Location
	dayStarts time.Duration
	ahead     int       // days by which a label is ahead of the date on which its day begins: 1 for days named by their ends
	first     time.Time // noon of the calendar day of day 0, UTC, to count days from
	starts    []int64   // start of day i; one more than there are days
	latest    int       // the day that was asked for last
}

// NewCalendar returns the calendar whose day 0 holds the instant first. Days that do not begin at midnight carry the date on which they begin
// or, with byEnd, the one on which they end.
func NewCalendar(location *time.Location, dayStarts time.Duration, byEnd bool, first int64) *Calendar {
	c := &Calendar{location: location, dayStarts: dayStarts}
	if byEnd && dayStarts > 0 {
		c.ahead = 1
	}
	y, m, d := time.Unix(0, first).In(location).Date()
	c.first = time.Date(y, m, d, 12, 0, 0, 0, time.UTC)
	if first < c.start(0) {
		c.first = c.first.AddDate(0, 0, -1)
	}
	c.starts = []int64{c.start(0), c.start(1)}
	return c
}

// start returns the instant at which day i begins. A start that the clock jumps over is the instant of the jump's end.
func (c *Calendar) start(i int) int64 {
	y, m, d := c.first.AddDate(0, 0, i).Date()
	return time.Date(y, m, d, 0, int(c.dayStarts/time.Minute), 0, 0, c.location).UnixNano()
}

// Day returns the number of the day that holds an instant not before day 0; a day begins with its start.
func (c *Calendar) Day(at int64) int {
	if at >= c.starts[c.latest] && at < c.starts[c.latest+1] {
		return c.latest
	}
	last := len(c.starts) - 1
	if at < c.starts[last] {
		c.latest = sort.Search(last, func(i int) bool { return c.starts[i+1] > at })
		return c.latest
	}
	for at >= c.starts[last] {
		last++
		c.starts = append(c.starts, c.start(last))
	}
	c.latest = last - 1
	return c.latest
}

// Bounds returns start and end of day i, which was returned by Day.
func (c *Calendar) Bounds(i int) (start, end int64) { return c.starts[i], c.starts[i+1] }

// Days is the number of days that were met.
func (c *Calendar) Days() int { return len(c.starts) - 1 }

// Label names day i by its calendar date: 2031-04-02.
func (c *Calendar) Label(i int) string { return c.first.AddDate(0, 0, i+c.ahead).Format("2006-01-02") }

// Span returns start and end of the month, week or year of day i: the reporting days around it whose labels have the same name.
func (c *Calendar) Span(i int, name func(label string) string) (start, end int64) {
	own, low, high := name(c.Label(i)), i, i+1
	for name(c.Label(low-1)) == own {
		low--
	}
	for name(c.Label(high)) == own {
		high++
	}
	return c.start(low), c.start(high)
}
