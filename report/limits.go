package report

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"retotal/ingest/quantity"
	"retotal/recompute"
	"retotal/recompute/audit"
)

// limitRow is a figure beside its limit.
type limitRow struct{ Limit, Period, Before, After, Doubt, Truth, Verdict string }

// limitRows lists what is over a limit before or after, or cannot be told: what is sure first.
func (r *Run) limitRows() (rows []limitRow) {
	list := slices.Clone(r.Limits)
	slices.SortStableFunc(list, func(a, b audit.LimitFinding) int {
		return cmp.Compare(slices.Index(certainFirst, a.Outcome()), slices.Index(certainFirst, b.Outcome()))
	})
	for i := range list {
		f := &list[i]
		value := func(v float64) string { return r.limitValue(f, v) }
		row := limitRow{f.Limit, f.Period, value(f.Before), value(f.After), "", value(f.Low) + " or more", r.verdict(f)}
		if !math.IsInf(f.High, 1) {
			low, _, _ := strings.Cut(value(f.Low), " ") // without its unit
			row.Truth = low + " to " + value(f.High)
		}
		if f.Doubt > 0 {
			row.Doubt = value(f.Doubt)
		}
		rows = append(rows, row)
	}
	return rows
}

// certainFirst is how limits are listed.
var certainFirst = []audit.Outcome{audit.Newly, audit.Still, audit.Cleared, audit.ByRule, audit.Unsure, audit.Under}

// limitValue writes a figure that is held to a limit.
func (r *Run) limitValue(f *audit.LimitFinding, v float64) string {
	report := &r.site().Report
	switch {
	case f.Share:
		return fmt.Sprintf("%.1f %%", 100*v)
	case f.Flow:
		return significant(report.FlowUnit.FromSI(v), 4, false) + " " + report.FlowUnit.Symbol
	}
	return grouped(report.VolumeUnit.FromSI(v), 1) + " " + report.VolumeUnit.Symbol
}

// verdict words where a figure stands: by the permit's rule first, where that says something else than the truth.
func (r *Run) verdict(f *audit.LimitFinding) string {
	text := string(f.Sure)
	if f.Rule != "" && f.Rule != f.Sure {
		text = fmt.Sprintf("by the permit's rule %s, in truth %s", f.Rule, f.Sure)
	}
	if r.Result.Sources == nil { // nothing was said of the uncertainty
		text = strings.ReplaceAll(text, " beyond doubt", "")
	}
	switch f.Outcome() {
	case audit.Newly:
		text += ", newly"
	case audit.Cleared:
		text += ", cleared"
	}
	return text
}

// limits prints figures beside their limits.
func limits(w io.Writer, r *Run) {
	rows := r.limitRows()
	if len(rows) == 0 {
		return
	}
	const shown = 12
	fmt.Fprintln(w, "\nLimits, where a figure is above one or it cannot be told")
	t := table{left: map[int]bool{0: true, 1: true, 5: true, 6: true}}
	t.add("limit", "period", "before", "after", "+/- (95 %)", "can have been", "")
	for _, row := range rows[:min(len(rows), shown)] {
		t.add(row.Limit, row.Period, row.Before, row.After, row.Doubt, row.Truth, row.Verdict)
	}
	t.write(w)
	if n := len(rows) - shown; n > 0 {
		fmt.Fprintf(w, "  and %d more in report.html\n", n)
	}
}

// averages prints the average of every month by each rule.
func averages(w io.Writer, r *Run) {
	list := audit.MonthlyAverages(r.Result)
	unit, chosen := r.site().Report.VolumeUnit, r.site().Report.Average
	fmt.Fprintf(w, "\nAverage daily volume after correction, %s a day; the site's rule is over days %s, and %s\n", unit.Symbol, chosen, r.completeness())
	t := table{left: map[int]bool{0: true}}
	t.add("month", "over days measured", "over days with flow", "over all days", "days", "measured", "with flow")
	for i := range list {
		m := &list[i]
		by := r.perDays(&m.After)
		t.add(m.Period.Label, by[0], by[1], by[2], fmt.Sprint(m.After.Days), fmt.Sprint(m.After.Measured), fmt.Sprint(m.After.Discharging))
	}
	t.write(w)
	for _, line := range r.statisticLines() {
		fmt.Fprintf(w, "  %s\n", line)
	}
}

