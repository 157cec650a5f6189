package audit

import (
	"fmt"
	"slices"
	"time"

	"retotal/recompute"
)

// Of dates with day and month swapped, hardly any day of the record follows another, and nearly all do when they are
// swapped back. Common practice.
const (
	leastDays   = 3
	fewFollow   = 0.2 // of the days
	almostEvery = 0.8
)

// dates doubts the order of day and month that the log was read in, when the days with readings lie a month apart and
// would follow each other in the other order.
func dates(r *recompute.Result) []Finding {
	var days, swapped []time.Time
	for i := range r.Days {
		d := &r.Days[i]
		if d.Before.Covered == 0 {
			continue
		}
		at, err := time.Parse(time.DateOnly, d.Label)
		if err != nil || at.Day() > 12 {
			return nil
		}
		days = append(days, at)
		swapped = append(swapped, time.Date(at.Year(), time.Month(at.Day()), int(at.Month()), 0, 0, 0, 0, time.UTC))
	}
	if len(days) < leastDays || follow(days) > fewFollow || follow(swapped) < almostEvery {
		return nil
	}
	doubt := fmt.Sprintf("have readings on %d days, hardly one of which follows another, and in the other order of "+
		"day and month they follow each other: check log.date_order", len(days))
	return []Finding{{
		Topic: "the dates", Verdict: Doubtful, Doubts: []string{doubt}, Sentence: "The dates " + doubt + ".",
		Tolerance: "days that follow each other as read",
	}}
}

// follow is the part of the days that follow another.
func follow(days []time.Time) float64 {
	days = slices.SortedFunc(slices.Values(days), time.Time.Compare)
	n := 0
	for i := 1; i < len(days); i++ {
		if days[i].Sub(days[i-1]) == 24*time.Hour {
			n++
		}
	}
	return float64(n) / float64(len(days)-1)
}
