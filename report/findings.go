package report

import (
	"retotal/recompute/audit"
)

type finding = audit.Finding

// findings is the table of what log, settings, counter and reported totals say of each other.
func (r *Run) findings() *Table {
	return tabulate(r, r.Findings, []figure[finding]{
		words("topic", "comparison", func(f *finding) string { return f.Topic }),
		words("verdict", "verdict", func(f *finding) string { return string(f.Verdict) }).styled(Verdict),
		words("sentence", "finding", func(f *finding) string { return f.Sentence }),
		words("tolerance", "tolerance", func(f *finding) string { return f.Tolerance }).styled(Small),
		{Column{Key: "doubts", Kind: List, Optional: true}, func(f *finding) any { return list(f.Doubts) }},
	})
}
