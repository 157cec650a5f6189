package total

import (
	"fmt"
	"math"
)

// Counter follows a meter's running total over rollovers and resets.
type Counter struct {
	calendar    *Calendar
	from, until int64
	rollover    float64 // m³ at which it starts again; 0 when not known
	greatest    float64 // m³/s, the greatest flow that the meter can count; 0 when not known
	resolution  float64 // m³, one step of it

	volume    []Sum // by day, m³
	covered   []int64
	last      float64
	lastTime  int64
	any       bool
	Rollovers int
	Falls     []Fall          // falls that are no rollover
	Changes   []CounterChange // declared and still to come, in the order of time
	Changed   int             // declared changes that lay between two readings
	Also      *Counter        // takes in the same readings by other days; nil for none
}

// CounterChange is a declared change of the counter: it was set anew, or another meter took its place.
type CounterChange struct {
	At int64
	// m³ that it showed last before; NaN when nobody read it: what it counted since the reading before is then not
	// known
	Last  float64
	First float64 // m³ that it showed first after
}

// Fall is a step down of the counter that cannot be a rollover: a reset, or a counter that was replaced. What it
// counted in between is not known and counts as nothing.
type Fall struct {
	At       int64
	From, To float64 // m³
}

// NewCounter returns a counter. A fall counts as a rollover when the increase it stands for is possible at the greatest
// flow in the time between the readings; when that flow is not known, when the increase is under half the rollover.
func NewCounter(c *Calendar, from, until int64, rollover, greatest, resolution float64) *Counter {
	return &Counter{
		calendar: c, from: from, until: until, rollover: rollover, greatest: greatest, resolution: resolution,
	}
}

// Run takes in readings of the counter that follow each other. As long as it rises within one day, the rise over
// several readings is that between the first and the last.
func (c *Counter) Run(t []int64, shown []float64) {
	if c.Also != nil {
		c.Also.Run(t, shown)
	}
	for i := 0; i < len(t); {
		c.Add(t[i], shown[i])
		_, end := c.calendar.Bounds(c.calendar.Day(max(t[i], c.from)))
		end = min(end, c.until)
		if len(c.Changes) > 0 {
			end = min(end, c.Changes[0].At-1)
		}
		j := i + 1
		for j < len(t) && t[j] <= end && shown[j] >= shown[j-1] {
			j++
		}
		if j > i+1 {
			c.Add(t[j-1], shown[j-1])
		}
		i = j
	}
}

// Add takes in one reading of the counter.
func (c *Counter) Add(at int64, shown float64) {
	for len(c.Changes) > 0 && c.Changes[0].At <= at {
		c.change(c.Changes[0])
		c.Changes = c.Changes[1:]
	}
	if c.any {
		c.step(at, shown)
	}
	c.last, c.lastTime, c.any = shown, at, true
}

// change goes over to the counter as it was after a declared change.
func (c *Counter) change(to CounterChange) {
	if !c.any {
		return
	}
	if !math.IsNaN(to.Last) {
		c.step(to.At, to.Last)
	}
	c.last, c.lastTime = to.First, to.At
	c.Changed++
}

func (c *Counter) step(at int64, shown float64) {
	increase := shown - c.last
	if increase < 0 {
		wrapped := increase + c.rollover
		if !c.possible(wrapped, at-c.lastTime) {
			c.Falls = append(c.Falls, Fall{at, c.last, shown})
			return
		}
		c.Rollovers++
		increase = wrapped
	}
	c.spread(at, increase)
}

// possible reports whether a fall can be a rollover that stands for an increase within a time.
func (c *Counter) possible(increase float64, ns int64) bool {
	if c.rollover == 0 || increase < 0 {
		return false
	}
	if c.greatest == 0 {
		return increase < c.rollover/2
	}
	return increase <= float64(c.greatest*float64(ns)*1e-9)+2*c.resolution
}

// spread adds an increase to the days it spans, evenly in time, and leaves out what lies outside the period.
func (c *Counter) spread(at int64, increase float64) {
	whole := float64(at - c.lastTime)
	low, high := max(c.lastTime, c.from), min(at, c.until)
	for low < high {
		day := c.calendar.Day(low)
		for len(c.volume) <= day {
			c.volume, c.covered = append(c.volume, Sum{}), append(c.covered, 0)
		}
		_, end := c.calendar.Bounds(day)
		next := min(end, high)
		c.volume[day].Add(float64(increase * (float64(next-low) / whole)))
		c.covered[day] += next - low
		low = next
	}
}

// Volume returns the volume counted on day i, in m³, and the time that the counter's readings span.
func (c *Counter) Volume(i int) Volume {
	if i >= len(c.volume) {
		return Volume{}
	}
	return Volume{c.volume[i], c.covered[i]}
}

// String describes the fall.
func (f Fall) String() string { return fmt.Sprintf("from %.3f to %.3f m3", f.From, f.To) }
