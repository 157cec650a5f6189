package report

import (
	"slices"

	"retotal/qa"
	"retotal/recompute/effect"
)

type flagged = effect.Summary

// flags is the table of all checks of screening; people read of those that flagged something.
func (r *Run) flags() *Table {
	t := tabulate(r, r.Result.Flags, []figure[flagged]{
		words("check", "flag", func(f *flagged) string { return f.Check }).styled(Strong),
		words("", "a reading that", func(f *flagged) string { return sentence(f.Check) }).in(InPage).styled(Small),
		words("action", "action", func(f *flagged) string { return string(f.Action) }),
		count("grade", "", func(f *flagged) int { return int(f.Grade) }),
		count("passed", "", func(f *flagged) int { return f.Passed }),
		count("rows", "readings", func(f *flagged) int { return f.Rows }),
		count("spans", "spans", func(f *flagged) int { return f.Spans }),
		{Column{Key: "effect_m3", Title: "effect", Kind: Change, Decimals: 1}, func(f *flagged) any { return f.Effect }},
		words("limit", "limit", func(f *flagged) string { return f.Limit }).styled(Small),
		words("source", "source", func(f *flagged) string { return f.Source }).in(InPage | InRecord).styled(Small),
		words("not_run", "", func(f *flagged) string { return f.NotRun }).optional(),
	})
	for i := range r.Result.Flags {
		t.Minor[i] = r.Result.Flags[i].Rows == 0
	}
	return t
}

// sentence says what a reading flagged by a check is.
func sentence(check string) string {
	if i := slices.IndexFunc(qa.Checks, func(c qa.Check) bool { return c.Name == check }); i >= 0 {
		return qa.Checks[i].Sentence
	}
	return ""
}

// silent names the checks that flagged nothing, or were not run and why.
func silent(list []flagged) (out []string) {
	for _, f := range list {
		switch {
		case f.NotRun != "":
			out = append(out, f.Check+" (not run: "+f.NotRun+")")
		case f.Rows == 0:
			out = append(out, f.Check)
		}
	}
	return out
}

type event = *effect.Event

// events is the table of the flagged spans.
func (r *Run) events() *Table {
	head := func(title string, of func(*event) float64) figure[event] {
		return figure[event]{Column{Title: title, Kind: Head}, func(e *event) any { return of(e) }}
	}
	return tabulate(r, r.Result.Events, []figure[event]{
		words("", "flag", func(e *event) string { return (*e).Check }),
		words("", "action", func(e *event) string { return string((*e).Action) }),
		{Column{Title: "from", Kind: Instant}, func(e *event) any { return (*e).From }},
		{Column{Title: "until", Kind: Instant, Bare: true}, func(e *event) any { return (*e).Until }},
		count("", "readings", func(e *event) int { return (*e).Rows }),
		count("", "spans", func(e *event) int { return (*e).Spans }),
		head("lowest head", func(e *event) float64 { return (*e).Lowest }),
		head("highest head", func(e *event) float64 { return (*e).Highest }),
		{Column{Title: "effect on the corrected total", Kind: Change}, func(e *event) any { return (*e).Effect }},
		words("", "file", func(e *event) string { return relative(r.site(), r.Log.Files[(*e).File].Name) }),
		count("", "line", func(e *event) int { return int((*e).Line) }),
	})
}
