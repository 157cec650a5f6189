package report

import (
	"fmt"
	"io"
	"math"
	"slices"

	"retotal/ingest"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
)

// WriteCertificate writes how the log of a site was understood: every decision on every file with its reason and what
// else was possible, the columns, and what became of every row.
func WriteCertificate(w io.Writer, l *ingest.Log) {
	fmt.Fprintln(w, "Log")
	var last []reading.Decision
	for _, f := range l.Files {
		fmt.Fprintf(w, "  %s\n    %d bytes, SHA-256 %s\n", f.Name, f.Size, f.SHA256)
		decisions := f.Decisions()
		if slices.Equal(decisions, last) {
			fmt.Fprintln(w, "    written like the file before")
		} else {
			writeDecisions(w, decisions)
		}
		last = decisions
		writePreamble(w, f.Preamble())
	}
	log := &l.Site.Log
	fmt.Fprintf(w, "  clock %s; stamps mark the %s of what they stand for; first reading %s, last %s\n",
		log.Clock.Name, log.StampAt, log.Clock.Format(l.From), log.Clock.Format(l.Until))
	fmt.Fprintf(w, "  a reading every %s; a step over %s is a gap%s\n",
		quantity.FormatDuration(l.Interval), quantity.FormatDuration(l.GapLimit), defaulted(log.GapLimit == 0))
	for _, line := range samplingLines(l) {
		fmt.Fprintln(w, "   ", line)
	}
	fmt.Fprintf(w, "  flow is computed from the %s", log.Primary)
	if log.Means {
		fmt.Fprintf(w,
			", a mean over the interval that ends at its stamp: %s, or since the reading before where that is nearer",
			l.IntervalText())
	}
	fmt.Fprintln(w)
	for q, c := range log.Columns {
		switch quantity := reading.Quantity(q); {
		case log.Reads(quantity):
			fmt.Fprintf(w, "  %-15s %s%s\n", quantity, c.Title(), step(l, quantity))
		case c.Given():
			fmt.Fprintf(w, "  %-15s %s, which no setting uses\n", quantity, c.Title())
		}
	}
	fmt.Fprintln(w)
	writeAccount(w, l)
}

// samplingLines say how a log was sampled that was not sampled in one way throughout, from one time to the next.
func samplingLines(l *ingest.Log) (lines []string) {
	q := l.Site.Log.Primary
	for k, s := range l.Samplings {
		when := "from the beginning"
		if k > 0 {
			when = "after " + l.Site.Log.Clock.Format(s.From)
		}
		line := fmt.Sprintf("%s: a reading every %s; a step over %s is a gap",
			when, quantity.FormatDuration(s.Interval), quantity.FormatDuration(s.GapLimit))
		if u := l.Files[0].Unit(q); s.Step > 0 {
			line += fmt.Sprintf("; steps of %s %s", quantity.Digits(s.Step/math.Abs(u.Factor), 3), u.Symbol)
		}
		lines = append(lines, line)
	}
	return lines
}

// writeDecisions writes one line a decision, and a second one where something else was possible.
func writeDecisions(w io.Writer, list []reading.Decision) {
	for _, d := range list {
		fmt.Fprintf(w, "    %-13s %s", d.Subject, d.Found)
		if d.Because != "" {
			fmt.Fprintf(w, ": %s", d.Because)
		}
		fmt.Fprintln(w)
		if d.Otherwise != "" {
			fmt.Fprintf(w, "    %-13s not %s\n", "", d.Otherwise)
		}
	}
}

// writePreamble writes the first lines above the header.
func writePreamble(w io.Writer, lines []string) {
	const shown = 6
	for i, line := range lines {
		if i == shown {
			fmt.Fprintf(w, "    %-13s and more\n", "")
			return
		}
		fmt.Fprintf(w, "    %-13s %q\n", "preamble", line)
	}
}

func defaulted(is bool) string {
	if is {
		return " (default: three intervals)"
	}
	return ""
}

// step says in which unit and steps a quantity is logged; the first file speaks for all.
func step(l *ingest.Log, q reading.Quantity) string {
	u := l.Files[0].Unit(q)
	if l.Resolution[q] == 0 {
		return " in " + u.Symbol
	}
	return fmt.Sprintf(" in %s, steps of %s %s", u.Symbol, quantity.Digits(l.Resolution[q]/math.Abs(u.Factor), 3),
		u.Symbol)
}

// exampleText words one row that was not used.
func exampleText(file string, e ingest.Example) string {
	text := fmt.Sprintf("%s:%d: %s", file, e.Line, e.Reason)
	if e.Text != "" {
		text += ": " + e.Text
	}
	return text
}

// writeAccount writes what became of every row of a log, and a line for each oddity with its count.
func writeAccount(w io.Writer, l *ingest.Log) {
	a := &l.Account
	fmt.Fprintf(w, "Rows read %d = used %d + repeated %d + conflicting %d + rejected %d + out of period %d\n",
		a.Read, a.Used, a.Repeated, a.Conflicting, a.RejectedRows(), a.OutOfPeriod)
	for _, oddity := range a.Oddities() {
		fmt.Fprintf(w, "  %s\n", oddity)
	}
	for _, e := range a.Examples {
		fmt.Fprintf(w, "  %s\n", exampleText(e.File, e))
	}
}
