package reading

import (
	"time"

	"retotal/ingest/quantity"
)

// Facts is all that arithmetic needs to know of a log.
type Facts struct {
	Primary     Quantity       // what flow is computed from
	Interval    time.Duration  // usual step between readings, over the whole log
	GapLimit    time.Duration  // longest step over which totals are integrated
	Resolution  [Count]float64 // SI steps of the columns
	Samplings   []Sampling     // in the order of time; nil when the log was sampled in one way throughout
	Has         [Count]bool    // which quantities are logged
	From, Until int64          // first and last reading, instants
	Clock       *time.Location // what the logger's clock keeps
	Odd         []string       // what its files contradict in the site file
}

// Ends is the end of the interval that a mean or a volume stands for, which begins at an instant by the logger's clock:
// days and months are those of the calendar.
func (f *Facts) Ends(start int64) int64 { return f.along(start, 1, f.At(start+Residue).Interval) }

// Begins is the beginning of the interval that ends at an instant by the logger's clock, as long as the log's own.
func (f *Facts) Begins(end int64) int64 { return f.along(end, -1, f.At(end).Interval) }

// along goes one interval on or back.
func (f *Facts) along(at int64, step int, interval time.Duration) int64 {
	const day = 24 * time.Hour
	t := time.Unix(0, at).In(f.Clock)
	switch {
	case interval == day:
		return t.AddDate(0, 0, step).UnixNano()
	case interval >= 28*day && interval <= 31*day:
		return t.AddDate(0, step, 0).UnixNano()
	}
	return at + int64(step)*int64(interval)
}

// IntervalText says how long a mean or a volume stands for.
func (f *Facts) IntervalText() string {
	const day = 24 * time.Hour
	switch {
	case f.Interval == day:
		return "a day of the log's clock"
	case f.Interval >= 28*day && f.Interval <= 31*day:
		return "a month of the log's clock"
	}
	return quantity.FormatDuration(f.Interval)
}
