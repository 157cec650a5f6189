package report

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"retotal/recompute"
)

// totalsCSV writes days, months and the whole: one row each, numbers without grouping, empty where a total is missing.
func totalsCSV(r *Run) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	unit := r.site().Report.VolumeUnit.Symbol
	header := []string{"period", "label", "start (" + r.site().Report.Clock.Name + ")", "end", "before (" + unit + ")", "after (" + unit + ")", "difference (" + unit + ")",
		"difference (%)", "covered (%)", "measured (" + unit + ")", "bridged (" + unit + ")", "bounded below (" + unit + ")", "estimated (" + unit + ")", "filled (" + unit + ")", "logged flow (" + unit + ")", "counter (" + unit + ")", "at least (" + unit + ")", "at most (" + unit + ")", "uncertainty 95 % (" + unit + ")", "after, to report (" + unit + ")",
		"mean flow before (" + r.site().Report.FlowUnit.Symbol + ")", "mean flow after (" + r.site().Report.FlowUnit.Symbol + ")"}
	if len(r.site().Report.Comments) > 0 {
		header = append(header, "comment", "code")
	}
	for _, l := range r.Result.WhatIfs {
		header = append(header, l.Name+" ("+unit+")")
	}
	w.Write(header)
	for _, group := range []struct {
		name    string
		periods []recompute.Period
	}{{"day", r.Result.Days}, {"week", r.Result.Periods(week)}, {"month", r.Result.Months}, {"quarter", r.Result.Periods(quarter)}, {"year", r.Result.Periods(year)}, {"rolling 3 months", r.Result.Rolling(3)}, {"rolling 12 months", r.Result.Rolling(12)}, {"total", []recompute.Period{r.Result.Total}}} {
		for i := range group.periods {
			w.Write(r.totalsRow(group.name, &group.periods[i]))
		}
	}
	w.Flush()
	return b.Bytes()
}

// week, quarter and year name the period of a day by its label: 2031-W14 (ISO 8601), 2031-Q2, 2031.
func week(day string) string {
	t, err := time.Parse("2006-01-02", day)
	if err != nil {
		return day
	}
	y, w := t.ISOWeek()
	return fmt.Sprintf("%d-W%02d", y, w)
}

func quarter(day string) string {
	return day[:4] + "-Q" + string('1'+(10*(day[5]-'0')+day[6]-'0'-1)/3)
}

func year(day string) string { return day[:4] }

func (r *Run) totalsRow(group string, p *recompute.Period) []string {
	difference, percentage := "", ""
	if p.Both() {
		difference = r.cell(p.Difference())
		if v, ok := p.Percent(); ok {
			percentage = fixed(v, 3)
		}
	}
	row := []string{group, p.Label, r.stamp(p.Start), r.stamp(p.End), r.volumeCell(p.Before), r.volumeCell(p.After), difference, percentage, fixed(100*p.Coverage(), 3)}
	for _, v := range p.Classes {
		row = append(row, r.volumeCell(v))
	}
	row = append(row, r.volumeCell(p.Logged), r.volumeCell(p.Counted))
	lower, upper := "", ""
	if !p.After.Missing() {
		lower = r.cell(p.Lower())
		if most, known := p.Upper(); known {
			upper = r.cell(most)
		}
	}
	doubt := ""
	if p.Budget != nil {
		doubt = r.cell(p.Budget.Expanded())
	}
	row = append(row, lower, upper, doubt, r.toReport(p), r.meanFlow(p.Before), r.meanFlow(p.After))
	if len(r.site().Report.Comments) > 0 {
		text, code := r.comment(p)
		row = append(row, text, code)
	}
	for _, v := range p.WhatIf {
		row = append(row, r.volumeCell(v))
	}
	return row
}

// comment is what the site file says of a period, with its codes: every comment whose span meets it.
func (r *Run) comment(p *recompute.Period) (text, code string) {
	var texts, codes []string
	for _, c := range r.site().Report.Comments {
		if c.From.UTC < p.End && c.Until.UTC > p.Start {
			texts = append(texts, c.Text)
			if c.Code != "" && !slices.Contains(codes, c.Code) {
				codes = append(codes, c.Code)
			}
		}
	}
	return strings.Join(texts, "; "), strings.Join(codes, " ")
}

// meanFlow writes the mean flow over the seconds that a volume covers: a day of 23 hours has 82,800.
func (r *Run) meanFlow(v recompute.Volume) string {
	if v.Missing() {
		return ""
	}
	return significant(r.site().Report.FlowUnit.FromSI(v.M3()/(float64(v.Covered)*1e-9)), 6, false)
}

// cell writes a volume, given in m³, to 0.001 of the report's unit.
func (r *Run) cell(m3 float64) string { return fixed(r.site().Report.VolumeUnit.FromSI(m3), 3) }

func (r *Run) volumeCell(v recompute.Volume) string {
	if v.Missing() {
		return ""
	}
	return r.cell(v.M3())
}

// fixed writes a number with a fixed count of decimals and no minus zero.
func fixed(v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if v > -0.5 && v < 0.5 {
		if zero := strconv.FormatFloat(0, 'f', decimals, 64); text == "-"+zero {
			return zero
		}
	}
	return text
}

// eventsCSV writes the flagged spans.
func eventsCSV(r *Run) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	unit := r.site().Report.VolumeUnit.Symbol
	w.Write([]string{"flag", "action", "from (" + r.site().Report.Clock.Name + ")", "until", "readings", "spans", "lowest head (m)", "highest head (m)",
		"effect on the corrected total (" + unit + ")", "file", "line"})
	for _, e := range r.Result.Events {
		w.Write([]string{e.Check, string(e.Action), r.stamp(e.From), r.stamp(e.Until), strconv.Itoa(e.Rows), strconv.Itoa(e.Spans), fixed(e.Lowest, 4), fixed(e.Highest, 4),
			r.cell(e.Effect), r.Result.Log.Files[e.File].Name, strconv.Itoa(int(e.Line))})
	}
	w.Flush()
	return b.Bytes()
}
