package report

import (
	"fmt"
	"math"

	"retotal/ingest/quantity"
	"retotal/recompute"
	"retotal/recompute/audit"
)

type monthly = audit.MonthAverages

// averages is the table of the corrected average daily volume of every month by each rule.
func (r *Run) averages() *Table {
	over := func(key, title string, v func(*monthly) float64, days func(*monthly) int) figure[monthly] {
		c := Column{Key: key, Title: title, Kind: Volume, Decimals: 1, Bare: true, Missing: "-"}
		return figure[monthly]{c, func(m *monthly) any {
			if cell := known(v(m), days(m) > 0 && m.After.Measured > 0); cell == nil || !m.After.Withheld {
				return cell
			}
			return told{v(m), "withheld"}
		}}
	}
	days := func(m *monthly) int { return m.After.Days }
	measured := func(m *monthly) int { return m.After.Measured }
	flowing := func(m *monthly) int { return m.After.Discharging }
	return tabulate(r, audit.MonthlyAverages(r.Result), []figure[monthly]{
		words("month", "month", func(m *monthly) string { return m.Period.Label }),
		over("over_days_measured_m3", "over days measured",
			func(m *monthly) float64 { return m.After.OverMeasured }, measured),
		over("over_days_with_flow_m3", "over days with flow",
			func(m *monthly) float64 { return m.After.OverDischarging }, flowing),
		over("over_all_days_m3", "over all days", func(m *monthly) float64 { return m.After.OverAll }, days),
		count("days", "days", days), count("days_measured", "measured", measured),
		count("days_with_flow", "with flow", flowing),
		words("rule", "", func(*monthly) string { return string(r.Site().Report.Average) }),
		words("completeness", "", func(*monthly) string { return r.completeness() }),
		yesNo("withheld", func(m *monthly) bool { return m.After.Withheld }).optional(),
	})
}

// completeness words the rule of completeness.
func (r *Run) completeness() string {
	c := r.Site().Report.Complete
	if c.Rule != "own" {
		return c.Source
	}
	text := "every day with a reading counts"
	if c.LeastDay > 0 {
		text = fmt.Sprintf("a day counts when %s %% of it is covered", quantity.Digits(100*c.LeastDay, 3))
	}
	if c.MostMissing >= 0 {
		text += fmt.Sprintf(", a month when no more than %d days are missing", c.MostMissing)
	}
	return text
}

// statisticLines describe the corrected daily volumes and the highest flows.
func (r *Run) statisticLines() (list []string) {
	s, volume, flow := &r.Result.Statistics, r.Site().Report.VolumeUnit, r.Site().Report.FlowUnit
	v := func(m3 float64) string { return Grouped(volume.FromSI(m3), 1) }
	q := func(m3s float64) string { return significant(flow.FromSI(m3s), 4, false) }
	if s.Days > 0 {
		list = append(list, fmt.Sprintf("Whole days: least %s %s (%s); greatest of all %s (%s); not exceeded on 5, "+
			"20, 50, 80, 95 %% of days: %s, %s, %s, %s, %s. The second of them, exceeded on 80 %% of days, is a "+
			"usual dry-weather flow.", v(s.Least), volume.Symbol, s.LeastDay, v(s.Greatest), s.GreatestDay,
			v(s.Percentiles[5]), v(s.Percentiles[20]), v(s.Percentiles[50]), v(s.Percentiles[80]),
			v(s.Percentiles[95])))
	}
	if text := r.countedText(); text != "" {
		list = append(list, text)
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
			text += fmt.Sprintf("; highest mean over %s: %s %s, ending %s",
				quantity.FormatDuration(r.Site().Report.PeakOver), q(s.PeakMean), flow.Symbol, r.stamp(s.PeakMeanAt))
		}
		list = append(list, text+".")
	}
	return list
}

// rounded writes a total as it goes into a report: to the site's significant figures; "" when it asks for none.
func (r *Run) rounded(p *recompute.Period) string {
	report := &r.Site().Report
	if report.Figures == 0 || p.After.Missing() {
		return ""
	}
	v := report.VolumeUnit.FromSI(p.After.M3())
	return significant(math.Round(v*1e9)/1e9, report.Figures, report.HalfUp)
}
