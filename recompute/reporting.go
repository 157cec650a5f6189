package recompute

import (
	"retotal/ingest/reading"
	"retotal/recompute/total"
)

// ReportingDays lists all days of a period, as long as they lie in it: those of the log, and those before it and after
// it, of which everything is missing. A day in which the log begins or ends no more than one interval away from its
// bound has no missing time there: the next reading stands in the next file.
func (r *Result) ReportingDays(p *Period) (list []Period) {
	report := &r.Site.Report
	calendar := total.NewCalendar(report.Clock.Location, report.DayStarts, report.LabelByEnd, p.Start)
	known := 0
	for at := p.Start; at < p.End; {
		i := calendar.Day(at)
		_, end := calendar.Bounds(i)
		day := Period{Label: calendar.Label(i), Start: at, End: min(end, p.End)}
		for known < len(r.Days) && r.Days[known].End <= at {
			known++
		}
		if known < len(r.Days) && r.Days[known].Label == day.Label {
			day = r.Days[known]
		}
		list = append(list, r.toLog(day))
		at = end
	}
	return list
}

// toLog moves the bounds of a period to the log's own, where no more than one interval lies between them.
func (r *Result) toLog(p Period) Period {
	first, last, step := r.Facts.From, r.Facts.Till, int64(r.Facts.Interval)
	if site := r.Site; site != nil && site.Log.Means && site.Log.Primary != reading.Counter {
		first = r.Facts.Begins(first)
	}
	if p.Start < first && first < p.End && first-p.Start <= step {
		p.Start = first
	}
	if p.Start < last && last < p.End && p.End-last <= step {
		p.End = last
	}
	return p
}

// WholeDay is a reporting day from its start to its end, where the bounds of the report cut it: what lies outside them
// is missing of the day.
func (r *Result) WholeDay(p *Period) Period {
	report, day := &r.Site.Report, *p
	day.Start, day.End = total.NewCalendar(report.Clock.Location, report.DayStarts, report.LabelByEnd, p.Start).Bounds(0)
	return day
}
