package fingerprint

import (
	"math"
	"slices"
	"time"
)

// Signs are what stamps show of summer time.
type Signs struct {
	Missing []int64 // where an hour is missing as where summer time begins, ns, the last stamp before
	Doubled []int64 // where an hour stands twice as where summer time ends, the first stamp of it
	// Steady is the midnights of days on which summer time begins or ends somewhere, and nothing is missing or doubled.
	Steady []int64
}

// longestStep is the longest usual step, ns, of which a missing hour can be told.
const longestStep = int64(30 * time.Minute)

// Clock looks for the signs of summer time in stamps, which are local times as if they were UTC, in order; doubled are
// those that stand in the log a second time with other values. Summer time begins and ends on Sundays, between midnight
// and 3 o'clock (rules of the European Union and of North America; from memory).
func Clock(at, doubled []int64, step int64) (s Signs) {
	if step <= 0 || step > longestStep || len(at) == 0 {
		return s
	}
	hour := int64(time.Hour)
	for i := 1; i < len(at); i++ {
		if extra := at[i] - at[i-1] - step; math.Abs(float64(extra-hour)) < float64(step)/2 && isSwitch(at[i-1]+step) {
			s.Missing = append(s.Missing, at[i-1])
		}
	}
	doubled = slices.Compact(slices.Sorted(slices.Values(doubled)))
	for from := 0; from < len(doubled); {
		until := from + 1
		for until < len(doubled) && doubled[until]-doubled[from] < 3*hour {
			until++
		}
		long := int64(until-from) * step
		if 2*long > hour && 2*long < 3*hour && isSwitch(doubled[from]) {
			s.Doubled = append(s.Doubled, doubled[from])
		}
		from = until
	}
	if len(s.Missing)+len(s.Doubled) > 0 {
		return s
	}
	for _, midnight := range switchDays(at[0], at[len(at)-1]) {
		from, _ := slices.BinarySearch(at, midnight)
		until, _ := slices.BinarySearch(at, midnight+4*hour)
		if whole := int64(until-from) * step; whole >= 4*hour-2*step && whole <= 4*hour+2*step &&
			!slices.ContainsFunc(doubled, func(d int64) bool { return d >= midnight && d < midnight+4*hour }) {
			s.Steady = append(s.Steady, midnight)
		}
	}
	return s
}

// isSwitch reports whether summer time may begin or end at a local time.
func isSwitch(at int64) bool {
	t := time.Unix(0, at).UTC()
	month := t.Month()
	return t.Weekday() == time.Sunday && t.Hour() <= 3 && (month == time.March || month == time.April ||
		month >= time.September && month <= time.November)
}

// switchDays are the midnights, within a record, of the last Sundays of March and October (European Union), the second
// of March and the first of November (North America).
func switchDays(from, until int64) (list []int64) {
	for year := time.Unix(0, from).UTC().Year(); year <= time.Unix(0, until).UTC().Year(); year++ {
		for _, day := range []time.Time{sunday(year, time.March, 8), sunday(year, time.March, 25),
			sunday(year, time.October, 25), sunday(year, time.November, 1)} {
			if at := day.UnixNano(); at > from && at+int64(4*time.Hour) < until {
				list = append(list, at)
			}
		}
	}
	return list
}

// sunday is the first Sunday from a day of a month on.
func sunday(year int, month time.Month, day int) time.Time {
	t := time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
	return t.AddDate(0, 0, (7-int(t.Weekday()))%7)
}
