package recompute

import (
	"math"

	"retotal/ingest/reading"
)

// Witness compares the logged flow with the flow that each lane's settings give, reading by reading.
type Witness struct {
	Recorded, Corrected Misfit
	flowStep, levelStep float64   // SI steps of the log
	limited, heads      []float64 // memory
	higher              []float64
}

// Misfit is how far logged flows are from those of one lane.
type Misfit struct {
	Readings int     `json:"readings"`
	Within   int     `json:"within_rounding"` // differ by no more than the log's rounding of flow and level explains
	Largest  float64 `json:"largest_m3s"`
	At       int64   `json:"-"` // reading of the largest difference
	Sum      float64 `json:"-"` // of logged − lane, m³/s
}

// Mean returns the mean difference logged − lane in m³/s.
func (m Misfit) Mean() float64 { return m.Sum / math.Max(float64(m.Readings), 1) }

// Share returns the part of the readings that agree.
func (m Misfit) Share() float64 { return float64(m.Within) / math.Max(float64(m.Readings), 1) }

// compare takes in rows low to high−1. It stands before screening: a meter knows no flags.
func (w *Witness) compare(e *Engine, low, high int) {
	if len(e.flow) == 0 {
		return
	}
	e.eachSegment(e.recorded, low, high, func(s *Segment, low, high int) {
		w.Recorded.compare(e, w, s, e.beforeFlow[low:high], low)
	})
	e.eachSegment(e.corrected, low, high, func(s *Segment, low, high int) {
		w.limited = append(w.limited[:0], e.afterFlow[low:high]...)
		for i, h := range e.Head[low:high] {
			if h > s.maximumHead { // as the meter would have shown it
				w.limited[i] = s.Rating.Flow(s.maximumHead)
			}
			if w.limited[i] > s.maximumFlow {
				w.limited[i] = s.maximumFlow
			} else if w.limited[i] < s.cutOff {
				w.limited[i] = 0
			}
		}
		w.Corrected.compare(e, w, s, w.limited, low)
	})
}

// compareBlock is how many rows are compared at a time: where all of them agree to the rounding of the flow alone, that of
// the level need not be worked out.
const compareBlock = 256

// compare takes in the flows of one segment for the rows from first on.
func (m *Misfit) compare(e *Engine, w *Witness, s *Segment, flows []float64, first int) {
	half := w.flowStep/2 + 1e-12
	for len(flows) > 0 {
		n := min(compareBlock, len(flows))
		within, least := m.add(flows[:n], e.flow[first:first+n], e.flowState[first:first+n], e.Time[first:first+n], half)
		if within < n && least <= half+w.rangeOf(e, s, first, n) {
			within = w.withinLevel(e, s, flows[:n], first, half)
		}
		m.Within += within
		flows, first = flows[n:], first+n
	}
}

// add takes in a block and returns how many flows differ by no more than half, and the least difference.
func (m *Misfit) add(flows, logged []float64, states []reading.State, times []int64, half float64) (within int, least float64) {
	least = math.Inf(1)
	readings, sum, largest, at := 0, 0.0, m.Largest, -1
	logged, states = logged[:len(flows)], states[:len(flows)]
	for i, flow := range flows {
		if states[i] != reading.Present {
			continue
		}
		d := logged[i] - flow
		readings++
		sum += d
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
	m.Readings += readings
	m.Sum += sum
	if at >= 0 {
		m.Largest, m.At = largest, times[at]
	}
	return within, least
}

// rangeOf returns a flow that half a step of the level cannot exceed anywhere in a block: flow rises with head, so it is less
// than the flow half a step above the highest head less that at the lowest.
func (w *Witness) rangeOf(e *Engine, s *Segment, first, n int) float64 {
	lowest, highest := e.figure[first], e.figure[first]
	for _, v := range e.figure[first+1 : first+n] {
		if v < lowest {
			lowest = v
		} else if v > highest {
			highest = v
		}
	}
	if !s.chain.straight() {
		return math.Inf(1)
	}
	a, b := s.head(e.Time[first], lowest, 0), s.head(e.Time[first+n-1], highest, 0)
	c, d := s.head(e.Time[first+n-1], lowest, 0), s.head(e.Time[first], highest, 0)
	return s.Rating.Flow(max(a, b, c, d)+w.levelStep/2) - s.Rating.Flow(min(a, b, c, d)-w.levelStep/2)
}

// withinLevel counts the rows whose flows agree to the rounding of flow and level: half a step of the level more, or less,
// would give the logged flow.
func (w *Witness) withinLevel(e *Engine, s *Segment, flows []float64, first int, half float64) (within int) {
	w.heads = append(w.heads[:0], flows...)
	s.heads(w.heads, e.Time[first:first+len(flows)], e.figure[first:first+len(flows)], e.airOf(first, first+len(flows)))
	w.higher = append(w.higher[:0], flows...)
	for i := range w.heads {
		w.heads[i] += w.levelStep / 2
	}
	s.Rating.Flows(w.higher, w.heads)
	for i, flow := range flows {
		if e.flowState[first+i] == reading.Present && math.Abs(e.flow[first+i]-flow) <= half+math.Abs(w.higher[i]-flow) {
			within++
		}
	}
	return within
}
