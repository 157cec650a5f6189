package recompute

import (
	"retotal/ingest/reading"
	"retotal/recompute/total"
)

// ReportingDays lists all days of a period, as long as they lie in it: those of the log, and those before it and after
// it, of which everything is missing. A day in which the log begins or ends no more than one interval away from its
// bound has no missing time there: the next reading stands in the next file.
func (r *Result) ReportingDays(p *Period) (list []Period) {
	calendar := r.calendarFrom(p.From)
	known := 0
	for at := p.From; at < p.Until; {
		i := calendar.Day(at)
		_, end := calendar.Bounds(i)
		day := Period{Label: calendar.Label(i), From: at, Until: min(end, p.Until)}
		for known < len(r.Days) && r.Days[known].Until <= at {
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

// calendarFrom is a calendar of the report's days that begins at an instant.
func (r *Result) calendarFrom(first int64) *total.Calendar {
	report := &r.Site.Report
	return total.NewCalendar(report.Clock.Location, report.DayStarts, report.LabelByEnd, first)
}

// toLog moves the bounds of a period to the log's own, where no more than one interval lies between them.
func (r *Result) toLog(p Period) Period {
	first, last, step := r.Facts.From, r.Facts.Until, int64(r.Facts.Interval)
	if site := r.Site; site != nil && site.Log.Means && site.Log.Primary != reading.Counter {
		first = r.Facts.Begins(first)
	}
	if p.From < first && first < p.Until && first-p.From <= step {
		p.From = first
	}
	if p.From < last && last < p.Until && p.Until-last <= step {
		p.Until = last
	}
	return p
}

// WholeDay is a reporting day from its start to its end, where the bounds of the report cut it: what lies outside them
// is missing of the day.
func (r *Result) WholeDay(p *Period) Period {
	day := *p
	day.From, day.Until = r.calendarFrom(p.From).Bounds(0)
	return day
}

// reporting is the report's period and its days.
type reporting struct {
	days        *total.Calendar
	from, until int64
}
