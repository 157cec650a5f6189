package block

import (
	"math"
	"sort"

	"retotal/ingest/reading"
	"retotal/recompute/settings"
)

// End is one end of an interval between two readings that count: the reading as the log has it, and the flow that
// counts for it.
type End struct {
	At     int64
	Figure float64
	Air    float64 // K
	Flow   float64 // m³/s
}

// EndAt is row i as an end, with a flow.
func (b *Block) EndAt(i int, flow float64) End {
	return End{At: b.Time[i], Figure: b.Figure[i], Air: b.AirAt(i), Flow: flow}
}

// PutStep takes in a straight line of flow from one instant to another, such as total.Series.Step.
type PutStep func(t0 int64, q0 float64, t1 int64, q1 float64)

// Rate is the flow of a head under a segment at an instant, m³/s.
type Rate func(s *settings.Segment, at int64, head float64) float64

// Connect integrates a lane between two readings. rate serves the sides of a change at which nothing moved.
func (f *Frame) Connect(l *settings.Lane, a, b End, rate Rate, step PutStep) {
	cuts := l.ChangesIn(a.At, b.At)
	if len(cuts) == 0 || f.moved(a.At, b.At) {
		step(a.At, a.Flow, b.At, b.Flow)
		return
	}
	Split(l, cuts, a, b, rate, step)
}

// moved reports whether something moved after t0 and up to t1.
func (f *Frame) moved(t0, t1 int64) bool {
	i := sort.Search(len(f.movedAt), func(i int) bool { return f.movedAt[i] > t0 })
	return i < len(f.movedAt) && f.movedAt[i] <= t1
}

// Split integrates a lane over changes at which the measured distance is continuous.
func Split(l *settings.Lane, cuts []int64, a, b End, rate Rate, step PutStep) {
	echo0 := l.Segments[l.At(a.At)].Echo(a.At, a.Figure, a.Air)
	echo1 := l.Segments[l.At(b.At)].Echo(b.At, b.Figure, b.Air)
	t, q := a.At, a.Flow
	for _, cut := range cuts {
		share := float64(cut-a.At) / float64(b.At-a.At)
		echo, air := echo0+float64((echo1-echo0)*share), a.Air+float64((b.Air-a.Air)*share)
		flow := func(s *settings.Segment) float64 {
			return rate(s, cut, s.HeadOfEcho(cut, echo, air))
		}
		i := l.At(cut)
		step(t, q, cut, flow(&l.Segments[i-1]))
		t, q = cut, flow(&l.Segments[i])
	}
	step(t, q, b.At, b.Flow)
}

// LaneRate is a lane's flow at a head, held where the channel or the rating ends when screening holds such readings.
func (f *Frame) LaneRate(s *settings.Segment, at int64, head float64) float64 {
	flow := s.Rated(at, head)
	if f.HoldsTop() && head > s.Top {
		flow = math.Min(flow, s.Hold)
	}
	return flow
}

// Trapezoid is the volume under a straight line within the period of the totals, m³, rounded before it is added to
// another; of means over intervals, the mean times the time.
func (f *Frame) Trapezoid(t0 int64, q0 float64, t1 int64, q1 float64) float64 {
	if f.Means {
		q0 = q1
	}
	if t0 < f.From || t1 > f.Until {
		low, high := max(t0, f.From), min(t1, f.Until)
		if low >= high {
			return 0
		}
		at := func(t int64) float64 { return q0 + float64((q1-q0)*(float64(t-t0)/float64(t1-t0))) }
		t0, q0, t1, q1 = low, at(low), high, at(high)
	}
	return float64((q0 + q1) / 2 * float64(t1-t0) * 1e-9)
}

// Within is how much of the time between two instants lies in the period of the totals, ns.
func (f *Frame) Within(t0, t1 int64) int64 { return max(0, min(t1, f.Until)-max(t0, f.From)) }

// Opens is when the interval begins that the mean of row i stands for: at the reading before it or, where that is
// further away than the log's own interval, one interval before its stamp. Half an interval more is taken for a stamp
// that came late.
func (b *Block) Opens(i int) int64 {
	at := b.Time[i]
	if b.primary == reading.Counter {
		return b.Time[max(i-1, 0)]
	}
	own := b.Log.Begins(at)
	if i > 0 && (at-b.Time[i-1])*2 <= (at-own)*3 {
		return b.Time[i-1]
	}
	return own
}

// Changes are the instants at which either timeline changes after t0 and before t1: those of the corrected one or,
// where it has none, of the recorded one.
func (b *Block) Changes(t0, t1 int64) []int64 {
	if cuts := b.Corrected.ChangesIn(t0, t1-1); len(cuts) > 0 {
		return cuts
	}
	return b.Recorded.ChangesIn(t0, t1-1)
}
