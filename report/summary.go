package report

import (
	"fmt"
	"io"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/audit"
)

// Summary prints the answer for people: what the total was, what it is now, how sure that is, why, and what needs a look.
func Summary(w io.Writer, r *Run, folder string) {
	res, unit := r.Result, r.site().Report.VolumeUnit.Symbol
	decimals := r.decimals(res.Total.Before.M3())
	fmt.Fprintf(w, "%s (%s)\n", r.title(), r.site().ID)
	fmt.Fprintf(w, "%s to %s, %s, %s readings\n\n", r.local(res.Total.Start), r.local(res.Total.End), r.site().Report.Clock.Name, grouped(float64(res.Log.Account.Used), 0))
	fmt.Fprintf(w, "  Total before  %s %s   as the meter had it\n", r.volume(res.Total.Before, decimals), unit)
	after := "corrected and screened"
	if doubt := r.plusMinus(&res.Total, decimals); doubt != "" {
		after += ", " + doubt
	}
	fmt.Fprintf(w, "  Total after   %s %s   %s\n", r.after(&res.Total, decimals), unit, after)
	if res.Total.Both() {
		fmt.Fprintf(w, "  Difference    %s %s   %s of before%s\n", r.signed(res.Total.Difference(), decimals), unit, percent(&res.Total), ofAfter(&res.Total))
		fmt.Fprintf(w, "                %s\n", r.splitText(&res.Total, decimals))
		if text := r.apartText(&res.Total, decimals); text != "" {
			fmt.Fprintf(w, "                %s\n", text)
		}
	}
	fmt.Fprintln(w)
	months(w, r, decimals)
	averages(w, r)
	confidence(w, r)
	uncertainty(w, r, decimals)
	lanes(w, r, decimals)
	limits(w, r)
	attention(w, r, decimals)
	flags(w, r, decimals)
	fmt.Fprintln(w)
	writeAccount(w, res.Log)
	for _, f := range res.Log.Files {
		if text := f.Disorder.String(); text != "" {
			fmt.Fprintf(w, "  %s: %s\n", f.Name, text)
		}
	}
	if folder != "" {
		fmt.Fprintf(w, "\nResults in %s: report.html, totals.csv, events.csv, readings.parquet, plots, record.json\n", folder)
	}
	fmt.Fprintln(w, "A correction is for a competent person to review before it is reported.")
}

func months(w io.Writer, r *Run, decimals int) {
	unit := r.site().Report.VolumeUnit.Symbol
	t := table{left: map[int]bool{}}
	header := []string{"month", "before " + unit, "after " + unit, "difference", "", "covered", "+/- (95 %)"}
	if len(r.site().Report.Submitted) > 0 {
		header = append(header, "reported")
	}
	if n := r.site().Report.Figures; n > 0 {
		header = append(header, fmt.Sprintf("to %d figures", n))
	}
	t.add(header...)
	for i := range r.Result.Months {
		m := &r.Result.Months[i]
		difference := ""
		if m.Both() {
			difference = r.signed(m.Difference(), decimals)
		}
		row := []string{m.Label, r.volume(m.Before, decimals), r.after(m, decimals), difference, percent(m), fmt.Sprintf("%.2f %%", 100*m.Coverage()), r.doubt(m)}
		if reported, ok := r.site().Report.Submitted[m.Label]; ok {
			row = append(row, reported.Volume.Text)
		} else if len(r.site().Report.Submitted) > 0 {
			row = append(row, "")
		}
		if r.site().Report.Figures > 0 {
			row = append(row, r.toReport(m))
		}
		t.add(row...)
	}
	t.write(w)
	if worst := r.Result.Worst(); worst != nil && worst.Difference() != 0 {
		fmt.Fprintf(w, "  Most changed day: %s, %s to %s %s (%s)\n", worst.Label, r.volume(worst.Before, 1), r.volume(worst.After, 1), unit, percent(worst))
	}
}

// confidence prints how sure the answer is.
func confidence(w io.Writer, r *Run) {
	p := &r.Result.Total
	fmt.Fprintln(w, "\nHow sure")
	fmt.Fprintf(w, "  The corrected total covers %.2f %% of the time: %s.\n", 100*p.Coverage(), classes(p))
	if sentence := r.boundsSentence(r.decimals(p.Before.M3())); sentence != "" {
		fmt.Fprintf(w, "  %s\n", sentence)
	}
	if sentence := r.drownedSentence(); sentence != "" {
		fmt.Fprintf(w, "  %s\n", sentence)
	}
	if sentence := r.filledSentence(); sentence != "" {
		fmt.Fprintf(w, "  %s\n", sentence)
	}
	for _, f := range r.Findings {
		fmt.Fprintf(w, "  %s\n", f.Sentence)
	}
}

