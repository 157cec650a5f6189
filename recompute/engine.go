// Package recompute carries settings timelines through the log: head, flow and totals, lane beside lane.
//
// Three flows run beside each other. Before is what the meter made of the readings with the settings it had: every reading
// counts, heads below zero give no flow and heads above the maximum head give the flow at it. After is the corrected
// lane with the readings that screening accepts. Logged is the flow column of the log. All are integrated over the same
// reporting days.
package recompute

import (
	"math"
	"slices"
	"sort"

	"retotal/ingest"
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/device"
	"retotal/recompute/total"
)

// Rows is a stretch of readings with all that was decided on them, in columns of one length. It is valid during the call.
type Rows struct {
	Time   []int64
	Value  []float64 // the logged distance, level or head, m
	Head   []float64 // under the corrected settings, m
	Before []float64 // m³/s
	After  []float64 // m³/s; meaningful where Used
	Used   []bool    // whether After counts
	Logged []float64 // m³/s; nil when the log has no flow
	State  []reading.State
	Flags  []qa.Flags
}

// Engine turns the ordered readings of a site into totals. It keeps no more rows than the checks look ahead.
type Engine struct {
	log       *ingest.Log
	site      *site.Site
	recorded  *Lane
	corrected *Lane
	screener  qa.Screener
	sink      func(*Rows) error

	columns
	done      int // rows before it are processed; they stay as context
	calendar  *total.Calendar
	before    *total.Series
	logged    *total.Series
	intervals *total.Series // of logged interval volumes
	after     after
	counter   *total.Counter
	witness   Witness
	drowned   Drowned
	events    events
	from      int64 // period of the totals
	until     int64
}

// columns are the rows at hand.
type columns struct {
	qa.Window
	flow         []float64
	flowState    []reading.State
	counterValue []float64
	counterState []reading.State
	passed       []float64
	passedState  []reading.State
	file, line   []int32
	beforeFlow   []float64
	afterFlow    []float64
	used         []bool
}

// NewEngine prepares a run over a log; sink, which may be nil, is given all rows once they are decided.
func NewEngine(l *ingest.Log, recorded, corrected *Lane, sink func(*Rows) error) *Engine {
	s := l.Site
	e := &Engine{log: l, site: s, recorded: recorded, corrected: corrected, sink: sink, from: math.MinInt64, until: math.MaxInt64}
	e.screener.Limits = qa.NewLimits(s.Screening, l.Interval, l.GapLimit, l.Resolution[s.Log.Primary])
	if s.Report.From != nil {
		e.from = s.Report.From.UTC
	}
	if s.Report.Until != nil {
		e.until = s.Report.Until.UTC
	}
	e.witness.flowStep, e.witness.levelStep = l.Resolution[reading.Flow], l.Resolution[s.Log.Primary]
	return e
}

// begin sets up the totals when the first reading is known.
func (e *Engine) begin(first int64) {
	r := e.site.Report
	first = max(first, e.from)
	e.calendar = total.NewCalendar(r.Clock.Location, r.DayStarts, r.LabelByEnd, first)
	e.before = total.NewSeries(e.calendar, e.from, e.until)
	e.logged = total.NewSeries(e.calendar, e.from, e.until)
	e.intervals = total.NewSeries(e.calendar, e.from, e.until)
	for class := range e.after.series {
		e.after.series[class] = total.NewSeries(e.calendar, e.from, e.until)
	}
	e.counter = total.NewCounter(e.calendar, e.from, e.until, e.site.Log.Columns[reading.Counter].Rollover, e.greatestFlow(), e.log.Resolution[reading.Counter])
	e.after.setUp(e)
}

// greatestFlow is the largest flow that the meter can have counted; 0 when no maximum head is set.
func (e *Engine) greatestFlow() float64 {
	greatest := 0.0
	for i := range e.recorded.Segments {
		s := &e.recorded.Segments[i]
		if math.IsInf(s.maximumHead, 1) {
			return 0
		}
		greatest = max(greatest, s.Rating.Flow(s.maximumHead))
	}
	return 1.5 * greatest // meters count in coarse steps of time
}

// Add takes in one batch.
func (e *Engine) Add(b *reading.Batch) error {
	if b.Len() == 0 {
		return nil
	}
	if e.calendar == nil {
		e.begin(b.Time[0])
	}
	e.take(b)
	return e.advance(false)
}

