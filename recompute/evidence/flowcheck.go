package evidence

import (
	"math"

	"retotal/ingest/reading"
	"retotal/recompute/block"
	"retotal/recompute/settings"
)

// FlowCheck compares the logged flow with the flow that each lane's settings give, reading by reading.
type FlowCheck struct {
	Recorded, Corrected  Misfit
	recorded, corrected  follower
	flowStep, levelStep  float64   // SI steps of the log
	limited, heads       []float64 // memory
	least, most, seconds []float64
}

// Misfit is how far logged flows are from those of one lane.
type Misfit struct {
	Readings int
	Within   int     // differ by no more than the log's rounding of flow and level explains
	Largest  float64 // m³/s
	At       int64   // reading of the largest difference
	Sum      float64 // of logged − lane, m³/s
	Logged   float64 // m³, of the readings compared
	Lane     float64 // m³
	// Lag is the readings by which the logged flow lags behind its level, as a meter does that damps it; it is taken
	// out of what follows.
	Lag      float64
	AboveCap int          // that are more than the lane's settings let a meter show
	Cap      float64      // m³/s, the last such limit
	Worth    float64      // m³, see follower
	Spans    []MisfitSpan // those that are worth most
	Standing MisfitSpan   // of those that stand for StandingSpan or longer, the one whose own volume differs most
	Factor   Factor
}

// Mean returns the mean difference logged − lane in m³/s.
func (m Misfit) Mean() float64 { return m.Sum / max(float64(m.Readings), 1) }

// Share returns the part of the readings that agree.
func (m Misfit) Share() float64 { return float64(m.Within) / max(float64(m.Readings), 1) }

// Part is what the disagreement is worth, as a part of the volume.
func (m Misfit) Part() float64 {
	if m.Worth == 0 {
		return 0
	}
	return m.Worth / max(m.Logged, m.Lane)
}

// NewFlowCheck prepares the stage for a pass.
func NewFlowCheck(b *block.Block) *FlowCheck {
	return &FlowCheck{flowStep: b.Log.Resolution[reading.Flow], levelStep: b.Log.Resolution[b.Site.Log.Primary]}
}

// Add takes in the rows of a block. It stands before screening: a meter knows no flags.
func (w *FlowCheck) Add(b *block.Block) {
	if len(b.Logged) == 0 || b.OfFlow {
		return
	}
	b.EachSegment(b.Recorded.Lane, b.Low, b.High, func(s *settings.Segment, low, high int) {
		w.lane(b, &w.Recorded, &w.recorded, s, b.Recorded.Flow[low:high], low)
	})
	b.EachSegment(b.Corrected.Lane, b.Low, b.High, func(s *settings.Segment, low, high int) {
		w.limited = append(w.limited[:0], b.Corrected.Flow[low:high]...)
		for i, h := range b.Head[low:high] {
			if h > s.MaximumHead { // as the meter would have shown it
				w.limited[i] = s.Rating.Flow(s.MaximumHead)
			}
			if w.limited[i] > s.MaximumFlow {
				w.limited[i] = s.MaximumFlow
			} else if w.limited[i] < s.CutOff {
				w.limited[i] = 0
			}
		}
		w.lane(b, &w.Corrected, &w.corrected, s, w.limited, low)
	})
}

// Finish closes what is open.
func (w *FlowCheck) Finish() {
	w.recorded.finish(&w.Recorded)
	w.corrected.finish(&w.Corrected)
}

// compareBlock is how many rows are compared at a time: where all of them agree to the rounding of the flow alone, that
// of the level need not be worked out.
const compareBlock = 256

// lane takes in the flows of one segment for the rows from first on.
func (w *FlowCheck) lane(b *block.Block, m *Misfit, f *follower, s *settings.Segment, flows []float64, first int) {
	half := w.flowStep/2 + 1e-12
	f.enter(s)
	for len(flows) > 0 {
		n := min(compareBlock, len(flows))
		w.durations(b, first, n)
		logged, states, times := b.Logged[first:first+n], b.LoggedState[first:first+n], b.Time[first:first+n]
		present, within, least := m.add(flows[:n], logged, w.seconds, states, times, half)
		w.sample(b, f, s, flows[:n], first, half)
		if within < present {
			level := least <= half+w.rangeOf(b, s, first, n)
			if level {
				w.rounding(b, s, first, n)
			}
			within = w.follow(b, m, f, flows[:n], first, half, level)
		} else {
			f.agree(present)
			for i := first + n - 1; i >= first; i-- {
				if b.LoggedState[i] == reading.Present {
					f.last, f.lastAt = b.Logged[i], b.Time[i]
					break
				}
			}
		}
		m.Within += within
		flows, first = flows[n:], first+n
	}
}

