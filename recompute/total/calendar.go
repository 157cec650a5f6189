package total

import (
	"sort"
	"time"
)

// Calendar cuts time into reporting days: from one start of day in local time to the next, 23 or 25 hours long where
// the clock changes. It grows as later times are asked for. A start that the clock skips or shows twice is as Civil has
// it; a date without a time of its own, where a place changed sides of the date line, is no day.
type Calendar struct {
	location  *time.Location
	dayStarts time.Duration
	// days by which a label is ahead of the date on which its day begins: 1 for days named by their ends
	ahead  int
	dates  []time.Time // noon of the date of day i, UTC; one more than there are days
	starts []int64     // start of day i; as many
	latest int         // the day that was asked for last
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
	c.dates, c.starts = []time.Time{date, next}, []int64{c.start(date), end}
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
	if at >= c.starts[c.latest] && at < c.starts[c.latest+1] {
		return c.latest
	}
	last := len(c.starts) - 1
	if at < c.starts[last] {
		c.latest = sort.Search(last, func(i int) bool { return c.starts[i+1] > at })
		return c.latest
	}
	for at >= c.starts[last] {
		date, start := c.step(c.dates[last], 1)
		c.dates, c.starts = append(c.dates, date), append(c.starts, start)
		last++
	}
	c.latest = last - 1
	return c.latest
}

// Bounds returns start and end of day i, which was returned by Day.
func (c *Calendar) Bounds(i int) (start, end int64) { return c.starts[i], c.starts[i+1] }

// Days is the number of days that were met.
func (c *Calendar) Days() int { return len(c.starts) - 1 }

// Label names day i by its calendar date: 2031-04-02.
func (c *Calendar) Label(i int) string { return c.label(c.dates[i]) }

func (c *Calendar) label(date time.Time) string {
	return date.AddDate(0, 0, c.ahead).Format("2006-01-02")
}

// Span returns start and end of the month, week or year of day i: the reporting days around it whose labels have the
// same name.
func (c *Calendar) Span(i int, name func(label string) string) (start, end int64) {
	own := name(c.Label(i))
	start, end = c.starts[i], c.starts[i+1]
	for date, at := c.step(c.dates[i], -1); name(c.label(date)) == own; date, at = c.step(date, -1) {
		start = at
	}
	for date := c.dates[i+1]; name(c.label(date)) == own; {
		date, end = c.step(date, 1)
	}
	return start, end
}
