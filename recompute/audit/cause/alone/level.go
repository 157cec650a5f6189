// Package alone looks for what is wrong with the level or the clock of a record that has no other witness: by pure
// functions over its hours and instants.
package alone

import (
	"math"
	"slices"
	"time"

	"retotal/recompute/audit/cause"
	"retotal/recompute/stat"
)

// Level is what a record of levels shows without any other witness.
type Level struct {
	Hours []cause.Hour
	Clock *time.Location
	Step  float64 // m, of the log
	// Interval is from a reading to the next.
	Interval time.Duration
	// Distance is from the sensor to zero flow, m; 0 where it is not known.
	Distance float64
	Stills   []Still // in which screening or the whole record says that the sensor was dead or stuck
	Moves    []Move  // of the sensor, that no setting explains
	Ponds    []Still // in which the level stood high
	Drift    *Drift  // of the night minimum; nil for none
	Shift    func(at int64, flow, datum float64) float64
	heads    map[int64]float64 // by hour
}

// Still is a time in which the level hardly moved.
type Still struct {
	From, Until int64
	Head        float64 // m
}

// Move is a jump after which the level goes on elsewhere.
type Move struct {
	Before, After int64
	Size, Scatter float64 // m
}

// Drift is a slow rise, over a time.
type Drift struct {
	From, Until int64
	Size        float64 // m over all of it
}

// Causes are those of the level.
func (l *Level) Causes() (list []cause.Cause) {
	l.Step = math.Max(l.Step, l.ownStep())
	list = append(list, l.stills()...)
	for _, c := range l.steps() {
		inside := slices.ContainsFunc(list, func(o cause.Cause) bool {
			return o.Until != 0 && c.Since >= o.Since-aroundStill && c.Since <= o.Until+aroundStill
		})
		if !inside {
			list = append(list, c)
		}
	}
	if c, ok := l.sound(); ok {
		list = append(list, c)
	} else if l.Drift != nil {
		list = append(list, l.drifted())
	}
	return list
}

// ownStep is the step that the levels themselves have, m: figures written to a millimetre may go by three.
func (l *Level) ownStep() float64 {
	var list []float64
	for i := range l.Hours {
		if d := l.Hours[i].Most - l.Hours[i].Least; d > 1e-7 {
			list = append(list, d)
		}
	}
	if len(list) == 0 {
		return 0
	}
	slices.Sort(list)
	return stat.Percentile(list, 0.01)
}

// aroundStill is how near to a time in which the level stands a jump belongs to it.
const aroundStill = 3 * cause.HourNs

// shifted is what a datum that is off makes too much of the flow from an instant to another.
func (l *Level) shifted(from, until int64, by func(at int64) float64) float64 {
	if l.Shift == nil {
		return math.NaN()
	}
	sum := 0.0
	for _, h := range cause.Within(l.Hours, from, until) {
		if h.Flow > 0 {
			sum += h.Flow - 3600*l.Shift(h.At, h.Flow/3600, -by(h.At))
		}
	}
	return sum
}

// drifted is a drift of the night minimum, which a season makes too.
func (l *Level) drifted() cause.Cause {
	c := cause.Named("sensor drift")
	d := l.Drift
	c.Value, c.Unit, c.Since, c.Cannot = 1000*d.Size, "mm", d.From, true
	c.Worth = l.shifted(d.From, d.Until, func(at int64) float64 {
		return d.Size * float64(at-d.From) / float64(d.Until-d.From)
	})
	return c
}
