package settings

import (
	"math"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/device"
)

// ends are the figures at which a meter stops: what stands behind them is only bounded.
type ends struct {
	Least, Most float64 // logged figures at and beyond which the truth is not known; ∓Inf for none
	Falling     bool    // flow falls as the figure rises
	Floor, cap  float64 // figures that bound the truth: from above at the end of little flow, from below at the end of much
	depth       float64 // m³/s, the greatest flow below the channel's depth and the rating's end; +Inf when neither is known
	spill       float64 // m³/s, flow at the channel's depth, which bounds the flow when the head is above it; +Inf when it is not known
	Twofold     float64 // logged flow above which two heads of the meter's rating give it; 0 for none
	hull        *hull   // for figures that are means over an interval, unless a factor corrects them exactly
}

// findEnds works out where figures stop in a segment, from what the meter was set to.
func findEnds(s *site.Site, segment, recorded *Segment) ends {
	e := ends{Least: math.Inf(-1), Most: math.Inf(1), depth: math.Inf(1), spill: math.Inf(1), Falling: segment.chain.falling()}
	if depth := optional(segment, site.ChannelDepth); depth <= segment.Rating.Limits().End {
		e.spill = segment.Rating.Flow(depth)
	}
	if !math.IsInf(segment.Top, 1) {
		e.depth = Greatest(segment.Rating, segment.Top)
	}
	primary := s.Log.Primary
	clamped := recorded.Settings.Clamped != nil && *recorded.Settings.Clamped
	switch {
	case primary > reading.Head:
		e.Least, e.Floor = 0, recorded.cutOffFigure()
		e.Most = math.Min(RecordedTop(recorded), optional(recorded, site.MaximumFlow))
		e.cap = e.Most
		if end := recorded.Rating.Limits().End; !math.IsInf(end, 1) && Greatest(recorded.Rating, end) > recorded.Rating.Flow(end)*(1+1e-9) {
			e.Twofold = recorded.Rating.Flow(end)
		}
	case clamped && primary != reading.Distance:
		e.Least, e.Floor = 0, 0
	}
	if primary == reading.Level || primary == reading.Head {
		e.stopAtHead(recorded, recorded.MaximumHead)
	}
	e.stopAtBlanking(primary, recorded)
	e.saturate(recorded, columnLoop(&s.Log.Columns[primary]), recorded.Settings.Loop)
	if air := segment.chain.air; air == nil && e.Least == 0 && !e.Falling { // a zero that stays zero is exact
		at := segment.Origin
		if end := segment.Until; segment.highest(at, end, e.Floor) <= 1e-12 {
			e.Least = math.Inf(-1)
		}
	}
	if s.Log.Means && segment.chain.exact == 0 {
		e.hull = &hull{segment: segment, recorded: recorded, most: e.Most, clamped: clamped && primary != reading.Distance}
	}
	return e
}

// Extremes are the least and the greatest figure that a log shows, and half its step.
type Extremes struct{ Least, Most, Half float64 }

// beyond reports whether a log shows more than an end, so that it is none; rises says that figures rise towards it.
func (x *Extremes) beyond(end float64, rises bool) bool {
	if x == nil {
		return false
	}
	if rises {
		return x.Most > end+x.Half+1e-9*math.Abs(end)
	}
	return x.Least < end-x.Half-1e-9*math.Abs(end)
}

// stopAtHead takes in a head above which a meter that logged levels or heads shows no more, unless the log does.
func (e *ends) stopAtHead(recorded *Segment, head float64) {
	if math.IsInf(head, 1) || !recorded.chain.straight() || recorded.chain.scale == 0 {
		return
	}
	figure, rises := recorded.figureOf(head), recorded.chain.scale > 0
	switch {
	case recorded.Shown.beyond(figure, rises):
	case rises && figure < e.Most:
		e.Most, e.cap = figure, figure
	case !rises && figure > e.Least:
		e.Least, e.cap = figure, figure
	}
}

// stopAtBlanking takes in the nearest water that the sensor sees, where figures other than distances were logged.
func (e *ends) stopAtBlanking(primary reading.Quantity, recorded *Segment) {
	nearest, empty := recorded.Settings.Values[site.BlankingDistance], recorded.Settings.Values[site.EmptyDistance]
	if nearest == nil || empty == nil || primary == reading.Distance {
		return
	}
	head := recorded.chain.headOf(recorded.Origin, nearest.From.SI, 293.15)
	if primary <= reading.Head {
		e.stopAtHead(recorded, head)
		return
	}
	if flow := recorded.Rating.Flow(head); flow < e.Most && !recorded.Shown.beyond(flow, true) {
		e.Most, e.cap = flow, flow
	}
}

