package recompute

import (
	"math"

	"retotal/ingest/reading"
	"retotal/recompute/settings"
)

// Witness compares the logged flow with the flow that each lane's settings give, reading by reading.
type Witness struct {
	Recorded, Corrected  Misfit
	recorded, corrected  follower
	flowStep, levelStep  float64   // SI steps of the log
	limited, heads       []float64 // memory
	least, most, seconds []float64
}

// Misfit is how far logged flows are from those of one lane.
type Misfit struct {
	Readings int
	Within   int          // differ by no more than the log's rounding of flow and level explains
	Largest  float64      // m³/s
	At       int64        // reading of the largest difference
	Sum      float64      // of logged − lane, m³/s
	Logged   float64      // m³, of the readings compared
	Lane     float64      // m³
	Lag      float64      // readings by which the logged flow lags behind its level, as a meter does that damps it; it is taken out of what follows
	AboveCap int          // that are more than the lane's settings let a meter show
	Cap      float64      // m³/s, the last such limit
	Worth    float64      // m³, see follower
	Spans    []MisfitSpan // those that are worth most
	Standing MisfitSpan   // of those that stand for StandingSpan or longer, the one whose own volume differs most
	Factor   Factor
}

// MisfitSpan is a stretch of readings that disagree.
type MisfitSpan struct {
	From, Until  int64 // first and last of them
	Readings     int
	Logged, Lane float64 // m³
	Largest      float64 // m³/s
	Lag          float64 // m³ that the logged flow lags behind its level, see Misfit
	rise         float64 // m³, of the logged flow from reading to reading
}

// Net is what the logged flow is worth more than the lane's, without its lag, m³.
func (s *MisfitSpan) Net() float64 { return s.Logged - s.Lane + s.Lag }

// Part is the net difference as a part of the span's own volume.
func (s *MisfitSpan) Part() float64 {
	if s.Net() == 0 {
		return 0
	}
	return math.Abs(s.Net()) / max(s.Logged, s.Lane)
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

// compare takes in rows low to high−1. It stands before screening: a meter knows no flags.
func (w *Witness) compare(e *Engine, low, high int) {
	if len(e.flow) == 0 {
		return
	}
	e.eachSegment(e.recorded, low, high, func(s *settings.Segment, low, high int) {
		w.lane(e, &w.Recorded, &w.recorded, s, e.beforeFlow[low:high], low)
	})
	e.eachSegment(e.corrected, low, high, func(s *settings.Segment, low, high int) {
		w.limited = append(w.limited[:0], e.afterFlow[low:high]...)
		for i, h := range e.Head[low:high] {
			if h > s.MaximumHead { // as the meter would have shown it
				w.limited[i] = s.Rating.Flow(s.MaximumHead)
			}
			if w.limited[i] > s.MaximumFlow {
				w.limited[i] = s.MaximumFlow
			} else if w.limited[i] < s.CutOff {
				w.limited[i] = 0
			}
		}
		w.lane(e, &w.Corrected, &w.corrected, s, w.limited, low)
	})
}

// finish closes what is open and returns the witness.
func (w *Witness) finish() Witness {
	w.recorded.finish(&w.Recorded)
	w.corrected.finish(&w.Corrected)
	return *w
}

// compareBlock is how many rows are compared at a time: where all of them agree to the rounding of the flow alone, that
// of the level need not be worked out.
const compareBlock = 256

// lane takes in the flows of one segment for the rows from first on.
func (w *Witness) lane(e *Engine, m *Misfit, f *follower, s *settings.Segment, flows []float64, first int) {
	half := w.flowStep/2 + 1e-12
	f.enter(s)
	for len(flows) > 0 {
		n := min(compareBlock, len(flows))
		w.durations(e, first, n)
		present, within, least := m.add(flows[:n], e.flow[first:first+n], w.seconds, e.flowState[first:first+n], e.Time[first:first+n], half)
		w.sample(e, f, s, flows[:n], first, half)
		if within < present {
			level := least <= half+w.rangeOf(e, s, first, n)
			if level {
				w.rounding(e, s, first, n)
			}
			within = w.follow(e, m, f, flows[:n], first, half, level)
		} else {
			f.agree(present)
			for i := first + n - 1; i >= first; i-- {
				if e.flowState[i] == reading.Present {
					f.last, f.lastAt = e.flow[i], e.Time[i]
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
func (w *Witness) durations(e *Engine, first, n int) {
	w.seconds = w.seconds[:0]
	for i := first; i < first+n; i++ {
		dt := int64(e.log.Interval)
		if i > 0 && e.Time[i]-e.Time[i-1] <= e.log.GapLimit.Nanoseconds() {
			dt = e.Time[i] - e.Time[i-1]
		}
		w.seconds = append(w.seconds, float64(dt)*1e-9)
	}
}

// add takes in a block and returns how many rows have a flow, how many of these differ by no more than half, and the
// least difference.
func (m *Misfit) add(flows, logged, seconds []float64, states []reading.State, times []int64, half float64) (present, within int, least float64) {
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
func (w *Witness) rangeOf(e *Engine, s *settings.Segment, first, n int) float64 {
	lowest, highest := e.figure[first], e.figure[first]
	for _, v := range e.figure[first+1 : first+n] {
		if v < lowest {
			lowest = v
		} else if v > highest {
			highest = v
		}
	}
	if !s.Straight() || s.CutOff > 0 {
		return math.Inf(1)
	}
	a, b := s.Head(e.Time[first], lowest, 0), s.Head(e.Time[first+n-1], highest, 0)
	c, d := s.Head(e.Time[first+n-1], lowest, 0), s.Head(e.Time[first], highest, 0)
	return s.Rating.Flow(max(a, b, c, d)+w.levelStep/2) - s.Rating.Flow(min(a, b, c, d)-w.levelStep/2)
}

// rounding works out, for n rows, what the meter would show at half a step of the level less, and more.
func (w *Witness) rounding(e *Engine, s *settings.Segment, first, n int) {
	w.heads = append(w.heads[:0], e.figure[first:first+n]...)
	s.Heads(w.heads, e.Time[first:first+n], e.figure[first:first+n], e.airOf(first, first+n))
	w.least, w.most = w.least[:0], w.most[:0]
	for _, h := range w.heads {
		w.least, w.most = append(w.least, s.MeterFlow(h-w.levelStep/2)), append(w.most, s.MeterFlow(h+w.levelStep/2))
	}
}

// follow passes the rows of a block on and counts those that agree to the rounding of flow and, where level says so, of
// level.
func (w *Witness) follow(e *Engine, m *Misfit, f *follower, flows []float64, first int, half float64, level bool) (within int) {
	for i, flow := range flows {
		if e.flowState[first+i] != reading.Present {
			continue
		}
		at, logged, rise := e.Time[first+i], e.flow[first+i], 0.0
		if at-f.lastAt <= e.log.GapLimit.Nanoseconds() {
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