// drownedSentence says what was made of drowned readings; "" when there were none.
func (r *Run) drownedSentence() string {
	d := r.Result.Drowned
	if d.Readings == 0 {
		return ""
	}
	text := fmt.Sprintf("%d readings were taken under drowned flow; for %d of them the flow is by a drowned equation (%s)", d.Readings, d.Computed, d.Source)
	if d.Computed > 0 {
		text += fmt.Sprintf(", which adds up to %.0f %% of uncertainty to each", 100*d.Spread)
	}
	if left := d.Readings - d.Computed; left > 0 {
		text += fmt.Sprintf("; %d count with the most that can have flowed, so the total is at most as much of them", left)
	}
	return text + "."
}

// filledSentence says what was put in the place of missing time; "" when nothing was.
func (r *Run) filledSentence() string {
	f, v := r.site().Filling, r.Result.Total.Classes[recompute.Filled]
	if v.Missing() {
		return ""
	}
	rule := map[site.FillRule]string{site.FillLinear: "along straight lines", site.FillHold: "with the flow before", site.FillSameTime: fmt.Sprintf("with the mean at the same time of day over %d days on either side", f.Days),
		site.FillDonorRegression: "by a straight line from the donor's flow", site.FillDonorPercentiles: "by the rank of the donor's flow"}[f.Rule]
	if m := r.Match; m != nil {
		rule += fmt.Sprintf(" (%d hours in common, correlation %.2f)", m.Hours, m.Correlation)
	}
	return fmt.Sprintf("%s %s is no measurement: it fills %s of missing time %s, by the site file's own rule, where no more than %s is missing at once. Without it the total is %s %s.",
		r.volume(v, 1), r.site().Report.VolumeUnit.Symbol, quantity.FormatDuration(time.Duration(v.Covered)), rule, quantity.FormatDuration(f.Limit),
		grouped(r.site().Report.VolumeUnit.FromSI(r.Result.Total.After.M3()-v.M3()), 1), r.site().Report.VolumeUnit.Symbol)
}

// classes writes the shares of the classes of time.
func classes(p *recompute.Period) string {
	var parts []string
	for c := range recompute.Classes {
		if covered := p.Classes[c].Covered; covered > 0 {
			parts = append(parts, fmt.Sprintf("%.2f %% %s", 100*float64(covered)/float64(p.End-p.Start), c))
		}
	}
	if missing := p.End - p.Start - p.After.Covered; missing > 0 {
		parts = append(parts, fmt.Sprintf("%s missing", quantity.FormatDuration(time.Duration(missing))))
	}
	return strings.Join(parts, ", ")
}

// attention prints what a person has to look at.
func attention(w io.Writer, r *Run, decimals int) {
	if limit := r.site().Report.DailyVolume; limit != nil {
		by := byOutcome(r.Over)
		fmt.Fprintf(w, "\nDaily volume limit %s: newly exceeded on %s, cleared on %s, exceeded before and after on %s",
			limit.Text, days(by[audit.Newly]), days(by[audit.Cleared]), days(by[audit.Still]))
		if text := r.unsure(by); text != "" {
			fmt.Fprintf(w, ", %s", text)
		}
		fmt.Fprintln(w)
	}
	if len(r.Warnings) > 0 {
		fmt.Fprintln(w, "\nTo look at")
		for _, p := range r.Warnings {
			fmt.Fprintf(w, "  %s\n", p.Error())
		}
	}
}

// byOutcome sorts days by what the correction did to them beside the limit.
func byOutcome(over []audit.DayOverLimit) map[audit.Outcome][]string {
	by := map[audit.Outcome][]string{}
	for _, o := range over {
		by[o.Outcome] = append(by[o.Outcome], o.Day)
	}
	return by
}

// unsure words the days that are not below the limit beyond doubt, and those of the log without readings; "" when there are none.
func (r *Run) unsure(by map[audit.Outcome][]string) string {
	var parts []string
	for _, o := range []audit.Outcome{audit.ByRule, audit.Unsure} {
		if len(by[o]) > 0 {
			parts = append(parts, string(o)+" on "+days(by[o]))
		}
	}
	var none []string
	for i := range r.Result.Days {
		if d := &r.Result.Days[i]; d.After.Missing() {
			none = append(none, d.Label)
		}
	}
	if len(none) > 0 {
		parts = append(parts, "without readings on "+days(none))
	}
	return strings.Join(parts, ", ")
}

// days lists days, or counts them when there are many.
func days(list []string) string {
	switch n := len(list); {
	case n == 0:
		return "no day"
	case n <= 3:
		return strings.Join(list, ", ")
	default:
		return fmt.Sprintf("%d days (%s to %s)", n, list[0], list[n-1])
	}
}

// flags prints the table of screening.
func flags(w io.Writer, r *Run, decimals int) {
	t := table{left: map[int]bool{1: true, 5: true}}
	t.add("flag", "action", "readings", "spans", "effect "+r.site().Report.VolumeUnit.Symbol, "limit")
	for _, f := range r.Result.Flags {
		if f.Rows > 0 {
			t.add(f.Title, string(f.Action), fmt.Sprint(f.Rows), fmt.Sprint(f.Spans), r.signed(f.Effect, 1), f.Limit)
		}
	}
	if len(t.rows) == 1 {
		fmt.Fprintln(w, "\nScreening flagged nothing.")
		return
	}
	fmt.Fprintln(w, "\nScreening")
	t.write(w)
}
