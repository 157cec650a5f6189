package recompute

import (
	"math"

	"retotal/ingest/reading"
)

// Witness compares the logged flow with the flow that each lane's settings give, reading by reading.
type Witness struct {
	Recorded, Corrected Misfit
	flowStep, levelStep float64 // SI steps of the log
	limited             []float64
}

// Misfit is how far logged flows are from those of one lane.
type Misfit struct {
	Readings int     `json:"readings"`
	Within   int     `json:"within_rounding"` // differ by no more than the log's rounding of flow and level explains
	Largest  float64 `json:"largest_m3s"`
	At       int64   `json:"-"` // reading of the largest difference
	Sum      float64 `json:"-"` // of logged − lane, m³/s
	LaneSum  float64 `json:"-"`
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
	w.Recorded.compare(e, w, e.recorded, e.beforeFlow[low:high], low)
	e.eachSegment(e.corrected, low, high, func(s *Segment, low, high int) {
		flows := e.afterFlow[low:high]
		if !math.IsInf(s.maximumHead, 1) { // as the meter would have shown it
			w.limited = append(w.limited[:0], flows...)
			flows = w.limited
			most := s.Rating.Flow(s.maximumHead)
			for i, h := range e.Head[low:high] {
				if h > s.maximumHead {
					flows[i] = most
				}
			}
		}
		w.Corrected.compare(e, w, e.corrected, flows, low)
	})
}

// compare takes in the lane's flows for the rows from first on.
func (m *Misfit) compare(e *Engine, w *Witness, lane *Lane, flows []float64, first int) {
	half := w.flowStep/2 + 1e-12
	logged, states := e.flow[first:first+len(flows)], e.flowState[first:first+len(flows)]
	for i, flow := range flows {
		if states[i] != reading.Present {
			continue
		}
		d := logged[i] - flow
		m.Readings++
		m.Sum += d
		m.LaneSum += flow
		if d = math.Abs(d); d > m.Largest {
			m.Largest, m.At = d, e.Time[first+i]
		}
		if d <= half || d <= half+w.levelRounding(e, lane, first+i) {
			m.Within++
		}
	}
}

// levelRounding is the flow that half a step of the logged level stands for at row i.
func (w *Witness) levelRounding(e *Engine, lane *Lane, i int) float64 {
	s := &lane.Segments[lane.at(e.Time[i])]
	h := s.head(e.Time[i], e.Value[i])
	return math.Max(s.Rating.Slope(h), s.Rating.Slope(h+w.levelStep/2)) * w.levelStep / 2
}
