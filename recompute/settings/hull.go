package settings

import (
	"cmp"
	"math"
	"slices"
	"sync"

	"retotal/ingest/site"
	"retotal/recompute/device"
)

// hull bounds the mean of corrected flows over an interval of which only the mean of the recorded figures is known:
// whatever happened within the interval, the pair of means lies in the convex hull of the curve that ties flow to
// figure (Jensen's inequality, both ways).
//
// The curve is followed from no head to the most that the meter can show or the water reach, hullTop where nothing
// says. Between two places it is kept between bounds that it cannot leave when it is smooth there or has one kink or
// jump; see astray. Within an interval the water may fall to the level of zero flow of either lane, not deeper, and it
// rises above the meter's cap only where the channel's depth says how far.
type hull struct {
	segment, recorded *Segment
	most              float64 // figure at which the meter stops; +Inf for none
	clamped           bool    // the meter shows no level below zero
	lock              sync.Mutex
	built             map[int]*sides // by the logged temperature of the air, in steps of hullKelvin; 0 alone where none matters
}

// sides are the two sides of a convex hull.
type sides struct {
	lower, upper []point
	open         bool    // nothing bounds the recorded figure, so nothing bounds the corrected flow from above
	highest      float64 // m³/s, the most of the curve
	dry          float64 // figure beyond which the mean itself lies below zero flow; NaN where figures have no such end
}

// point is a figure and a flow.
type point struct{ x, y float64 }

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
		lower, upper = along(s.lower, mean), along(s.upper, mean)
	}
	if s.open {
		upper = math.Inf(1)
	}
	return lower, upper
}

// with bounds a mean that was written partly under this hull's settings and partly under another's: the pair of means
// lies in the convex hull of both curves.
func (h *hull) with(other *hull, mean, air float64) (lower, upper float64) {
	a, b := h.sides(air), other.sides(air)
	union := func(p, q []point, sign float64) []point {
		all := slices.Concat(p, q)
		slices.SortFunc(all, func(a, b point) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y)) })
		return chainHull(all, sign)
	}
	return along(union(a.lower, b.lower, 1), mean), along(union(a.upper, b.upper, -1), mean)
}

