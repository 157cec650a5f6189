package stage

import (
	"retotal/recompute/block"
	"retotal/recompute/total"
)

// Edges notes what means put on either side of the bounds of days that their intervals hold: when in the interval it
// flowed is not known.
type Edges struct{ days []total.Edges }

// Add takes in the steps of a block.
func (e *Edges) Add(b *block.Block) {
	for k := range b.Steps {
		switch s := &b.Steps[k]; {
		case s.Kind == block.Run:
			for i := s.Low; i < s.High; i++ {
				e.spread(b, b.Time[i-1], b.Time[i], b.Corrected.Flow[i])
			}
		case s.Kind == block.Counts:
			e.spread(b, s.From, b.Time[s.Low], b.Corrected.Flow[s.Low])
		}
	}
}

// spread takes in one mean.
func (e *Edges) spread(b *block.Block, t0, t1 int64, flow float64) {
	for day := b.Day(t0); ; day++ {
		_, bound := b.Calendar.Bounds(day)
		if bound >= min(t1, b.Until) {
			return
		}
		e.days = block.Grow(e.days, day+2)
		before, after := float64(flow*float64(bound-t0)*1e-9), float64(flow*float64(t1-bound)*1e-9)
		e.days[day].EndIn, e.days[day].EndOut = before, after
		e.days[day+1].StartIn, e.days[day+1].StartOut = after, before
		b.Calendar.Day(bound)
	}
}

// Day is the edges of day i.
func (e *Edges) Day(i int) (edges total.Edges) {
	if i < len(e.days) {
		return e.days[i]
	}
	return edges
}
