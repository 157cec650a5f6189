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
	"retotal/recompute/total"
)

// Summary prints the answer for people: what the total was, what it is now, how sure that is, why, and what needs a
// look.
func Summary(w io.Writer, r *Run, folder string) {
	res, unit := r.Result, r.Site().Report.VolumeUnit.Symbol
	decimals := r.decimals(res.Total.Before.M3())
	fmt.Fprintf(w, "%s (%s)\n", r.Title(), r.Site().ID)
	fmt.Fprintf(w, "%s to %s, %s, %s readings\n\n", r.local(res.Total.From), r.local(res.Total.Until),
		r.Site().Report.Clock.Name, Grouped(float64(r.Log.Account.Used), 0))
	fmt.Fprintf(w, "  Total before  %s   %s\n", r.withUnit(r.volume(res.Total.Before, decimals)), r.beforeIs())
	after := "corrected and screened"
	if u95 := r.plusMinus(&res.Total, decimals); u95 != "" {
		after += ", " + u95
	}
	fmt.Fprintf(w, "  Total after   %s   %s\n", r.withUnit(r.after(&res.Total, decimals)), after)
	if res.Total.Both() {
		fmt.Fprintf(w, "  Difference    %s %s   %s of before%s\n",
			r.signed(res.Total.Difference(), decimals), unit, percent(&res.Total), ofAfter(&res.Total))
		fmt.Fprintf(w, "                %s\n", r.splitText(&res.Total, decimals))
		if text := r.apartText(&res.Total, decimals); text != "" {
			fmt.Fprintf(w, "                %s\n", text)
		}
	}
	if needs := r.NeedsPerson(); len(needs) > 0 {
		fmt.Fprintln(w, "\nA person has to look")
		sentences(w, needs...)
	}
	fmt.Fprintln(w)
	months(w, r)
	averages(w, r)
	confidence(w, r)
	budgetText(w, r, decimals)
	beside(w, r, decimals)
	subject(w, "Limits, where a figure is above one or it cannot be told", r.limits())
	attention(w, r)
	screening(w, r)
	fmt.Fprintln(w)
	writeAccount(w, r.Log)
	for _, f := range r.Log.Files {
		if text := f.Disorder.String(); text != "" {
			fmt.Fprintf(w, "  %s: %s\n", f.Name, text)
		}
	}
	if folder != "" {
		fmt.Fprintf(w, "\nResults in %s: report.html, report.pdf, report.xlsx, totals.csv, events.csv, "+
			"readings.parquet, plots, record.json\n", folder)
	}
	fmt.Fprintln(w, review)
}

// subject prints a title and the table of a subject, when it has rows.
func subject(w io.Writer, title string, t *Table) {
	if len(t.Rows) > 0 {
		fmt.Fprintf(w, "\n%s\n", title)
		t.Text(w)
	}
}

// sentences prints those that say something.
func sentences(w io.Writer, list ...string) {
	for _, s := range list {
		if s != "" {
			fmt.Fprintf(w, "  %s\n", s)
		}
	}
}

// months prints the totals of the months and the day that changed most.
func months(w io.Writer, r *Run) {
	r.months().Text(w)
	if text := r.mostChanged(); text != "" {
		sentences(w, "Most changed day: "+text)
	}
}

// mostChanged names the day that the correction changed most; "" when none changed.
func (r *Run) mostChanged() string {
	worst := r.Result.Worst()
	if worst == nil || worst.Difference() == 0 {
		return ""
	}
	return fmt.Sprintf("%s, %s to %s %s (%s)", worst.Label, r.volume(worst.Before, 1), r.volume(worst.After, 1),
		r.Site().Report.VolumeUnit.Symbol, percent(worst))
}

// averages prints the average daily volume of every month by each rule.
func averages(w io.Writer, r *Run) {
	report := &r.Site().Report
	subject(w, fmt.Sprintf("Average daily volume after correction, %s a day; the site's rule is over days %s, and %s",
		report.VolumeUnit.Symbol, report.Average, r.completeness()), r.averages())
	sentences(w, r.statisticLines()...)
}

// confidence prints how sure the answer is.
func confidence(w io.Writer, r *Run) {
	p := &r.Result.Total
	fmt.Fprintln(w, "\nHow sure")
	if text := noTime(p); text != "" {
		sentences(w, text)
	} else {
		fmt.Fprintf(w, "  The corrected total covers %.2f %% of the time: %s.\n", 100*p.Coverage(), classes(p))
	}
	sentences(w, r.boundsSentence(r.decimals(p.Before.M3())), r.withinSentence(), r.drownedSentence(),
		r.filledSentence())
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
	text := fmt.Sprintf("%d readings were taken under drowned flow; for %d of them the flow is by "+
		"a drowned equation (%s)", d.Readings, d.Computed, d.Source)
	if d.Computed > 0 {
		text += fmt.Sprintf(", which adds up to %.0f %% of uncertainty to each", 100*d.Spread)
	}
	if left := d.Readings - d.Computed; left > 0 {
		text += fmt.Sprintf("; %d count with the most that can have flowed, so the total is at most as much of them",
			left)
	}
	return text + "."
}

