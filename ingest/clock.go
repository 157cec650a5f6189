package ingest

import (
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
