package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute"
)

// interval is what is known of a period's total; false when it has no budget, or ± says it well enough.
func wide(p *recompute.Period) (recompute.Interval, bool) {
	x, ok := p.Interval()
	return x, ok && x.Wide
}

// bounded reports whether it is bounds that make a period's total so uncertain, and not the noise of readings alone.
func bounded(p *recompute.Period) bool {
	if _, ok := wide(p); !ok {
		return false
	}
	upper, known := p.Upper()
	return !known || upper-p.Lower() > p.Budget.Expanded()/10
}

// side is what a corrected total is of a flow that is only known between bounds.
type side string

const (
	least side = "at least" // what the meter hid counts with the least that flowed
	most  side = "at most"  // drowned flow counts with the most that can have flowed
	both  side = ""
)

// sideOf says which of them a total is, where bounds make most of its uncertainty.
func sideOf(p *recompute.Period) (side, bool) {
	if !bounded(p) {
		return both, false
	}
	near := func(m3 float64) bool { return math.Abs(m3-p.After.M3()) <= 1e-9*math.Abs(p.After.M3()) }
	upper, known := p.Upper()
	switch {
	case near(p.Lower()):
		return least, true
	case known && near(upper):
		return most, true
	}
	return both, true
}

// OnlyLeast reports whether a period's corrected total is only the least that flowed, and bounds make most of its
// uncertainty.
func OnlyLeast(p *recompute.Period) bool {
	s, ok := sideOf(p)
	return ok && s == least
}

// after writes a corrected total; where bounds make most of its uncertainty, it is the least or the most that flowed,
// and says so.
func (r *Run) after(p *recompute.Period, decimals int) string {
	text := r.volume(p.After, decimals)
	if s, ok := sideOf(p); ok && s != both {
		return string(s) + " " + text
	}
	return text
}

// plusMinus writes how sure a period's total is: "+/- 1,234 m3 (1.5 %)", or "between 1,200 and 1,900 m3" where bounds
// make most of it; "" when it has no budget.
func (r *Run) plusMinus(p *recompute.Period, decimals int) string {
	if p.Budget == nil || p.After.M3() == 0 {
		return ""
	}
	unit := r.Site().Report.VolumeUnit
	if x, ok := wide(p); ok {
		return r.range95(x, decimals) + " " + unit.Symbol
	}
	u := p.Budget.Expanded()
	return fmt.Sprintf("+/- %s %s (%.1f %%)", Grouped(unit.FromSI(u), decimals), unit.Symbol, 100*u/p.After.M3())
}

// range95 writes an interval without its unit.
func (r *Run) range95(x recompute.Interval, decimals int) string {
	unit := r.Site().Report.VolumeUnit
	if x.Open {
		return Grouped(unit.FromSI(x.Low), decimals) + " or more"
	}
	return "between " + Grouped(unit.FromSI(x.Low), decimals) + " and " + Grouped(unit.FromSI(x.High), decimals)
}

// sureness is how sure a period's total is, for a table: in per cent of it, or its interval; "" when it has no budget.
func (r *Run) sureness(p *recompute.Period) string {
	if p.Budget == nil || p.After.M3() == 0 {
		return ""
	}
	if x, ok := wide(p); ok {
		return strings.TrimPrefix(strings.Replace(r.range95(x, r.decimals(p.After.M3())), " and ", " to ", 1),
			"between ")
	}
	return fmt.Sprintf("%.1f %%", 100*p.Budget.Expanded()/p.After.M3())
}

// ofAfter words the error of before in per cent of the corrected total, with what the uncertainty of that total leaves
// open: the other of the two definitions in use (of the true value, 23 CCR 1030(a); of the indicated one, COMAR
// 20.70.06.04). Both are compared over the time that both cover.
func ofAfter(p *recompute.Period) string {
	before, after := p.CommonBefore(), p.CommonAfter()
	if !p.Both() || after == 0 {
		return ""
	}
	if p.Budget == nil {
		return fmt.Sprintf("; before was %+.2f %% of after in error", 100*(before/after-1))
	}
	share := after / p.After.M3()
	of := func(total float64) float64 { return 100 * (before/(total*share) - 1) }
	if x, ok := wide(p); ok {
		switch {
		case x.Low <= 0:
			return "; how far before was in error cannot be told"
		case x.Open:
			return fmt.Sprintf("; before was %+.2f %% of the truth in error, or less", of(x.Low))
		}
		return fmt.Sprintf("; before was %+.2f to %+.2f %% of the truth in error", of(x.High), of(x.Low))
	}
	return fmt.Sprintf("; before was %+.2f %% (+/- %.2f) of after in error",
		of(p.After.M3()), 100*before/after*p.Budget.Expanded()/p.After.M3())
}

// withinSentence says what the bounds of means and volumes leave out; "" when nothing.
func (r *Run) withinSentence() string {
	if !r.Site().Log.Means {
		return ""
	}
	for i := range r.Result.Corrected.Segments {
		if r.Result.Corrected.Segments[i].HidesWithin() {
			return "Means and volumes do not show whether the meter stood at an end of what it shows within their " +
				"interval; what it hid then is in no figure and in no bound."
		}
	}
	return ""
}

