package recompute

import (
	"math"
	"slices"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/device"
)

// ends are the figures at which a meter stops: what stands behind them is only bounded.
type ends struct {
	least, most float64 // logged figures at and beyond which the truth is not known; ∓Inf for none
	falling     bool    // flow falls as the figure rises
	floor, cap  float64 // figures that bound the truth: from above at the end of little flow, from below at the end of much
	depth       float64 // m³/s, the greatest flow below the channel's depth and the rating's end; +Inf when neither is known
	spill       float64 // m³/s, flow at the channel's depth, which bounds the flow when the head is above it; +Inf when it is not known
	twofold     float64 // logged flow above which two heads of the meter's rating give it; 0 for none
	hull        *hull   // for figures that are means over an interval, unless a factor corrects them exactly
}

// findEnds works out where figures stop in a segment, from what the meter was set to.
func findEnds(s *site.Site, segment, recorded *Segment) ends {
	e := ends{least: math.Inf(-1), most: math.Inf(1), depth: math.Inf(1), spill: math.Inf(1), falling: segment.chain.falling()}
	if depth := optional(segment, site.ChannelDepth); depth <= segment.Rating.Limits().End {
		e.spill = segment.Rating.Flow(depth)
	}
	if !math.IsInf(segment.top, 1) {
		e.depth = greatest(segment.Rating, segment.top)
	}
	primary := s.Log.Primary
	clamped := recorded.Settings.Clamped != nil && *recorded.Settings.Clamped
	switch {
	case primary > reading.Head:
		e.least, e.floor = 0, recorded.cutOffFigure()
		e.most = math.Min(recordedTop(recorded), optional(recorded, site.MaximumFlow))
		e.cap = e.most
		if end := recorded.Rating.Limits().End; segment.chain.exact == 0 && !math.IsInf(end, 1) && greatest(recorded.Rating, end) > recorded.Rating.Flow(end)*(1+1e-9) {
			e.twofold = recorded.Rating.Flow(end)
		}
	case clamped && primary != reading.Distance:
		e.least, e.floor = 0, 0
	}
	if primary == reading.Level || primary == reading.Head {
		e.stopAtHead(recorded)
	}
	e.saturate(columnLoop(&s.Log.Columns[primary]), recorded.Settings.Loop)
	if air := segment.chain.air; air == nil && e.least == 0 && !e.falling { // a zero that stays zero is exact
		at := segment.origin
		if end := segment.Until; segment.highest(at, end, e.floor) <= 1e-12 {
			e.least = math.Inf(-1)
		}
	}
	if s.Log.Means && segment.chain.exact == 0 {
		e.hull = newHull(segment, recorded, e.most)
	}
	return e
}

// stopAtHead takes in the maximum head of a meter that logged levels or heads: it showed no more, unless the log does (see Whole).
func (e *ends) stopAtHead(recorded *Segment) {
	if recorded.showsMore || math.IsInf(optional(recorded, site.MaximumHead), 1) || !recorded.chain.straight() || recorded.chain.scale == 0 {
		return
	}
	figure := recorded.figureOf(optional(recorded, site.MaximumHead))
	if recorded.chain.scale > 0 {
		e.most, e.cap = figure, figure
	} else {
		e.least, e.cap = figure, figure
	}
}

// greatest is the greatest flow of a rating up to a head: that of a closed pipe stands below its crown.
func greatest(r device.Rating, top float64) float64 {
	if math.IsInf(top, 1) {
		return top
	}
	const steps = 512
	most := 0.0
	for i := 1; i <= steps; i++ {
		most = math.Max(most, r.Flow(top*float64(i)/steps))
	}
	return most
}

// recordedTop is the flow at the meter's maximum head, +Inf when none is set.
func recordedTop(recorded *Segment) float64 {
	if h := optional(recorded, site.MaximumHead); !math.IsInf(h, 1) {
		return recorded.Rating.Flow(h)
	}
	return math.Inf(1)
}

// cutOffFigure is the largest flow that the meter may have shown as zero.
func (s *Segment) cutOffFigure() float64 {
	if r := s.Settings.Values[site.FlowCutOff]; r != nil {
		return r.From.SI
	}
	return 0
}

// saturate takes in the ends of a current loop of 4 to 20 mA: 3.8 and 20.5 mA (NAMUR NE 43, figures read second hand).
func (e *ends) saturate(loops ...*site.Loop) {
	for _, l := range loops {
		if l == nil || min(l.From, l.To) != 4 || max(l.From, l.To) != 20 {
			continue
		}
		at := func(current float64) float64 {
			return l.Low.SI + float64((current-l.From)*((l.High.SI-l.Low.SI)/(l.To-l.From)))
		}
		low, high := min(at(3.8), at(20.5)), max(at(3.8), at(20.5))
		if low > e.least {
			e.least = low
			if e.falling {
				e.cap = low
			} else {
				e.floor = low
			}
		}
		if high < e.most {
			e.most = high
			if e.falling {
				e.floor = high
			} else {
				e.cap = high
			}
		}
	}
}

// falling reports whether heads fall as figures rise.
func (c *chain) falling() bool {
	if c.backward != nil {
		return c.beta < 0
	}
	if c.air != nil || c.then != nil {
		return c.depth.b > 0
	}
	return c.scale < 0
}

