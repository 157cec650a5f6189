package report

import (
	"strings"

	"retotal/ingest/site"
	"retotal/recompute"
)

type ruling = recompute.RulingResult

// rulings is the table of what persons decided over readings.
func (r *Run) rulings() *Table {
	flow := func(key string, action site.RulingAction, of func(*site.Ruling) float64) figure[ruling] {
		return figure[ruling]{Column{Key: key, Kind: Flow, Optional: true}, func(x *ruling) any {
			return known(of(x.Ruling), x.Ruling.Action == action)
		}}
	}
	n := 0
	return tabulate(r, r.Result.Rulings, []figure[ruling]{
		{Column{Title: "number", Short: " ", Kind: Count, In: people}, func(*ruling) any { n++; return n }},
		words("", "span", func(x *ruling) string { return x.Ruling.From.Text + " to " + x.Ruling.Until.Text }),
		{Column{Key: "from", Kind: Instant}, func(x *ruling) any { return x.Ruling.From.UTC }},
		{Column{Key: "until", Kind: Instant}, func(x *ruling) any { return x.Ruling.Until.UTC }},
		count("readings", "readings", func(x *ruling) int { return x.Rows }),
		{Column{Key: "effect_m3", Title: "effect", Kind: Change, Decimals: 1}, func(x *ruling) any { return x.Effect }},
		words("action", "", func(x *ruling) string { return string(x.Ruling.Action) }),
		{Column{Key: "checks", Kind: List, Optional: true}, func(x *ruling) any { return list(x.Ruling.Checks) }},
		flow("flow_m3s", site.RuleValue, func(x *site.Ruling) float64 { return x.Flow }),
		flow("at_least_m3s", site.RuleBound, func(x *site.Ruling) float64 { return x.Least }),
		flow("at_most_m3s", site.RuleBound, func(x *site.Ruling) float64 { return x.Most }),
		words("reason", "", func(x *ruling) string { return x.Ruling.Reason }),
		words("", "ruling", func(x *ruling) string { return decision(x.Ruling) }),
		words("by", "by", func(x *ruling) string { return x.Ruling.By }),
	})
}

// decision words what a ruling says and why.
func decision(x *site.Ruling) string {
	words := string(x.Action) + ": " + x.Reason
	if len(x.Checks) > 0 {
		words += " (flagged " + strings.Join(x.Checks, ", ") + ")"
	}
	return words
}
