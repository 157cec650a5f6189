package evidence

import (
	"math"
	"slices"

	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/stat"
	"retotal/recompute/total"
)

// Courses gathers the hourly means of the head of each reporting day, of readings that no check doubts, in which a
// change of settings shows: the night minimum is the lowest of them.
type Courses struct {
	hour    int64   // number of the hour at hand
	sum     float64 // of heads, m
	air     float64 // sum of the air's temperature, K
	n       int
	days    []course
	current int  // day of the hour at hand
	warmth  bool // the log has the temperature of the air
}

// course is one reporting day.
type course struct {
	lowest float64 // +Inf where there is none
	air    float64 // K, in that hour
	hours  [24]float64
	seen   [24]bool
}

// Add takes in the rows of a block.
func (c *Courses) Add(b *block.Block) {
	c.warmth = c.warmth || len(b.Air) > 0
	for i := b.Low; i < b.High; i++ {
		if b.Flags[i]&^(qa.Gap|qa.Validity) != 0 {
			continue
		}
		if at := block.HourOf(b.Time[i]); at != c.hour {
			c.close()
			c.hour, c.current = at, b.Day(b.Time[i])
		}
		c.sum += b.Head[i]
		if c.warmth {
			c.air += b.Air[i]
		}
		c.n++
	}
}

// close ends the hour at hand.
func (c *Courses) close() {
	if c.n > 0 {
		for len(c.days) <= c.current {
			c.days = append(c.days, course{lowest: math.Inf(1)})
		}
		d, mean := &c.days[c.current], c.sum/float64(c.n)
		if mean < d.lowest {
			d.lowest, d.air = mean, c.air/float64(c.n)
		}
		k := (c.hour%24 + 24) % 24
		d.hours[k], d.seen[k] = mean, true
	}
	c.sum, c.air, c.n = 0, 0, 0
}

// whole reports whether every hour of a day has readings.
func (d *course) whole() bool {
	for _, seen := range d.seen {
		if !seen {
			return false
		}
	}
	return true
}

// Pattern is what the days' courses say of the log.
type Pattern struct {
	Broken      []string // days whose course has nothing of the seven days before, which resembled each other
	PerKelvin   float64  // mm that the night minimum rises with a kelvin of the air, Theil-Sen
	Correlation float64  // of night minimum and air temperature, Spearman's by ranks
	Expected    float64  // mm a kelvin, of a meter without a correction for the air's temperature
	Days        int      // with both
}

// Limits of the patterns, common practice.
const (
	alike      = 0.8 // mean correlation of the days before with their own mean
	unlike     = 0.2
	asFar      = 0.25 // share of the days' scatter by which the values of a day, in order, may differ from theirs
	beforeDays = 7
	fewestAir  = 20 // days
)

// Day is what the evidence of a reporting day is judged by.
type Day struct {
	Label                     string
	Start                     int64
	Recorded, Logged, Counted total.Volume
}

// Pattern looks at the courses of days, and at what the night minimum has to do with the temperature of the air under
// the settings of a distance d from sensor to zero flow, m; 0 where there is none.
func (c *Courses) Pattern(days []Day, d float64) (p Pattern) {
	for i := beforeDays; i < len(c.days) && i < len(days); i++ {
		if c.broken(i) {
			p.Broken = append(p.Broken, days[i].Label)
		}
	}
	if !c.warmth {
		return p
	}
	var lowest, air []float64
	for _, d := range c.days {
		if !math.IsInf(d.lowest, 1) {
			lowest, air = append(lowest, d.lowest*1000), append(air, d.air)
		}
	}
	if p.Days = len(lowest); p.Days < fewestAir {
		return p
	}
	p.Correlation, p.PerKelvin = stat.Spearman(air, lowest), stat.TheilSen(air, lowest)
	p.Expected = d * 1000 / (2 * 283.15) // d is shown d/(2T) too short for each kelvin too cold
	return p
}

// broken reports whether day i has nothing of the course of the days before it, which resembled each other in what a
// line leaves of them, nor of the day before, but goes as far, in another order, while the day after has their course
// again. What storms do goes further, a recession has no course of days, and a tide comes later each day.
func (c *Courses) broken(i int) bool {
	before, day := c.days[i-beforeDays:i], &c.days[i]
	var mean, sorted [24]float64
	usable := day.whole()
	for k := range before {
		usable = usable && before[k].whole()
		for h, v := range before[k].hours {
			mean[h] += v / beforeDays
		}
		for h, v := range inOrder(before[k].hours) {
			sorted[h] += v / beforeDays
		}
	}
	if !usable || stat.Pearson(day.hours[:], mean[:]) > unlike ||
		stat.Pearson(day.hours[:], before[beforeDays-1].hours[:]) > unlike {
		return false
	}
	if i+1 < len(c.days) && c.days[i+1].whole() && stat.Pearson(c.days[i+1].hours[:], mean[:]) < alike {
		return false // another course that stays
	}
	bent, similar := bends(mean), 0.0
	for k := range before {
		shape := bends(before[k].hours)
		similar += stat.Pearson(shape[:], bent[:]) / beforeDays
	}
	return similar >= alike && apart(inOrder(day.hours), sorted) <= asFar*apart(mean, [24]float64{})
}

