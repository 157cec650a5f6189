package ingest

import (
	"math"
	"slices"
	"sort"
	"time"

	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// Reasons for which the clock rejects a row.
const (
	reasonSkipped  = "local time does not exist: the clock jumps over it"
	reasonRepeated = "local time occurs twice and the order of rows does not tell which is meant"
)

// clock turns the local clock readings of one file into instants. Readings of the hour that the clock shows twice are told
// apart by row order: each row takes the earliest instant after the row before it.
type clock struct {
	zone                site.Clock
	from, until, offset int64 // a span of local readings with one offset
	last                int64 // instant of the row before
	any                 bool
}

// apply replaces b.Time and moves rows without an instant to the rejected ones.
func (c *clock) apply(b *reading.Batch) {
	if c.zone.Fixed {
		for i := range b.Time {
			b.Time[i] -= c.zone.Offset
		}
		return
	}
	n := 0
	for i, local := range b.Time {
		utc, reason := local-c.offset, ""
		if local < c.from || local >= c.until {
			utc, reason = c.resolve(local)
		}
		if reason != "" {
			b.Rejected = append(b.Rejected, reading.Rejection{Line: b.Line[i], Reason: reason})
			continue
		}
		c.last, c.any = utc, true
		if n != i {
			b.Keep(n, i)
		}
		b.Time[n] = utc
		n++
	}
	b.Slice(0, n)
}

// resolve looks a reading up outside the steady span.
func (c *clock) resolve(local int64) (int64, string) {
	if from, until, offset := c.zone.Steady(local); from < until {
		c.from, c.until, c.offset = from, until, offset
		return local - offset, ""
	}
	instants, n := c.zone.Resolve(local)
	switch {
	case n == 0:
		return 0, reasonSkipped
	case n == 1:
		return instants[0], ""
	case !c.any:
		return 0, reasonRepeated
	case instants[0] > c.last:
		return instants[0], ""
	}
	return instants[1], ""
}

// reasonFar is why a reading is rejected whose time lies decades from the first one of its file.
const reasonFar = "time is more than 20 years off the beginning of the file: was the clock reset?"

// correctTimes takes the logger's own errors out of instants: stamps of the start or end of an interval move to its middle, and the error
// between clock checks, linear in time and constant outside them, is taken off. Readings decades away from the file's first one are
// rejected.
func (l *Log) correctTimes(b *reading.Batch, first int64) {
	const far = 20 * 365 * 24 * int64(time.Hour)
	shift := int64(0)
	switch l.Site.Log.StampAt {
	case "start":
		shift = int64(l.Interval) / 2
	case "end":
		shift = -int64(l.Interval) / 2
	}
	checks := l.Site.Log.Checks
	near := func(t int64) bool { return t-first <= far && first-t <= far }
	if shift == 0 && len(checks) == 0 && !slices.ContainsFunc(b.Time, func(t int64) bool { return !near(t) }) {
		return
	}
	n := 0
	for i, t := range b.Time {
		if !near(t) {
			b.Rejected = append(b.Rejected, reading.Rejection{Line: b.Line[i], Reason: reasonFar})
			continue
		}
		if n != i {
			b.Keep(n, i)
		}
		b.Time[n] = t + shift - clockError(checks, t)
		n++
	}
	b.Slice(0, n)
}

// clockError is how far ahead of true time the logger's clock is at one of its own times.
func clockError(checks []site.ClockCheck, at int64) int64 {
	last := len(checks) - 1
	switch {
	case last < 0:
		return 0
	case at <= checks[0].At.UTC:
		return int64(checks[0].Error)
	case at >= checks[last].At.UTC:
		return int64(checks[last].Error)
	}
	i := sort.Search(last, func(i int) bool { return checks[i+1].At.UTC >= at })
	a, b := checks[i], checks[i+1]
	share := float64(at-a.At.UTC) / float64(b.At.UTC-a.At.UTC)
	return int64(a.Error) + int64(math.Round(share*float64(b.Error-a.Error)))
}