// take appends a batch to the rows at hand.
func (e *Engine) take(b *reading.Batch) {
	start := len(e.Time)
	e.Time = append(e.Time, b.Time...)
	e.Value = append(e.Value, b.Value[e.site.Log.Primary]...)
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
	e.line = append(e.line, b.Line...)
	if b.File != nil {
		e.file = append(e.file, b.File...)
	} else {
		for range b.Line {
			e.file = append(e.file, b.FileNumber)
		}
	}
	n := len(e.Time)
	if b.Conflict != nil || e.Conflict != nil {
		e.Conflict = grow(e.Conflict, n)
		copy(e.Conflict[start:], b.Conflict)
	}
	if b.Suspect != nil || e.Suspect != nil {
		e.Suspect = grow(e.Suspect, n)
		copy(e.Suspect[start:], b.Suspect)
	}
	e.Flags, e.used = grow(e.Flags, n), grow(e.used, n)
	e.Head = slices.Grow(e.Head, n-start)[:n] // written below, the flows in process
	e.beforeFlow, e.afterFlow = slices.Grow(e.beforeFlow, n-start)[:n], slices.Grow(e.afterFlow, n-start)[:n]
	e.eachSegment(e.corrected, start, n, func(s *Segment, low, high int) {
		s.heads(e.Head[low:high], e.Time[low:high], e.Value[low:high])
		if e.DownstreamHead != nil {
			zero := line(s.Settings.LevelOfZeroFlow, s)
			for i := low; i < high; i++ {
				e.DownstreamHead[i] -= zero.at + float64(zero.perNs*float64(e.Time[i]-s.origin))
			}
		}
	})
}

// grow lengthens a column to n rows, zero in the new ones.
func grow[T any](column []T, n int) []T {
	old := len(column)
	column = slices.Grow(column, n-old)[:n]
	clear(column[old:])
	return column
}

// heads turns readings of one segment into heads.
func (s *Segment) heads(heads []float64, times []int64, values []float64) {
	if s.shiftPerNs == 0 {
		sign, shift := s.sign, s.shift
		for i, v := range values {
			heads[i] = float64(sign*v) + shift
		}
		return
	}
	for i, v := range values {
		heads[i] = s.head(times[i], v)
	}
}

// eachSegment calls f for the stretches of rows low to high−1 that lie in one segment of a lane.
func (e *Engine) eachSegment(l *Lane, low, high int, f func(s *Segment, low, high int)) {
	for low < high {
		s := &l.Segments[l.at(e.Time[low])]
		end := low + sort.Search(high-low, func(i int) bool { return e.Time[low+i] >= s.Until })
		if s.Until == never {
			end = high
		}
		f(s, low, end)
		low = end
	}
}

// advance screens and processes the rows that can be decided, and drops those that nothing needs any more.
func (e *Engine) advance(final bool) error {
	e.Spans = e.Spans[:0]
	e.eachSegment(e.corrected, 0, len(e.Time), func(s *Segment, low, high int) {
		e.Spans = append(e.Spans, qa.Span{End: high, Blanking: s.blanking, Top: s.top, Low: s.Rating.Limits().Low, Modular: s.modular()})
	})
	ready := e.screener.Flag(&e.Window, e.done, final)
	if ready > e.done {
		if err := e.process(e.done, ready); err != nil {
			return err
		}
		e.done = ready
	}
	e.forget(e.screener.Forget(&e.Window, ready))
	return nil
}

// forget moves all columns up by k rows.
func (e *Engine) forget(k int) {
	if k <= 0 {
		return
	}
	e.Time, e.Value, e.Head, e.Flags = shift(e.Time, k), shift(e.Value, k), shift(e.Head, k), shift(e.Flags, k)
	e.Conflict, e.Suspect = shift(e.Conflict, k), shift(e.Suspect, k)
	e.passed, e.passedState = shift(e.passed, k), shift(e.passedState, k)
	e.DownstreamHead, e.Downstream = shift(e.DownstreamHead, k), shift(e.Downstream, k)
	e.flow, e.flowState = shift(e.flow, k), shift(e.flowState, k)
	e.counterValue, e.counterState = shift(e.counterValue, k), shift(e.counterState, k)
	e.file, e.line = shift(e.file, k), shift(e.line, k)
	e.beforeFlow, e.afterFlow, e.used = shift(e.beforeFlow, k), shift(e.afterFlow, k), shift(e.used, k)
	e.done -= k
}

func shift[T any](column []T, k int) []T {
	if len(column) == 0 {
		return column
	}
	return column[:copy(column, column[k:])]
}

