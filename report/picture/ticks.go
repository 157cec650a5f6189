package picture

import (
	"math"
	"strconv"
	"time"

	"retotal/recompute/total"
	"retotal/report"
)

// tick is a place on an axis.
type tick struct {
	at    int64
	label string
	bold  bool
}

// step is how far ticks of the calendar lie apart; only one of them is set.
type step struct{ years, months, days, hours int }

// about is its usual length.
func (s step) about() time.Duration {
	const day = 24 * time.Hour
	return time.Duration(s.years)*8766*time.Hour + time.Duration(s.months)*30*day + time.Duration(s.days)*day +
		time.Duration(s.hours)*time.Hour
}

// scale is how a time axis is cut: long ticks with names, short ones between them.
type scale struct {
	long, short step
	room        float64 // units that a name needs
	name        func(t time.Time, first bool) string
}

var scales = []scale{
	{step{hours: 1}, step{}, 66, hourName},
	{step{hours: 3}, step{hours: 1}, 66, hourName},
	{step{hours: 6}, step{hours: 1}, 66, hourName},
	{step{days: 1}, step{hours: 6}, 66, dayName},
	{step{days: 1}, step{hours: 12}, 44, shortDayName},
	{step{days: 7}, step{days: 1}, 72, weekName},
	{step{months: 1}, step{days: 7}, 58, monthName},
	{step{months: 3}, step{months: 1}, 34, monthOrYear},
	{step{months: 6}, step{months: 3}, 34, monthOrYear},
	{step{years: 1}, step{months: 3}, 36, yearName},
	{step{years: 2}, step{years: 1}, 36, yearName},
	{step{years: 5}, step{years: 1}, 36, yearName},
	{step{years: 10}, step{years: 1}, 36, yearName},
	{step{years: 50}, step{years: 10}, 0, yearName},
}

func hourName(t time.Time, first bool) string {
	if first || t.Hour() == 0 {
		return t.Format("Mon 2 Jan") + map[bool]string{true: t.Format(" 15:04")}[t.Hour() != 0]
	}
	return t.Format("15:04")
}

func dayName(t time.Time, first bool) string {
	if first || t.Day() == 1 {
		return t.Format("Mon 2 Jan")
	}
	return t.Format("Mon 2")
}

func shortDayName(t time.Time, first bool) string {
	if first || t.Day() == 1 {
		return t.Format("2 Jan")
	}
	return t.Format("2")
}

func weekName(t time.Time, first bool) string {
	if first {
		return t.Format("2 Jan 2006")
	}
	return t.Format("2 Jan")
}

func monthName(t time.Time, first bool) string {
	if first || t.Month() == time.January {
		return t.Format("Jan 2006")
	}
	return t.Format("Jan")
}

func monthOrYear(t time.Time, first bool) string {
	switch {
	case t.Month() == time.January:
		return t.Format("2006")
	case first:
		return t.Format("Jan 2006")
	}
	return t.Format("Jan")
}

func yearName(t time.Time, first bool) string { return t.Format("2006") }

// clock is the zone that ticks are in.
type clock struct{ location *time.Location }

// ticks are those of a time axis that is so wide, long and short.
func (c clock) ticks(from, until int64, units float64) (long []tick, short []int64) {
	chosen := scales[len(scales)-1]
	for _, s := range scales {
		if float64(s.long.about())/float64(max(until-from, 1))*units >= s.room {
			chosen = s
			break
		}
	}
	for i, at := range c.every(from, until, chosen.long) {
		t := time.Unix(0, at).In(c.location)
		start := t.Hour() == 0 && (t.Day() == 1 || chosen.long.hours > 0)
		if chosen.long.years == 0 && chosen.long.months > 1 {
			start = t.Month() == time.January
		}
		long = append(long, tick{at, chosen.name(t, i == 0), start})
	}
	if float64(chosen.short.about())/float64(max(until-from, 1))*units >= 3 {
		short = c.every(from, until, chosen.short)
	}
	return long, short
}

// every returns the round times of the clock from one instant until another, that included: those that it skips at the
// first time after, those that it shows twice at the first of the two.
func (c clock) every(from, until int64, s step) (list []int64) {
	if s == (step{}) {
		return nil
	}
	date := time.Unix(0, from).In(c.location)
	y, m, d := date.Date()
	switch {
	case s.years > 0:
		y, m, d = y-y%s.years, 1, 1
	case s.months > 0:
		m, d = m-(m-1)%time.Month(s.months), 1
	case s.days == 7:
		d -= int(date.Weekday()+6) % 7
	}
	last := int64(math.MinInt64)
	for i := 0; ; i++ { // the wall time rises with every step
		wall := time.Date(y+i*s.years, m+time.Month(i*s.months), d+i*s.days, i*s.hours, 0, 0, 0, time.UTC)
		at := total.Civil(c.location, wall)
		if at > until {
			return list
		}
		if at >= from && at > last {
			list, last = append(list, at), at
		}
	}
}

// rounds are round numbers between two values, 1, 2, 2.5 or 5 times a power of ten apart, at most so many steps, and
// that step.
func rounds(low, high, most float64) (list []float64, step float64) {
	if !(high > low) || !finite(high-low) {
		return nil, 0
	}
	step = math.Pow(10, math.Floor(math.Log10((high-low)/most)))
	for _, factor := range []float64{1, 2, 2.5, 5, 10} {
		if (high-low)/(step*factor) <= most {
			step *= factor
			break
		}
	}
	for i := math.Ceil(low/step - 1e-9); i*step <= high*(1+1e-12)+step*1e-9; i++ {
		list = append(list, i*step)
	}
	return list, step
}

// roundName writes a round number as one of so large a step.
func roundName(v, step float64) string {
	if v == 0 {
		return "0"
	}
	if step >= 1e9 || step < 1e-6 {
		return strconv.FormatFloat(v, 'g', 3, 64)
	}
	for decimals := 0; ; decimals++ {
		scaled := step * math.Pow(10, float64(decimals))
		if math.Abs(scaled-math.Round(scaled)) < 1e-6*scaled || decimals == 9 {
			return minus(report.Grouped(v, decimals))
		}
	}
}

// minus puts the sign of print in the place of the hyphen.
func minus(text string) string {
	if text != "" && text[0] == '-' {
		return "−" + text[1:]
	}
	return text
}

// name is that of the beginning of a stretch of time.
func (c clock) name(at, length int64) string {
	t := time.Unix(0, at).In(c.location)
	switch {
	case time.Duration(length) < 20*24*time.Hour:
		return t.Format("Mon 2 Jan")
	case time.Duration(length) < 3*8766*time.Hour:
		return t.Format("Jan 2006")
	}
	return t.Format("2006")
}
