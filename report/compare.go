package report

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/recompute/audit"
)

// Comparison is what differs between two records of a site, and what it did to the totals. Volumes are m³, as records
// hold them.
type Comparison struct {
	Then    string        `json:"then_site"`
	Now     string        `json:"now_site"`
	Totals  []totalChange `json:"totals"`
	Changes []change      `json:"changes"`
	// SameFile is set where the two site files are the same to the byte.
	SameFile bool `json:"same_site_file"`
}

// totalChange is a month, or the whole, in both records; nil is missing.
type totalChange struct {
	Period     string   `json:"period"`
	BeforeThen *float64 `json:"before_m3_then"`
	BeforeNow  *float64 `json:"before_m3_now"`
	AfterThen  *float64 `json:"after_m3_then"`
	AfterNow   *float64 `json:"after_m3_now"`
	OverThen   string   `json:"days_over_limit_then"` // "2", or "2 to 3" where it cannot be told
	OverNow    string   `json:"days_over_limit_now"`
}

// change is one thing that is not as it was; "" is nothing.
type change struct {
	What string `json:"what"`
	Then string `json:"then"`
	Now  string `json:"now"`
}

// Compare finds what differs between two records.
func Compare(old, now *Record) *Comparison {
	c := &Comparison{Then: old.Site.ID, Now: now.Site.ID, Totals: totals(old, now),
		SameFile: old.Site.SHA256 == now.Site.SHA256, Changes: []change{}}
	for _, part := range []func(*Record) []fact{
		versionFacts, inputFacts, logFacts, recordedFacts, correctionFacts, rulingFacts, screeningFacts, laneFacts,
		statusFacts,
	} {
		c.Changes = append(c.Changes, differences(part(old), part(now))...)
	}
	return c
}

// Text prints a comparison for people.
func (c *Comparison) Text(w io.Writer) {
	fmt.Fprintf(w, "%s, then and now\n\n", c.Now)
	if c.Then != c.Now {
		fmt.Fprintf(w, "  these are two sites: %s and %s\n\n", c.Then, c.Now)
	}
	t := &Table{Columns: []Column{{Title: " "}}}
	for _, title := range []string{
		"before m3, then", "now", "after m3, then", "now", "change", "days over limit, then", "now",
	} {
		t.Columns = append(t.Columns, Column{Title: title, Kind: Written})
	}
	for _, x := range c.Totals {
		moved := ""
		if x.AfterThen != nil && x.AfterNow != nil {
			moved = fmt.Sprintf("%+.1f", *x.AfterNow-*x.AfterThen)
		}
		t.Rows = append(t.Rows, []any{
			x.Period, volumeText(x.BeforeThen), volumeText(x.BeforeNow), volumeText(x.AfterThen),
			volumeText(x.AfterNow), moved, x.OverThen, x.OverNow,
		})
	}
	t.Text(w)
	fmt.Fprintln(w, "\nWhat changed")
	for _, x := range c.Changes {
		fmt.Fprintf(w, "  %s\n    then  %s\n    now   %s\n", x.What, orWord(x.Then, "-"), orWord(x.Now, "-"))
	}
	switch {
	case len(c.Changes) == 0 && c.SameFile:
		fmt.Fprintln(w, "  nothing")
	case len(c.Changes) == 0:
		fmt.Fprintln(w, "  the site file, but nothing that it decides (comments, names, evidence or report units)")
	}
}

func volumeText(v *float64) string {
	if v == nil {
		return "missing"
	}
	return Grouped(*v, 1)
}

