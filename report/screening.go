package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/effect"
)

type flagged = effect.Summary

// flags is the table of all checks of screening; people read of those that flagged something.
func (r *Run) flags() *Table {
	t := tabulate(r, r.Result.Flags, slices.Concat([]figure[flagged]{
		words("check", "flag", func(f *flagged) string { return f.Check }).styled(Strong),
		words("", "a reading that", func(f *flagged) string { return sentence(f.Check) }).in(InPage).styled(Small),
		words("action", "action", func(f *flagged) string { return string(f.Action) }),
		words("action_from", "set by", setBy).in(InPage | InRecord),
		count("grade", "", func(f *flagged) int { return int(f.Grade) }),
		count("passed", "", func(f *flagged) int { return f.Passed }),
		count("rows", "readings", func(f *flagged) int { return f.Rows }),
		count("spans", "spans", func(f *flagged) int { return f.Spans }),
		{Column{Key: "effect_m3", Title: "effect", Kind: Change, Decimals: 1}, func(f *flagged) any { return f.Effect }},
	}, leftOut(r, func(f *flagged) (effect.Change, bool) { return f.Left, f.Rows > 0 && f.Action == site.Keep }),
		[]figure[flagged]{
			words("limit", "limit", func(f *flagged) string { return f.Limit }).in(InPage | InRecord).styled(Small),
			words("source", "source", func(f *flagged) string { return f.Source }).in(InPage | InRecord).styled(Small),
			words("not_run", "", func(f *flagged) string { return f.NotRun }).optional(),
		}))
	for i := range r.Result.Flags {
		t.Minor[i] = r.Result.Flags[i].Rows == 0
	}
	return t
}

// setBy says where the action of a check comes from.
func setBy(f *flagged) string {
	switch f.Stated {
	case "":
		return "its default"
	case "screening.default":
		return "[screening] default"
	}
	return "[screening] " + f.Check
}

// signedTo3 writes a volume that may be small or large: to three figures below a thousand, else without decimals.
func signedTo3(v float64) string {
	if math.Abs(v) >= 1000 {
		return signed(v, 0)
	}
	return quantity.Signed(v, 3)
}