// highest is the larger of the flows that a figure gives at the beginning and at the end of a segment whose settings may move.
func (s *Segment) highest(from, until int64, figure float64) float64 {
	flow := s.flow(from, figure, 293.15)
	if s.chain.shiftPerNs != 0 && until != never {
		flow = math.Max(flow, s.flow(until, figure, 293.15))
	}
	return flow
}

// flow is the lane's flow of a logged figure at an instant, whatever stands behind it.
func (s *Segment) flow(at int64, figure, air float64) float64 {
	flow := s.flowOf(at, figure, s.head(at, figure, air))
	if s.later != nil {
		flow = s.between(at, flow, s.later.flowOf(at, figure, s.head(at, figure, air)))
	}
	return flow
}

// flowOf is the flow of a logged figure by the settings at a segment's beginning: of its head or, where a factor alone was wrong, of the figure.
func (s *Segment) flowOf(_ int64, figure, head float64) float64 {
	if s.chain.exact != 0 {
		return math.Max(0, float64(s.chain.exact*figure))
	}
	return s.Rating.Flow(head)
}

// rated is the flow of a head at an instant.
func (s *Segment) rated(at int64, head float64) float64 {
	flow := s.Rating.Flow(head)
	if s.later != nil {
		flow = s.between(at, flow, s.later.Rating.Flow(head))
	}
	return flow
}

// bound is what is known of a reading's flow.
type bound struct {
	held         bool // only bounds are known
	lower, upper float64
}

func exactly(flow float64) bound { return bound{lower: flow, upper: flow} }

// bounds returns the flows between which the truth lies behind a reading that stands at an end, or has two heads. flow is its flow whatever stands behind it.
func (s *Segment) bounds(at int64, figure, air, flow float64, flags qa.Flags) bound {
	e, b := &s.ends, bound{held: true}
	switch {
	case flags&qa.CutOff != 0: // at the end of little flow
		b.lower, b.upper = 0, s.flow(at, e.floor, air)
	case flags&qa.Capped != 0:
		b.lower, b.upper = s.flow(at, e.cap, air), e.depth
	case flags&qa.Blanking != 0:
		b.lower, b.upper = math.Min(flow, s.hold), e.depth
	case e.twofold > 0 && figure > e.twofold:
		b.lower, b.upper = s.twoFlows(at, figure, air)
	default:
		b.lower, b.upper = math.Min(flow, s.hold), e.spill
	}
	b.upper = math.Max(b.upper, b.lower)
	return b
}

// hull bounds the mean of corrected flows over an interval of which only the mean of the recorded flows is known: whatever happened within the
// interval, the pair of means lies in the convex hull of the curve that ties one flow to the other (Jensen's inequality, both ways).
type hull struct {
	lower, upper []point
	open         bool // nothing bounds the recorded flow, so nothing bounds the corrected one from above
}

type point struct{ x, y float64 }

// newHull samples the curve from no flow up to the most that the meter can show, or the water reach.
func newHull(s, recorded *Segment, most float64) *hull {
	const samples = 2048
	top := math.Min(optional(recorded, site.MaximumHead), optional(s, site.ChannelDepth)) // head of the meter
	if !math.IsInf(most, 1) && recorded.chain.backward != nil {
		top = math.Min(top, inverse(recorded.Rating, most, 0))
	}
	h := &hull{open: math.IsInf(top, 1)}
	if h.open {
		if top = recorded.Rating.Limits().High; math.IsInf(top, 1) {
			top = 10
		}
	}
	var low, high []point
	for i := 0; i <= samples; i++ {
		figure := recorded.figureOf(top * float64(i) / samples)
		y := []float64{s.flow(s.origin, figure, 293.15)}
		if s.chain.shiftPerNs != 0 && s.Until != never {
			y = append(y, s.flow(s.Until, figure, 293.15))
		}
		low, high = append(low, point{figure, slices.Min(y)}), append(high, point{figure, slices.Max(y)})
	}
	if recorded.chain.backward != nil { // a zero may hide as much as the cut-off does
		low[0].y, high[0].y = 0, s.highest(s.origin, s.Until, recorded.cutOffFigure())
	}
	if low[0].x > low[samples].x {
		slices.Reverse(low)
		slices.Reverse(high)
	}
	h.lower, h.upper = chainHull(low, 1), chainHull(high, -1)
	return h
}

// figureOf is what a meter shows at a head: its flow, or the level that gives the head.
func (s *Segment) figureOf(head float64) float64 {
	if s.chain.backward != nil {
		return s.Rating.Flow(head)
	}
	return (head - s.chain.shift) / s.chain.scale
}

// chainHull keeps the points of one side of the convex hull, x rising: the lower side for sign 1, the upper for −1.
func chainHull(points []point, sign float64) (out []point) {
	for _, p := range points {
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

// bounds returns the least and the largest mean of corrected flows for a mean of recorded ones.
func (h *hull) bounds(mean float64) (lower, upper float64) {
	lower, upper = along(h.lower, mean), along(h.upper, mean)
	if h.open {
		upper = math.Inf(1)
	}
	return lower, upper
}

// along interpolates a chain of points; beyond its ends the last slope goes on.
func along(points []point, x float64) float64 {
	i, _ := slices.BinarySearchFunc(points, x, func(p point, x float64) int {
		if p.x < x {
			return -1
		}
		return 1
	})
	i = min(max(i, 1), len(points)-1)
	a, b := points[i-1], points[i]
	if a.x == b.x {
		return a.y
	}
	return math.Max(0, a.y+float64((b.y-a.y)*((x-a.x)/(b.x-a.x))))
}
