package settings

import (
	"math"

	"retotal/ingest/site"
	"retotal/recompute/device"
	"retotal/recompute/settings/chain"
)

// Segment is a span of time under one set of settings.
type Segment struct {
	From, Until int64 // instants; From belongs to the span
	Settings    site.Settings
	Rating      device.Rating
	chain       chain.Chain
	meter       *Segment // the settings under which the figures were written
	Origin      int64    // from where settings that move are reckoned
	MaximumHead float64  // m; +Inf when none is set
	MaximumFlow float64  // m³/s; +Inf when none is set
	CutOff      float64  // m³/s
	Blanking    float64  // m; 0 when none is set or the log holds no distance
	// Top is the head at which the channel or the rating ends: the lower of channel depth and the rating's end; +Inf
	// for none.
	Top   float64
	Usual float64 // highest head that is expected: the least of maximum head, the limit of validity and top
	Hold  float64 // flow of a reading that is held: at top, or at the nearest water the sensor sees if that is lower
	Ends  ends
	// Shown is, of a recorded segment, the extremes of what the whole log shows under it; nil as long as they are not
	// known.
	Shown      *Extremes
	Unusable   bool
	AsRecorded bool // of a corrected segment: no correction holds in it
	// later is the segment as its settings stand at its end, where a correction moves more than a datum: heads and
	// flows go over from the one to the other in a straight line. Nil for others.
	later       *Segment
	Corrections []int // numbers of those in force
}

// Head returns the head of a logged figure at an instant, where the air has a temperature in kelvin.
func (s *Segment) Head(at int64, value, air float64) float64 {
	h := s.chain.Head(at, value, air)
	if s.later != nil {
		h = s.between(at, h, s.later.chain.Head(at, value, air))
	}
	return h
}

// between is the value at an instant of what goes from one value at the segment's beginning to another at its end.
func (s *Segment) between(at int64, from, to float64) float64 {
	return from + float64((to-from)*(float64(at-s.From)/float64(s.Until-s.From)))
}

// MeterFlow returns the flow that a meter with these settings shows: none below zero or below its cut-off, and no more
// than at the maximum head or the maximum flow.
func (s *Segment) MeterFlow(head float64) float64 {
	q := min(s.Rating.Flow(min(head, s.MaximumHead)), s.MaximumFlow)
	if q < s.CutOff {
		return 0
	}
	return q
}

// Heads turns figures of one segment into heads.
func (s *Segment) Heads(heads []float64, times []int64, figures, air []float64) {
	if s.later == nil && s.chain.Heads(heads, figures) {
		return
	}
	for i, v := range figures {
		temperature := chain.Standard
		if air != nil {
			temperature = air[i]
		}
		heads[i] = s.Head(times[i], v, temperature)
	}
}

// Flow is the lane's flow of a logged figure at an instant, whatever stands behind it.
func (s *Segment) Flow(at int64, figure, air float64) float64 {
	return s.rated(at, figure, s.Head(at, figure, air))
}

// rated is the flow of a logged figure that gives a head.
func (s *Segment) rated(at int64, figure, head float64) float64 {
	flow := s.flowOf(figure, head)
	if s.later != nil {
		flow = s.between(at, flow, s.later.flowOf(figure, head))
	}
	return flow
}

