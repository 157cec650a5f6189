package report

import (
	"fmt"
	"strings"

	"retotal/recompute/evidence"
)

type visit = evidence.Visit

// visits is the table of the site visits beside the log.
func (r *Run) visits() *Table {
	mm := func(key, title string, k Kind, of func(*visit) float64) figure[visit] {
		return figure[visit]{Column{Key: key, Title: title, Kind: k, Bare: k == Offset, Optional: true},
			func(v *visit) any { return known(of(v), v.Found) }}
	}
	return tabulate(r, r.Result.Visits, []figure[visit]{
		{Column{Key: "at", Title: "visit", Kind: Instant}, func(v *visit) any { return told{v.At.UTC, v.At.Text} }},
		words("reading", "reading", func(v *visit) string {
			return fmt.Sprintf("%s %s", v.Quantity, v.Value.Text)
		}),
		mm("u95_mm", "+/-", Millimetres, (*visit).U95),
		mm("recorded_less_visit_mm", "recorded", Offset, (*visit).Before),
		mm("corrected_less_visit_mm", "corrected", Offset, (*visit).After).styled(Strong),
		words("", "verdict", r.visitVerdict).styled(Verdict),
		words("", "note", func(v *visit) string {
			return strings.Trim(v.Phase+", "+v.By, ", ")
		}).styled(Small),
		words("phase", "", func(v *visit) string { return v.Phase }).optional(),
		words("by", "", func(v *visit) string { return v.By }).optional(),
	})
}

// visitVerdict says whether the corrected log agrees with a visit.
func (r *Run) visitVerdict(v *visit) string {
	switch {
	case !v.Found && !r.Site().Report.Holds(&v.At, &v.At):
		return "outside what is reported"
	case !v.Found:
		return "no reading near it"
	case v.Explained(r.Log.Resolution[r.Site().Log.Primary]):
		return "agrees"
	}
	return "differs"
}
