package recompute

import (
	"math"

	"retotal/qa"
)

// slow gathers slow statistics of the log, one value a reporting day, in which a change of settings shows: the night minimum is the lowest hourly mean of
// the head, of readings that no check doubts.
type slow struct {
	hour    int64 // number of the hour at hand
	sum     float64
	n       int
	lowest  []float64 // by day; +Inf where there is none
	current int       // day of the hour at hand
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
		s.n++
	}
}

// close ends the hour at hand. Hours of few readings say little of a minimum and are passed over only when the day has others.
func (s *slow) close() {
	if s.n > 0 {
		for len(s.lowest) <= s.current {
			s.lowest = append(s.lowest, math.Inf(1))
		}
		s.lowest[s.current] = math.Min(s.lowest[s.current], s.sum/float64(s.n))
	}
	s.sum, s.n = 0, 0
}

// ChangePoint is a day on which a slow statistic of the log changes its level: a candidate for when a setting changed.
type ChangePoint struct {
	Statistic  string  `json:"statistic"`
	Day        string  `json:"day"` // first day after the change
	At         int64   `json:"-"`   // its beginning
	Size       float64 `json:"size"`
	Drift      bool    `json:"drift,omitempty"` // Size is the change over the whole log, along a line
	Unit       string  `json:"unit"`
	Confidence float64 `json:"confidence"`
}

// changePoints looks for changes, or a drift where that explains a series better, in the night minimum, in the ratio of the logged flow to that of the recorded settings, and in the ratio of the
// counter to the logged flow.
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
		found := qa.Changes(values)
		if trend, ok := qa.FindTrend(values); ok && qa.Straighter(values, trend, found) {
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
		if i >= len(e.slow.lowest) || math.IsInf(e.slow.lowest[i], 1) {
			return 0, false
		}
		return e.slow.lowest[i] * 1000, true
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
