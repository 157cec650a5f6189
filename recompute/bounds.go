package recompute

import (
	"math"

	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// ends are the figures at which a meter stops: what stands behind them is only bounded.
type ends struct {
	least, most float64 // logged figures at and beyond which the truth is not known; ∓Inf for none
	falling     bool    // flow falls as the figure rises
	floor, cap  float64 // figures that bound the truth: from above at the end of little flow, from below at the end of much
	depth       float64 // m³/s, flow at the channel's depth; +Inf when it is not known
	hull        *hull   // for figures that are means over an interval, unless a factor corrects them exactly
}

// findEnds works out where figures stop in a segment, from what the meter was set to.
func findEnds(s *site.Site, segment, recorded *Segment) ends {
	e := ends{least: math.Inf(-1), most: math.Inf(1), depth: math.Inf(1), falling: segment.chain.falling()}
	if r := segment.Settings.Values[site.ChannelDepth]; r != nil {
		e.depth = segment.Rating.Flow(r.From.SI)
	}
	primary := s.Log.Primary
	clamped := recorded.Settings.Clamped != nil && *recorded.Settings.Clamped
	switch {
	case primary > reading.Head:
		e.least, e.floor = 0, recorded.cutOffFigure()
		e.most = math.Min(recordedTop(recorded), optional(recorded, site.MaximumFlow))
		e.cap = e.most
	case clamped && primary != reading.Distance:
		e.least, e.floor = 0, 0
	}
	e.saturate(columnLoop(&s.Log.Columns[primary]), recorded.Settings.Loop)
	if air := segment.chain.air; air == nil && e.least == 0 && !e.falling { // a zero that stays zero is exact
		at := segment.origin
		if end := segment.Until; segment.highest(at, end, e.floor) <= 1e-12 {
			e.least = math.Inf(-1)
		}
	}
	if s.Log.Means && segment.chain.exact == 0 {
		e.hull = &hull{segment: segment, recorded: recorded, most: e.most, clamped: clamped && primary != reading.Distance}
	}
	return e
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
	if s.chain.exact != 0 {
		return math.Max(0, float64(s.chain.exact*figure))
	}
	return s.Rating.Flow(s.chain.headAt(at, figure, air))
}

// bounds returns the flows between which the truth lies behind a figure that is not exact; upper is +Inf when nothing bounds it.
func (s *Segment) bounds(at int64, figure, air float64, low, high bool) (lower, upper float64) {
	e := &s.ends
	switch {
	case low: // at the end of little flow
		return 0, s.flow(at, e.floor, air)
	case high:
		return s.flow(at, e.cap, air), e.depth
	case e.hull != nil:
		return e.hull.bounds(figure, air)
	}
	return s.hold, e.depth
}
