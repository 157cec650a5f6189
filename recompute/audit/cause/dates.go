package cause

import (
	"slices"
	"time"
)

// ChangeDates are the instants around which clocks of the report's zone, of the European Union (Directive 2000/84/EC:
// last Sundays of March and October) and of the United States (15 U.S.C. 260a: second Sunday of March, first of
// November) change, in a year: forward and back, as dates.
func ChangeDates(year int, report *time.Location) (forward, back []time.Time) {
	sunday := func(month time.Month, number int) time.Time { // 0 for the last
		if number == 0 {
			t := time.Date(year, month+1, 0, 0, 0, 0, 0, time.UTC)
			return t.AddDate(0, 0, -int(t.Weekday()))
		}
		t := time.Date(year, month, 1, 0, 0, 0, 0, time.UTC)
		return t.AddDate(0, 0, (7-int(t.Weekday()))%7+7*(number-1))
	}
	forward = []time.Time{sunday(time.March, 0), sunday(time.March, 2)}
	back = []time.Time{sunday(time.October, 0), sunday(time.November, 1)}
	for day := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC); day.Year() == year; day = day.AddDate(0, 0, 1) {
		offset := func(t time.Time) int {
			_, s := time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, report).Zone()
			return s
		}
		switch next := day.AddDate(0, 0, 1); {
		case offset(next)-offset(day) == 3600:
			forward = append(forward, day)
		case offset(day)-offset(next) == 3600:
			back = append(back, day)
		}
	}
	return forward, back
}

// ChangesAt reports whether clocks change on the day between two instants.
func ChangesAt(from, until int64, report *time.Location) bool {
	t := time.Unix(0, from+(until-from)/2).In(report)
	forward, back := ChangeDates(t.Year(), report)
	date := time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
	return slices.ContainsFunc(slices.Concat(forward, back), date.Equal)
}
