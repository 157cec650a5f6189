package picture

import (
	"math"
	"time"

	"gonum.org/v1/plot"

	"retotal/recompute/total"
	"retotal/report"
)

// calendarTicks puts ticks at the starts of years, months, days or hours in a zone. X is seconds since 1970.
type calendarTicks struct{ location *time.Location }

// Ticks implements plot.Ticker.
func (c calendarTicks) Ticks(low, high float64) []plot.Tick {
	span := time.Duration((high - low) * 1e9)
	const day = 24 * time.Hour
	for _, step := range []struct {
		upTo                time.Duration
		years, months, days int
		hours               int
		label               string
	}{
		{12 * time.Hour, 0, 0, 0, 1, "15:04"},
		{3 * day, 0, 0, 0, 6, "2 Jan 15:04"},
		{16 * day, 0, 0, 1, 0, "2 Jan"},
		{75 * day, 0, 0, 7, 0, "2 Jan"},
		{420 * day, 0, 1, 0, 0, "Jan 2006"},
		{1300 * day, 0, 3, 0, 0, "Jan 2006"},
		{5000 * day, 1, 0, 0, 0, "2006"},
		{1 << 62, 5, 0, 0, 0, "2006"},
	} {
		if span <= step.upTo {
			return c.every(low, high, step.years, step.months, step.days, step.hours, step.label)
		}
	}
	return nil
}

// every puts ticks at round times of the clock: those that it skips at the first time after, those that it shows twice
// at the first of the two.
func (c calendarTicks) every(low, high float64, years, months, days, hours int, label string) (ticks []plot.Tick) {
	y, m, d := time.Unix(int64(low), 0).In(c.location).Date()
	switch {
	case years > 0:
		y, m, d = y-y%years, 1, 1
	case months > 0:
		m, d = m-(m-1)%time.Month(months), 1
	}
	last := math.Inf(-1)
	for i := 0; ; i++ { // the wall time rises with every step
		wall := time.Date(y+i*years, m+time.Month(i*months), d+i*days, i*hours, 0, 0, 0, time.UTC)
		t := time.Unix(0, total.Civil(c.location, wall)).In(c.location)
		at := float64(t.Unix())
		if at > high {
			return ticks
		}
		if at >= low && at > last {
			ticks = append(ticks, plot.Tick{Value: at, Label: t.Format(label)})
			last = at
		}
	}
}

// roundTicks puts about five labelled ticks at round numbers, one, two or five times a power of ten apart.
type roundTicks struct{}

// Ticks implements plot.Ticker.
func (roundTicks) Ticks(low, high float64) (ticks []plot.Tick) {
	if !(high > low) {
		return nil
	}
	step := math.Pow(10, math.Floor(math.Log10((high-low)/5)))
	for _, factor := range []float64{1, 2, 5, 10} {
		if (high-low)/(step*factor) <= 6 {
			step *= factor
			break
		}
	}
	decimals := max(0, int(-math.Floor(math.Log10(step)+1e-9)))
	for i := math.Ceil(low/step - 1e-9); i*step <= high*(1+1e-12); i++ {
		ticks = append(ticks, plot.Tick{Value: i * step, Label: report.Grouped(i*step, decimals)})
	}
	return ticks
}

// unlabelled keeps the ticks of a ticker and leaves out their labels.
type unlabelled struct{ plot.Ticker }

// Ticks implements plot.Ticker.
func (u unlabelled) Ticks(low, high float64) []plot.Tick {
	ticks := u.Ticker.Ticks(low, high)
	for i := range ticks {
		ticks[i].Label = " " // a blank keeps the tick a major one
	}
	return ticks
}
