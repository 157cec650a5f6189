package audit

import (
	"fmt"
	"math"

	"retotal/ingest/quantity"
	"retotal/ingest/site"
	"retotal/recompute"
	"retotal/recompute/total"
)

// LimitFinding is a figure beside a limit of the permit: over it before the correction, or not below it beyond doubt
// now. What may have flowed while nothing was measured, or behind what the meter hid, counts from nothing to the
// physical maximum. Where the permit has a rule on missing time, its verdict stands first and the truth beside it.
type LimitFinding struct {
	Limit  string
	Period string
	Before float64 // SI: m³ of a day, m³/s of an average or a peak; of a share of days, the share
	After  float64
	U95    float64 // expanded uncertainty of After
	Low    float64 // between which the truth lies; High is +Inf when nothing bounds it
	High   float64
	Flow   bool // the figures are flows
	Share  bool // the figures are shares
	Was    bool
	Rule   recompute.Sureness // when it has one
	Sure   recompute.Sureness
}

// Verdict is the one that stands first.
func (f *LimitFinding) Verdict() recompute.Sureness {
	if f.Rule != "" {
		return f.Rule
	}
	return f.Sure
}

// Outcome is what a correction did to a figure beside its limit.
type Outcome string

// The outcomes. Nothing is cleared but what is below in truth.
const (
	Newly   Outcome = "newly exceeded"
	Still   Outcome = "exceeded before and after"
	Cleared Outcome = "cleared"
	ByRule  Outcome = "below by the permit's rule alone"
	Unsure  Outcome = "cannot tell"
	Under   Outcome = "below before and after"
)

// Outcome puts before, the permit's verdict and the truth together.
func (f *LimitFinding) Outcome() Outcome {
	switch above := f.Verdict() == recompute.Above || f.Sure == recompute.Above; {
	case above && f.Was:
		return Still
	case above:
		return Newly
	case f.Sure == recompute.Below && f.Was:
		return Cleared
	case f.Sure == recompute.Below:
		return Under
	case f.Rule == recompute.Below:
		return ByRule
	}
	return Unsure
}

// Limits compares the totals with every limit of the permit. Figures that are below their limit beyond doubt, before
// and after, are left out; so are periods without any data, of which nothing can be told.
func Limits(r *recompute.Result) (out []LimitFinding) {
	all := append(monthLimits(r), peakLimit(r)...)
	days := dayLimits(r)
	all = append(append(all, days...), daysOver(r, days)...)
	for _, f := range all {
		if f.Was || f.Sure != recompute.Below || f.Verdict() != recompute.Below {
			out = append(out, f)
		}
	}
	return out
}

// monthLimits holds the average of every month to its limit, by the site's rule. The truth is the average over all days
// of the month or, by the rule of days with flow, over those that may have had some.
func monthLimits(r *recompute.Result) (out []LimitFinding) {
	limit, rule := r.Site.Report.MonthlyMean, r.Site.Report.Average
	if limit == nil {
		return nil
	}
	const day = 86400
	for _, m := range MonthlyAverages(r) {
		if m.Period.After.Missing() {
			continue
		}
		f := LimitFinding{Limit: "monthly average " + limit.Text, Period: m.Period.Label, Flow: true}
		before, counted := m.Before.Average(rule)
		after, counts := m.After.Average(rule)
		f.Before, f.After, f.Was = before/day, after/day, counted && !m.Before.Withheld && before/day > limit.SI
		seenLow, seenHigh := r.Seen(m.Period)
		perDay := 1 / float64(m.After.Days) // of a month without flow
		if v := m.Period.After.M3(); v > 0 {
			perDay = after / v
		}
		if m.Period.Budget != nil {
			f.U95 = perDay * m.Period.Budget.Expanded() / day
		}
		if r.Site.Report.RulesMonths {
			if f.Rule = recompute.NotCounted; counts && !m.After.Withheld {
				f.Rule = recompute.Judge(perDay*seenLow/day, perDay*seenHigh/day, limit.SI)
			}
		}
		f.Low, f.High = trueAverage(r, &m)
		f.Low, f.High = f.Low/day, f.High/day
		f.Sure = recompute.Judge(f.Low, f.High, limit.SI)
		out = append(out, f)
	}
	return out
}

// trueAverage returns between which averages, m³ a day, the truth of a month lies by the site's rule.
func trueAverage(r *recompute.Result, m *MonthAverages) (low, high float64) {
	low, high = r.Truth(m.Period)
	days := float64(m.After.Days)
	if r.Site.Report.Average != site.AverageDischarging {
		return low / days, high / days
	}
	_, seen := r.Seen(m.Period)
	flowing, unknown := float64(m.After.Discharging), float64(m.After.Days-m.After.Measured)
	low, high = low/math.Max(flowing+unknown, 1), high/math.Max(flowing+unknown, 1)
	if flowing > 0 {
		high = math.Max(high, seen/flowing) // nothing flowed on the days that are not known
	}
	return low, high
}

