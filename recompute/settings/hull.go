package settings

import (
	"cmp"
	"math"
	"slices"
	"sync"

	"retotal/ingest/site"
	"retotal/recompute/settings/chain"
	"retotal/recompute/stat"
)

// hull bounds the mean of corrected flows over an interval of which only the mean of the recorded figures is known:
// whatever happened within the interval, the pair of means lies in the convex hull of the curve that ties flow to
// figure (Jensen's inequality, both ways).
//
// The curve is followed from no head to the most that the meter can show or the water reach, hullTop where nothing
// says. Between two places it is kept between bounds that it cannot leave when it is smooth there or has one kink or
// jump (stat.Sampled). Within an interval the water may fall to the level of zero flow of either lane, not deeper, and
// it rises above the meter's cap only where the channel's depth says how far; figures that go on there show it.
type hull struct {
	segment, recorded *Segment
	most              float64 // figure at which the meter stops; +Inf for none
	clamped           bool    // the meter shows no level below zero
	follows           bool    // figures go on above the meter's maximum head
	lock              sync.Mutex
	// By the logged temperature of the air, in steps of hullKelvin; 0 alone where none matters.
	built map[int]*sides
}

// sides are the two sides of a convex hull.
type sides struct {
	lower, upper []stat.Point
	open         bool    // nothing bounds the recorded figure, so nothing bounds the corrected flow from above
	highest      float64 // m³/s, the most of the curve
	dry          float64 // figure beyond which the mean itself lies below zero flow; NaN where figures have no such end
}

// Places at which a curve is worked out: even steps of the logarithm of the head under either lane, besides the kinks
// of both ratings.
const (
	hullPlaces = 4096
	hullLeast  = 1e-5 // m
	hullTop    = 10.0 // m, no open-channel meter sees more
	hullKelvin = 0.5  // K; the bounds hold for any temperature of the step
)

// bounds returns the least and the largest mean of corrected flows for a mean of recorded figures, with the air at a
// temperature in kelvin.
func (h *hull) bounds(mean, air float64) (lower, upper float64) {
	s := h.sides(air)
	if falls := h.segment.Ends.Falling; falls && mean > s.dry || !falls && mean < s.dry {
		lower, upper = 0, s.highest // for part of the interval the water was far below; how far is not known
	} else {
		lower, upper = flowAlong(s.lower, mean), flowAlong(s.upper, mean)
	}
	if s.open {
		upper = math.Inf(1)
	}
	return lower, upper
}

// with bounds a mean that was written partly under this hull's settings and partly under another's: the pair of means
// lies in the convex hull of both curves.
func (h *hull) with(other *hull, mean, air float64) (least, most float64) {
	a, b := h.sides(air), other.sides(air)
	lower := stat.Hull(slices.Concat(a.lower, b.lower), stat.Below)
	upper := stat.Hull(slices.Concat(a.upper, b.upper), stat.Above)
	return flowAlong(lower, mean), flowAlong(upper, mean)
}

// flowAlong is the flow on one side of a hull, none below zero.
func flowAlong(side []stat.Point, mean float64) float64 { return math.Max(0, stat.Along(side, mean)) }

// sides returns the hull for a temperature of the air, which is worked out once.
func (h *hull) sides(air float64) *sides {
	step, from, until := 0, chain.Standard, chain.Standard
	if h.segment.chain.TakesSound() {
		step = int(math.Floor(air / hullKelvin))
		from, until = float64(step)*hullKelvin, float64(step+1)*hullKelvin
	}
	h.lock.Lock()
	defer h.lock.Unlock()
	s, ok := h.built[step]
	if !ok {
		if h.built == nil {
			h.built = map[int]*sides{}
		}
		s = h.build(newCurve(h.segment, h.recorded, from, until))
		h.built[step] = s
	}
	return s
}

