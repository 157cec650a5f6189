package recompute

import (
	"math"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/settings"
	"retotal/recompute/stat"
)

// slow gathers slow statistics of the log, one value a reporting day, in which a change of settings shows: the night
// minimum is the lowest hourly mean of the head, of readings that no check doubts.
type slow struct {
	hour    int64 // number of the hour at hand
	sum     float64
	air     float64 // sum of the air's temperature, K
	n       int
	days    []slowDay
	current int // day of the hour at hand
}

// slowDay is one reporting day.
type slowDay struct {
	lowest float64 // +Inf where there is none
	air    float64 // K, in that hour
	hours  [24]float64
	seen   [24]bool
}

// add takes in rows low to high−1.
func (s *slow) add(e *Engine, low, high int) {
	const hour = 3600e9
	for i := low; i < high; i++ {
		if e.Flags[i]&^(qa.Gap|qa.Validity) != 0 {
			continue
		}
		if at := e.Time[i] / hour; at != s.hour {
			s.close()
			s.hour, s.current = at, e.calendar.Day(max(e.Time[i], e.from))
		}
		s.sum += e.Head[i]
		if e.air != nil {
			s.air += e.air[i]
		}
		s.n++
	}
}

// close ends the hour at hand.
func (s *slow) close() {
	if s.n > 0 {
		for len(s.days) <= s.current {
			s.days = append(s.days, slowDay{lowest: math.Inf(1)})
		}
		d, mean := &s.days[s.current], s.sum/float64(s.n)
		if mean < d.lowest {
			d.lowest, d.air = mean, s.air/float64(s.n)
		}
		d.hours[s.hour%24], d.seen[s.hour%24] = mean, true
	}
	s.sum, s.air, s.n = 0, 0, 0
}

// whole reports whether every hour of a day has readings.
func (d *slowDay) whole() bool {
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
	PerKelvin   float64
	Correlation float64 // Spearman's rank correlation of night minimum and air temperature
	Expected    float64
	Days        int
}

// Limits of the patterns, common practice.
const (
	alike      = 0.8 // mean correlation of the days before with their own mean
	unlike     = 0.2
	beforeDays = 7
	fewestAir  = 20 // days
)

// pattern looks at the courses of days, and at what the night minimum has to do with the temperature of the air.
func (e *Engine) pattern(r *Result) (p Pattern) {
	s := &e.slow
	for i := beforeDays; i < len(s.days) && i < len(r.Days); i++ {
		var mean [24]float64
		usable := s.days[i].whole()
		for k := i - beforeDays; k < i; k++ {
			usable = usable && s.days[k].whole()
			for h, v := range s.days[k].hours {
				mean[h] += v / beforeDays
			}
		}
		if !usable {
			continue
		}
		similar := 0.0
		for k := i - beforeDays; k < i; k++ {
			similar += stat.Correlation(s.days[k].hours[:], mean[:]) / beforeDays
		}
		if similar >= alike && stat.Correlation(s.days[i].hours[:], mean[:]) <= unlike {
			p.Broken = append(p.Broken, r.Days[i].Label)
		}
	}
	if e.air == nil {
		return p
	}
	var lowest, air []float64
	for _, d := range s.days {
		if !math.IsInf(d.lowest, 1) {
			lowest, air = append(lowest, d.lowest*1000), append(air, d.air)
		}
	}
	if p.Days = len(lowest); p.Days < fewestAir {
		return p
	}
	p.Correlation, p.PerKelvin = stat.RankCorrelation(air, lowest), stat.TheilSen(air, lowest)
	if s := last(e.corrected); s.Settings.Values[site.EmptyDistance] != nil { // a distance d is shown d/(2T) too short for each kelvin too cold
		p.Expected = s.Settings.Values[site.EmptyDistance].From.SI * 1000 / (2 * 283.15)
	}
	return p
}

func last(l *settings.Lane) *settings.Segment { return &l.Segments[len(l.Segments)-1] }

// ChangePoint is a day on which a slow statistic of the log changes its level: a candidate for when a setting changed.
type ChangePoint struct {
	Statistic  string
	Day        string // first day after the change
	At         int64  // its beginning
	Size       float64
	Drift      bool // Size is the change over the whole log, along a line
	Unit       string
	Confidence float64
}

// changePoints looks for changes, or a drift where that explains a series better, in the night minimum, in the ratio of
// the logged flow to that of the recorded settings, and in the ratio of the counter to the logged flow.
func (e *Engine) changePoints(r *Result) (list []ChangePoint) {
	e.slow.close()
	series := func(statistic, unit string, value func(i int) (float64, bool)) {
		var values []float64
		var days []int
		for i := range r.Days {
			if v, ok := value(i); ok {
				values, days = append(values, v), append(days, i)
			}
		}
		found := stat.Changes(values)
		if trend, ok := stat.FindTrend(values); ok && stat.Straighter(values, trend, found) {
			found = nil
			d := &r.Days[days[0]]
			list = append(list, ChangePoint{Statistic: statistic, Day: d.Label, At: d.Start, Size: trend.PerStep * float64(days[len(days)-1]-days[0]), Unit: unit, Drift: true, Confidence: trend.Confidence})
		}
		for _, c := range found {
			d := &r.Days[days[c.Index]]
			list = append(list, ChangePoint{Statistic: statistic, Day: d.Label, At: d.Start, Size: c.Size, Unit: unit, Confidence: c.Confidence})
		}
	}
	series("night minimum of the head", "mm", func(i int) (float64, bool) {
		if i >= len(e.slow.days) || math.IsInf(e.slow.days[i].lowest, 1) {
			return 0, false
		}
		return e.slow.days[i].lowest * 1000, true
	})
	ratio := func(a, b Volume, within float64) (float64, bool) {
		if a.Covered == 0 || b.Covered != a.Covered || b.M3() <= 0 {
			return 0, false
		}
		return math.Round((a.M3()/b.M3()-1)*100/within) * within, true // what rounding of the log makes is no change
	}
	if !e.ofFlow() {
		series("logged flow over that of the recorded settings", "%", func(i int) (float64, bool) { return ratio(r.Days[i].Logged, r.Days[i].Before, 0.1) })
	}
	series("counter over logged flow", "%", func(i int) (float64, bool) { return ratio(r.Days[i].Counted, r.Days[i].Logged, 0.1) })
	return list
}
