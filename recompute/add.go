package recompute

import (
	"math"

	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/recompute/device"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// addBefore integrates what the meter showed, and what it would have shown with the corrected settings, between
// neighbours that are not too far apart.
func (e *Engine) addBefore(low, high int) {
	for _, q := range e.beforeFlow[min(low+1, high-1):high] {
		e.peakShown = max(e.peakShown, q)
	}
	e.addLane(e.recorded, e.beforeFlow, e.shownTime, low, high, append([]*total.Series{e.before}, e.otherSeries()...)...)
	if e.kept != nil {
		e.addLane(e.corrected, e.keptFlow, e.Time, low, high, e.kept)
	}
}

// addLane integrates the flows of a lane over rows low to high−1, row low being one that was taken in before, into
// series that run by a clock.
func (e *Engine) addLane(l *settings.Lane, flows []float64, clock []int64, low, high int, series ...*total.Series) {
	if e.ofIntervals() {
		e.addIntervals(flows, clock, low, high, series)
		return
	}
	for low < high {
		end := e.unbroken(low, high, l.Segments[l.At(e.Time[low])].Until)
		for _, s := range series {
			s.Run(clock[low:end], flows[low:end])
		}
		if end < high && e.Flags[end]&qa.Gap == 0 {
			off := clock[end-1] - e.Time[end-1]
			e.connect(l, e.endAt(end-1, flows[end-1]), e.endAt(end, flows[end]), settings.MeterRate, func(t0 int64, q0 float64, t1 int64, q1 float64) {
				for _, s := range series {
					s.Step(t0+off, q0, t1+off, q1)
				}
			})
		}
		low = end
	}
}

// addIntervals adds means and volumes, each over its own interval; row low is one that was taken in before, unless it
// is the first of all.
func (e *Engine) addIntervals(flows []float64, clock []int64, low, high int, series []*total.Series) {
	for i := e.fresh(low); i < high; i++ {
		off := clock[i] - e.Time[i]
		for _, s := range series {
			s.Step(e.opens(i)+off, flows[i], clock[i], flows[i])
		}
	}
}

// fresh is the first row from low on that was not processed before.
func (e *Engine) fresh(low int) int { return max(low, e.done) }

// unbroken returns the end of the rows from low on without a gap and before an instant.
func (e *Engine) unbroken(low, high int, until int64) int {
	end := low + 1
	for end < high && e.Flags[end]&qa.Gap == 0 && e.Time[end] < until {
		end++
	}
	return end
}

// addLogged integrates the logged flow over readings that have one.
func (e *Engine) addLogged(low, high int) {
	if len(e.flow) == 0 {
		return
	}
	if e.ofIntervals() {
		for i := e.fresh(low); i < high; i++ {
			if e.flowState[i] == reading.Present {
				e.logged.Step(e.opens(i)+e.shownTime[i]-e.Time[i], e.flow[i], e.shownTime[i], e.flow[i])
			}
		}
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
	for i := e.fresh(low); len(e.passed) > 0 && i < high; i++ {
		if from := e.opens(i); e.passedState[i] == reading.Present && from < e.Time[i] {
			flow, off := e.passed[i]/(float64(e.Time[i]-from)*1e-9), e.shownTime[i]-e.Time[i]
			e.intervals.Step(from+off, flow, e.shownTime[i], flow)
		}
	}
}

// addSquares adds up how much the random part of each reading counts: the square of what a metre of head changes in its
// volume, by day, for after and for the difference; and how the flow bends with head, which turns noise into volume.
// Exactly one of the lanes that raise heads moves in each segment, by its standard uncertainty.
func (e *Engine) addSquares(low, high int) {
	if len(e.sources) == 0 {
		return
	}
	for i := low; i < high; i++ {
		after, before := e.slope(i)
		day := e.calendar.Day(max(e.Time[i], e.from))
		e.squares, e.curves = grow(e.squares, day+1), grow(e.curves, day+1)
		seconds := float64(e.Time[i]-e.Time[i-1]) * 1e-9
		v, d := float64(after*seconds), float64((after-before)*seconds)
		e.squares[day][0] += float64(v * v)
		e.squares[day][1] += float64(d * d)
		e.addCurve(day, i, after, seconds)
	}
}

// addCurve adds what the flow bends by with head at row i, over its time: Q″ of the power law that passes with the same
// slope.
func (e *Engine) addCurve(day, i int, slope, seconds float64) {
	if h, q := e.Head[i], e.afterFlow[i]; h > 0 && q > 0 {
		e.curves[day].volume += float64(slope / h * (float64(slope*h)/q - 1) * seconds)
	}
	if i < 2 || e.Time[i]-e.Time[i-2] > 3*int64(e.log.Interval) || e.ofIntervals() {
		return
	}
	e.curves[day].scatter.Add(math.Abs(e.Head[i-2] - 2*e.Head[i-1] + e.Head[i]))
}

// slope is what a metre of head changes in the flow of row i, m²/s: in the corrected one, and in the one before.
func (e *Engine) slope(i int) (after, before float64) {
	for k := range e.sources {
		s := &e.sources[k]
		if s.lane < 0 || s.Unit != "mm" {
			continue
		}
		w, moved := e.whatIfs[e.asked+s.lane], nudge*s.Input/1000
		after += (w.flow[i] - e.afterFlow[i]) / moved
		if w.beside != nil {
			before += (w.beside.flow[i] - e.beforeFlow[i]) / moved
		}
	}
	return after, before
}

// doubtOf is the expanded uncertainty of the corrected flow of row i, m³/s: every source that moves the flow of a
// single reading.
func (e *Engine) doubtOf(i int) float64 {
	squares := 0.0
	for k := range e.sources {
		s, effect := &e.sources[k], 0.0
		switch {
		case s.lane >= 0:
			effect = (e.whatIfs[e.asked+s.lane].flow[i] - e.afterFlow[i]) / nudge
		case s.Random:
			slope, _ := e.slope(i)
			effect = s.Input / 1000 * slope
		case !s.ofClass && !s.sampling && !s.joining:
			effect = s.relative * e.afterFlow[i]
		}
		squares += float64(effect * effect)
	}
	return coverage * math.Sqrt(squares)
}

// bend follows accepted readings that follow each other, two intervals at a time, whatever the batches that they come
// in.
type bend struct {
	points int // since the last triple: 1 or 2
	t      [2]int64
	q      [2][2]float64 // after, and after less before
}

// addBends adds up what every other reading of rows low to high−1, which follow an accepted one, changes in the volume
// of its day. Flow that wanders between readings like a Brownian path, the roughest that is usual, makes the total err
// by that over the root of 3; smooth flow by a third of it (worked out from the variances of its bridges).
func (e *Engine) addBends(low, high int) {
	if len(e.sources) == 0 || e.ofIntervals() {
		return
	}
	if b := &e.bend; b.points == 0 || b.t[b.points-1] != e.Time[low-1] {
		b.points, b.t[0], b.q[0] = 1, e.Time[low-1], e.bothAt(low-1)
	}
	for i := low; i < high; i++ {
		e.addBend(e.Time[i], e.bothAt(i))
	}
}

func (e *Engine) bothAt(i int) [2]float64 {
	return [2]float64{e.afterFlow[i], e.afterFlow[i] - e.beforeFlow[i]}
}

// addBend takes in one reading more.
func (e *Engine) addBend(t int64, q [2]float64) {
	b := &e.bend
	if b.points == 1 {
		b.t[1], b.q[1], b.points = t, q, 2
		return
	}
	before, after := float64(b.t[1]-b.t[0])*0.5e-9, float64(t-b.t[1])*0.5e-9
	day := e.calendar.Day(max(b.t[1], e.from))
	e.bends = grow(e.bends, day+1)
	for k := range q {
		e.bends[day][k] += float64(b.q[1][k]*(before+after)) - float64(b.q[0][k]*after) - float64(q[k]*before)
	}
	b.points, b.t[0], b.q[0] = 1, t, q
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

// addJoin notes by how much the two ways of joining readings over a change differ, when there is a change between the
// last accepted reading and row i.
func (e *Engine) addJoin(i int, a, b end) {
	if len(e.sources) == 0 || e.ofIntervals() {
		return
	}
	after := e.choice(e.corrected, a, b, e.after.laneRate)
	a.flow, b.flow = e.after.parts.before, e.beforeFlow[i]
	before := e.choice(e.recorded, a, b, settings.MeterRate)
	if after == 0 && before == 0 {
		return
	}
	day := e.calendar.Day(max(a.at, e.from))
	e.joins = grow(e.joins, day+1)
	e.joins[day][0] += float64(after*after) / 3
	e.joins[day][1] += float64((after-before)*(after-before)) / 3
}

// choice is the volume by which a lane's two ways of joining two readings differ; 0 where it has no change between
// them.
func (e *Engine) choice(l *settings.Lane, a, b end, rate func(*settings.Segment, int64, float64) float64) (volume float64) {
	cuts := l.ChangesIn(a.at, b.at)
	if len(cuts) == 0 {
		return 0
	}
	e.split(l, cuts, a, b, rate, func(t0 int64, q0 float64, t1 int64, q1 float64) { volume += e.trapezoid(t0, q0, t1, q1) })
	return volume - e.trapezoid(a.at, a.flow, b.at, b.flow)
}

// addBeyond adds up, over rows low to high−1, the volume of heads above the limit of validity times how much less well
// its coefficient is known there.
func (e *Engine) addBeyond(low, high int) {
	if len(e.sources) == 0 {
		return
	}
	for i := low; i < high; i++ {
		if e.Flags[i]&qa.Validity == 0 {
			continue
		}
		more := device.Beyond(e.corrected.Segments[e.corrected.At(e.Time[i]-e.lag)].Rating, e.Head[i]) - 1
		if more <= 0 {
			continue
		}
		day := e.calendar.Day(max(e.Time[i], e.from))
		e.beyond = grow(e.beyond, day+1)
		e.beyond[day] += float64(more * e.afterFlow[i] * float64(e.Time[i]-e.Time[i-1]) * 1e-9)
	}
}

// addEdges notes what a mean puts on either side of the bounds of days that its interval holds: when in the interval it
// flowed is not known.
func (e *Engine) addEdges(t0, t1 int64, flow float64) {
	for day := e.calendar.Day(max(t0, e.from)); ; day++ {
		_, bound := e.calendar.Bounds(day)
		if bound >= min(t1, e.until) {
			return
		}
		e.edges = grow(e.edges, day+2)
		before, after := float64(flow*float64(bound-t0)*1e-9), float64(flow*float64(t1-bound)*1e-9)
		e.edges[day].EndIn, e.edges[day].EndOut = before, after
		e.edges[day+1].StartIn, e.edges[day+1].StartOut = after, before
		e.calendar.Day(bound)
	}
}