// build works out the two chains of points.
func (h *hull) build(c *curve) *sides {
	bottom, top, open := h.domain(c)
	var x, least, most []float64
	places, kinks := c.places(bottom, top)
	for _, p := range places {
		a, b := c.flows(p)
		x, least, most = append(x, c.figure(p)), append(least, a), append(most, b)
	}
	low, high := h.ends(c, x, most)
	low = append(low, stat.Sampled{X: x, Y: least, Kinks: kinks}.Corners(stat.Below)...)
	high = append(high, stat.Sampled{X: x, Y: most, Kinks: kinks}.Corners(stat.Above)...)
	highest := slices.MaxFunc(high, func(a, b stat.Point) int { return cmp.Compare(a.Y, b.Y) })
	s := &sides{open: open, dry: math.NaN(), highest: highest.Y}
	if !h.hides(c) {
		s.dry = x[0]
	}
	s.lower, s.upper = stat.Hull(low, stat.Below), stat.Hull(high, stat.Above)
	return s
}

// hides reports whether a figure of zero hides all that the meter does not show.
func (h *hull) hides(c *curve) bool { return c.Backward != nil || h.clamped }

// domain returns the places between which the curve runs, and decides whether anything bounds it from above.
func (h *hull) domain(c *curve) (bottom, top float64, open bool) {
	cap := h.recorded.MaximumHead
	if c.Backward != nil {
		bottom = Inverse(c.Backward, c.Corrected(h.recorded.CutOff), 0)
		cap = c.placeOf(h.capOfFlow(cap))
	}
	depth := c.deepest(optional(h.segment, site.ChannelDepth))
	if top = math.Min(cap, depth); h.follows && !math.IsInf(depth, 1) {
		top = depth
	}
	if open = math.IsInf(top, 1); open {
		top = hullTop
	}
	if !h.hides(c) {
		bottom = math.Min(0, slices.Min(c.placesOf(0)))
	}
	return bottom, math.Max(top, bottom+hullLeast), open
}

// capOfFlow is the head at which a meter of flows stops, no higher than its maximum head.
func (h *hull) capOfFlow(maximum float64) float64 {
	switch r := h.recorded.Rating; {
	case math.IsInf(h.most, 1):
		return maximum
	case r.Flow(hullTop) <= h.most*(1+1e-9): // a closed pipe shows less when it is full: any head may be behind a flow
		return math.Min(maximum, hullTop)
	default:
		return math.Min(maximum, Inverse(r, h.most, 0))
	}
}

// ends returns the points that the meter adds at its ends: a zero hides all that it does not show, a cap what the
// channel still holds.
func (h *hull) ends(c *curve, x, most []float64) (low, high []stat.Point) {
	if h.hides(c) {
		zero := x[0]
		if c.Backward != nil {
			zero = 0
		}
		low, high = append(low, stat.Point{X: zero}), append(high, stat.Point{X: zero, Y: most[0]})
	}
	if depth := h.segment.Ends.spill; !math.IsInf(depth, 1) && depth > most[len(most)-1] {
		high = append(high, stat.Point{X: x[len(x)-1], Y: depth})
	}
	return low, high
}

// HidesWithin reports whether the meter has an end that a mean need not show: one whose flows are exact but for what
// was hidden within its interval.
func (s *Segment) HidesWithin() bool {
	return !s.OfMeans() && (!math.IsInf(s.Ends.Least, -1) || !math.IsInf(s.Ends.Most, 1))
}

// OfMeans reports whether the segment's flows are means that are only known between bounds.
func (s *Segment) OfMeans() bool { return s.Ends.hull != nil }

// MeanBounds returns the bounds of a mean.
func (s *Segment) MeanBounds(figure, air float64) (lower, upper float64) {
	return s.Ends.hull.bounds(figure, air)
}

// MeanBoundsWith returns the bounds of a mean that was written partly under another segment's settings.
func (s *Segment) MeanBoundsWith(other *Segment, figure, air float64) (lower, upper float64) {
	return s.Ends.hull.with(other.Ends.hull, figure, air)
}
