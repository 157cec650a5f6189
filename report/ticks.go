package report

import (
	"math"
	"time"

	"gonum.org/v1/plot"
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

func (c calendarTicks) every(low, high float64, years, months, days, hours int, label string) (ticks []plot.Tick) {
	t := time.Unix(int64(low), 0).In(c.location)
	y, m, d := t.Date()
	switch {
	case years > 0:
		t = time.Date(y-y%years, 1, 1, 0, 0, 0, 0, c.location)
	case months > 0:
		t = time.Date(y, m-(m-1)%time.Month(months), 1, 0, 0, 0, 0, c.location)
	default:
		t = time.Date(y, m, d, 0, 0, 0, 0, c.location)
	}
	for ; float64(t.Unix()) <= high; t = next(t, years, months, days, hours) {
		if float64(t.Unix()) >= low {
			ticks = append(ticks, plot.Tick{Value: float64(t.Unix()), Label: t.Format(label)})
		}
	}
	return ticks
}

// next steps on by calendar units, so that a day begins at midnight on both sides of a clock change.
func next(t time.Time, years, months, days, hours int) time.Time {
	if hours > 0 {
		return t.Add(time.Duration(hours) * time.Hour)
	}
	y, m, d := t.Date()
	return time.Date(y+years, m+time.Month(months), d+days, 0, 0, 0, 0, t.Location())
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
		ticks = append(ticks, plot.Tick{Value: i * step, Label: grouped(i*step, decimals)})
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
