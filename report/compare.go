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

// Compare prints what differs between two records of a site, and what it did to the totals. Volumes are m³, as records
// hold them.
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
		differences("what if", old.Lanes, now.Lanes),
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
	t := &Table{Columns: []Column{{Title: " "}}}
	for _, title := range []string{"before m3", "now", "after m3", "now", "change", "over limit", "now"} {
		t.Columns = append(t.Columns, Column{Title: title, Kind: Written})
	}
	add := func(label string, a, b past, month string) {
		change, was, is := "", a["after_m3"], b["after_m3"]
		if was != nil && is != nil {
			change = fmt.Sprintf("%+.1f", is.(float64)-was.(float64))
		}
		t.Rows = append(t.Rows, []any{
			label, a.volume("before_m3"), b.volume("before_m3"), a.volume("after_m3"), b.volume("after_m3"),
			change, old.overIn(month), now.overIn(month),
		})
	}
	months := map[string][2]past{}
	for i, r := range []*Record{old, now} {
		for _, p := range r.Months.read() {
			both := months[p.text("label")]
			both[i] = p
			months[p.text("label")] = both
		}
	}
	for _, label := range slices.Sorted(maps.Keys(months)) {
		add(label, months[label][0], months[label][1], label)
	}
	add("total", old.Total.past[0], now.Total.past[0], "")
	t.Text(w)
}

// overIn counts the days of a month that are over the daily limit after the correction, beyond doubt, and those of
// which it cannot be told.
func (r *Record) overIn(month string) string {
	n, open := 0, 0
	for _, d := range r.OverLimit.read() {
		if !strings.HasPrefix(d.text("day"), month) {
			continue
		}
		switch outcome := audit.Outcome(d.text("outcome")); {
		case d["over_after"] == true:
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
		out = append(out, fmt.Sprintf("%s to %s: %s; %s",
			orWord(s.From, "beginning"), orWord(s.Until, "end"), strings.Join(s.Settings, ", "), s.Device.Equation))
	}
	return out
}

func correctionsInWords(r *Record) (out []string) {
	for _, c := range r.Corrections.read() {
		out = append(out, fmt.Sprintf("%s to %s: %s (%s)",
			orWord(c.text("from"), "first reading"), orWord(c.text("until"), "last reading"),
			c.text("what"), c.text("reason")))
	}
	return out
}

func rulingsInWords(r *Record) (out []string) {
	for _, x := range r.Rulings.read() {
		out = append(out, fmt.Sprintf("%s to %s: %s (%s, %s); effect %s m3",
			x.text("from"), x.text("until"), x.text("action"),
			x.text("reason"), x.text("by"), x.effect()))
	}
	return out
}

func screeningInWords(r *Record) (out []string) {
	for _, f := range r.Screening.read() {
		out = append(out, fmt.Sprintf("%s: %s, %s; %s readings, effect %s m3",
			f.text("check"), f.text("action"), f.text("limit"),
			f.text("rows"), f.effect()))
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