// durations works out the time that each of n rows stands for, in seconds: since the row before, or the log's interval
// after a gap.
func (w *FlowCheck) durations(b *block.Block, first, n int) {
	w.seconds = w.seconds[:0]
	for i := first; i < first+n; i++ {
		dt := int64(b.Log.At(b.Time[i]).Interval)
		if i > 0 && !b.Log.Gap(b.Time[i-1], b.Time[i]) {
			dt = b.Time[i] - b.Time[i-1]
		}
		w.seconds = append(w.seconds, float64(dt)*1e-9)
	}
}

// add takes in a block and returns how many rows have a flow, how many of these differ by no more than half, and the
// least difference.
func (m *Misfit) add(
	flows, logged, seconds []float64,
	states []reading.State,
	times []int64,
	half float64,
) (present, within int, least float64) {
	least = math.Inf(1)
	sum, largest, at := 0.0, m.Largest, -1
	ours, theirs := 0.0, 0.0
	logged, states, seconds = logged[:len(flows)], states[:len(flows)], seconds[:len(flows)]
	for i, flow := range flows {
		if states[i] != reading.Present {
			continue
		}
		d := logged[i] - flow
		present++
		sum += d
		ours, theirs = ours+float64(flow*seconds[i]), theirs+float64(logged[i]*seconds[i])
		if d = math.Abs(d); d > largest {
			largest, at = d, i
		}
		if d <= half {
			within++
		}
		if d < least {
			least = d
		}
	}
	m.Readings += present
	m.Sum += sum
	m.Lane, m.Logged = m.Lane+ours, m.Logged+theirs
	if at >= 0 {
		m.Largest, m.At = largest, times[at]
	}
	return present, within, least
}

// rangeOf returns a flow that half a step of the level cannot exceed anywhere in a block: flow rises with head, so it
// is less than the flow half a step above the highest head less that half a step below the lowest.
func (w *FlowCheck) rangeOf(b *block.Block, s *settings.Segment, first, n int) float64 {
	lowest, highest := b.Figure[first], b.Figure[first]
	for _, v := range b.Figure[first+1 : first+n] {
		if v < lowest {
			lowest = v
		} else if v > highest {
			highest = v
		}
	}
	if !s.Straight() || s.CutOff > 0 {
		return math.Inf(1)
	}
	least, most := math.Inf(1), math.Inf(-1)
	for _, at := range []int64{b.Time[first], b.Time[first+n-1]} {
		x, y := s.Head(at, lowest, 0), s.Head(at, highest, 0)
		least, most = min(least, x, y), max(most, x, y)
	}
	return s.Rating.Flow(most+w.levelStep/2) - s.Rating.Flow(least-w.levelStep/2)
}

// rounding works out, for n rows, what the meter would show at half a step of the level less, and more.
func (w *FlowCheck) rounding(b *block.Block, s *settings.Segment, first, n int) {
	w.heads = append(w.heads[:0], b.Figure[first:first+n]...)
	s.Heads(w.heads, b.Time[first:first+n], b.Figure[first:first+n], b.AirOf(first, first+n))
	w.least, w.most = w.least[:0], w.most[:0]
	for _, h := range w.heads {
		w.least, w.most = append(w.least, s.MeterFlow(h-w.levelStep/2)), append(w.most, s.MeterFlow(h+w.levelStep/2))
	}
}

// follow passes the rows of a block on and counts those that agree to the rounding of flow and, where level says so, of
// level.
func (w *FlowCheck) follow(
	b *block.Block,
	m *Misfit,
	f *follower,
	flows []float64,
	first int,
	half float64,
	level bool,
) (within int) {
	for i, flow := range flows {
		if b.LoggedState[first+i] != reading.Present {
			continue
		}
		at, logged, rise := b.Time[first+i], b.Logged[first+i], 0.0
		if !b.Log.Gap(f.lastAt, at) {
			rise = logged - f.last
		}
		f.last, f.lastAt = logged, at
		least, most := flow-half, flow+half
		if level {
			least, most = min(least, w.least[i]-half), max(most, w.most[i]+half)
		}
		if logged >= least && logged <= most {
			within++
			f.agree(1)
			continue
		}
		if logged > f.cap+half {
			m.AboveCap++
			m.Cap = f.cap
		}
		f.disagree(at, logged, flow, rise, w.seconds[i])
	}
	return within
}
