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

// compareTotals prints the corrected totals of months and the whole.
func compareTotals(w io.Writer, old, now *Record) {
	t := table{left: map[int]bool{}}
	t.add("", "before m3", "now", "after m3", "now", "change", "over limit", "now")
	row := func(a, b *periodRecord, over, overNow string) {
		label, cells := "", []string{"", "", "", "", ""}
		if a != nil {
			label, cells[0], cells[2] = a.Label, numberText(a.Before), numberText(a.After)
		}
		if b != nil {
			label, cells[1], cells[3] = b.Label, numberText(b.Before), numberText(b.After)
		}
		if a != nil && b != nil && a.After != nil && b.After != nil {
			cells[4] = fmt.Sprintf("%+.1f", float64(*b.After-*a.After))
		}
		t.add(append(append([]string{label}, cells...), over, overNow)...)
	}
	months := map[string][2]*periodRecord{}
	for i := range old.Months {
		months[old.Months[i].Label] = [2]*periodRecord{&old.Months[i], nil}
	}
	for i := range now.Months {
		m := &now.Months[i]
		months[m.Label] = [2]*periodRecord{months[m.Label][0], m}
	}
	for _, label := range slices.Sorted(maps.Keys(months)) {
		row(months[label][0], months[label][1], old.overIn(label), now.overIn(label))
	}
	row(&old.Total, &now.Total, old.overIn(""), now.overIn(""))
	t.write(w)
}

// overIn counts the days of a month that are over the daily limit after the correction, beyond doubt, and those of which it cannot be told.
func (r *Record) overIn(month string) string {
	n, open := 0, 0
	for _, d := range r.OverLimit {
		if month != "" && d.Day[:len(month)] != month {
			continue
		}
		switch {
		case d.IsOver:
			n++
		case d.Outcome == audit.Unsure || d.Outcome == audit.ByRule:
			open++
		}
	}
	if open > 0 {
		return fmt.Sprintf("%d to %d", n, n+open)
	}
	return fmt.Sprint(n)
}

func numberText(n *number) string {
	if n == nil {
		return "missing"
	}
	return grouped(float64(*n), 1)
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
	for _, c := range r.Corrections {
		out = append(out, fmt.Sprintf("%s to %s: %s (%s)", orWord(c.From, "first reading"), orWord(c.Until, "last reading"), c.What, c.Reason))
	}
	return out
}

func rulingsInWords(r *Record) (out []string) {
	for _, x := range r.Rulings {
		out = append(out, fmt.Sprintf("%s to %s: %s (%s, %s); effect %s m3", x.From, x.Until, x.Action, x.Reason, x.By, fixed(float64(x.Effect), 1)))
	}
	return out
}

func screeningInWords(r *Record) (out []string) {
	for _, f := range r.Screening {
		out = append(out, fmt.Sprintf("%s: %s, %s; %d readings, effect %s m3", f.Check, f.Action, f.Limit, f.Rows, fixed(f.Effect, 1)))
	}
	return out
}

// words says how far a correction has come.
func (a *approvalRecord) words() string {
	if a == nil {
		return ""
	}
	return fmt.Sprintf("%s, author %s, reviewer %s", a.Status, orWord(a.Author, "-"), orWord(a.Reviewer, "-"))
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
