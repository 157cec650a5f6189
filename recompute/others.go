package recompute

import (
	"fmt"
	"time"

	"retotal/recompute/total"
)

// otherRule is another way to bound days and months, under which reported figures may have been reckoned.
type otherRule struct {
	name     string
	calendar *total.Calendar
	series   *total.Series
}

// setUpOthers prepares the other rules, when figures were reported: days from midnight and from 06:00 to 09:00, by the
// clock of the report, of the logger and of UTC.
func (e *Engine) setUpOthers(first int64) {
	s := e.site
	if len(s.Report.Submitted) == 0 {
		return
	}
	type key struct {
		zone  string
		start time.Duration
	}
	seen := map[key]bool{{zoneName(s.Report.Clock.Location), s.Report.DayStarts}: true}
	for _, location := range []*time.Location{s.Report.Clock.Location, s.Log.Clock.Location, time.UTC} {
		for _, start := range []time.Duration{0, 6 * time.Hour, 7 * time.Hour, 8 * time.Hour, 9 * time.Hour} {
			k := key{zoneName(location), start}
			if seen[k] {
				continue
			}
			seen[k] = true
			c := total.NewCalendar(location, start, false, first)
			series := total.NewSeries(c, e.from, e.until)
			series.Hold = e.ofIntervals()
			e.others = append(e.others, otherRule{fmt.Sprintf("days from %s in %s", time.Time{}.Add(start).Format("15:04"), zoneName(location)), c, series})
		}
	}
}

// zoneName is the name of a zone; a fixed offset of zero is UTC.
func zoneName(location *time.Location) string {
	if name := location.String(); name != "+00:00" {
		return name
	}
	return "UTC"
}

// addOthers gives every month its volume by the other rules.
func (e *Engine) addOthers(r *Result) {
	for _, o := range e.others {
		months := map[string]*Volume{}
		for i := range o.calendar.Days() {
			var v Volume
			v.Sum, v.Covered = o.series.Volume(i)
			label := o.calendar.Label(i)[:7]
			if months[label] == nil {
				months[label] = &Volume{}
			}
			months[label].merge(v)
		}
		for i := range r.Months {
			if v := months[r.Months[i].Label]; v != nil {
				r.Months[i].Others = append(r.Months[i].Others, Other{o.name, *v})
			}
		}
	}
}

// otherSeries are the series of the other rules.
func (e *Engine) otherSeries() (list []*total.Series) {
	for i := range e.others {
		list = append(list, e.others[i].series)
	}
	return list
}
