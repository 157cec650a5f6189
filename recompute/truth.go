package recompute

import (
	"math"

	"retotal/ingest/site"
	"retotal/recompute/settings"
	"retotal/recompute/total"
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
	filled := q.Classes[total.Filled]
	low, high = r.between(&q, filled.M3(), total.Filled)
	if missing := q.Until - q.From - q.After.Covered + filled.Covered; missing > 0 {
		high += r.PhysicalMost * float64(missing) * 1e-9
	}
	return math.Max(0, low), high
}

// Seen returns between which volumes lies what flowed in the time that the corrected total covers, what is filled as
// the site file has it: the figures that a permit goes by that rules on missing time.
func (r *Result) Seen(p *Period) (low, high float64) {
	low, high = r.between(p, 0, total.Classes)
	return math.Max(0, low), high
}

// between returns least less its uncertainty and most more its own of a period without a part of it, which is of a
// class. Noise may have lifted the total.
func (r *Result) between(p *Period, part float64, class total.Class) (low, high float64) {
	most, known := p.Upper()
	if !known {
		most += r.PhysicalMost * float64(p.Bracketed.Open) * 1e-9
	}
	below, above := p.Budget.Without(class)
	return p.Lower() - part - below - p.Tally.Lift, most - part + above
}

// Covered is the part of a period that one of its totals covers; one interval or less where the log begins or ends is
// not missing.
func (r *Result) Covered(p *Period, by total.Volume) float64 {
	q := r.toLog(*p)
	return share(by.Covered, q.Until-q.From)
}

// physicalMost is the most that can have flowed under a lane's settings between two instants, m³/s: up to the depth of
// the channel, above which the water leaves it, or else up to the end of the rating (a table's last point, a full
// pipe). A meter's caps are no physical limits: water goes over them.
func physicalMost(l *settings.Lane, from, till int64) (most float64) {
	for i := range l.Segments {
		s := &l.Segments[i]
		if s.Until <= from || s.From > till || s.Rating == nil {
			continue
		}
		top := s.Rating.Limits().End
		if depth := s.Settings.Values[site.ChannelDepth]; depth != nil {
			top = math.Max(depth.From.SI, depth.To.SI)
		}
		most = math.Max(most, settings.Greatest(s.Rating, top))
	}
	return most
}
