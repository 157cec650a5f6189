package report

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"retotal/ingest/quantity"
	"retotal/recompute"
	"retotal/recompute/audit"
)

// laneRow is a what-if lane beside the corrected one.
type laneRow struct{ Name, Total, Difference, Percent, Over string }

// laneRows compares the what-if lanes with the corrected one; the first row is the corrected lane itself.
func (r *Run) laneRows(decimals int) []laneRow {
	res := r.Result
	if len(res.WhatIfs) == 0 {
		return nil
	}
	over := func(volume func(*recompute.Period) recompute.Volume) string {
		limit := r.site().Report.DailyVolume
		if limit == nil {
			return ""
		}
		return fmt.Sprint(audit.DaysOver(res, limit.SI, volume))
	}
	rows := []laneRow{{Name: "corrected, as chosen", Total: r.volume(res.Total.After, decimals), Over: over(func(p *recompute.Period) recompute.Volume { return p.After })}}
	for i, lane := range res.WhatIfs {
		v := res.Total.WhatIf[i]
		row := laneRow{Name: lane.Name, Total: r.volume(v, decimals), Over: over(func(p *recompute.Period) recompute.Volume { return p.WhatIf[i] })}
		if after := res.Total.After.M3(); !v.Missing() && !res.Total.After.Missing() {
			row.Difference = r.signed(v.M3()-after, decimals)
			if after != 0 {
				row.Percent = fmt.Sprintf("%+.2f %%", 100*(v.M3()/after-1))
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// onsetRange says between which totals the defensible onsets lie; "" when no onset is open.
func (r *Run) onsetRange(decimals int) string {
	res := r.Result
	low, high, any := res.Total.After.M3(), res.Total.After.M3(), false
	for i, lane := range res.WhatIfs {
		if lane.Onset {
			v := res.Total.WhatIf[i].M3()
			low, high, any = math.Min(low, v), math.Max(high, v), true
		}
	}
	if !any {
		return ""
	}
	unit := r.site().Report.VolumeUnit
	return fmt.Sprintf("By the defensible onsets of the error the total lies between %s and %s %s.", grouped(unit.FromSI(low), decimals), grouped(unit.FromSI(high), decimals), unit.Symbol)
}

// visitRow is a site visit beside the log.
type visitRow struct{ At, What, Doubt, Before, After, Verdict, Note string }

// visitRows lists the site visits.
func (r *Run) visitRows() (rows []visitRow) {
	step := r.Result.Log.Resolution[r.site().Log.Primary]
	for i := range r.Result.Visits {
		v := &r.Result.Visits[i]
		row := visitRow{At: v.Visit.At.Text, What: fmt.Sprintf("%s %s", v.Visit.Quantity, v.Visit.Value.Text), Verdict: "no reading near it"}
		row.Note = strings.Trim(v.Visit.Phase+", "+v.Visit.By, ", ")
		if v.Found {
			row.Doubt = fmt.Sprintf("%.1f", v.Doubt()*1000)
			row.Before, row.After = fmt.Sprintf("%+.1f", v.Before()*1000), fmt.Sprintf("%+.1f", v.After()*1000)
			if row.Verdict = "differs"; v.Explained(step) {
				row.Verdict = "agrees"
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// boundsSentence says between what the corrected total lies where readings are only bounded; "" when none are.
func (r *Run) boundsSentence(decimals int) string {
	p := &r.Result.Total
	if p.Bracketed.Counted.Missing() {
		return ""
	}
	unit := r.site().Report.VolumeUnit
	upper, known := p.Upper()
	text := fmt.Sprintf("In %s of the time the flow is only known between bounds: ", quantity.FormatDuration(time.Duration(p.Bracketed.Counted.Covered)))
	if !known {
		return text + fmt.Sprintf("the total is %s %s or more; for %s of it nothing bounds the flow from above.", grouped(unit.FromSI(p.Lower()), decimals), unit.Symbol, quantity.FormatDuration(time.Duration(p.Open)))
	}
	return text + fmt.Sprintf("the total lies between %s and %s %s.", grouped(unit.FromSI(p.Lower()), decimals), grouped(unit.FromSI(upper), decimals), unit.Symbol)
}

// lanes prints what-if lanes, site visits and what the visits propose.
func lanes(w io.Writer, r *Run, decimals int) {
	if rows := r.laneRows(decimals); len(rows) > 0 {
		fmt.Fprintln(w, "\nWhat if")
		t := table{left: map[int]bool{0: true}}
		header := []string{"lane", "total " + r.site().Report.VolumeUnit.Symbol, "to corrected", ""}
		limit := r.site().Report.DailyVolume != nil
		if limit {
			header = append(header, "days over limit, by figure")
		}
		t.add(header...)
		for _, row := range rows {
			cells := []string{row.Name, row.Total, row.Difference, row.Percent}
			if limit {
				cells = append(cells, row.Over)
			}
			t.add(cells...)
		}
		t.write(w)
		if text := r.onsetRange(decimals); text != "" {
			fmt.Fprintf(w, "  %s\n", text)
		}
	}
	if rows := r.rulingRows(); len(rows) > 0 {
		fmt.Fprintln(w, "\nRulings")
		t := table{left: map[int]bool{1: true, 4: true, 5: true}}
		t.add("", "span", "readings", "effect "+r.site().Report.VolumeUnit.Symbol, "ruling", "by")
		for _, row := range rows {
			t.add(row.Number, row.Span, row.Rows, row.Effect, row.What, row.By)
		}
		t.write(w)
	}
	if rows := r.visitRows(); len(rows) > 0 {
		fmt.Fprintln(w, "\nSite visits, log less visit in mm of head")
		t := table{left: map[int]bool{0: true, 1: true, 5: true, 6: true}}
		t.add("visit", "reading", "+/- mm", "recorded", "corrected", "", "")
		for _, row := range rows {
			t.add(row.At, row.What, row.Doubt, row.Before, row.After, row.Verdict, row.Note)
		}
		t.write(w)
	}
	for i, text := range r.changeSentences() {
		if i == 0 {
			fmt.Fprintln(w, "\nSteps and patterns in the log, candidates for what changed and when")
		}
		fmt.Fprintf(w, "  %s\n", text)
	}
	if r.Proposal != "" {
		fmt.Fprintf(w, "\nA correction that would bring the log to the visits, for a competent person to judge:\n\n%s", indented(r.Proposal))
	}
}

// changeSentences words the steps found in slow statistics.
func (r *Run) changeSentences() (list []string) {
	for _, c := range r.Result.Changes {
		if c.Drift {
			list = append(list, fmt.Sprintf("the %s drifts by %+.2g %s over the log (confidence %.2f %%): a sensor that moves, or the season", c.Statistic, c.Size, c.Unit, math.Floor(c.Confidence*1e4)/100))
			continue
		}
		list = append(list, fmt.Sprintf("%s: the %s goes by %+.2g %s (confidence %.2f %%)", c.Day, c.Statistic, c.Size, c.Unit, math.Floor(c.Confidence*1e4)/100))
	}
	p := &r.Result.Pattern
	if len(p.Broken) > 0 {
		list = append(list, fmt.Sprintf("the course of the day is unlike that of the days before on %s", days(p.Broken)))
	}
	if math.Abs(p.Correlation) >= 0.5 {
		text := fmt.Sprintf("the night minimum follows the air temperature: %+.2g mm per K over %d days (rank correlation %+.2f)", p.PerKelvin, p.Days, p.Correlation)
		if p.Expected > 0 {
			text += fmt.Sprintf("; sound without compensation would give %.2g mm per K", p.Expected)
		}
		list = append(list, text)
	}
	return list
}

// rulingRow is a ruling as tables show it.
type rulingRow struct{ Number, Span, What, Rows, Effect, By string }

// rulingRows lists what persons decided.
func (r *Run) rulingRows() (rows []rulingRow) {
	for i, x := range r.Result.Rulings {
		row := rulingRow{Number: fmt.Sprint(i), Span: x.Ruling.From.Text + " to " + x.Ruling.Until.Text, What: string(x.Ruling.Action) + ": " + x.Ruling.Reason, Rows: grouped(float64(x.Rows), 0),
			Effect: r.signed(x.Effect, 1), By: x.Ruling.By}
		if len(x.Ruling.Checks) > 0 {
			row.What += " (flagged " + strings.Join(x.Ruling.Checks, ", ") + ")"
		}
		rows = append(rows, row)
	}
	return rows
}

func indented(text string) (out string) {
	for line := range strings.Lines(text) {
		out += "  " + line
	}
	return out
}