// totals are the months and the whole.
func totals(old, now *Record) (list []totalChange) {
	m3 := func(p past, key string) *float64 {
		if v, ok := p[key].(float64); ok {
			return &v
		}
		return nil
	}
	add := func(label string, a, b past, month string) {
		list = append(list, totalChange{label, m3(a, "before_m3"), m3(b, "before_m3"), m3(a, "after_m3"),
			m3(b, "after_m3"), old.overIn(month), now.overIn(month)})
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
	return list
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

// fact is one thing that a record says, under a name by which it is found again in another.
type fact struct{ what, is string }

// differences are the facts that are not the same in two records, in the order of the later one; what only the earlier
// one has stands at the end.
func differences(old, now []fact) (out []change) {
	find := func(list []fact, what string) string {
		if i := slices.IndexFunc(list, func(f fact) bool { return f.what == what }); i >= 0 {
			return list[i].is
		}
		return ""
	}
	for _, f := range now {
		if then := find(old, f.what); then != f.is {
			out = append(out, change{f.what, then, f.is})
		}
	}
	for _, f := range old {
		if !slices.ContainsFunc(now, func(x fact) bool { return x.what == f.what }) && f.is != "" {
			out = append(out, change{f.what, f.is, ""})
		}
	}
	return out
}

func versionFacts(r *Record) []fact { return []fact{{"version of the program", r.Version}} }

func inputFacts(r *Record) (out []fact) {
	for _, in := range r.Inputs {
		out = append(out, fact{in.File, fmt.Sprintf("%d bytes, SHA-256 %.12s", in.Bytes, in.SHA256)})
	}
	return out
}

// logFacts are the log's part of a record in words.
func logFacts(r *Record) []fact {
	l := &r.Log
	span := func(seconds float64) string { return quantity.FormatDuration(time.Duration(seconds * 1e9)) }
	length := func(m float64) string { return quantity.Digits(m*1000, 3) + " mm" }
	return []fact{
		{"flow is computed from", l.Primary},
		{"time zone of the log", l.TimeZone},
		{"first reading (UTC)", l.First},
		{"last reading (UTC)", l.Last},
		{"interval of the log", span(l.IntervalS)},
		{"longest time between readings that is no gap", span(l.GapLimitS)},
		{"step of the level", length(l.Resolution)},
		{"window of spikes", span(l.SpikeS)},
		{"least deviation of a spike", length(l.SpikeFloor)},
		{"time for which a stuck value repeats", span(l.StuckS)},
		{"longest time that is bridged", span(l.BridgeS)},
		{"time zone of the report", l.ReportZone},
		{"begin of the reporting day", l.DayStarts},
		{"a day carries the date of its", l.DayLabel},
	}
}

func recordedFacts(r *Record) (out []fact) {
	for i, s := range r.Recorded {
		out = append(out, fact{"recorded settings, " + problem.Ordinal(i),
			fmt.Sprintf("%s to %s: %s; %s", orWord(s.From, "beginning"), orWord(s.Until, "end"),
				strings.Join(s.Settings, ", "), s.Device.Equation)})
	}
	return out
}

func correctionFacts(r *Record) (out []fact) {
	for i, c := range r.Corrections.read() {
		out = append(out, fact{problem.Entry("correction", i, 0), fmt.Sprintf("%s to %s: %s (%s)",
			orWord(c.text("from"), "first reading"), orWord(c.text("until"), "last reading"),
			c.text("what"), c.text("reason"))})
	}
	return out
}

func rulingFacts(r *Record) (out []fact) {
	for i, x := range r.Rulings.read() {
		out = append(out, fact{problem.Entry("ruling", i, 0), fmt.Sprintf("%s to %s: %s (%s, %s); effect %s m3",
			x.text("from"), x.text("until"), x.text("action"), x.text("reason"), x.text("by"), x.effect())})
	}
	return out
}

func screeningFacts(r *Record) (out []fact) {
	for _, f := range r.Screening.read() {
		out = append(out, fact{"screening, " + f.text("check"), fmt.Sprintf("%s, %s; %s readings, effect %s m3",
			f.text("action"), f.text("limit"), f.text("rows"), f.effect())})
	}
	return out
}

func laneFacts(r *Record) (out []fact) {
	for _, name := range r.Lanes {
		out = append(out, fact{"what if " + name, "in it"})
	}
	return out
}

func statusFacts(r *Record) []fact { return []fact{{"status", r.Approval.words()}} }

func orWord(text, word string) string {
	if text == "" {
		return word
	}
	return text
}
