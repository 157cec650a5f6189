package audit

import (
	"fmt"

	"retotal/recompute"
)

// LimitFinding is a figure that is over a limit of the permit before or after the correction, or too near to it to tell.
type LimitFinding struct {
	Limit  string             `json:"limit"`
	Period string             `json:"period"`
	Before float64            `json:"-"` // SI: m³ of a day, m³/s of an average or a peak; of a share of days, the share
	After  float64            `json:"-"`
	Doubt  float64            `json:"-"`                       // expanded uncertainty of After
	Hidden bool               `json:"may_be_hidden,omitempty"` // the meter hid flows that may have been above the limit
	Flow   bool               `json:"-"`                       // the figures are flows
	Share  bool               `json:"-"`                       // the figures are shares
	Was    bool               `json:"over_before"`
	Is     bool               `json:"over_after"`
	Sure   recompute.Sureness `json:"with_uncertainty"`
}

// Limits compares the totals with every limit of the permit. Figures that are below their limit beyond doubt before and after are left out.
func Limits(r *recompute.Result) (out []LimitFinding) {
	limits := &r.Log.Site.Report
	add := func(f LimitFinding, limit float64) {
		f.Was, f.Is, f.Sure = f.Before > limit, f.After > limit, recompute.Against(f.After, f.Doubt, limit)
		if f.Hidden && f.Sure == recompute.Below {
			f.Sure = recompute.CannotTell
		}
		if f.Was || f.Is || f.Sure != recompute.Below {
			out = append(out, f)
		}
	}
	if limit := limits.MonthlyMean; limit != nil {
		for _, m := range MonthlyAverages(r) {
			const day = 86400
			before, okBefore := m.Before.Average(limits.Average)
			after, okAfter := m.After.Average(limits.Average)
			if okBefore && okAfter && !m.After.Withheld {
				doubt := 0.0
				if m.Period.Budget != nil && m.Period.After.M3() > 0 {
					doubt = after * m.Period.Budget.Expanded() / m.Period.After.M3()
				}
				add(LimitFinding{Limit: "monthly average " + limit.Text, Period: m.Period.Label, Before: before / day, After: after / day, Doubt: doubt / day, Flow: true}, limit.SI)
			}
		}
	}
	if limit := limits.Peak; limit != nil {
		s := &r.Statistics
		doubt := 0.0
		if r.Total.Budget != nil && r.Total.After.M3() > 0 {
			doubt = s.Peak * r.Total.Budget.Expanded() / r.Total.After.M3() // the total's share; a high head is known better than the mean
		}
		add(LimitFinding{Limit: "peak " + limit.Text, Period: "whole log", Before: r.Statistics.PeakBefore, After: s.Peak, Doubt: doubt, Hidden: s.PeakMost > limit.SI, Flow: true}, limit.SI)
	}
	if limit := limits.DailyVolume; limit != nil {
		was, is, days := 0, 0, 0
		for i := range r.Days {
			d := &r.Days[i]
			if d.After.Missing() {
				continue
			}
			days++
			if d.Before.M3() > limit.SI {
				was++
			}
			if d.After.M3() > limit.SI {
				is++
			}
			doubt := 0.0
			if d.Budget != nil {
				doubt = d.Budget.Expanded()
			}
			add(LimitFinding{Limit: "daily volume " + limit.Text, Period: d.Label, Before: d.Before.M3(), After: d.After.M3(), Doubt: doubt}, limit.SI)
		}
		if limits.DaysOver > 0 && days > 0 {
			add(LimitFinding{Limit: fmt.Sprintf("days over the daily volume, %.3g %%", 100*limits.DaysOver), Period: "whole log", Before: float64(was) / float64(days), After: float64(is) / float64(days), Share: true}, limits.DaysOver)
		}
	}
	return out
}

// MonthAverages is a month's average daily volume by every rule, over its reporting days.
type MonthAverages struct {
	Period        *recompute.Period
	Before, After recompute.Averages
}

// MonthlyAverages works out the averages of every month.
func MonthlyAverages(r *recompute.Result) (out []MonthAverages) {
	rule := r.Log.Site.Report.Complete
	for i := range r.Months {
		days := r.ReportingDays(&r.Months[i])
		out = append(out, MonthAverages{&r.Months[i], recompute.AverageDays(days, func(p *recompute.Period) recompute.Volume { return p.Before }, rule),
			recompute.AverageDays(days, func(p *recompute.Period) recompute.Volume { return p.After }, rule)})
	}
	return out
}
