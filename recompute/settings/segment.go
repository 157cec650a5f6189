package settings

import (
	"math"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/device"
)

// Heads turns figures of one segment into heads.
func (s *Segment) Heads(heads []float64, times []int64, figures, air []float64) {
	c := &s.chain
	if c.straight() && c.shiftPerNs == 0 && s.later == nil {
		scale, shift := c.scale, c.shift
		for i, v := range figures {
			heads[i] = float64(scale*v) + shift
		}
		return
	}
	for i, v := range figures {
		temperature := 293.15
		if air != nil {
			temperature = air[i]
		}
		heads[i] = s.Head(times[i], v, temperature)
	}
}

// Flows turns the heads of one segment into flows; where only a factor separates the figures from the truth, they need
// no rating.
func (s *Segment) Flows(out, heads, figures []float64, times []int64) {
	switch {
	case s.later != nil:
		for i, h := range heads {
			out[i] = s.between(times[i], s.flowOf(times[i], figures[i], h), s.later.flowOf(times[i], figures[i], h))
		}
	case s.chain.exact == 0:
		s.Rating.Flows(out, heads)
	default:
		for i, v := range figures {
			out[i] = math.Max(0, float64(s.chain.exact*v))
		}
	}
}

// Limit brings flows to what a meter with a segment's settings shows of them.
func (s *Segment) Limit(flows, heads []float64) {
	most := s.MaximumFlow
	if !math.IsInf(s.MaximumHead, 1) {
		most = math.Min(most, s.Rating.Flow(s.MaximumHead))
	}
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

// Shows fills out with what a meter with a segment's settings shows for logged figures: of a log of flows the figures
// themselves, unless the segment is moved off what the meter had.
func (s *Segment) Shows(out []float64, times []int64, figures []float64, ofFlow bool) {
	if ofFlow && s.chain.meter == s {
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

// Raise moves all heads of a segment by a length.
func (s *Segment) Raise(by float64) {
	s.chain.shift += by
	s.chain.rest.a += by
	s.chain.exact = 0 // the meter's datum is in doubt, so a factor is not all
}

// Warm moves the air's temperature of a segment by some kelvin, where its way depends on it.
func (b *Builder) Warm(s *Segment, by float64) {
	if s.Settings.Air == nil {
		return
	}
	moved := *s.Settings.Air
	if moved.Fixed != nil {
		v := *moved.Fixed
		v.SI += by
		moved.Fixed = &v
	}
	moved.Plus += by
	then := &b.Recorded[(&Lane{Segments: b.Recorded}).At(s.From)]
	s.Settings.Air = &moved
	s.chain = buildChain(b.Site.Log.Primary, &b.Site.Log.Columns[b.Site.Log.Primary], s, then)
	s.chain.exact = 0
}

// Rate puts another rating in the place of a segment's.
func (b *Builder) Rate(s *Segment, r device.Rating) {
	if s.Rating = r; b.Site.Log.Primary > reading.Head {
		s.chain.exact = 0
	}
}

// Raised reports whether a segment's heads are moved against those of another that has the same settings.
func (s *Segment) Raised(from *Segment) bool {
	return s.chain.rest.a != from.chain.rest.a || s.chain.shift != from.chain.shift
}

// TakesSound reports whether the speed of sound is that of each reading's logged temperature.
func (s *Segment) TakesSound() bool { return s.chain.air != nil || s.chain.then != nil }

// Straight reports whether heads are one straight line of figures.
func (s *Segment) Straight() bool { return s.chain.straight() }

// Echo is what the sensor itself measured behind a figure, whatever the meter was told: the distance at 20 degC, m.
func (s *Segment) Echo(at int64, figure, air float64) float64 { return s.chain.echo(at, figure, air) }

// HeadOfEcho is the head of what the sensor measured.
func (s *Segment) HeadOfEcho(at int64, echo, air float64) float64 {
	return s.chain.headOf(at, float64(echo*s.chain.scaleOf(air)), air)
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

// Spans are corrections that correct nothing: they cut the recorded lane where a survey begins or ends to stand for the
// datum.
func Spans(corrections []site.Correction) (out []site.Correction) {
	for _, c := range corrections {
		out = append(out, site.Correction{From: c.From, Until: c.Until})
	}
	return out
}

// Moved applies a change to every segment of a lane, and works out anew what follows from it.
func (b *Builder) Moved(l *Lane, change func(s *Segment)) *Lane {
	recorded := Lane{Segments: b.Recorded}
	for i := range l.Segments {
		s := &l.Segments[i]
		for _, x := range []*Segment{s, s.later} {
			if x != nil && x.Rating != nil {
				change(x)
				x.derive(b.Site, &b.Recorded[recorded.At(s.From)])
			}
		}
	}
	return l
}

// Learn tells lanes what the whole log shows under each recorded segment, works out anew where meters end, and reports
// whether any end is another.
func Learn(s *site.Site, recorded *Lane, shown []Extremes, lanes []*Lane) (news bool) {
	for k := range shown {
		recorded.Segments[k].Shown = &shown[k]
	}
	for _, lane := range lanes {
		for i := range lane.Segments {
			for _, x := range []*Segment{&lane.Segments[i], lane.Segments[i].later} {
				if x == nil || x.Rating == nil {
					continue
				}
				least, most := x.Ends.Least, x.Ends.Most
				x.derive(s, x.chain.meter)
				news = news || x.Ends.Least != least || x.Ends.Most != most
			}
		}
	}
	return news
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
