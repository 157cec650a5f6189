package recompute

import (
	"math"

	"retotal/ingest/site"
	"retotal/recompute/device"
)

// Sureness is where a figure stands beside a limit.
type Sureness string

// The answers. NotCounted is the permit's own, of a period that its rule of completeness leaves out.
const (
	Above      Sureness = "above beyond doubt"
	Below      Sureness = "below beyond doubt"
	CannotTell Sureness = "cannot tell"
	NotCounted Sureness = "does not count"
)

// Judge says whether what lies between low and high is above a limit: the one judge of days, months, averages, peaks
// and shares of days. At the limit is not above it.
func Judge(low, high, limit float64) Sureness {
	switch {
	case low > limit:
		return Above
	case high <= limit:
		return Below
	}
	return CannotTell
}

// Truth returns between which volumes the truth of a whole period lies, m³, at about 95 %; high is +Inf when nothing
// bounds it. Time that is missing, or filled by an estimate, counts from no flow to the physical maximum, but for one
// interval or less where the log begins or ends.
func (r *Result) Truth(p *Period) (low, high float64) {
	q := r.toLog(*p)
	filled := q.Classes[Filled]
	low, high = r.within(&q, filled.M3(), Filled)
	if missing := q.End - q.Start - q.After.Covered + filled.Covered; missing > 0 {
		high += r.PhysicalMost * float64(missing) * 1e-9
	}
	return math.Max(0, low), high
}

// Seen returns between which volumes lies what flowed in the time that the corrected total covers, what is filled as
// the site file has it: the figures that a permit goes by that rules on missing time.
func (r *Result) Seen(p *Period) (low, high float64) {
	low, high = r.within(p, 0, Classes)
	return math.Max(0, low), high
}

// within returns least less uncertainty and most more uncertainty of a period without a part of it, which is of a
// class.
func (r *Result) within(p *Period, part float64, class Class) (low, high float64) {
	doubt := p.Budget.without(class)
	most, known := p.Upper()
	if !known {
		most += r.PhysicalMost * float64(p.Open) * 1e-9
	}
	return p.Lower() - part - doubt, most - part + doubt
}

// without is the expanded uncertainty of a total without the doubt between bounds, which is counted by the bounds
// themselves, and without that of a class; none when no budget was asked for.
func (b *Budget) without(class Class) float64 {
	if b == nil {
		return 0
	}
	if len(b.Parts) == 0 {
		return b.Expanded()
	}
	sum := 0.0
	for _, part := range b.Parts {
		if s := part.Source; !s.bounds && !(s.ofClass && s.class == class) {
			sum += float64(part.Effect * part.Effect)
		}
	}
	return coverage * math.Sqrt(sum)
}

// Covered is the part of a period that one of its totals covers; one interval or less where the log begins or ends is
// not missing.
func (r *Result) Covered(p *Period, by Volume) float64 {
	q := r.toLog(*p)
	return share(by.Covered, q.End-q.Start)
}

// physicalMost is the most that can have flowed under a lane's settings between two instants, m³/s: up to the depth of
// the channel, above which the water leaves it, or else up to the end of the rating (a table's last point, a full
// pipe). A meter's caps are no physical limits: water goes over them.
func physicalMost(l *Lane, from, till int64) (most float64) {
	for i := range l.Segments {
		s := &l.Segments[i]
		if s.Until <= from || s.From > till || s.Rating == nil {
			continue
		}
		top := s.Rating.Limits().End
		if depth := s.Settings.Values[site.ChannelDepth]; depth != nil {
			top = math.Max(depth.From.SI, depth.To.SI)
		}
		most = math.Max(most, greatest(s.Rating, top))
	}
	return most
}

// greatest is the largest flow of a rating up to a head, m³/s: a pipe carries more before it is full than when it is.
func greatest(rating device.Rating, top float64) (flow float64) {
	if math.IsInf(top, 1) {
		return top
	}
	const steps = 512
	for i := 1; i <= steps; i++ {
		flow = math.Max(flow, rating.Flow(top*float64(i)/steps))
	}
	return flow
}