// inOrder returns values less their mean, sorted.
func inOrder(hours [24]float64) [24]float64 {
	mean := stat.Mean(hours[:])
	for h := range hours {
		hours[h] -= mean
	}
	slices.Sort(hours[:])
	return hours
}

// apart is how far two series lie apart, their means aside: a root mean square.
func apart(a, b [24]float64) float64 {
	sum, mean := 0.0, stat.Mean(a[:])-stat.Mean(b[:])
	for h := range a {
		d := a[h] - b[h] - mean
		sum += float64(d * d)
	}
	return math.Sqrt(sum / float64(len(a)))
}

// bends is what the straight line of least squares leaves of a day.
func bends(hours [24]float64) [24]float64 {
	product, square, middle := 0.0, 0.0, float64(len(hours)-1)/2
	for h, v := range hours {
		product += float64(v * (float64(h) - middle))
		square += (float64(h) - middle) * (float64(h) - middle)
	}
	for h := range hours {
		hours[h] -= float64(product / square * (float64(h) - middle))
	}
	return hours
}

// ChangePoint is a day on which a slow statistic of the log changes its level: a candidate for when a setting changed.
type ChangePoint struct {
	Statistic string
	Day       string // first day after the change
	At        int64  // its beginning
	Size      float64
	Drift     bool // Size is the change over the whole log, along a line
	Unit      string
	P         float64 // of the test: Pettitt's, or Mann-Kendall's of a drift
}

// ChangePoints looks for changes, or a drift where that explains a series better, in the ratio of the logged flow to
// that of the recorded settings and in the ratio of the counter to the logged flow; and for a drift in the night
// minimum, whose changes Moves finds. ofFlow says that the log holds no level to compute a flow from.
func (c *Courses) ChangePoints(days []Day, ofFlow bool) (list []ChangePoint) {
	c.close()
	list = changes(days, "night minimum of the head", "mm", func(i int) (float64, bool) {
		if i >= len(c.days) || math.IsInf(c.days[i].lowest, 1) {
			return 0, false
		}
		return c.days[i].lowest * 1000, true
	})
	list = slices.DeleteFunc(list, func(c ChangePoint) bool { return !c.Drift })
	if !ofFlow {
		list = append(list, changes(
			days,
			"logged flow over that of the recorded settings",
			"%",
			func(i int) (float64, bool) { return ratio(days[i].Logged, days[i].Recorded) },
		)...)
	}
	return append(list, changes(days, "counter over logged flow", "%", func(i int) (float64, bool) {
		return ratio(days[i].Counted, days[i].Logged)
	})...)
}

// ratioStep is what a ratio is rounded to, per cent: what rounding of the log makes is no change.
const ratioStep = 0.1

// ratio is by how much one volume exceeds another over the same time, per cent; false where they cannot be compared.
func ratio(a, b total.Volume) (percent float64, ok bool) {
	if a.Covered == 0 || b.Covered != a.Covered || b.M3() <= 0 {
		return 0, false
	}
	return math.Round((a.M3()/b.M3()-1)*100/ratioStep) * ratioStep, true
}

// leastTold is the least change that is told, mm or per cent: what rounds to zero where tenths are told is none,
// however sure.
const leastTold = 0.05

// even reports whether both halves of a series go along a line as steep as the whole, to a factor of two: a recession
// is steep and then flat.
func even(values []float64, slope float64) bool {
	for _, half := range [][]float64{values[:len(values)/2], values[len(values)/2:]} {
		t, _ := stat.MannKendall(half)
		if share := t.PerStep / slope; len(half) >= fewestHalf && (share < 0.5 || share > 2) {
			return false
		}
	}
	return true
}

// fewestHalf is how many values a half must have to be asked.
const fewestHalf = 20

// changes looks for changes or a drift in one statistic.
func changes(days []Day, statistic, unit string, value func(i int) (float64, bool)) (list []ChangePoint) {
	var values []float64
	var at []int
	for i := range days {
		if v, ok := value(i); ok {
			values, at = append(values, v), append(at, i)
		}
	}
	found := stat.Pettitt(values)
	trend, ok := stat.MannKendall(values)
	if ok && stat.Straighter(values, trend, found) && even(values, trend.PerStep) {
		d, span := &days[at[0]], float64(at[len(at)-1]-at[0])
		if math.Abs(trend.PerStep*span) < leastTold {
			return nil
		}
		return []ChangePoint{{
			Statistic: statistic,
			Day:       d.Label,
			At:        d.Start,
			Size:      trend.PerStep * span,
			Unit:      unit,
			Drift:     true,
			P:         trend.P,
		}}
	}
	for _, c := range found {
		if math.Abs(c.Size) < leastTold {
			continue
		}
		d := &days[at[c.Index]]
		list = append(list, ChangePoint{
			Statistic: statistic,
			Day:       d.Label,
			At:        d.Start,
			Size:      c.Size,
			Unit:      unit,
			P:         c.P,
		})
	}
	return list
}
