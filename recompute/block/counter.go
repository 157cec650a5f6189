package block

import (
	"math"

	"retotal/ingest/site"
	"retotal/recompute/total"
)

// counter turns a meter's running total into mean flows.
type counter struct {
	rollover float64               // m³; 0 when not known
	changes  []total.CounterChange // declared and still to come
	last     float64
	lastTime int64
	any      bool
}

// next returns the mean flow since the reading before; false when there is none: at the first reading, and where the
// counter fell other than by rolling over.
func (c *counter) next(at int64, shown float64) (flow float64, ok bool) {
	seconds := float64(at-c.lastTime) * 1e-9
	increase, from := 0.0, c.last
	for len(c.changes) > 0 && c.changes[0].At <= at {
		change := c.changes[0]
		increase, from = increase+c.rise(from, change.Last), change.First // NaN when nobody read the counter
		c.changes = c.changes[1:]
	}
	increase += c.rise(from, shown)
	ok = c.any && increase >= 0 && seconds > 0
	c.last, c.lastTime, c.any = shown, at, true
	if !ok {
		return 0, false
	}
	return increase / seconds, true
}

// rise is the increase between two readings of one counter, over a rollover when that is the smaller step; NaN when it
// fell otherwise.
func (c *counter) rise(from, to float64) float64 {
	increase := to - from
	if increase < 0 && c.rollover > 0 && increase+c.rollover < c.rollover/2 {
		increase += c.rollover
	}
	if increase < 0 {
		return math.NaN()
	}
	return increase
}

// CounterChanges are the declared changes of a log's counter, at the times of a clock.
func CounterChanges(l *site.Log, clock func(int64) int64) (list []total.CounterChange) {
	for _, c := range l.CounterChanges {
		change := total.CounterChange{At: clock(c.At.UTC), Last: math.NaN(), First: c.First.SI}
		if c.Last != nil {
			change.Last = c.Last.SI
		}
		list = append(list, change)
	}
	return list
}