// leftOut are the figures of what leaving out kept readings would do; nothing where they are not kept.
func leftOut[T any](r *Run, of func(*T) (c effect.Change, kept bool)) []figure[T] {
	unit := r.Site().Report.VolumeUnit
	figureOf := func(c Column, value func(effect.Change) any) figure[T] {
		c.Optional, c.Title = true, c.Title+" if left out"
		return figure[T]{c, func(x *T) any {
			if change, kept := of(x); kept {
				return value(change)
			}
			return nil
		}}
	}
	return []figure[T]{
		figureOf(Column{Key: "left_out_m3", Title: "change", Short: "if left out " + unit.Symbol, Kind: Change},
			func(c effect.Change) any { return told{c.Volume, signedTo3(unit.FromSI(c.Volume))} }),
		figureOf(Column{Key: "left_out_percent", Title: "change", Short: "of total", Kind: Growth},
			func(c effect.Change) any {
				share, ok := r.ofTotal(c.Volume)
				if !ok {
					return nil
				}
				return told{share, signed(share, 2) + " %"}
			}),
		figureOf(Column{Key: "left_out_missing_s", Title: "seconds missing", Short: "missing", Kind: Figure},
			func(c effect.Change) any {
				return told{float64(c.Missing) / 1e9, missingText(c.Missing)}
			}),
	}
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

// heads is a figure of the heads of an event.
func heads(key, title string, of func(*effect.Event) float64) figure[event] {
	return figure[event]{Column{Key: key, Title: title, Kind: Head}, func(e *event) any { return of(*e) }}
}

// events is the table of the flagged spans.
func (r *Run) events() *Table {
	return tabulate(r, r.Result.Events, slices.Concat([]figure[event]{
		words("", "flag", func(e *event) string { return (*e).Check }),
		words("", "action", func(e *event) string { return string((*e).Action) }),
		{Column{Title: "from", Kind: Instant}, func(e *event) any { return (*e).From }},
		{Column{Title: "until", Kind: Instant, Bare: true}, func(e *event) any { return (*e).Until }},
		count("", "readings", func(e *event) int { return (*e).Rows }),
		count("", "spans", func(e *event) int { return (*e).Spans }),
		heads("", "lowest head", func(e *effect.Event) float64 { return e.Lowest }),
		heads("", "highest head", func(e *effect.Event) float64 { return e.Highest }),
		{Column{Title: "effect on the corrected total", Kind: Change}, func(e *event) any { return (*e).Effect }},
		words("", "file", func(e *event) string { return relative(r.Site(), r.Log.Files[(*e).File].Name) }),
		count("", "line", func(e *event) int { return int((*e).Line) }),
	}, leftOut(r, keptOf)))
}

// keptOf is what leaving out the readings of an event would do, where they are kept.
func keptOf(e *event) (effect.Change, bool) { return (*e).Left, (*e).Action == site.Keep }

// mostWorth and mostWorthText are how many spans that are worth a look people read of in the page, and in the text.
const (
	mostWorth     = 20
	mostWorthText = 5
)

// worth is the table of the kept spans that leaving out would change the total for, the largest change first.
func (r *Run) worth() *Table {
	list := effect.Ranked(r.Result.Events)
	t := tabulate(r, list, slices.Concat([]figure[event]{
		words("check", "flag", func(e *event) string { return (*e).Check }).styled(Strong),
		words("", "when", func(e *event) string { return r.span(*e) }),
		{Column{Key: "from", Kind: Instant}, func(e *event) any { return (*e).From }},
		{Column{Key: "until", Kind: Instant}, func(e *event) any { return (*e).Until }},
		count("rows", "readings", func(e *event) int { return (*e).Rows }),
		words("", "head m", func(e *event) string { return headsText((*e).Lowest, (*e).Highest) }),
		heads("lowest_head_m", "", func(e *effect.Event) float64 { return e.Lowest }),
		heads("highest_head_m", "", func(e *effect.Event) float64 { return e.Highest }),
	}, leftOut(r, keptOf)))
	t.Most = mostWorthText
	for i := mostWorth; i < len(list); i++ {
		t.Minor[i] = true
	}
	return t
}

// span is when an event was, in the report's zone: one instant, or the first and the last.
func (r *Run) span(e *effect.Event) string {
	from, until := strings.TrimSuffix(r.stamp(e.From), ":00"), strings.TrimSuffix(r.stamp(e.Until), ":00")
	if from == until {
		return from
	}
	if day, _, _ := strings.Cut(from, " "); strings.HasPrefix(until, day+" ") {
		until = strings.TrimPrefix(until, day+" ")
	}
	return from + " to " + until
}

// headsText writes the least and the most of some heads, m.
func headsText(least, most float64) string {
	low, high := fixed(least, 3), fixed(most, 3)
	if low == high {
		return low
	}
	return low + " to " + high
}

// worthIs says what the table is about, and worthDo what can be done about it.
func (r *Run) worthIs() string {
	return "Worth a look first: what leaving out kept readings would change; times in " + r.Site().Report.Clock.Name
}

const worthDo = "To drop one, write a [[ruling]] over it with action = \"bridge\"; to drop all of a check, set it to" +
	"\n\"bridge\" in [screening]: retotal help screening. All are in events.csv."

// setAside says which actions of the checks that flagged something are not their defaults, what stretches that begin
// with a ruling made of the total, and what leaving out all that is kept would.
func (r *Run) setAside() (lines []string) {
	byDefault, own := []string{}, []string{}
	for i := range r.Result.Flags {
		switch f := &r.Result.Flags[i]; {
		case f.Rows == 0 || f.Stated == "":
		case f.Stated == "screening.default":
			byDefault = append(byDefault, f.Check)
		default:
			own = append(own, f.Check)
		}
	}
	if len(byDefault) > 0 {
		lines = append(lines, "Kept by [screening] default = \"keep\": "+strings.Join(byDefault, ", ")+".")
	}
	if len(own) > 0 {
		lines = append(lines, "Actions set in the site file: "+strings.Join(own, ", ")+".")
	}
	if r.Result.Ruled != 0 {
		unit := r.Site().Report.VolumeUnit
		lines = append(lines, fmt.Sprintf(
			"Rulings, and what was dropped or changed right after them, made %s %s beside that.",
			signedTo3(unit.FromSI(r.Result.Ruled)), unit.Symbol))
	}
	return append(lines, r.allLeftOut()...)
}

// allLeftOut says what leaving out the readings of all checks that keep would change, where more than one flagged some,
// and what the figures mean where missing time is filled by what other times or another site had.
func (r *Run) allLeftOut() (lines []string) {
	keep := 0
	for i := range r.Result.Flags {
		if f := &r.Result.Flags[i]; f.Rows > 0 && f.Action == site.Keep {
			keep++
		}
	}
	c, unit := r.Result.Left, r.Site().Report.VolumeUnit
	if keep > 1 {
		of := ""
		if share, ok := r.ofTotal(c.Volume); ok {
			of = " (" + signed(share, 2) + " %)"
		}
		lines = append(lines, fmt.Sprintf("All that is kept left out at once: %s %s%s, missing: %s. "+
			"Where flags overlap, the single figures do not add up to it.",
			signedTo3(unit.FromSI(c.Volume)), unit.Symbol, of, missingText(c.Missing)))
	}
	if keep > 0 && r.Site().Filling.Rule.ByHours() {
		lines = append(lines, "Of what would be missing and filled, the figures if left out take today's estimates; "+
			"dropping readings changes these too, and so gives another total.")
	}
	return lines
}

// ofTotal is a change as a part of the corrected total, %; not ok where that is none.
func (r *Run) ofTotal(m3 float64) (share float64, ok bool) {
	share = 100 * m3 / r.Result.Total.After.M3()
	return share, !math.IsNaN(share) && !math.IsInf(share, 0)
}

// missingText writes missing time, ns.
func missingText(ns int64) string {
	if ns <= 0 {
		return "none"
	}
	return quantity.FormatDuration(time.Duration(ns))
}
