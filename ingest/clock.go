package ingest

import (
	"math"
	"sort"

	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// Reasons for which the clock rejects a row.
const (
	reasonSkipped  = "local time does not exist: the clock jumps over it"
	reasonRepeated = "local time occurs twice, and the rows do not tell which is meant"
)

// clock turns the local clock readings of one file into instants. Readings of the hour that the clock shows twice are
// kept back until the hour is over, and told apart by the order of rows then (see passes).
type clock struct {
	zone                site.Clock
	near                func(at int64) int64 // rows no further apart than this follow each other
	from, until, offset int64                // a span of local readings with one offset
	last                int64                // instant of the row before
	any                 bool
	fold, out           reading.Batch // rows of the repeated hour, with local times; the batch that they come out in
	kept                bool          // fold has rows
	has                 [reading.Count]bool
}

// apply returns the batch in instants; rows without one are among the rejected. The result may be the batch itself,
// changed.
func (c *clock) apply(b *reading.Batch) *reading.Batch {
	if c.zone.Fixed {
		for i := range b.Time {
			b.Time[i] -= c.zone.Offset
		}
		return b
	}
	n := 0
	for i, local := range b.Time {
		utc, reason := local-c.offset, ""
		if local < c.from || local >= c.until {
			var twice bool
			if utc, twice, reason = c.resolve(local); twice || c.kept {
				return c.around(b, n, i)
			}
		}
		if reason != "" {
			b.Rejected = append(b.Rejected, reading.Rejection{Line: b.Line[i], Reason: reason})
			continue
		}
		c.last, c.any = utc, true
		b.Keep(n, i)
		b.Time[n] = utc
		n++
	}
	b.Slice(0, n)
	return b
}

// around goes on with a batch in which rows are kept back or come out again: rows before n are done, those from i on
// are not.
func (c *clock) around(b *reading.Batch, n, i int) *reading.Batch {
	out := c.fresh()
	out.Read, out.Misled = b.Read, b.Misled
	out.Rejected = append(out.Rejected, b.Rejected...)
	for k := range n {
		out.Append(b, k)
	}
	for ; i < b.Len(); i++ {
		local := b.Time[i]
		utc, twice, reason := c.resolve(local)
		switch {
		case twice:
			if !c.kept {
				c.fold.Reset(c.has)
				c.kept = true
			}
			c.fold.Append(b, i)
		case reason != "":
			out.Rejected = append(out.Rejected, reading.Rejection{Line: b.Line[i], Reason: reason})
		default:
			c.release(out, utc, true)
			c.last, c.any = utc, true
			out.Append(b, i)
			out.Time[out.Len()-1] = utc
		}
	}
	return out
}

// fresh empties the batch that around fills.
func (c *clock) fresh() *reading.Batch {
	c.out.Reset(c.has)
	c.out.File = []int32{}
	return &c.out
}

// flush returns the rows still kept back at the end of a file; nil when there are none.
func (c *clock) flush() *reading.Batch {
	if !c.kept {
		return nil
	}
	out := c.fresh()
	c.release(out, 0, false)
	return out
}

// release puts the rows kept back into a batch, or among its rejected ones. next is the instant of the row that
// follows, if any.
func (c *clock) release(out *reading.Batch, next int64, any bool) {
	if !c.kept {
		return
	}
	c.kept = false
	second := c.passes(next, any)
	for i, local := range c.fold.Time {
		if second < 0 {
			out.Rejected = append(out.Rejected, reading.Rejection{Line: c.fold.Line[i], Reason: reasonRepeated})
			continue
		}
		instants, _ := c.zone.Resolve(local)
		out.Append(&c.fold, i)
		pass := 0
		if i >= second {
			pass = 1
		}
		c.last, c.any = instants[pass], true
		out.Time[out.Len()-1] = c.last
	}
}

// passes returns from which of the rows kept back on the clock shows the hour for the second time: where local time
// falls back once. Where it never does, the rows belong to the pass that joins them to the row before or after them. It
// is −1 when neither tells: time falls more than once (a log sorted by local time), or both passes would do.
func (c *clock) passes(next int64, any bool) (second int) {
	times := c.fold.Time
	falls, at := 0, 0
	for i := 1; i < len(times); i++ {
		if times[i] <= times[i-1] {
			falls, at = falls+1, i
		}
	}
	if falls == 1 {
		return at
	}
	first, _ := c.zone.Resolve(times[0])
	last, _ := c.zone.Resolve(times[len(times)-1])
	joinsBefore, joinsAfter := c.any && first[0]-c.last <= c.near(first[0]), any && next-last[1] <= c.near(next)
	switch {
	case falls > 1 || joinsBefore == joinsAfter:
		return -1
	case joinsBefore:
		return len(times)
	}
	return 0
}

// resolve looks a reading up outside the steady span.
func (c *clock) resolve(local int64) (utc int64, twice bool, reason string) {
	if from, until, offset := c.zone.Steady(local); from < until {
		c.from, c.until, c.offset = from, until, offset
		return local - offset, false, ""
	}
	instants, n := c.zone.Resolve(local)
	switch n {
	case 0:
		return 0, false, reasonSkipped
	case 1:
		return instants[0], false, ""
	}
	return 0, true, ""
}

// Reasons for which a reading is rejected whose clock was not set, or was reset.
const (
	reasonFar   = "time is more than 20 years off the readings around it: was the clock reset?"
	reasonUnset = "time is years off the readings after it: the clock was not set yet"
)

// expected is what the time of the next reading of a file is judged by: that of the one before it in the file, at first
// that of the first one of the body of its rows, and the times that an unset clock showed.
type expected struct {
	last  int64
	unset []int64
	any   bool // the site file says that all times are genuine
}

// judge returns why a reading cannot be of its time; "" when it can, and then it is the one before the next.
func (e *expected) judge(t int64) (reason string) {
	switch jump := t - e.last; {
	case e.any:
		return ""
	case len(e.unset) > 0 && e.unset[0] == t:
		e.unset = e.unset[1:]
		return reasonUnset
	case max(jump, -jump) <= reading.FarJump:
		e.last = t
		return ""
	}
	return reasonFar
}

// correctTimes takes the logger's own errors out of instants: stamps of the start or end of an interval move to its
// middle, of means and volumes to its end, and the error between clock checks, linear in time and constant outside
// them, is taken off. Readings decades away from those around them are rejected.
func (l *Log) correctTimes(b *reading.Batch, e *expected) {
	fromStart, shifts := l.Site.Log.StampAt == "start" && l.Site.Log.Means, l.shifts()
	checks, n := l.Site.Log.Checks, 0
	for i, t := range b.Time {
		if reason := e.judge(t); reason != "" {
			b.Rejected = append(b.Rejected, reading.Rejection{Line: b.Line[i], Reason: reason})
			continue
		}
		if n != i {
			b.Keep(n, i)
		}
		switch {
		case fromStart:
			b.Time[n] = l.Ends(t) - clockError(checks, t)
		case shifts:
			b.Time[n] = t + l.shift(t) - clockError(checks, t)
		default:
			b.Time[n] = t
		}
		n++
	}
	b.Slice(0, n)
}

// shifts reports whether readings have other times than their stamps.
func (l *Log) shifts() bool {
	means, at := l.Site.Log.Means, l.Site.Log.StampAt
	return at == "start" || at == "end" && !means || len(l.Site.Log.Checks) > 0
}

// shift is from the stamp of a reading that is no mean to its time: half an interval on from its start, or back from
// its end.
func (l *Log) shift(stamp int64) int64 {
	switch l.Site.Log.StampAt {
	case "start":
		return int64(l.At(stamp+reading.Residue).Interval) / 2
	case "end":
		if !l.Site.Log.Means {
			return -int64(l.At(stamp-reading.Residue).Interval) / 2
		}
	}
	return 0
}

// stamp is the stamp of a reading of which the time is known, to a few nanoseconds.
func (l *Log) stamp(t int64) int64 {
	checks, at := l.Site.Log.Checks, t
	for range 3 { // the error is known by the stamp, and small beside the time in which it changes
		t = at + clockError(checks, t)
	}
	switch means := l.Site.Log.Means; {
	case l.Site.Log.StampAt == "start" && means:
		return l.Begins(t)
	case l.Site.Log.StampAt == "start":
		return t - int64(l.At(t).Interval)/2
	case l.Site.Log.StampAt == "end" && !means:
		return t + int64(l.At(t).Interval)/2
	}
	return t
}

// near is how far apart readings may be that follow each other.
func (l *Log) near(at int64) int64 { return int64(l.At(at).Interval) * 3 / 2 }

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
