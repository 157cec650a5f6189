package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"retotal/recompute/audit"
)

// limits is the table of what is over a limit before or after, or cannot be told: what is sure first.
func (r *Run) limits() *Table {
	list := slices.Clone(r.Limits)
	slices.SortStableFunc(list, func(a, b audit.LimitFinding) int {
		return cmp.Compare(slices.Index(certainFirst, a.Outcome()), slices.Index(certainFirst, b.Outcome()))
	})
	value := func(key, title string, of func(*limited) float64) figure[limited] {
		return figure[limited]{
			Column{Key: key, Title: title, Kind: Figure}, func(f *limited) any { return held(f, of(f)) },
		}
	}
	t := tabulate(r, list, []figure[limited]{
		words("limit", "limit", func(f *limited) string { return f.Limit }),
		words("period", "period", func(f *limited) string { return f.Period }),
		value("before", "before", func(f *limited) float64 { return f.Before }),
		value("after", "after", func(f *limited) float64 { return f.After }).styled(Strong),
		{Column{Key: "u95", Title: "+/- (95 %)", Kind: Figure}, func(f *limited) any {
			if f.U95 == 0 {
				return told{0.0, ""}
			}
			return held(f, f.U95)
		}},
		words("", "can have been", r.truth),
		value("at_least", "", func(f *limited) float64 { return f.Low }),
		{Column{Key: "at_most", Kind: Figure, Optional: true}, func(f *limited) any {
			if math.IsInf(f.High, 1) {
				return nil
			}
			return held(f, f.High)
		}},
		words("", "verdict", r.verdict),
		yesNo("over_before", func(f *limited) bool { return f.Was }),
		words("by_the_permits_rule", "", func(f *limited) string { return string(f.Rule) }).optional(),
		words("in_truth", "", func(f *limited) string { return string(f.Sure) }),
		words("outcome", "", func(f *limited) string { return string(f.Outcome()) }),
	})
	t.Most = 12
	return t
}

type limited = audit.LimitFinding

// held is a figure that is held to a limit, as what it is.
func held(f *limited, v float64) measure {
	switch {
	case f.Share:
		return measure{Share, v}
	case f.Flow:
		return measure{Flow, v}
	}
	return measure{Volume, v}
}

// truth words between what the truth of a figure lies.
func (r *Run) truth(f *limited) string {
	value := func(v float64) string { return r.units().words(&Column{}, held(f, v)) }
	if math.IsInf(f.High, 1) {
		return value(f.Low) + " or more"
	}
	low, _, _ := strings.Cut(value(f.Low), " ") // without its unit
	return low + " to " + value(f.High)
}

// daysOver is the table of the days beside the daily limit, which the record holds.
func (r *Run) daysOver() *Table {
	return tabulate(r, r.Over, []figure[audit.DayOverLimit]{
		words("day", "", func(o *audit.DayOverLimit) string { return o.Day }),
		yesNo("over_before", func(o *audit.DayOverLimit) bool { return o.WasOver }),
		yesNo("over_after", func(o *audit.DayOverLimit) bool { return o.IsOver }),
		words("outcome", "", func(o *audit.DayOverLimit) string { return string(o.Outcome) }),
	})
}

// certainFirst is how limits are listed.
var certainFirst = []audit.Outcome{audit.Newly, audit.Still, audit.Cleared, audit.ByRule, audit.Unsure, audit.Under}

// verdict words where a figure stands: by the permit's rule first, where that says something else than the truth.
func (r *Run) verdict(f *audit.LimitFinding) string {
	text := string(f.Sure)
	if f.Rule != "" && f.Rule != f.Sure {
		text = fmt.Sprintf("by the permit's rule %s, in truth %s", f.Rule, f.Sure)
	}
	if len(r.Result.Components.List) == 0 { // nothing was said of the uncertainty
		text = strings.ReplaceAll(text, " beyond doubt", "")
	}
	switch f.Outcome() {
	case audit.Newly:
		text += ", newly"
	case audit.Cleared:
		text += ", cleared"
	}
	return text
}