// Greatest is the greatest flow of a rating up to a head: that of a closed pipe stands below its crown.
func Greatest(r device.Rating, top float64) float64 {
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

// RecordedTop is the flow at the meter's maximum head, +Inf when none is set.
func RecordedTop(recorded *Segment) float64 {
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

// saturate takes in the ends of a current loop of 4 to 20 mA: these themselves or, where the log shows more, 3.8 and
// 20.5 mA (NAMUR NE 43, figures read second hand).
func (e *ends) saturate(recorded *Segment, loops ...*site.Loop) {
	for _, l := range loops {
		if l == nil || min(l.From, l.To) != 4 || max(l.From, l.To) != 20 {
			continue
		}
		at := func(current float64) float64 {
			return l.Low.SI + float64((current-l.From)*((l.High.SI-l.Low.SI)/(l.To-l.From)))
		}
		low, high := min(at(4), at(20)), max(at(4), at(20))
		if recorded.Shown.beyond(low, false) {
			low = min(at(3.8), at(20.5))
		}
		if recorded.Shown.beyond(high, true) {
			high = max(at(3.8), at(20.5))
		}
		if low > e.Least {
			e.Least = low
			if e.Falling {
				e.cap = low
			} else {
				e.Floor = low
			}
		}
		if high < e.Most {
			e.Most = high
			if e.Falling {
				e.Floor = high
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

// highest is the larger of the flows that a figure gives at the beginning and at the end of a segment whose settings
// may move.
func (s *Segment) highest(from, until int64, figure float64) float64 {
	flow := s.Flow(from, figure, 293.15)
	if s.chain.shiftPerNs != 0 && until != Never {
		flow = math.Max(flow, s.Flow(until, figure, 293.15))
	}
	return flow
}

// Flow is the lane's flow of a logged figure at an instant, whatever stands behind it.
func (s *Segment) Flow(at int64, figure, air float64) float64 {
	flow := s.flowOf(at, figure, s.Head(at, figure, air))
	if s.later != nil {
		flow = s.between(at, flow, s.later.flowOf(at, figure, s.Head(at, figure, air)))
	}
	return flow
}

// flowOf is the flow of a logged figure by the settings at a segment's beginning: of its head or, where a factor alone
// was wrong, of the figure.
func (s *Segment) flowOf(_ int64, figure, head float64) float64 {
	if s.chain.exact != 0 {
		return math.Max(0, float64(s.chain.exact*figure))
	}
	return s.Rating.Flow(head)
}

// Rated is the flow of a head at an instant.
func (s *Segment) Rated(at int64, head float64) float64 {
	flow := s.Rating.Flow(head)
	if s.later != nil {
		flow = s.between(at, flow, s.later.Rating.Flow(head))
	}
	return flow
}

// Bound is what is known of a reading's flow.
type Bound struct {
	Held         bool // only bounds are known
	Lower, Upper float64
}

func Exactly(flow float64) Bound { return Bound{Lower: flow, Upper: flow} }

// fullWithin is how near the flow of a full pipe a logged flow must be to be it.
const fullWithin = 1e-3

// Bounds returns the flows between which the truth lies behind a reading that stands at an end, or has two heads. flow
// is its flow whatever stands behind it.
func (s *Segment) Bounds(at int64, figure, air, flow float64, flags qa.Flags) Bound {
	e, b := &s.Ends, Bound{Held: true}
	switch {
	case flags&qa.CutOff != 0: // at the end of little flow
		b.Lower, b.Upper = 0, s.Flow(at, e.Floor, air)
	case flags&qa.Capped != 0:
		b.Lower, b.Upper = s.Flow(at, e.cap, air), e.depth
	case flags&qa.Blanking != 0:
		b.Lower, b.Upper = math.Min(flow, s.Hold), e.depth
	case e.Twofold > 0 && figure > e.Twofold*(1+fullWithin) && s.chain.exact != 0: // either depth has this flow
		return Exactly(flow)
	case e.Twofold > 0 && figure > e.Twofold*(1+fullWithin):
		b.Lower, b.Upper = s.twoFlows(at, figure, air)
	case e.Twofold > 0 && figure >= e.Twofold*(1-fullWithin): // full, or under pressure, which nothing bounds
		if b.Lower = flow; s.chain.exact == 0 {
			b.Lower, _ = s.twoFlows(at, e.Twofold, air)
		}
		b.Upper = e.spill
	default: // what is above the channel's depth may pass the device or leave the channel
		b.Lower, b.Upper = math.Min(flow, s.Hold), e.spill
		if !math.IsInf(e.spill, 1) {
			b.Upper = math.Max(flow, e.spill)
		}
	}
	b.Upper = math.Max(b.Upper, b.Lower)
	return b
}
