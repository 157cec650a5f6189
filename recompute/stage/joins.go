package stage

import (
	"retotal/recompute/block"
	"retotal/recompute/fill"
	"retotal/recompute/total"
)

// Joins is how the corrected total goes on from an accepted reading to the next.
type Joins struct {
	filler fill.Filler
	bridge int64 // longest bridge, ns
}

// NewJoins are those of a site's limits and of its rule for missing time.
func NewJoins(b *block.Block, filler fill.Filler) Joins {
	return Joins{filler, b.Limits.BridgeLimit.Nanoseconds()}
}

// Fate is what becomes of so much time since an accepted reading in which some were dropped, or something was left out
// or missing.
func (j *Joins) Fate(since int64, dropped, apart bool) block.Fate {
	switch {
	case !apart && (!dropped || since <= j.bridge):
		return block.Joined
	case j.filler.Takes(since):
		return block.ToFill
	}
	return block.Lost
}

// Decide says how a step goes on from its last accepted reading, if some were dropped since then.
func (j *Joins) Decide(b *block.Block, s *block.Step, dropped bool) {
	last := &s.Last
	switch s.From = last.At; {
	case b.Means: // the figure stands for its own interval alone; the mean of those on both sides is put between them
		s.From = b.Opens(s.Low)
		s.Bridges = last.Any && dropped && !s.Apart && s.From-last.At <= j.bridge && s.From > last.At
	case !last.Any:
		s.Fate = block.Begins
	default:
		s.Fate = j.Fate(b.Time[s.Low]-last.At, dropped, s.Apart)
	}
}

// Put lays out the flow of a step that was decided on, by classes, and adds it up in the step.
func (j *Joins) Put(
	b *block.Block,
	s *block.Step,
	to func(class total.Class, t0 int64, q0 float64, t1 int64, q1 float64),
) {
	put := func(class total.Class, volume *float64) block.PutStep {
		return func(t0 int64, q0 float64, t1 int64, q1 float64) {
			to(class, t0, q0, t1, q1)
			*volume += b.Trapezoid(t0, q0, t1, q1)
			s.Covered += b.Within(t0, t1)
		}
	}
	end := b.EndAt(s.Low, b.Corrected.Flow[s.Low])
	if s.Bridges {
		mean := (s.Last.Flow + end.Flow) / 2
		put(total.Bridged, &s.Volume)(s.Last.At, mean, s.From, mean)
	}
	switch s.Fate {
	case block.ToFill:
		j.filler.Between(s.Last.End, end, put(total.Filled, &s.Filled))
	case block.Joined:
		b.Connect(b.Corrected.Lane, s.Start(), end, b.LaneRate, put(s.Class, &s.Volume))
	}
}
