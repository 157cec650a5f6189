package recompute

import (
	"math"

	"retotal/ingest/reading"
	"retotal/qa"
)

// addBefore integrates the recorded lane between neighbours that are not too far apart. Where its settings change between two
// readings, the old settings hold up to the change and the new ones from it, at the level on the straight line.
func (e *Engine) addBefore(low, high int) {
	for low < high {
		segment := &e.recorded.Segments[e.recorded.at(e.Time[low])]
		end := e.unbroken(low, high, segment.Until)
		e.before.Run(e.shownTime[low:end], e.beforeFlow[low:end])
		for i := range e.others {
			e.others[i].series.Run(e.shownTime[low:end], e.beforeFlow[low:end])
		}
		if len(e.sources) > 0 {
			for _, q := range e.beforeFlow[low:end] {
				e.peakShown = max(e.peakShown, q)
			}
		}
		if end < high && e.Flags[end]&qa.Gap == 0 {
			off := e.shownTime[end-1] - e.Time[end-1]
			e.cross(e.recorded, e.Time[end-1], e.figure[end-1], e.Time[end], e.figure[end], e.meterAt, func(t0 int64, q0 float64, t1 int64, q1 float64) {
				e.before.Step(t0+off, q0, t1+off, q1)
			})
		} else if end < high && e.primary == reading.IntervalVolume { // the gap ends where its interval begins
			e.before.Step(e.shownTime[end]-int64(e.log.Interval), e.figure[end], e.shownTime[end], e.figure[end])
		}
		low = end
	}
}

// unbroken returns the end of the rows from low on without a gap and before an instant.
func (e *Engine) unbroken(low, high int, until int64) int {
	end := low + 1
	for end < high && e.Flags[end]&qa.Gap == 0 && e.Time[end] < until {
		end++
	}
	return end
}

// meterAt is the flow that the meter shows for a figure at an instant.
func (e *Engine) meterAt(s *Segment, at int64, figure float64) float64 {
	if e.ofFlow() {
		return figure
	}
	return s.meterFlow(s.head(at, figure, 293.15))
}

// cross integrates the interval between two readings over which settings change: each segment with its own flows.
func (e *Engine) cross(l *Lane, t0 int64, v0 float64, t1 int64, v1 float64, flow func(*Segment, int64, float64) float64, step func(int64, float64, int64, float64)) {
	at := func(t int64) float64 {
		if t == t1 || e.ofIntervals() {
			return v1
		}
		return v0 + float64((v1-v0)*(float64(t-t0)/float64(t1-t0)))
	}
	for t := t0; t < t1; {
		s := &l.Segments[l.at(t)]
		next := min(s.Until, t1)
		step(t, flow(s, t, at(t)), next, flow(s, next, at(next)))
		t = next
	}
}

// addLogged integrates the logged flow over readings that have one.
func (e *Engine) addLogged(low, high int) {
	if len(e.flow) == 0 {
		return
	}
	for low < high {
		end := low
		for end < high && e.flowState[end] == reading.Present && (end == low || e.Flags[end]&qa.Gap == 0) {
			end++
		}
		if end == low {
			low++
			continue
		}
		e.logged.Run(e.shownTime[low:end], e.flow[low:end])
		low = end
	}
}

// addCounter takes in the counter of the readings that have one.
func (e *Engine) addCounter(low, high int) {
	for len(e.counterValue) > 0 && low < high {
		end := low
		for end < high && e.counterState[end] == reading.Present {
			end++
		}
		e.counter.Run(e.shownTime[low:end], e.counterValue[low:end])
		low = max(end, low+1)
	}
}

// addPassed spreads each interval's volume evenly over the interval, where the log says one.
func (e *Engine) addPassed(low, high int) {
	for i := low + 1; len(e.passed) > 0 && i < high; i++ {
		if e.passedState[i] == reading.Present && e.Flags[i]&qa.Gap == 0 {
			flow := e.passed[i] / (float64(e.Time[i]-e.Time[i-1]) * 1e-9)
			e.intervals.Step(e.shownTime[i-1], flow, e.shownTime[i], flow)
		}
	}
}

// addSquares adds up how much the random part of each reading counts: the square of what a metre of head changes in its volume, by day. Exactly one of the
// lanes that raise heads moves in each segment, by its standard uncertainty.
func (e *Engine) addSquares(low, high int) {
	if len(e.sources) == 0 {
		return
	}
	for i := low; i < high; i++ {
		slope := e.slope(i)
		day := e.calendar.Day(max(e.Time[i], e.from))
		e.squares = grow(e.squares, day+1)
		v := float64(slope * float64(e.Time[i]-e.Time[i-1]) * 1e-9)
		e.squares[day] += float64(v * v)
	}
}

// slope is what a metre of head changes in the corrected flow of row i, m²/s.
func (e *Engine) slope(i int) (slope float64) {
	for k := range e.sources {
		if s := &e.sources[k]; s.lane >= 0 && s.Unit == "mm" {
			slope += (e.whatIfs[e.asked+s.lane].flow[i] - e.afterFlow[i]) / (nudge * s.Input / 1000)
		}
	}
	return slope
}

// doubtOf is the expanded uncertainty of the corrected flow of row i, m³/s: every source that moves the flow of a single reading.
func (e *Engine) doubtOf(i int) float64 {
	squares := 0.0
	for k := range e.sources {
		s, effect := &e.sources[k], 0.0
		switch {
		case s.lane >= 0:
			effect = (e.whatIfs[e.asked+s.lane].flow[i] - e.afterFlow[i]) / nudge
		case s.Random:
			effect = s.Input / 1000 * e.slope(i)
		case !s.ofClass && !s.bounds && !s.sampling:
			effect = s.relative * e.afterFlow[i]
		}
		squares += float64(effect * effect)
	}
	return coverage * math.Sqrt(squares)
}

// addBends adds up what every other reading of rows low−1 to high−1 changes in the volume of its day. Flow that wanders between readings like a Brownian path, the
// roughest that is usual, makes the total err by that over the root of 3; smooth flow by a third of it (worked out from the variances of its bridges).
func (e *Engine) addBends(low, high int) {
	if len(e.sources) == 0 || e.ofIntervals() {
		return
	}
	for i := low; i+1 < high; i += 2 {
		before, after := float64(e.Time[i]-e.Time[i-1])*0.5e-9, float64(e.Time[i+1]-e.Time[i])*0.5e-9
		day := e.calendar.Day(max(e.Time[i], e.from))
		e.bends = grow(e.bends, day+1)
		e.bends[day] += float64(e.afterFlow[i]*(before+after)) - float64(e.afterFlow[i-1]*after) - float64(e.afterFlow[i+1]*before)
	}
}

// addPeaks follows the highest flows of rows low to high−1, when totals are to be described.
func (e *Engine) addPeaks(low, high int) {
	if len(e.sources) == 0 {
		return
	}
	for i := low; i < high; i++ {
		e.peaks.add(e.Time[i-1], e.afterFlow[i-1], e.Time[i], e.afterFlow[i], true)
	}
}