// peakLimit holds the highest flow of the log to its limit. Its uncertainty is the total's share: a high head is known
// better than the mean.
func peakLimit(r *recompute.Result) []LimitFinding {
	limit, s := r.Site.Report.Peak, &r.Statistics
	if limit == nil {
		return nil
	}
	f := LimitFinding{Limit: "peak " + limit.Text, Period: "whole log", Before: s.PeakBefore, After: s.Peak, Flow: true}
	f.Was = f.Before > limit.SI
	relative := 0.0
	if r.Total.Budget != nil && r.Total.After.M3() > 0 {
		relative = r.Total.Budget.Expanded() / r.Total.After.M3()
	}
	most := math.Max(s.Peak, s.PeakMost)
	if math.IsInf(most, 1) || r.Covered(&r.Total, r.Total.After) < 1 || !r.Total.Classes[total.Filled].Missing() {
		most = math.Max(s.Peak, r.PhysicalMost)
	}
	f.U95 = s.Peak * relative
	f.Low, f.High = math.Max(0, s.Peak-f.U95), most+float64(most*relative)
	f.Sure = recompute.Judge(f.Low, f.High, limit.SI)
	return []LimitFinding{f}
}

// dayLimits holds every day that has data to the limit of daily volume.
func dayLimits(r *recompute.Result) (out []LimitFinding) {
	limit, least := r.Site.Report.DailyVolume, r.Site.Report.Complete.LeastDay
	if limit == nil {
		return nil
	}
	for i := range r.Days {
		if r.Days[i].After.Missing() {
			continue
		}
		whole := r.WholeDay(&r.Days[i])
		d := &whole
		f := LimitFinding{
			Limit: "daily volume " + limit.Text, Period: d.Label, Before: d.Before.M3(), After: d.After.M3(),
		}
		if d.Budget != nil {
			f.U95 = d.Budget.Expanded()
		}
		f.Was = f.Before > limit.SI && r.Covered(d, d.Before) >= least
		f.Low, f.High = r.Truth(d)
		f.Sure = recompute.Judge(f.Low, f.High, limit.SI)
		if r.Site.Report.RulesDays {
			if f.Rule = recompute.NotCounted; r.Covered(d, d.After) >= least {
				low, high := r.Seen(d)
				f.Rule = recompute.Judge(low, high, limit.SI)
			}
		}
		out = append(out, f)
	}
	return out
}

// daysOver holds the share of days over the daily limit to its own. In truth any day without data may have been over
// it.
func daysOver(r *recompute.Result, days []LimitFinding) []LimitFinding {
	limits := &r.Site.Report
	if limits.DaysOver == 0 || len(days) == 0 {
		return nil
	}
	name := fmt.Sprintf("days over the daily volume, %s %%", quantity.Digits(100*limits.DaysOver, 3))
	f := LimitFinding{Limit: name, Period: "whole log", Share: true}
	var was, counting, is, counted, above, maybe, ruled, perhaps float64
	for i := range r.Days {
		d := &r.Days[i]
		counting += one(!d.Before.Missing() && r.Covered(d, d.Before) >= limits.Complete.LeastDay)
	}
	for i := range days {
		d := &days[i]
		above, maybe = above+one(d.Sure == recompute.Above), maybe+one(d.Sure != recompute.Below)
		was += one(d.Was)
		if v := d.Verdict(); v != recompute.NotCounted {
			counted++
			is += one(d.After > limits.DailyVolume.SI)
			ruled, perhaps = ruled+one(v == recompute.Above), perhaps+one(v != recompute.Below)
		}
	}
	all := float64(len(r.Days))
	f.Low, f.High = above/all, (maybe+all-float64(len(days)))/all
	f.Sure = recompute.Judge(f.Low, f.High, limits.DaysOver)
	f.Before, f.After = was/math.Max(counting, 1), is/math.Max(counted, 1)
	if f.Was = f.Before > limits.DaysOver; limits.RulesDays {
		if f.Rule = recompute.NotCounted; counted > 0 {
			f.Rule = recompute.Judge(ruled/counted, perhaps/counted, limits.DaysOver)
		}
	}
	return []LimitFinding{f}
}

func one(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// DayOverLimit is a reporting day beside the permit's limit of daily volume.
type DayOverLimit struct {
	Day     string
	WasOver bool
	IsOver  bool // beyond doubt
	Outcome Outcome
}

// DailyLimit lists the days that are over the daily volume limit before the correction, or not below it beyond doubt
// after it; nil without a limit.
func DailyLimit(r *recompute.Result) (out []DayOverLimit) {
	for _, f := range dayLimits(r) {
		if o := f.Outcome(); o != Under {
			out = append(out, DayOverLimit{f.Period, f.Was, o == Newly || o == Still, o})
		}
	}
	return out
}

// DaysOver counts the reporting days whose figure by some lane, which says nothing of its doubt, is above a limit, m³;
// a part of a day that does not count by the permit's rule is none.
func DaysOver(r *recompute.Result, limit float64, volume func(*recompute.Period) total.Volume) (days int) {
	for i := range r.Days {
		d := &r.Days[i]
		v := volume(d)
		if v.Missing() || r.Covered(d, v) < r.Site.Report.Complete.LeastDay {
			continue
		}
		if recompute.Judge(v.M3(), v.M3(), limit) == recompute.Above {
			days++
		}
	}
	return days
}

// MonthAverages is a month's average daily volume by every rule, over its reporting days.
type MonthAverages struct {
	Period        *recompute.Period
	Before, After recompute.Averages
}

// MonthlyAverages works out the averages of every month.
func MonthlyAverages(r *recompute.Result) (out []MonthAverages) {
	rule := r.Site.Report.Complete
	for i := range r.Months {
		days := r.ReportingDays(&r.Months[i])
		before := func(p *recompute.Period) total.Volume { return p.Before }
		after := func(p *recompute.Period) total.Volume { return p.After }
		out = append(out, MonthAverages{
			&r.Months[i], recompute.AverageDays(days, before, rule), recompute.AverageDays(days, after, rule),
		})
	}
	return out
}
