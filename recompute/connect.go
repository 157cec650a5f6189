package recompute

import (
	"math"
	"sort"

	"retotal/recompute/settings"
)

// end is one end of an interval between two readings that count: the reading as the log has it, and the flow that
// counts for it.
type end struct {
	at     int64
	figure float64
	air    float64 // K
	flow   float64 // m³/s
}

// connect integrates a lane between two readings. rate gives the flow of a head under a segment, for the sides of a
// change at which nothing moved.
func (e *Engine) connect(l *settings.Lane, a, b end, rate func(*settings.Segment, int64, float64) float64, step func(int64, float64, int64, float64)) {
	cuts := l.ChangesIn(a.at, b.at)
	if len(cuts) == 0 || e.moved(a.at, b.at) {
		step(a.at, a.flow, b.at, b.flow)
		return
	}
	e.split(l, cuts, a, b, rate, step)
}

// moved reports whether something moved after t0 and up to t1.
func (e *Engine) moved(t0, t1 int64) bool {
	i := sort.Search(len(e.movedAt), func(i int) bool { return e.movedAt[i] > t0 })
	return i < len(e.movedAt) && e.movedAt[i] <= t1
}

// split integrates a lane over changes at which the measured distance is continuous.
func (e *Engine) split(l *settings.Lane, cuts []int64, a, b end, rate func(*settings.Segment, int64, float64) float64, step func(int64, float64, int64, float64)) {
	echo0 := l.Segments[l.At(a.at)].Echo(a.at, a.figure, a.air)
	echo1 := l.Segments[l.At(b.at)].Echo(b.at, b.figure, b.air)
	t, q := a.at, a.flow
	for _, cut := range cuts {
		share := float64(cut-a.at) / float64(b.at-a.at)
		echo, air := echo0+float64((echo1-echo0)*share), a.air+float64((b.air-a.air)*share)
		flow := func(s *settings.Segment) float64 {
			return rate(s, cut, s.HeadOfEcho(cut, echo, air))
		}
		i := l.At(cut)
		step(t, q, cut, flow(&l.Segments[i-1]))
		t, q = cut, flow(&l.Segments[i])
	}
	step(t, q, b.at, b.flow)
}

// laneRate is a lane's flow at a head, held where the channel or the rating ends when screening holds such readings.
func (a *after) laneRate(s *settings.Segment, at int64, head float64) float64 {
	flow := s.Rated(at, head)
	if a.holdsTop && head > s.Top {
		flow = math.Min(flow, s.Hold)
	}
	return flow
}
