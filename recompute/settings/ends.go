package settings

import (
	"math"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/device"
	"retotal/recompute/settings/chain"
)

// ends are the figures at which a meter stops: what stands behind them is only bounded.
type ends struct {
	// Logged figures at and beyond which the truth is not known; ∓Inf for none.
	Least, Most float64
	Falling     bool // flow falls as the figure rises
	// Figures that bound the truth: from above at the end of little flow, from below at the end of much.
	Floor, cap float64
	// m³/s, the greatest flow below the channel's depth and the rating's end; +Inf when neither is known.
	depth float64
	// m³/s, flow at the channel's depth, which bounds the flow when the head is above it; +Inf when it is not known.
	spill   float64
	Twofold float64 // logged flow above which two heads of the meter's rating give it; 0 for none
	hull    *hull   // for figures that are means over an interval, unless a factor corrects them exactly
}

// findEnds works out where figures stop in a segment, from what the meter was set to.
func findEnds(s *site.Site, segment, recorded *Segment) ends {
	e := ends{Least: math.Inf(-1), Most: math.Inf(1), Falling: segment.chain.Rises() < 0}
	e.spill, e.depth = math.Inf(1), Greatest(segment.Rating, segment.Top)
	if depth := optional(segment, site.ChannelDepth); depth <= segment.Rating.Limits().End {
		e.spill = segment.Rating.Flow(depth)
	}
	primary := s.Log.Primary
	clamped := primary != reading.Distance && clamps(&recorded.Settings)
	if primary > reading.Head {
		e.stopOfFlow(recorded)
	} else if clamped {
		e.Least, e.Floor = 0, 0
	}
	if primary == reading.Level || primary == reading.Head {
		e.stopAtHead(recorded, recorded.MaximumHead)
	}
	e.stopAtBlanking(primary, recorded)
	e.saturate(recorded, chain.ColumnLoop(&s.Log.Columns[primary]), recorded.Settings.Loop)
	// a zero that stays zero is exact
	if !segment.TakesSound() && e.Least == 0 && !e.Falling && segment.highest(e.Floor) <= 1e-12 {
		e.Least = math.Inf(-1)
	}
	if s.Log.Means && segment.chain.Exact == 0 {
		e.hull = &hull{segment: segment, recorded: recorded, most: e.Most, clamped: clamped,
			follows: e.Falling && math.IsInf(e.Least, -1) || !e.Falling && math.IsInf(e.Most, 1)}
	}
	return e
}

// clamps reports whether a meter shows no level below zero.
func clamps(s *site.Settings) bool { return s.Clamped != nil && *s.Clamped }

// stopBelow takes in an end at the least figures, unless there is one before it; much says that much flow is there.
func (e *ends) stopBelow(figure float64, much bool) {
	if figure > e.Least {
		e.Least = figure
		e.bound(figure, much)
	}
}

// stopAbove takes in an end at the greatest figures, unless there is one before it.
func (e *ends) stopAbove(figure float64, much bool) {
	if figure < e.Most {
		e.Most = figure
		e.bound(figure, much)
	}
}

// bound takes in a figure that bounds the truth at the end of much flow, or of little.
func (e *ends) bound(figure float64, much bool) {
	if much {
		e.cap = figure
	} else {
		e.Floor = figure
	}
}

// stopOfFlow takes in where a meter of flows stops, and what its rating gives twice.
func (e *ends) stopOfFlow(recorded *Segment) {
	e.Least, e.Floor = 0, recorded.CutOff
	e.Most = math.Min(RecordedTop(recorded), recorded.MaximumFlow)
	e.cap = e.Most
	end := recorded.Rating.Limits().End
	if math.IsInf(end, 1) {
		return
	}
	if full := recorded.Rating.Flow(end); Greatest(recorded.Rating, end) > full*(1+1e-9) {
		e.Twofold = full
	}
}

// Extremes are the least and the greatest figure that a log shows, and half its step.
type Extremes struct{ Least, Most, Half float64 }

// beyond reports whether a log shows more than an end, so that it is none; rises says that figures rise towards it.
func (x *Extremes) beyond(end float64, rises bool) bool {
	if x == nil {
		return false
	}
	if rises {
		return x.Most > end+x.Half+float64(1e-9*math.Abs(end))
	}
	return x.Least < end-x.Half-float64(1e-9*math.Abs(end))
}

// stopAtHead takes in a head above which a meter that logged levels or heads shows no more, unless the log does.
func (e *ends) stopAtHead(recorded *Segment, head float64) {
	rises := recorded.chain.Rises()
	if math.IsInf(head, 1) || !recorded.Straight() || rises == 0 {
		return
	}
	figure := recorded.chain.Figure(head)
	switch {
	case recorded.Shown.beyond(figure, rises > 0):
	case rises > 0:
		e.stopAbove(figure, true)
	default:
		e.stopBelow(figure, true)
	}
}

// stopAtBlanking takes in the nearest water that the sensor sees, where figures other than distances were logged.
func (e *ends) stopAtBlanking(primary reading.Quantity, recorded *Segment) {
	nearest, empty := recorded.Settings.Values[site.BlankingDistance], recorded.Settings.Values[site.EmptyDistance]
	if nearest == nil || empty == nil || primary == reading.Distance {
		return
	}
	head := recorded.chain.HeadOf(recorded.Origin, nearest.From.SI, chain.Standard)
	if primary <= reading.Head {
		e.stopAtHead(recorded, head)
		return
	}
	if flow := recorded.Rating.Flow(head); !recorded.Shown.beyond(flow, true) {
		e.stopAbove(flow, true)
	}
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
		e.stopBelow(low, e.Falling)
		e.stopAbove(high, !e.Falling)
	}
}

// highest is the larger of the flows that a figure gives at the beginning and at the end of a segment whose settings
// may move.
func (s *Segment) highest(figure float64) float64 {
	flow := s.Flow(s.Origin, figure, chain.Standard)
	if s.chain.Moves() && s.Until != Never {
		flow = math.Max(flow, s.Flow(s.Until, figure, chain.Standard))
	}
	return flow
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