// sides returns the hull for a temperature of the air, which is worked out once.
func (h *hull) sides(air float64) *sides {
	step, from, until := 0, 293.15, 293.15
	if c := &h.segment.chain; c.air != nil || c.then != nil {
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
	for i := range len(x) - 1 {
		wide := turning(x, i)
		low, high = append(low, edge(x, least, kinks, i, wide, -1)...), append(high, edge(x, most, kinks, i, wide, 1)...)
	}
	s := &sides{open: open, dry: math.NaN(), highest: slices.MaxFunc(high, func(a, b point) int { return cmp.Compare(a.y, b.y) }).y}
	if c.backward == nil && !h.clamped {
		s.dry = x[0]
	}
	s.lower, s.upper = chainHull(low, 1), chainHull(high, -1)
	return s
}

// domain returns the places between which the curve runs, and decides whether anything bounds it from above.
func (h *hull) domain(c *curve) (bottom, top float64, open bool) {
	cap := optional(h.recorded, site.MaximumHead)
	if c.backward != nil {
		switch {
		case math.IsInf(h.most, 1):
		case h.recorded.Rating.Flow(hullTop) <= h.most*(1+1e-9): // a closed pipe shows less when it is full: any head may stand behind a flow
			cap = math.Min(cap, hullTop)
		default:
			cap = math.Min(cap, Inverse(h.recorded.Rating, h.most, 0))
		}
		bottom = Inverse(c.backward, c.alpha+float64(c.beta*h.recorded.cutOffFigure()), 0)
		cap = c.placeOf(cap)
	}
	deep := c.deepest(optional(h.segment, site.ChannelDepth))
	top = math.Min(cap, deep)
	if open = math.IsInf(top, 1); open {
		top = hullTop
	}
	if c.backward == nil && !h.clamped {
		bottom = math.Min(0, slices.Min(c.placesOf(0)))
	}
	return bottom, math.Max(top, bottom+hullLeast), open
}

// ends returns the points that the meter adds at its ends: a zero hides all that it does not show, a cap what the
// channel still holds.
func (h *hull) ends(c *curve, x, most []float64) (low, high []point) {
	if c.backward != nil || h.clamped {
		zero := x[0]
		if c.backward != nil {
			zero = 0
		}
		low, high = append(low, point{zero, 0}), append(high, point{zero, most[0]})
	}
	if depth := h.segment.Ends.spill; !math.IsInf(depth, 1) && depth > most[len(most)-1] {
		high = append(high, point{x[len(x)-1], depth})
	}
	return low, high
}

// curve ties corrected flows to recorded figures by a place: the head that the meter's rating is given where a flow is
// logged, with the correction of the figure itself, and else the meter's head.
type curve struct {
	segment, recorded *Segment
	chain
	times []state // one, or both ends of a segment whose settings move, and of a step of the air's temperature
	plain chain   // without the correction that depends on head
}

// state is an instant and the temperature of the air, K.
type state struct {
	at  int64
	air float64
}

func newCurve(s, recorded *Segment, from, until float64) *curve {
	c := &curve{segment: s, recorded: recorded, chain: s.chain, plain: s.chain, times: []state{{s.Origin, from}}}
	c.plain.bend = nil
	if moves := c.shiftPerNs != 0 || c.depth.aPerNs != 0 || c.rest.aPerNs != 0; moves && s.Until != Never {
		c.times = append(c.times, state{s.Until, from})
	}
	if until != from {
		for _, t := range c.times {
			c.times = append(c.times, state{t.at, until})
		}
	}
	return c
}

// figure is what the meter shows at a place.
func (c *curve) figure(p float64) float64 {
	if c.backward != nil {
		return (c.backward.Flow(p) - c.alpha) / c.beta
	}
	return c.recorded.figureOf(p)
}

// taken is what the straight line takes at a place.
func (c *curve) taken(p float64) float64 {
	if c.backward != nil {
		return p
	}
	return c.recorded.figureOf(p)
}

// flows are the least and the most of the corrected flows at a place.
func (c *curve) flows(p float64) (least, most float64) {
	least = math.Inf(1)
	for _, t := range c.times {
		q := c.segment.Rating.Flow(c.forward(t.at, c.taken(p), t.air))
		least, most = math.Min(least, q), math.Max(most, q)
	}
	return least, most
}

// placeOf is where the meter's head lies on a curve of flows.
func (c *curve) placeOf(head float64) float64 {
	if math.IsInf(head, 1) || c.alpha == 0 && c.beta == 1 {
		return head
	}
	return Inverse(c.backward, c.alpha+float64(c.beta*c.recorded.Rating.Flow(head)), head)
}

// placesOf are the places at which the corrected head is h, at each of the times.
func (c *curve) placesOf(h float64) []float64 {
	list := c.plainPlaces(h)
	if c.bend == nil {
		return list
	}
	reach := 0.0
	for _, k := range c.bend {
		reach = math.Max(reach, math.Abs(k.Add.SI))
	}
	for i, t := range c.times { // the plain place is wrong by no more than the largest correction
		low, high := c.plainPlace(t, h-reach), c.plainPlace(t, h+reach)
		for range 60 {
			if middle := low + (high-low)/2; c.forward(t.at, c.taken(middle), t.air) < h {
				low = middle
			} else {
				high = middle
			}
		}
		list[i] = low
	}
	return list
}

// plainPlaces are the places at which the corrected head is h before what is added by head.
func (c *curve) plainPlaces(h float64) (list []float64) {
	for _, t := range c.times {
		list = append(list, c.plainPlace(t, h))
	}
	return list
}

func (c *curve) plainPlace(t state, h float64) float64 {
	zero, one := c.plain.forward(t.at, c.taken(0), t.air), c.plain.forward(t.at, c.taken(1), t.air)
	return (h - zero) / (one - zero)
}

// deepest is the place of a corrected head that the water does not exceed.
func (c *curve) deepest(h float64) float64 {
	if math.IsInf(h, 1) {
		return h
	}
	return slices.Max(c.placesOf(h))
}

// places are where the curve is worked out, rising, and whether it is known to bend there.
func (c *curve) places(bottom, top float64) (list []float64, kinks []bool) {
	bends := c.bends()
	list = append(slices.Clone(bends), bottom, top)
	for i := 1; i < len(bends); i++ { // so that each piece has a neighbour without a kink between
		list = append(list, bends[i-1]+(bends[i]-bends[i-1])/3, bends[i]-(bends[i]-bends[i-1])/3)
	}
	ratio := math.Pow(2*hullTop/hullLeast, 1.0/hullPlaces)
	for h, i := hullLeast, 0; i <= hullPlaces; h, i = h*ratio, i+1 {
		list = append(append(list, h), c.placesOf(h)...)
	}
	list = slices.DeleteFunc(list, func(p float64) bool { return !(p >= bottom && p <= top) })
	slices.Sort(list)
	list = slices.Compact(list)
	kinks = make([]bool, len(list))
	for i, p := range list {
		_, kinks[i] = slices.BinarySearch(bends, p)
	}
	return list, kinks
}

// bends are the places of known kinks, rising: of both ratings, of no flow, and of a correction by head.
func (c *curve) bends() (list []float64) {
	list = append(list, device.Kinks(c.recorded.Rating)...)
	for _, k := range append([]float64{0}, device.Kinks(c.segment.Rating)...) {
		list = append(list, c.placesOf(k)...)
	}
	for _, k := range c.bend {
		list = append(list, c.plainPlaces(k.Head.SI)...)
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// edge are the corners of one side of what holds the curve between places i and i+1: below for sign −1, above for 1.
// wide widens it in x.
func edge(x, y []float64, kinks []bool, i int, wide, sign float64) []point {
	off := astray(x, y, kinks, i) + 1e-12*math.Max(y[i], y[i+1])
	end := [2]float64{y[i], y[i+1]}
	for k, v := range end {
		end[k] = v + float64(sign*off)
		if limit := math.Min(y[i], y[i+1]); sign < 0 && oneWay(y, i) {
			end[k] = math.Max(end[k], limit*(1-1e-12))
		} else if limit := math.Max(y[i], y[i+1]); sign > 0 && oneWay(y, i) {
			end[k] = math.Min(end[k], limit*(1+1e-12))
		}
		end[k] = math.Max(0, end[k])
	}
	if wide == 0 {
		return []point{{x[i], end[0]}, {x[i+1], end[1]}}
	}
	left, right := math.Min(x[i], x[i+1])-wide, math.Max(x[i], x[i+1])+wide
	return []point{{left, end[0]}, {left, end[1]}, {right, end[0]}, {right, end[1]}}
}

// astray is how far a curve can lie off the straight line between points i and i+1. Where it is convex or concave, it
// lies between that line and the lines through the neighbours; one kink in between bends those lines by more than it
// moves the curve, and one jump by as much. Lines do not go on over a known kink. A curve that goes one way stays
// between its two points, however it gets there.
func astray(x, y []float64, kinks []bool, i int) float64 {
	dx, dy := x[i+1]-x[i], y[i+1]-y[i]
	off, box := -1.0, math.Abs(dy)
	for end, k := range []int{i - 1, i + 1} {
		if k >= 0 && k+1 < len(x) && !kinks[i+end] {
			slope := (y[k+1] - y[k]) / (x[k+1] - x[k])
			off = math.Max(off, math.Abs(dy-float64(slope*dx)))
		}
	}
	if oneWay(y, i) && !(off <= box) || !(off >= 0) || math.IsInf(off, 0) {
		return box
	}
	return off
}

// oneWay reports whether values go one way from before point i to after point i+1.
func oneWay(v []float64, i int) bool {
	from, until := max(i-1, 0), min(i+2, len(v)-1)
	rises, falls := false, false
	for k := from; k < until; k++ {
		rises, falls = rises || v[k+1] > v[k], falls || v[k+1] < v[k]
	}
	return !(rises && falls)
}

// turning is by how much figures may pass those of points i and i+1 because they turn nearby, as in a closed pipe that
// runs nearly full; 0 elsewhere.
func turning(x []float64, i int) (wide float64) {
	if oneWay(x, i) {
		return 0
	}
	for k := max(i-1, 0); k < min(i+2, len(x)-1); k++ {
		wide = math.Max(wide, math.Abs(x[k+1]-x[k]))
	}
	return wide
}

// figureOf is what a meter shows at a head: its flow, or the level that gives the head.
func (s *Segment) figureOf(head float64) float64 {
	if s.chain.backward != nil {
		return s.Rating.Flow(head)
	}
	return (head - s.chain.shift) / s.chain.scale
}

// chainHull keeps the points of one side of the convex hull: the lower side for sign 1, the upper for −1.
func chainHull(points []point, sign float64) (out []point) {
	slices.SortFunc(points, func(a, b point) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(sign*a.y, sign*b.y)) })
	for _, p := range points {
		if len(out) > 0 && out[len(out)-1].x == p.x {
			continue // further in
		}
		for len(out) >= 2 {
			a, b := out[len(out)-2], out[len(out)-1]
			if sign*((b.x-a.x)*(p.y-a.y)-float64((b.y-a.y)*(p.x-a.x))) > 0 {
				break
			}
			out = out[:len(out)-1]
		}
		out = append(out, p)
	}
	return out
}

// along interpolates a chain of points; beyond its ends the last slope goes on.
func along(points []point, x float64) float64 {
	i, _ := slices.BinarySearchFunc(points, x, func(p point, x float64) int { return cmp.Compare(p.x, x) })
	if len(points) == 1 {
		return points[0].y
	}
	i = min(max(i, 1), len(points)-1)
	a, b := points[i-1], points[i]
	return math.Max(0, a.y+float64((b.y-a.y)*((x-a.x)/(b.x-a.x))))
}
