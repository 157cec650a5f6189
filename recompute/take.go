package recompute

import (
	"math"
	"slices"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// take appends a batch to the rows at hand.
func (e *Engine) take(b *reading.Batch) {
	start := len(e.Time)
	e.Time = append(e.Time, b.Time...)
	e.takeClock(start)
	e.flow = append(e.flow, b.Value[reading.Flow]...)
	e.flowState = append(e.flowState, b.State[reading.Flow]...)
	e.counterValue = append(e.counterValue, b.Value[reading.Counter]...)
	e.counterState = append(e.counterState, b.State[reading.Counter]...)
	e.passed = append(e.passed, b.Value[reading.IntervalVolume]...)
	e.passedState = append(e.passedState, b.State[reading.IntervalVolume]...)
	for i, level := range b.Value[reading.Downstream] {
		e.DownstreamHead = append(e.DownstreamHead, level) // the level of zero flow is taken off below
		e.Downstream = append(e.Downstream, b.State[reading.Downstream][i] == reading.Present)
	}
	for i, level := range b.Value[reading.SecondLevel] {
		e.SecondHead = append(e.SecondHead, level) // the same
		e.Second = append(e.Second, b.State[reading.SecondLevel][i] == reading.Present)
	}
	e.line = append(e.line, b.Line...)
	if b.File != nil {
		e.file = append(e.file, b.File...)
	} else {
		for range b.Line {
			e.file = append(e.file, b.FileNumber)
		}
	}
	n := len(e.Time)
	e.Conflict = mark(e.Conflict, b.Conflict, start, n)
	e.Suspect = mark(e.Suspect, b.Suspect, start, n)
	e.Unusable = mark(e.Unusable, nil, start, n)
	e.Flags, e.used = grow(e.Flags, n), grow(e.used, n)
	e.Head = slices.Grow(e.Head, n-start)[:n] // written below, the flows in process
	e.beforeFlow, e.afterFlow = slices.Grow(e.beforeFlow, n-start)[:n], slices.Grow(e.afterFlow, n-start)[:n]
	if e.kept != nil {
		e.keptFlow = slices.Grow(e.keptFlow, n-start)[:n]
	}
	if e.DownstreamHead != nil {
		e.free, e.atMost = grow(e.free, n), grow(e.atMost, n)
	}
	for _, w := range e.whatIfs {
		if w.flow = slices.Grow(w.flow, n-start)[:n]; w.beside != nil {
			w.beside.flow = slices.Grow(w.beside.flow, n-start)[:n]
		}
	}
	e.takeVerdicts(start)
	e.takeAir(b, start)
	e.takeFigures(b, start)
	e.eachSegment(e.corrected, start, n, func(s *settings.Segment, low, high int) {
		s.Heads(e.Head[low:high], e.Time[low:high], e.figure[low:high], e.airOf(low, high))
		if s.Unusable {
			e.unusable(low, high)
		}
		s.BelowZero(e.DownstreamHead, e.Time, low, high)
		s.BelowZero(e.SecondHead, e.Time, low, high)
	})
	e.findTooLarge(start, n)
	if e.ofFlow() {
		e.Value = e.Head // spikes and stuck readings are looked for in heads
	}
	e.Figure = e.figure
}

// takeClock appends what the logger's clock showed.
func (e *Engine) takeClock(start int) {
	if len(e.site.Log.Checks) == 0 {
		e.shownTime = e.Time
		return
	}
	for _, at := range e.Time[start:] {
		e.shownTime = append(e.shownTime, e.site.Log.Shown(at))
	}
}

// mark appends marks that may be nil to marks that may be nil.
func mark(column, more []bool, start, n int) []bool {
	if column == nil && more == nil {
		return nil
	}
	column = grow(column, n)
	copy(column[start:], more)
	return column
}

// unusable marks rows of which nothing can be made.
func (e *Engine) unusable(low, high int) {
	e.Unusable = grow(e.Unusable, len(e.Time))
	for i := low; i < high; i++ {
		e.Unusable[i] = true
	}
}

// takeAir appends the logged temperature of the air; a reading without one has that of the reading before it.
func (e *Engine) takeAir(b *reading.Batch, start int) {
	for i, v := range b.Value[reading.Temperature] {
		switch {
		case b.State[reading.Temperature][i] == reading.Present:
		case start+i > 0:
			v = e.air[start+i-1]
		default:
			v = 293.15
			if e.soundByLog() {
				e.unusable(start, start+1)
			}
		}
		e.air = append(e.air, v)
	}
}

// soundByLog reports whether the corrected lane takes the speed of sound from logged temperatures.
func (e *Engine) soundByLog() bool {
	for i := range e.corrected.Segments {
		if e.corrected.Segments[i].TakesSound() {
			return true
		}
	}
	return false
}

// airOf returns the temperatures of some rows, nil when there are none.
func (e *Engine) airOf(low, high int) []float64 {
	if e.air == nil {
		return nil
	}
	return e.air[low:high]
}

// airAt returns the temperature of a row, that of a standard day when there is none.
func (e *Engine) airAt(i int) float64 {
	if e.air == nil {
		return 293.15
	}
	return e.air[i]
}

// takeFigures appends the logged figures: levels and flows as they are, volumes as the mean flow of their interval.
func (e *Engine) takeFigures(b *reading.Batch, start int) {
	values := b.Value[e.primary]
	switch e.primary {
	case reading.IntervalVolume:
		for i, v := range values {
			seconds := float64(e.Time[start+i]-e.opens(start+i)) * 1e-9
			e.figure = append(e.figure, v/math.Max(seconds, 1e-9))
		}
	case reading.Counter:
		for i, v := range values {
			flow, ok := e.register.next(b.Time[i], v)
			if e.figure = append(e.figure, flow); !ok && start+i > 0 {
				e.unusable(start+i, start+i+1)
			}
		}
		if start == 0 && len(values) > 1 { // nothing ends at the first reading
			e.figure[0] = e.figure[1]
		}
	case reading.Flow:
		e.figure = append(e.figure, values...)
	default:
		e.Value = append(e.Value, values...)
		e.figure = e.Value
	}
}

// findTooLarge marks readings that the correction moves by more than the site file allows.
func (e *Engine) findTooLarge(start, n int) {
	most := e.screener.Limits.TooLarge
	if most == 0 {
		return
	}
	e.eachSegment(e.recorded, start, n, func(s *settings.Segment, low, high int) {
		for i := low; i < high; i++ {
			if math.Abs(e.Head[i]-s.Head(e.Time[i], e.figure[i], e.airAt(i))) > most+1e-9 {
				e.unusable(i, i+1)
			}
		}
	})
}

// grow lengthens a column to n rows, zero in the new ones.
func grow[T any](column []T, n int) []T {
	old := len(column)
	if n <= old {
		return column
	}
	column = slices.Grow(column, n-old)[:n]
	clear(column[old:])
	return column
}

// register turns a meter's running total into mean flows.
type register struct {
	rollover float64                // m³; 0 when not known
	changes  []total.RegisterChange // declared and still to come
	last     float64
	lastTime int64
	any      bool
}

// next returns the mean flow since the reading before; false when there is none: at the first reading, and where the
// register fell other than by rolling over.
func (r *register) next(at int64, shown float64) (flow float64, ok bool) {
	seconds := float64(at-r.lastTime) * 1e-9
	increase, from := 0.0, r.last
	for len(r.changes) > 0 && r.changes[0].At <= at {
		increase, from = increase+r.rise(from, r.changes[0].Last), r.changes[0].First // NaN when nobody read the register
		r.changes = r.changes[1:]
	}
	increase += r.rise(from, shown)
	ok = r.any && increase >= 0 && seconds > 0
	r.last, r.lastTime, r.any = shown, at, true
	if !ok {
		return 0, false
	}
	return increase / seconds, true
}

// rise is the increase between two readings of one register, over a rollover when that is the smaller step; NaN when it
// fell otherwise.
func (r *register) rise(from, to float64) float64 {
	increase := to - from
	if increase < 0 && r.rollover > 0 && increase+r.rollover < r.rollover/2 {
		increase += r.rollover
	}
	if increase < 0 {
		return math.NaN()
	}
	return increase
}

// registerChanges are the declared changes of the counter, at the times of the caller's clock.
func registerChanges(l *site.Log, clock func(int64) int64) (list []total.RegisterChange) {
	for _, c := range l.Registers {
		change := total.RegisterChange{At: clock(c.At.UTC), Last: math.NaN(), First: c.First.SI}
		if c.Last != nil {
			change.Last = c.Last.SI
		}
		list = append(list, change)
	}
	return list
}