// process computes the flows of rows low to high−1 and adds them to all totals. Row low−1, if any, is the one before.
func (e *Engine) process(low, high int) error {
	e.eachSegment(e.recorded, low, high, func(s *Segment, low, high int) {
		out := e.beforeFlow[low:high]
		s.heads(out, e.Time[low:high], e.Value[low:high])
		for i, h := range out {
			if h > s.maximumHead {
				out[i] = s.maximumHead
			}
		}
		s.Rating.Flows(out, out)
	})
	e.eachSegment(e.corrected, low, high, func(s *Segment, low, high int) {
		s.Rating.Flows(e.afterFlow[low:high], e.Head[low:high])
	})
	previous := max(low-1, 0)
	e.addBefore(previous, high)
	e.addLogged(previous, high)
	e.addCounter(low, high)
	e.addPassed(previous, high)
	e.witness.compare(e, low, high)
	e.drown(low, high)
	e.after.add(e, low, high)
	if e.sink == nil {
		return nil
	}
	return e.sink(e.rows(low, high))
}

func (e *Engine) rows(low, high int) *Rows {
	r := &Rows{Time: e.Time[low:high], Value: e.Value[low:high], Head: e.Head[low:high], Before: e.beforeFlow[low:high],
		After: e.afterFlow[low:high], Used: e.used[low:high], Flags: e.Flags[low:high]}
	if len(e.flow) > 0 {
		r.Logged, r.State = e.flow[low:high], e.flowState[low:high]
	}
	return r
}

// addBefore integrates the recorded lane between neighbours that are not too far apart. Where its settings change between two
// readings, the old settings hold up to the change and the new ones from it, at the level on the straight line.
func (e *Engine) addBefore(low, high int) {
	for low < high {
		segment := &e.recorded.Segments[e.recorded.at(e.Time[low])]
		end := e.unbroken(low, high, segment.Until)
		e.before.Run(e.Time[low:end], e.beforeFlow[low:end])
		if end < high && e.Flags[end]&qa.Gap == 0 {
			e.recorded.cross(e.Time[end-1], e.Value[end-1], e.Time[end], e.Value[end], (*Segment).meterAt, e.before.Step)
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

// meterAt is the flow that the meter shows for a reading at an instant.
func (s *Segment) meterAt(at int64, value float64) float64 { return s.meterFlow(s.head(at, value)) }

// cross integrates the interval between two readings over which settings change: each segment with its own flows.
func (l *Lane) cross(t0 int64, v0 float64, t1 int64, v1 float64, flow func(*Segment, int64, float64) float64, step func(int64, float64, int64, float64)) {
	at := func(t int64) float64 {
		if t == t1 {
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
		e.logged.Run(e.Time[low:end], e.flow[low:end])
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
		e.counter.Run(e.Time[low:end], e.counterValue[low:end])
		low = max(end, low+1)
	}
}

// addPassed spreads each interval's volume evenly over the interval, where the log says one.
func (e *Engine) addPassed(low, high int) {
	for i := low + 1; len(e.passed) > 0 && i < high; i++ {
		if e.passedState[i] == reading.Present && e.Flags[i]&qa.Gap == 0 {
			flow := e.passed[i] / (float64(e.Time[i]-e.Time[i-1]) * 1e-9)
			e.intervals.Step(e.Time[i-1], flow, e.Time[i], flow)
		}
	}
}

// Drowned is what was made of readings taken under drowned flow.
type Drowned struct {
	Readings int     `json:"readings"`
	Computed int     `json:"computed"`          // by a drowned equation; the others keep the free flow, which is then an upper bound
	Spread   float64 `json:"largest_added_u95"` // relative uncertainty that drowning adds, at the most
	Source   string  `json:"source,omitempty"`
}

// modular returns the modular limit of a segment's device, 0 when none is known.
func (s *Segment) modular() float64 {
	d, ok := s.Rating.(device.Drownable)
	if !ok {
		return 0
	}
	if limit, _ := d.ModularLimit(); !math.IsInf(limit, 1) {
		return math.Max(limit, 1e-9) // a thin plate drowns as soon as the water reaches its crest
	}
	return 0
}

// drown replaces the free flow of drowned readings where the device has an equation for it.
func (e *Engine) drown(low, high int) {
	if e.DownstreamHead == nil {
		return
	}
	e.eachSegment(e.corrected, low, high, func(s *Segment, low, high int) {
		d, ok := s.Rating.(device.Drownable)
		for i := low; ok && i < high; i++ {
			if e.Flags[i]&qa.Drowned == 0 {
				continue
			}
			e.drowned.Readings++
			_, e.drowned.Source = d.ModularLimit()
			if q, spread, ok := d.Drowned(e.Head[i], e.DownstreamHead[i]); ok {
				e.afterFlow[i] = q
				e.drowned.Computed++
				e.drowned.Spread = math.Max(e.drowned.Spread, spread)
			}
		}
	})
}