// splitText says of what a difference is made; parts that are nothing are left out, but for the settings.
func (r *Run) splitText(p *recompute.Period, decimals int) string {
	s, screening := p.Split(), "screening"
	if len(r.Site().Rulings) > 0 {
		screening += " and rulings"
	}
	limits := "beyond what the meter could show"
	if r.Site().Log.Means {
		limits = "as the least that may lie behind means or beyond what the meter could show"
	}
	text := r.signed(s.Settings, decimals) + " settings"
	for _, x := range []struct {
		m3   float64
		name string
	}{
		{s.Limits, limits},
		{s.Drowned, "drowned flow"},
		{s.Filled, "filled"},
		{s.Screening, screening},
	} {
		if math.Abs(x.m3) > 1e-9*math.Abs(p.After.M3()) {
			text += ", " + r.signed(x.m3, decimals) + " " + x.name
		}
	}
	return text
}

// apartText says what stands apart from the difference because only one of before and after covers its time; "" when
// nothing does.
func (r *Run) apartText(p *recompute.Period, decimals int) string {
	unit := r.Site().Report.VolumeUnit
	var list []string
	if v := p.Parts.Lost; !v.Missing() {
		list = append(list, fmt.Sprintf("before counted %s %s in %s that after leaves out",
			Grouped(unit.FromSI(v.M3()), decimals), unit.Symbol, quantity.FormatDuration(time.Duration(v.Covered))))
	}
	if v := p.Parts.Gained; !v.Missing() {
		list = append(list, fmt.Sprintf("after is filled with %s %s in %s of which before has nothing",
			Grouped(unit.FromSI(v.M3()), decimals), unit.Symbol, quantity.FormatDuration(time.Duration(v.Covered))))
	}
	if len(list) == 0 {
		return ""
	}
	return "Apart from it: " + strings.Join(list, "; ") + "."
}

// differenceText is how well the difference is known.
func (r *Run) differenceText(p *recompute.Period, decimals int) string {
	unit := r.Site().Report.VolumeUnit
	if s, ok := sideOf(p); ok {
		return "The difference is that of " + countedWith(s) + "; the bounds leave the rest open."
	}
	text := fmt.Sprintf("The difference of %s %s is known to +/- %s %s: what before and after share drops out of it",
		r.signed(p.Difference(), decimals), unit.Symbol,
		Grouped(unit.FromSI(p.Budget.ExpandedDifference()), decimals), unit.Symbol)
	if slices.ContainsFunc(r.Site().Corrections, func(c site.Correction) bool { return c.U95 == 0 }) {
		text += ", and the step that a correction makes counts as exact unless it states its uncertainty"
	}
	return text + "."
}

// countedWith words what a total counts of a flow that is only known between bounds.
func countedWith(s side) string {
	switch s {
	case least:
		return "the least that flowed"
	case most:
		return "the most that can have flowed"
	}
	return "the least that flowed where it was hidden, and the most that can have where it was drowned"
}

// countedText says it of averages, days and percentiles; "" where the total is known well enough.
func (r *Run) countedText() string {
	s, ok := sideOf(&r.Result.Total)
	if !ok {
		return ""
	}
	return "Averages, days and percentiles count " + countedWith(s) + "."
}

// liftText says what noise of the readings may add to the total; "" where it is little beside the rest.
func (r *Run) liftText(p *recompute.Period, decimals int) string {
	if p.Budget == nil || p.Tally.Lift <= p.Budget.Expanded()/10 {
		return ""
	}
	unit := r.Site().Report.VolumeUnit
	return fmt.Sprintf("Readings scatter from one to the next; a flow rises faster than its head, so their noise may "+
		"lift the total by up to %s %s. Where waves make it, it is real flow; the interval allows for both.",
		Grouped(unit.FromSI(min(p.Tally.Lift, p.After.M3())), decimals), unit.Symbol)
}

// boundsSentence says between what the corrected total lies where readings are only bounded; "" when none are.
func (r *Run) boundsSentence(decimals int) string {
	p := &r.Result.Total
	if p.Bracketed.Counted.Missing() {
		return ""
	}
	unit := r.Site().Report.VolumeUnit
	upper, known := p.Upper()
	text := fmt.Sprintf("In %s of the time the flow is only known between bounds: ",
		quantity.FormatDuration(time.Duration(p.Bracketed.Counted.Covered)))
	if !known {
		return text + fmt.Sprintf("the total is %s %s or more; for %s of it nothing bounds the flow from above.",
			Grouped(unit.FromSI(p.Lower()), decimals), unit.Symbol,
			quantity.FormatDuration(time.Duration(p.Bracketed.Open)))
	}
	return text + fmt.Sprintf("the total lies between %s and %s %s.",
		Grouped(unit.FromSI(p.Lower()), decimals), Grouped(unit.FromSI(upper), decimals), unit.Symbol)
}
