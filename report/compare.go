package report

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"retotal/recompute/audit"
)

// Compare prints what differs between two records of a site, and what it did to the totals. Volumes are m³, as records hold them.
func Compare(w io.Writer, old, now *Record) {
	fmt.Fprintf(w, "%s, then and now\n\n", now.Site.ID)
	if old.Site.ID != now.Site.ID {
		fmt.Fprintf(w, "  these are two sites: %s and %s\n\n", old.Site.ID, now.Site.ID)
	}
	compareTotals(w, old, now)
	fmt.Fprintln(w, "\nWhat changed")
	changes := slices.Concat(
		differences("version", []string{old.Version}, []string{now.Version}),
		differences("log", inputsInWords(old), inputsInWords(now)),
		differences("log settings", []string{inWords(old.Log)}, []string{inWords(now.Log)}),
		differences("recorded settings", segmentsInWords(old.Recorded), segmentsInWords(now.Recorded)),
		differences("correction", correctionsInWords(old), correctionsInWords(now)),
		differences("ruling", rulingsInWords(old), rulingsInWords(now)),
		differences("screening", screeningInWords(old), screeningInWords(now)),
		differences("what-if lane", old.Lanes, now.Lanes),
		differences("status", []string{old.Approval.words()}, []string{now.Approval.words()}))
	for _, line := range changes {
		fmt.Fprintf(w, "  %s\n", line)
	}
	switch {
	case len(changes) == 0 && old.Site.SHA256 == now.Site.SHA256:
		fmt.Fprintln(w, "  nothing")
	case len(changes) == 0:
		fmt.Fprintln(w, "  the site file, but nothing that it decides (comments, names, evidence or report units)")
	}
}

// both is one period in two records; a row of -1 is not there.
type both struct {
	label         string
	old, now      *Table
	row, rowNow   int
	over, overNow string
}

// compareTotals prints the corrected totals of months and the whole.
func compareTotals(w io.Writer, old, now *Record) {
	labels := map[string]bool{}
	for _, months := range []*Table{old.Months, now.Months} {
		for i := range months.rows() {
			labels[months.string(i, "label")] = true
		}
	}
	var list []both
	for _, label := range slices.Sorted(maps.Keys(labels)) {
		list = append(list, both{label, old.Months, now.Months, old.Months.row("label", label), now.Months.row("label", label), old.overIn(label), now.overIn(label)})
	}
	list = append(list, both{"total", old.Total.Table, now.Total.Table, 0, 0, old.overIn(""), now.overIn("")})
	written := func(title string, of func(*both) string) figure[both] {
		return figure[both]{Column{Title: title, Kind: Written}, func(b *both) any { return of(b) }}
	}
	laidOut(&units{}, list, []figure[both]{
		words("", " ", func(b *both) string { return b.label }),
		written("before m3", func(b *both) string { return b.old.volume(b.row, "before_m3") }),
		written("now", func(b *both) string { return b.now.volume(b.rowNow, "before_m3") }),
		written("after m3", func(b *both) string { return b.old.volume(b.row, "after_m3") }),
		written("now", func(b *both) string { return b.now.volume(b.rowNow, "after_m3") }),
		written("change", (*both).change),
		written("over limit", func(b *both) string { return b.over }),
		written("now", func(b *both) string { return b.overNow }),
	}).Text(w)
}

// change is by how much the corrected total of a period differs; "" where one record lacks it.
func (b *both) change() string {
	old, isOld := b.old.cell(b.row, "after_m3").(float64)
	now, isNow := b.now.cell(b.rowNow, "after_m3").(float64)
	if !isOld || !isNow {
		return ""
	}
	return fmt.Sprintf("%+.1f", now-old)
}

// volume is a volume of a record in words.
func (t *Table) volume(row int, key string) string {
	switch v, ok := t.cell(row, key).(float64); {
	case ok:
		return grouped(v, 1)
	case row < 0:
		return ""
	}
	return "missing"
}

// overIn counts the days of a month that are over the daily limit after the correction, beyond doubt, and those of which it cannot be told.
func (r *Record) overIn(month string) string {
	n, open := 0, 0
	for i := range r.OverLimit.rows() {
		if !strings.HasPrefix(r.OverLimit.string(i, "day"), month) {
			continue
		}
		switch outcome := audit.Outcome(r.OverLimit.string(i, "outcome")); {
		case r.OverLimit.cell(i, "over_after") == true:
			n++
		case outcome == audit.Unsure || outcome == audit.ByRule:
			open++
		}
	}
	if open > 0 {
		return fmt.Sprintf("%d to %d", n, n+open)
	}
	return fmt.Sprint(n)
}

// differences lists what only one of two lists has.
func differences(what string, old, now []string) (out []string) {
	for _, x := range old {
		if !slices.Contains(now, x) && x != "" {
			out = append(out, fmt.Sprintf("%s gone: %s", what, x))
		}
	}
	for _, x := range now {
		if !slices.Contains(old, x) && x != "" {
			out = append(out, fmt.Sprintf("%s new: %s", what, x))
		}
	}
	return out
}

func inputsInWords(r *Record) (out []string) {
	for _, in := range r.Inputs {
		out = append(out, fmt.Sprintf("%s, %d bytes, SHA-256 %.12s", in.File, in.Bytes, in.SHA256))
	}
	return out
}

func segmentsInWords(list []segmentRecord) (out []string) {
	for _, s := range list {
		out = append(out, fmt.Sprintf("%s to %s: %s; %s", orWord(s.From, "beginning"), orWord(s.Until, "end"), strings.Join(s.Settings, ", "), s.Device.Equation))
	}
	return out
}

func correctionsInWords(r *Record) (out []string) {
	t := r.Corrections
	for i := range t.rows() {
		out = append(out, fmt.Sprintf("%s to %s: %s (%s)", orWord(t.string(i, "from"), "first reading"), orWord(t.string(i, "until"), "last reading"),
			t.string(i, "what"), t.string(i, "reason")))
	}
	return out
}

func rulingsInWords(r *Record) (out []string) {
	t := r.Rulings
	for i := range t.rows() {
		out = append(out, fmt.Sprintf("%s to %s: %s (%s, %s); effect %s m3", t.string(i, "from"), t.string(i, "until"), t.string(i, "action"),
			t.string(i, "reason"), t.string(i, "by"), fixed(t.figure(i, "effect_m3"), 1)))
	}
	return out
}

func screeningInWords(r *Record) (out []string) {
	t := r.Screening
	for i := range t.rows() {
		out = append(out, fmt.Sprintf("%s: %s, %s; %s readings, effect %s m3", t.string(i, "check"), t.string(i, "action"), t.string(i, "limit"),
			t.string(i, "rows"), fixed(t.figure(i, "effect_m3"), 1)))
	}
	return out
}

// inWords is the log's part of a record as text.
func inWords(l logRecord) string {
	text, _ := json.Marshal(l) // plain numbers and texts always can be written
	return string(text)
}

func orWord(text, word string) string {
	if text == "" {
		return word
	}
	return text
}