// flowOf is the flow of a logged figure by the settings at a segment's beginning: of its head or, where a factor alone
// was wrong, of the figure.
func (s *Segment) flowOf(figure, head float64) float64 {
	if s.chain.Exact != 0 {
		return math.Max(0, float64(s.chain.Exact*figure))
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

// Flows turns the heads of one segment into flows; where only a factor separates the figures from the truth, they need
// no rating.
func (s *Segment) Flows(out, heads, figures []float64, times []int64) {
	if s.later == nil && s.chain.Exact == 0 {
		s.Rating.Flows(out, heads)
		return
	}
	for i, h := range heads {
		out[i] = s.rated(times[i], figures[i], h)
	}
}

// Limit brings flows to what a meter with a segment's settings shows of them.
func (s *Segment) Limit(flows, heads []float64) {
	most := math.Min(s.MaximumFlow, RecordedTop(s))
	if s.CutOff == 0 && math.IsInf(most, 1) {
		return
	}
	for i, q := range flows {
		switch {
		case heads[i] > s.MaximumHead || q > most:
			flows[i] = most
		case q < s.CutOff:
			flows[i] = 0
		}
	}
}

// Shows fills out with what a meter with a segment's settings shows for logged figures: of a log of flows the figures
// themselves, unless the segment is moved off what the meter had.
func (s *Segment) Shows(out []float64, times []int64, figures []float64, ofFlow bool) {
	if ofFlow && s.meter == s {
		copy(out, figures)
		return
	}
	s.Heads(out, times, figures, nil)
	for i, h := range out {
		if h > s.MaximumHead {
			out[i] = s.MaximumHead
		}
	}
	s.Rating.Flows(out, out)
	if s.CutOff == 0 && math.IsInf(s.MaximumFlow, 1) {
		return
	}
	for i, q := range out {
		if q < s.CutOff {
			out[i] = 0
		} else if q > s.MaximumFlow {
			out[i] = s.MaximumFlow
		}
	}
}

// Modular returns the modular limit of a segment's device, 0 when none is known.
func (s *Segment) Modular() float64 {
	d, ok := s.Rating.(device.Drownable)
	if !ok {
		return 0
	}
	if limit, _ := d.ModularLimit(); !math.IsInf(limit, 1) {
		return math.Max(limit, 1e-9) // a thin plate drowns as soon as the water reaches its crest
	}
	return 0
}

// BelowZero takes the level of zero flow off levels, of rows low to high−1; nil levels stay nil.
func (s *Segment) BelowZero(levels []float64, times []int64, low, high int) {
	if levels == nil {
		return
	}
	zero := Line(s.Settings.Values[site.LevelOfZeroFlow], s)
	for i := low; i < high; i++ {
		at := zero.At
		if zero.PerNs != 0 {
			at += float64(zero.PerNs * float64(times[i]-s.Origin))
		}
		levels[i] -= at
	}
}

// Raised reports whether a segment's heads are moved against those of another that has the same settings.
func (s *Segment) Raised(from *Segment) bool { return s.chain.Raised(&from.chain) }

// TakesSound reports whether the speed of sound is that of each reading's logged temperature.
func (s *Segment) TakesSound() bool { return s.chain.TakesSound() }

// Straight reports whether heads are one straight line of figures.
func (s *Segment) Straight() bool { return s.chain.Straight() }

// Echo is what the sensor itself measured behind a figure, whatever the meter was told: the distance at 20 degC, m.
func (s *Segment) Echo(at int64, figure, air float64) float64 { return s.chain.Echo(at, figure, air) }

// HeadOfEcho is the head of what the sensor measured.
func (s *Segment) HeadOfEcho(at int64, echo, air float64) float64 {
	return s.chain.HeadOfEcho(at, echo, air)
}

// optional returns a limit, +Inf when it is not set.
func optional(s *Segment, which site.Setting) float64 {
	if r := s.Settings.Values[which]; r != nil {
		return r.From.SI
	}
	return math.Inf(1)
}

// Inverse returns the head that gives a flow, searched from a guess; see device.HeadNear.
func Inverse(r device.Rating, q, guess float64) float64 { return device.HeadNear(r, q, guess) }

// RecordedTop is the flow at the meter's maximum head, +Inf when none is set.
func RecordedTop(recorded *Segment) float64 {
	if math.IsInf(recorded.MaximumHead, 1) {
		return recorded.MaximumHead
	}
	return recorded.Rating.Flow(recorded.MaximumHead)
}

// Line returns a setting over a segment, which may be only a part of the correction that moves it.
func Line(r *site.Ramp, s *Segment) chain.Straight { return chain.Line(r, s.Origin) }