// completeness words the rule of completeness.
func (r *Run) completeness() string {
	c := r.site().Report.Complete
	if c.Rule != "own" {
		return c.Source
	}
	text := "every day with a reading counts"
	if c.LeastDay > 0 {
		text = fmt.Sprintf("a day counts when %.3g %% of it is covered", 100*c.LeastDay)
	}
	if c.MostMissing >= 0 {
		text += fmt.Sprintf(", a month when no more than %d days are missing", c.MostMissing)
	}
	return text
}

// perDay writes an average of a month over so many days: a dash when no day counts, and no number when the rule of completeness withholds it.
func (r *Run) perDay(m3 float64, days int, a *recompute.Averages) string {
	switch {
	case a.Measured == 0 || days == 0:
		return "-"
	case a.Withheld:
		return "withheld"
	}
	return grouped(r.site().Report.VolumeUnit.FromSI(m3), 1)
}

// perDays writes the averages of a month by the three rules.
func (r *Run) perDays(a *recompute.Averages) [3]string {
	return [3]string{r.perDay(a.OverMeasured, a.Measured, a), r.perDay(a.OverDischarging, a.Discharging, a), r.perDay(a.OverAll, a.Days, a)}
}

// statisticLines describe the corrected daily volumes and the highest flows.
func (r *Run) statisticLines() (list []string) {
	s, volume, flow := &r.Result.Statistics, r.site().Report.VolumeUnit, r.site().Report.FlowUnit
	v := func(m3 float64) string { return grouped(volume.FromSI(m3), 1) }
	q := func(m3s float64) string { return significant(flow.FromSI(m3s), 4, false) }
	if s.Days > 0 {
		list = append(list, fmt.Sprintf("Whole days: least %s %s (%s); greatest of all %s (%s); not exceeded on 5, 20, 50, 80, 95 %% of days: %s, %s, %s, %s, %s. The second of them, exceeded on 80 %% of days, is a usual dry-weather flow.", v(s.Least), volume.Symbol, s.LeastDay, v(s.Greatest), s.GreatestDay,
			v(s.Percentiles[5]), v(s.Percentiles[20]), v(s.Percentiles[50]), v(s.Percentiles[80]), v(s.Percentiles[95])))
	}
	if s.PeakAt != 0 {
		text := fmt.Sprintf("Highest flow %s %s at %s", q(s.Peak), flow.Symbol, r.stamp(s.PeakAt))
		switch {
		case math.IsInf(s.PeakMost, 1):
			text += ", or higher: nothing bounds what some readings hide"
		case s.PeakMost > s.Peak*1.0005:
			text += fmt.Sprintf(", or higher: readings hide up to %s %s", q(s.PeakMost), flow.Symbol)
		}
		if s.PeakMeanAt != 0 {
			text += fmt.Sprintf("; highest mean over %s: %s %s, ending %s", quantity.FormatDuration(r.site().Report.PeakOver), q(s.PeakMean), flow.Symbol, r.stamp(s.PeakMeanAt))
		}
		list = append(list, text+".")
	}
	return list
}

// toReport writes a total as it goes into a report: to the site's significant figures; "" when it asks for none.
func (r *Run) toReport(p *recompute.Period) string {
	report := &r.site().Report
	if report.Figures == 0 || p.After.Missing() {
		return ""
	}
	v := report.VolumeUnit.FromSI(p.After.M3())
	return significant(math.Round(v*1e9)/1e9, report.Figures, report.HalfUp)
}
