package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"retotal/ingest/quantity"
	"retotal/recompute"
	"retotal/recompute/uncertainty"
)

// budget is the table of the sources of the total's uncertainty, the largest first; people do not read of those that
// add nothing.
func (r *Run) budget() *Table {
	b := r.Result.Total.Budget
	if b == nil {
		b = &uncertainty.Budget{}
	}
	parts := slices.Clone(b.Parts)
	slices.SortStableFunc(parts, func(a, b uncertainty.Part) int {
		return cmp.Compare(math.Abs(b.Effect), math.Abs(a.Effect))
	})
	share := func(p *uncertainty.Part) any {
		if b.Standard == 0 {
			return 0.0
		}
		return p.Effect * p.Effect / (b.Standard * b.Standard)
	}
	t := tabulate(r, parts, []figure[uncertainty.Part]{
		words("source", "source", func(p *uncertainty.Part) string { return p.Component.Name }),
		{Column{Key: "u95_m3", Title: "+/-", Kind: Volume, Decimals: 1}, func(p *uncertainty.Part) any { return 2 * math.Abs(p.Effect) }},
		{Column{Key: "share", Title: "share", Kind: Share}, share},
		{Column{Title: "share", Short: " ", In: InPage, Style: Bar}, share},
		{Column{Key: "size", Title: "how large, and by whom", Style: Small}, func(p *uncertainty.Part) any {
			return told{p.Component.Text, p.Component.Text + "; " + between(p.Component)}
		}},
		yesNo("independent_between_readings", func(p *uncertainty.Part) bool {
			return p.Component.Kind == uncertainty.OfReading
		}).optional(),
	})
	for i := range parts {
		t.Minor[i] = math.Abs(parts[i].Effect) <= 1e-6*b.Standard
	}
	return t
}

// between says from what to what a source is independent.
func between(s *uncertainty.Component) string {
	switch s.Kind {
	case uncertainty.OfReading:
		return "independent from reading to reading"
	case uncertainty.Sampling:
		return "independent from day to day"
	}
	return "the same for all readings"
}

// halveSentence says which single measurement would halve the uncertainty of the total.
func (r *Run) halveSentence(p *recompute.Period) string {
	b := p.Budget
	if b == nil {
		return ""
	}
	if bounded(p) {
		return "The sources are those of what was measured; most of what is not known lies between the bounds."
	}
	if _, ok := wide(p); ok {
		return "" // noise makes most of it, which is told beside
	}
	part, input, ok := b.Halve()
	switch {
	case part == nil:
		return ""
	case !ok:
		return fmt.Sprintf("No single measurement would halve it; the largest part is the %s.", part.Component.Name)
	case part.Component.Unit == "":
		return fmt.Sprintf("It would be halved by knowing the %s better.", part.Component.Name)
	}
	return fmt.Sprintf("It would be halved by knowing the %s to %s %s (95 %%).",
		part.Component.Name, quantity.Digits(2*input, 2), part.Component.Unit)
}

// drawsSentence says what the Monte Carlo check found; "" when there was none.
func (r *Run) drawsSentence(decimals int) string {
	d := r.Result.Draws
	if d == nil {
		return ""
	}
	unit := r.Site().Report.VolumeUnit
	value := func(v float64) string { return Grouped(unit.FromSI(v), decimals) }
	return fmt.Sprintf("%d draws (seed %d) through the ratings themselves: standard uncertainty %s %s, by the budget "+
		"%s; 95 %% of them between %s and %s.",
		d.Count, d.Seed, value(d.Standard), unit.Symbol,
		value(r.Result.Total.Budget.Standard), value(d.Low), value(d.High))
}
