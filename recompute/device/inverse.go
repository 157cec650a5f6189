package device

import "math"

// highestHead is where the search for a head ends on ratings without an end, in metres.
const highestHead = 100

// Peaked is a rating whose flow may fall again below its end, as that of a pipe does before it is full.
type Peaked interface {
	Peak() float64 // head of the greatest flow; 0 for a rating that never falls
}

// Head returns the least head that gives discharge q, by bisection on the rising part of the rating to one part
// in 10¹² or better. It fails (false) for a flow the rating does not reach below 100 m of head or its end.
func Head(r Rating, q float64) (float64, bool) {
	if q <= 0 {
		return 0, q == 0
	}
	low, high := 0.0, 0.01
	top := summit(r)
	for high = math.Min(high, top); r.Flow(high) < q; high = math.Min(2*high, top) {
		if high == top {
			return 0, false
		}
		low = high
	}
	return bisect(low, high, func(h float64) bool { return r.Flow(h) < q }), true
}

// HeadNear returns the head that gives discharge q, by Newton's method from a guess and, where that does not settle, as
// Head does. Flows that the rating does not reach give the head at its end; flows of zero and less give zero.
func HeadNear(r Rating, q, guess float64) float64 {
	if q <= 0 {
		return 0
	}
	h := guess
	for range 12 {
		slope := r.Slope(h)
		if h <= 0 || !(slope > 0) {
			break
		}
		step := (r.Flow(h) - q) / slope
		if next := h - step; next <= 0 || next > 4*h {
			break
		} else if h = next; math.Abs(step) <= 1e-14*h {
			return h
		}
	}
	if h, ok := Head(r, q); ok {
		return h
	}
	return math.Min(r.Limits().End, highestHead)
}

// Heads returns the least and the greatest head that give discharge q. They differ where a rating falls before its end
// (a pipe carries every flow between full and 1.076 of full at two depths) and on a level stretch of a rating table. It
// fails as Head does.
func Heads(r Rating, q float64) (low, high float64, ok bool) {
	if low, ok = Head(r, q); !ok || q <= 0 {
		return low, low, ok
	}
	top, end := summit(r), r.Limits().End
	switch t := r.(type) {
	case *Table:
		return low, math.Max(low, t.lastHead(q)), true
	case Peaked:
		if end > top && r.Flow(end) <= q {
			return low, math.Max(low, bisect(top, end, func(h float64) bool { return r.Flow(h) > q })), true
		}
	}
	return low, low, true
}

// summit is the head of the greatest flow within reach.
func summit(r Rating) float64 {
	if p, ok := r.(Peaked); ok && p.Peak() > 0 {
		return p.Peak()
	}
	return math.Min(r.Limits().End, highestHead)
}

// peakOf finds the head of the greatest flow between 0 and end by golden section around the best of 256 places; 0 where
// the flow rises to the end.
func peakOf(flow func(float64) float64, end float64) float64 {
	if math.IsInf(end, 1) || !(end > 0) {
		return 0
	}
	const places = 256
	best := 1
	for i := 2; i <= places; i++ {
		if flow(end*float64(i)/places) > flow(end*float64(best)/places) {
			best = i
		}
	}
	low, high := end*float64(max(best-1, 1))/places, end*float64(min(best+1, places))/places
	if peak := summitOf(flow, low, high); flow(peak) > flow(end) && end-peak > 1e-6*end {
		return peak
	}
	return 0
}

// Beyond returns how many times the uncertainty of a rating's coefficient is larger at head h than within its limits:
// above the limit of validity it grows with the distance beyond, to twice at one and a half times the limit (a rule of
// this program: no source gives one).
func Beyond(r Rating, h float64) float64 {
	high := r.Limits().High
	if math.IsInf(high, 1) || high <= 0 || h <= high {
		return 1
	}
	return 1 + 2*(h/high-1)
}
