package audit

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"retotal/ingest/quantity"
	"retotal/recompute/stat"
)

// Limits of the reconciliation by day; common practice.
const (
	leastPairs  = 5
	leastSpread = 0.1 // of the greatest day
	mostNamed   = 5
)

// dayPair is what flow and meter say of one day, m³.
type dayPair struct {
	day                 string
	integrated, counted float64
}

// line is counted = slope × integrated + intercept over the days, and the days that lie off it, the worst first.
type line struct {
	slope, intercept float64
	broken           []dayPair
	days             int
	fitted           bool
}

// reconcile lays a line through the days that single bad days do not move: the median of the slopes of all pairs
// (Theil-Sen; P. K. Sen 1968), and the median of what is left. A day breaks it that lies off by more than the tolerance
// of a total and by more than the rounding given, m³.
func reconcile(pairs []dayPair, rounding float64) (l line) {
	var x, y []float64
	for _, p := range pairs {
		x, y = append(x, p.integrated), append(y, p.counted)
	}
	if len(pairs) < leastPairs || slices.Max(x)-slices.Min(x) < leastSpread*slices.Max(x) {
		return l // days that are alike make no line
	}
	l.fitted, l.days, l.slope = true, len(pairs), stat.TheilSen(x, y)
	rest := make([]float64, len(x))
	for i := range x {
		rest[i] = y[i] - float64(l.slope*x[i])
	}
	slices.Sort(rest)
	l.intercept = (rest[(len(rest)-1)/2] + rest[len(rest)/2]) / 2
	off := func(p dayPair) float64 { return math.Abs(p.counted - float64(l.slope*p.integrated) - l.intercept) }
	for _, p := range pairs {
		if off(p) > math.Max(counterWithin*p.integrated, rounding) {
			l.broken = append(l.broken, p)
		}
	}
	slices.SortStableFunc(l.broken, func(a, b dayPair) int { return cmp.Compare(off(b), off(a)) })
	return l
}

// steady reports whether one factor holds for nearly all days.
func (l line) steady() bool { return l.fitted && 10*len(l.broken) <= l.days }

// sentence tells the line and the days that break it; nothing of a line that was not fitted.
func (l line) sentence(unit quantity.Unit) string {
	if !l.fitted {
		return ""
	}
	text := fmt.Sprintf(" By day it is %.5f × the flow %+.2f %s.", l.slope, unit.FromSI(l.intercept), unit.Symbol)
	if len(l.broken) == 0 {
		return text + " No day lies off that line."
	}
	text += fmt.Sprintf(" Off that line lie %d days:", len(l.broken))
	for i, p := range l.broken[:min(mostNamed, len(l.broken))] {
		if i > 0 {
			text += ","
		}
		text += fmt.Sprintf(" %s (%.1f against %.1f)", p.day, unit.FromSI(p.counted), unit.FromSI(p.integrated))
	}
	if more := len(l.broken) - mostNamed; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text + "."
}
