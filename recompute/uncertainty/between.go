package uncertainty

import (
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/device"
	"retotal/recompute/settings"
)

// sampling adds up what every other reading changes in the volume of its day. Flow that wanders between readings like a
// Brownian path, the roughest that is usual, makes the total err by that over the root of 3; smooth flow by a third of
// it (worked out from the variances of its bridges). It follows accepted readings that follow each other, two intervals
// at a time, whatever the blocks that they come in.
type sampling struct {
	days   [][2]float64 // of after and of the difference, m³
	points int          // since the last triple: 1 or 2
	t      [2]int64
	q      [2][2]float64 // after, and after less before
}

func (x *sampling) add(b *block.Block) {
	for k := range b.Steps {
		if s := &b.Steps[k]; s.Kind == block.Run {
			if x.points == 0 || x.t[x.points-1] != b.Time[s.Low-1] {
				x.points, x.t[0], x.q[0] = 1, b.Time[s.Low-1], both(b, s.Low-1)
			}
			for i := s.Low; i < s.High; i++ {
				x.take(b, b.Time[i], both(b, i))
			}
		}
	}
}

func both(b *block.Block, i int) [2]float64 {
	after := b.Corrected.Flow[i]
	return [2]float64{after, after - b.Recorded.Flow[i]}
}

// take takes in one reading more.
func (x *sampling) take(b *block.Block, t int64, q [2]float64) {
	if x.points == 1 {
		x.t[1], x.q[1], x.points = t, q, 2
		return
	}
	before, after := float64(x.t[1]-x.t[0])*0.5e-9, float64(t-x.t[1])*0.5e-9
	day := b.Day(x.t[1])
	x.days = block.Grow(x.days, day+1)
	for k := range q {
		x.days[day][k] += float64(x.q[1][k]*(before+after)) - float64(x.q[0][k]*after) - float64(q[k]*before)
	}
	x.points, x.t[0], x.q[0] = 1, t, q
}

// joins adds up by how much the two ways of joining readings over a change of settings differ: a straight line of flow,
// and one of distance.
type joins struct {
	days   [][2]float64 // squares, of after and of the difference, m⁶
	before float64      // flow of the last accepted reading, recorded lane, m³/s
}

func (x *joins) add(b *block.Block) {
	for k := range b.Steps {
		s := &b.Steps[k]
		if s.Kind == block.Counts && s.Fate == block.Joined {
			x.take(b, s)
		}
		if s.Kind != block.Drops {
			x.before = b.Recorded.Flow[s.High-1]
		}
	}
}

func (x *joins) take(b *block.Block, s *block.Step) {
	from, to := s.Start(), b.EndAt(s.Low, b.Corrected.Flow[s.Low])
	after := choice(b, b.Corrected.Lane, from, to, b.LaneRate)
	from.Flow, to.Flow = x.before, b.Recorded.Flow[s.Low]
	before := choice(b, b.Recorded.Lane, from, to, settings.MeterRate)
	if after == 0 && before == 0 {
		return
	}
	day := b.Day(from.At)
	x.days = block.Grow(x.days, day+1)
	x.days[day][0] += float64(after*after) / 3
	x.days[day][1] += float64((after-before)*(after-before)) / 3
}

// choice is the volume by which a lane's two ways of joining two readings differ, m³; 0 where it has no change between
// them.
func choice(b *block.Block, l *settings.Lane, from, to block.End, rate block.Rate) (volume float64) {
	cuts := l.ChangesIn(from.At, to.At)
	if len(cuts) == 0 {
		return 0
	}
	block.Split(l, cuts, from, to, rate, func(t0 int64, q0 float64, t1 int64, q1 float64) {
		volume += b.Trapezoid(t0, q0, t1, q1)
	})
	return volume - b.Trapezoid(from.At, from.Flow, to.At, to.Flow)
}

// beyond adds up the volume of heads above the limit of validity times how much less well its coefficient is known
// there.
type beyond struct{ days []float64 }

func (x *beyond) add(b *block.Block) {
	for k := range b.Steps {
		if s := &b.Steps[k]; s.Kind == block.Run {
			for i := s.Low; i < s.High; i++ {
				if b.Flags[i]&qa.Validity != 0 {
					x.take(b, i)
				}
			}
		}
	}
}

func (x *beyond) take(b *block.Block, i int) {
	more := device.Beyond(b.SegmentOf(b.Corrected.Lane, i).Rating, b.Head[i]) - 1
	if more <= 0 {
		return
	}
	day := b.Day(b.Time[i])
	x.days = block.Grow(x.days, day+1)
	x.days[day] += float64(more * b.Corrected.Flow[i] * float64(b.Time[i]-b.Time[i-1]) * 1e-9)
}
