package device

import "math"

// Formula is a device given by its flow and its slope as functions of head. Families whose equation is not one of the
// plain types are built on it.
type Formula struct {
	flow, slope func(h float64) float64 // for h > 0
	exact       func(h float64) float64 // the equation behind a tabulated flow; nil for others
	limits      Limits
	peak        float64 // head of the greatest flow where the flow falls again below the end; 0 where it never falls
	cells       int     // of the table behind the flow; 0 without one
	evaluations int     // of the equation that building the table took
	description Description
	drownable
}

// Flow implements Rating.
func (f *Formula) Flow(h float64) float64 {
	if h <= 0 {
		return 0
	}
	return f.flow(math.Min(h, f.limits.End))
}

// Flows implements Rating.
func (f *Formula) Flows(q, h []float64) {
	flow, end := f.flow, f.limits.End
	h = h[:len(q)]
	for i, x := range h {
		if x <= 0 {
			q[i] = 0
			continue
		}
		q[i] = flow(math.Min(x, end))
	}
}

// Slope implements Rating.
func (f *Formula) Slope(h float64) float64 {
	switch {
	case h <= 0 || h > f.limits.End:
		return 0
	case f.slope != nil:
		return f.slope(h)
	}
	step := math.Max(h*1e-5, 1e-7)
	return (f.Flow(h+step) - f.Flow(h-step)) / (2 * step)
}

// Peak implements Peaked.
func (f *Formula) Peak() float64 { return f.peak }

// Drowned implements Drownable.
func (f *Formula) Drowned(h, hd float64) (q, spread float64, ok bool) {
	return f.drowning.at(h, hd, f.Flow(h))
}

// Limits implements Rating.
func (f *Formula) Limits() Limits { return f.limits }

// Describe implements Rating.
func (f *Formula) Describe() Description { return f.description }