// filledSentence says what was put in the place of missing time; "" when nothing was.
func (r *Run) filledSentence() string {
	f, v := r.Site().Filling, r.Result.Total.Classes[total.Filled]
	if v.Missing() {
		return ""
	}
	rule := map[site.FillRule]string{
		site.FillLinear: "along straight lines",
		site.FillHold:   "with the flow before",
		site.FillSameTime: fmt.Sprintf("with the mean at the same time of day over %d days on either side",
			f.Days),
		site.FillDonorRegression:  "by a straight line from the donor's flow",
		site.FillDonorPercentiles: "by the rank of the donor's flow",
	}[f.Rule]
	if m := r.Result.Fit; m != nil {
		rule += fmt.Sprintf(" (%d hours in common, correlation %.2f)", m.Hours, m.Correlation)
	}
	return fmt.Sprintf("%s %s is no measurement: it fills %s of missing time %s, by the site file's own rule, where "+
		"no more than %s is missing at once. Without it the total is %s %s.",
		r.volume(v, 1), r.Site().Report.VolumeUnit.Symbol, quantity.FormatDuration(time.Duration(v.Covered)), rule,
		quantity.FormatDuration(f.Limit),
		Grouped(r.Site().Report.VolumeUnit.FromSI(r.Result.Total.After.M3()-v.M3()), 1),
		r.Site().Report.VolumeUnit.Symbol)
}

// noTime says that there is no time to have a total of; "" where there is.
func noTime(p *recompute.Period) string {
	if p.Until > p.From {
		return ""
	}
	return "All readings are of one instant: there is no time between readings to have a total of."
}

// classes writes the shares of the classes of time.
func classes(p *recompute.Period) string {
	var parts []string
	for c := range total.Classes {
		if covered := p.Classes[c].Covered; covered > 0 {
			parts = append(parts, fmt.Sprintf("%.2f %% %s", 100*float64(covered)/float64(p.Until-p.From), c))
		}
	}
	if missing := p.Until - p.From - p.After.Covered; missing > 0 {
		parts = append(parts, fmt.Sprintf("%s missing", quantity.FormatDuration(time.Duration(missing))))
	}
	return strings.Join(parts, ", ")
}

// attention prints what a person has to look at.
func attention(w io.Writer, r *Run) {
	if limit := r.Site().Report.DailyVolume; limit != nil {
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

// unsure words the days that are not below the limit beyond doubt, and those of the log without readings; "" when there
// are none.
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

// budgetText prints the budget of the total.
func budgetText(w io.Writer, r *Run, decimals int) {
	p := &r.Result.Total
	t := r.budget()
	if t.shown() == 0 {
		return
	}
	subject(w, fmt.Sprintf("Uncertainty of the corrected total, %s (95 %%)", r.plusMinus(p, decimals)), t)
	sentences(w, r.liftText(p, decimals))
	if p.Both() {
		sentences(w, r.differenceText(p, decimals))
	}
	sentences(w, r.halveSentence(p), r.drawsSentence(decimals))
}

// beside prints what stands beside the corrected lane: what-if lanes, rulings, site visits and what they propose.
func beside(w io.Writer, r *Run, decimals int) {
	subject(w, "What if", r.whatIf())
	sentences(w, r.onsetRange(decimals))
	subject(w, "Rulings, times in the logger's zone", r.rulings())
	subject(w, "Site visits, times in the logger's zone, log less visit in mm of head", r.visits())
	if list := r.changeSentences(); len(list) > 0 {
		fmt.Fprintln(w, "\nSteps and patterns in the log, candidates for what changed and when"+r.changesZone())
		sentences(w, list...)
	}
	if r.Proposal != "" {
		fmt.Fprintf(w, "\nA correction that would bring the log to the visits, for a competent person to judge:\n\n%s",
			indented(r.Proposal))
	}
}

func indented(text string) (out string) {
	for line := range strings.Lines(text) {
		out += "  " + line
	}
	return out
}

// screening prints the flags.
func screening(w io.Writer, r *Run) {
	t := r.flags()
	if t.shown() == 0 {
		fmt.Fprintln(w, "\nScreening flagged nothing.")
		habits(w, r)
		return
	}
	subject(w, "Screening", t)
	sentences(w, r.setAside()...)
	habits(w, r)
	if t := r.worth(); len(t.Rows) > 0 {
		subject(w, r.worthIs(), t)
		sentences(w, strings.Split(worthDo, "\n")...)
	}
}

// habits prints what the record says of itself.
func habits(w io.Writer, r *Run) {
	for _, text := range r.Result.Habits {
		fmt.Fprintf(w, "  %s.\n", text)
	}
}
