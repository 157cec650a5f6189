package recompute

import (
	"math"
	"slices"

	"retotal/ingest/site"
	"retotal/recompute/stage"
	"retotal/recompute/stat"
	"retotal/recompute/total"
)

// Averages are the honest answers to "average daily volume": they differ in the days that count. Volumes in m³ a day.
type Averages struct {
	Days            int     // reporting days of the period, those before and after the log too
	Measured        int     // of them with a total, and as well covered as the site file asks
	Discharging     int     // of those, with flow
	OverMeasured    float64 // sum of measured days ÷ their count (40 CFR 122.2)
	OverDischarging float64 // ÷ the days with flow (California Regional Board standard provisions)
	Withheld        bool    // more days are missing than the site's rule allows
	OverAll         float64 // ÷ all days, as if missing ones had no flow: shown to recognise it, and to be avoided
}

// Average returns the answer by a rule; false when no day counts.
func (a *Averages) Average(rule site.AverageRule) (m3PerDay float64, ok bool) {
	switch rule {
	case site.AverageDischarging:
		return a.OverDischarging, a.Discharging > 0
	case site.AverageAll:
		return a.OverAll, a.Measured > 0
	}
	return a.OverMeasured, a.Measured > 0
}

// AverageDays works the averages out of days by one of their volumes. A day counts as measured when as much of it is
// covered as the rule asks, and something is.
func AverageDays(days []Period, volume func(*Period) total.Volume, rule site.Completeness) (a Averages) {
	sum := 0.0
	for i := range days {
		a.Days++
		v := volume(&days[i])
		if v.Missing() || share(v.Covered, days[i].Until-days[i].From) < rule.LeastDay {
			continue
		}
		a.Measured++
		if sum += v.M3(); v.M3() > 0 {
			a.Discharging++
		}
	}
	a.Withheld = rule.MostMissing >= 0 && a.Days-a.Measured > rule.MostMissing
	a.OverMeasured = sum / math.Max(float64(a.Measured), 1)
	a.OverDischarging = sum / math.Max(float64(a.Discharging), 1)
	a.OverAll = sum / math.Max(float64(a.Days), 1)
	return a
}

// Statistics describe the corrected daily volumes of a record, m³, and its greatest flows, m³/s. A part of a day is no
// daily volume: only its greatest may be one.
type Statistics struct {
	Days        int // whole, and as well covered as they have to be
	Least       float64
	LeastDay    string
	Greatest    float64
	GreatestDay string
	Percentiles map[int]float64 // of daily volumes that are not exceeded: 5, 20, 50, 80, 95
	Peak        float64         // highest single flow
	PeakBefore  float64         // the same of the recorded lane
	PeakAt      int64
	// PeakMost is what the highest flow may have been where readings are only bounded; +Inf when nothing bounds it.
	PeakMost   float64
	PeakMean   float64 // highest mean over Report.PeakOver
	PeakMeanAt int64   // its end
}

// percentilesShown are the percentiles of daily volume. The 20th, exceeded on 80 % of days, is a usual measure of
// dry-weather flow (common practice).
var percentilesShown = []int{5, 20, 50, 80, 95}

// WholeDay is the part of a day that its total covers at least when it is described as a daily volume; common practice,
// no permit text sets one.
const WholeDay = 0.95

// statistics works them out of the days; least is the part that the site file asks to be covered.
func (r *Result) statistics(least float64) (s Statistics) {
	var volumes []float64
	for i := range r.Days {
		v := r.Days[i].After.M3()
		if !r.Days[i].After.Missing() && (s.GreatestDay == "" || v > s.Greatest) {
			s.Greatest, s.GreatestDay = v, r.Days[i].Label
		}
		if !r.whole(i, max(least, WholeDay)) {
			continue
		}
		if s.Days == 0 || v < s.Least {
			s.Least, s.LeastDay = v, r.Days[i].Label
		}
		s.Days++
		volumes = append(volumes, v)
	}
	slices.Sort(volumes)
	s.Percentiles = map[int]float64{}
	for _, p := range percentilesShown {
		if len(volumes) > 0 {
			s.Percentiles[p] = stat.Percentile(volumes, float64(p)/100)
		}
	}
	return s
}

// whole reports whether so much of day i is covered, and nothing of it lies outside the period of the report.
func (r *Result) whole(i int, least float64) bool {
	start, end := r.days.Bounds(i)
	day := r.toLog(r.Days[i])
	return start >= r.from && end <= r.until && !day.After.Missing() && day.Coverage() >= least
}

// addPeaks adds the greatest flows of the corrected lane, and that of the recorded one.
func (s *Statistics) addPeaks(p *stage.Peaks, before float64) {
	s.Peak, s.PeakAt, s.PeakMean, s.PeakMeanAt = p.Peak, p.PeakAt, p.Mean, p.MeanAt
	s.PeakMost, s.PeakBefore = max(p.Peak, p.Most), before
}

// Periods groups days by a name of their labels, such as that of their week, quarter or year: what a permit may ask for
// beside months. A period is as long as the calendar has it, so that its coverage tells of what the log lacks at either
// end.
func (r *Result) Periods(name func(day string) string) (list []Period) {
	for i := range r.Days {
		d := &r.Days[i]
		label := name(d.Label)
		if len(list) == 0 || list[len(list)-1].Label != label {
			start, end := r.days.Span(i, name)
			list = append(list, Period{Label: label, From: max(start, r.from), Until: min(end, r.until)})
		}
		list[len(list)-1].merge(d)
	}
	for i := range list {
		list[i].addBudget(&r.Components)
	}
	return list
}

// Rolling adds up so many months that follow each other, named by the last.
func (r *Result) Rolling(months int) (list []Period) {
	for i := months - 1; i < len(r.Months); i++ {
		p := Period{Label: r.Months[i].Label, From: r.Months[i-months+1].From, Until: r.Months[i].Until}
		for k := i - months + 1; k <= i; k++ {
			p.merge(&r.Months[k])
		}
		p.addBudget(&r.Components)
		list = append(list, p)
	}
	return list
}
