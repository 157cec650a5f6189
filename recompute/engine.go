// Package recompute carries settings timelines through the log: head, flow and totals, lane beside lane.
//
// Before is what the meter made of the readings with the settings it had: every reading counts, heads below zero give
// no flow and flows stop at the most that it shows. After is the corrected lane with the readings that screening
// accepts. Logged is the flow column of the log. What-if lanes are further timelines over the readings that the
// corrected lane accepts. All are integrated over the same reporting days.
package recompute

import (
	"math"
	"slices"
	"sort"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// Rows is a stretch of readings with all that was decided on them, in columns of one length. It is valid during the
// call.
type Rows struct {
	Time   []int64
	Value  []float64 // the logged figure that the flow is computed from, SI; of counters and interval volumes, the mean flow of the interval
	Head   []float64 // under the corrected settings, m
	Before []float64 // m³/s
	After  []float64 // m³/s; meaningful where Used
	Used   []bool    // whether After counts
	// Lower and Upper are the flows between which the truth lies, m³/s: After itself where it is exact; Upper is +Inf
	// where nothing bounds it. Both are meaningful where Used.
	Lower, Upper []float64
	Ruling       func(i int) int // number of the ruling that a row is under; −1 for none
	// Doubt is the expanded uncertainty (95 %) of After of row i, m³/s; false where the reading does not count as it
	// was read, or the flow is only bounded, or when there is no budget.
	Doubt  func(i int) (float64, bool)
	Logged []float64 // m³/s; nil when the log has no flow
	State  []reading.State
	Flags  []qa.Flags
}

// Engine turns the ordered readings of a site into totals. It keeps no more rows than the checks look ahead.
type Engine struct {
	log       *reading.Facts
	site      *site.Site
	primary   reading.Quantity
	recorded  *settings.Lane
	corrected *settings.Lane
	whatIfs   []*whatIf // the what-if lanes, then those that the uncertainty budget moves
	asked     int       // how many of them are what-if lanes
	sources   []Source
	sampler   *sampler     // nil unless a Monte Carlo check is wanted
	bends     [][2]float64 // by day: what every other reading changes in the volume, of after and of the difference, m³
	squares   [][2]float64 // by day: squares of what a metre of head changes in the volume of each reading, of both, m⁴
	edges     []Edges      // by day
	joins     [][2]float64 // by day: squares of what the two ways to join readings over a change of settings differ by, of both, m⁶
	curves    []noise      // by day
	beyond    []float64    // by day: volume times how much less well its coefficient is known, above the limit of validity, m³
	screener  qa.Screener
	sink      func(*Rows) error

	columns
	taken     int // rows, of the whole log so far
	done      int // rows before it are processed; they stay as context
	calendar  *total.Calendar
	before    *total.Series
	logged    *total.Series
	intervals *total.Series // of logged interval volumes
	after     after
	kept      *total.Series // the corrected lane as a meter with its settings would have shown it, over the readings of before; nil when nothing was corrected
	counter   *total.Counter
	register  register
	witness   Witness
	visits    visits
	trials    trials
	slow      slow
	peaks     peaks
	peakShown float64
	others    []otherRule
	drowned   Drowned
	rulings   rulings
	estimate  func(hour int64) (float64, bool) // of missing hours; nil for none
	hours     Profile                          // of this run
	collect   bool                             // hours are wanted
	events    events
	from      int64 // period of the totals
	until     int64
	movedAt   []int64 // instants at which something moved (see changes.go)
	lag       int64   // 1 ns where figures are means: a mean belongs to the settings before its stamp
	whole     *Whole  // what an earlier pass over the whole record showed; nil in the first
	stays     stays
	bend      bend
}

// columns are the rows at hand.
type columns struct {
	qa.Window
	shownTime    []int64   // by the logger's clock: what was reported then stands under it; Time itself when the clock was right
	figure       []float64 // the logged figure; Window.Value itself when it is a level
	air          []float64 // K; nil when no setting asks for it
	flow         []float64
	flowState    []reading.State
	counterValue []float64
	counterState []reading.State
	passed       []float64
	passedState  []reading.State
	file, line   []int32
	beforeFlow   []float64
	keptFlow     []float64 // beforeFlow itself when nothing was corrected
	free         []float64 // corrected flow before drowned readings were looked at; afterFlow itself when the log has no downstream level
	atMost       []bool    // the corrected flow is only the most that can have flowed; nil when the log has no downstream level
	afterFlow    []float64
	used         []bool
	lower, upper []float64 // of the rows handed out last
}

// whatIf is a lane beside the corrected one.
type whatIf struct {
	lane     *settings.Lane
	flow     []float64
	series   *total.Series
	brackets brackets
	last     end // the last accepted reading
	bound    settings.Bound
	heads    []float64
	beside   *beside // the recorded lane moved by the same source; nil when there is none
}

// newEngine prepares a pass over a log; sink, which may be nil, is given all rows once they are decided.
func newEngine(l *reading.Facts, s *site.Site, lanes *plan, sink func(*Rows) error) *Engine {
	e := &Engine{log: l, site: s, primary: s.Log.Primary, recorded: lanes.Recorded, corrected: lanes.Corrected, sink: sink, from: math.MinInt64, until: math.MaxInt64}
	e.asked, e.sources = len(lanes.WhatIfs), slices.Clone(lanes.sources)
	for _, lane := range lanes.WhatIfs {
		e.whatIfs = append(e.whatIfs, &whatIf{lane: lane})
	}
	for i, lane := range lanes.moved {
		w := &whatIf{lane: lane}
		if then := lanes.then[i]; then != nil {
			w.beside = &beside{lane: then}
		}
		e.whatIfs = append(e.whatIfs, w)
	}
	e.movedAt = settings.MovedAt(s, lanes.Corrected)
	if e.ofIntervals() {
		e.lag = 1
	}
	resolution := l.Resolution[e.primary]
	gap := l.GapLimit
	if e.ofFlow() {
		resolution = 0 // heads are computed, not logged
	}
	if e.primary == reading.Counter {
		gap = 1 << 62 // a counter counts on while nothing is logged
	}
	e.screener.Limits = qa.NewLimits(s.Screening, l.Interval, gap, resolution)
	e.screener.Limits.Step = l.Resolution[e.primary]
	if e.ofIntervals() { // a mean is no reading: nothing is a spike or stuck
		e.screener.Limits.SpikeThreshold, e.screener.Limits.StuckDuration = math.Inf(1), math.MaxInt64
	}
	if e.primary > reading.Flow {
		e.screener.Limits.Step /= math.Max(l.Interval.Seconds(), 1) // of the mean flow
	}
	if s.Report.From != nil {
		e.from = s.Report.From.UTC
	}
	if s.Report.Until != nil {
		e.until = s.Report.Until.UTC
	}
	e.witness.flowStep, e.witness.levelStep = l.Resolution[reading.Flow], l.Resolution[e.primary]
	e.rulings = newRulings(s)
	e.peaks.window = s.Report.PeakOver.Nanoseconds()
	e.register.rollover = s.Log.Columns[reading.Counter].Rollover
	e.register.changes = registerChanges(&s.Log, func(at int64) int64 { return at })
	return e
}

// ofFlow reports whether the log's figures are flows or volumes, so that heads come out of a rating.
func (e *Engine) ofFlow() bool { return e.primary > reading.Head }

// ofIntervals reports whether the log's figures are means over intervals.
func (e *Engine) ofIntervals() bool { return e.site.Log.Means }

// begin sets up the totals when the first reading is known.
func (e *Engine) begin(first int64) {
	r := e.site.Report
	if e.ofIntervals() && e.primary != reading.Counter || e.log.Has[reading.IntervalVolume] {
		first = e.log.Begins(first)
	}
	first = max(first, e.from)
	e.calendar = total.NewCalendar(r.Clock.Location, r.DayStarts, r.LabelByEnd, first)
	e.before, e.logged, e.intervals = e.series(), e.series(), e.series()
	if len(e.site.Corrections) > 0 {
		e.kept = e.series()
	}
	e.after.begin(e)
	for _, w := range e.whatIfs {
		w.series, w.brackets = e.series(), newBrackets(e)
		if w.beside != nil {
			w.beside.series, w.beside.still = e.series(), e.series()
		}
	}
	e.counter = total.NewCounter(e.calendar, e.from, e.until, e.site.Log.Columns[reading.Counter].Rollover, e.greatestFlow(), e.log.Resolution[reading.Counter])
	e.counter.Changes = registerChanges(&e.site.Log, e.site.Log.Shown)
	e.after.setUp(e)
	e.setUpOthers(first)
	e.visits.setUp(e)
}

// series is a new series of flows that are computed from the log's figures.
func (e *Engine) series() *total.Series {
	s := total.NewSeries(e.calendar, e.from, e.until)
	s.Hold = e.ofIntervals()
	return s
}

// greatestFlow is the largest flow that the meter can have counted; 0 when no maximum is set.
func (e *Engine) greatestFlow() float64 {
	greatest := 0.0
	for i := range e.recorded.Segments {
		s := &e.recorded.Segments[i]
		top := math.Min(settings.RecordedTop(s), s.MaximumFlow)
		if math.IsInf(top, 1) {
			return 0
		}
		greatest = max(greatest, top)
	}
	return 1.5 * greatest // meters count in coarse steps of time
}

// add takes in one batch.
func (e *Engine) add(b *reading.Batch) error {
	if b.Len() == 0 {
		return nil
	}
	if e.calendar == nil {
		e.begin(min(b.Time[0], e.site.Log.Shown(b.Time[0])))
	}
	e.take(b)
	e.taken += b.Len()
	return e.advance(false)
}

// eachSegment calls f for the stretches of rows low to high−1 that lie in one segment of a lane.
func (e *Engine) eachSegment(l *settings.Lane, low, high int, f func(s *settings.Segment, low, high int)) {
	for low < high {
		s := &l.Segments[l.At(e.Time[low]-e.lag)]
		end := low + sort.Search(high-low, func(i int) bool { return e.Time[low+i]-e.lag >= s.Until })
		if s.Until == settings.Never {
			end = high
		}
		f(s, low, end)
		low = end
	}
}

// advance screens and processes the rows that can be decided, and drops those that nothing needs any more.
func (e *Engine) advance(final bool) error {
	e.Spans = e.Spans[:0]
	e.eachSegment(e.corrected, 0, len(e.Time), func(s *settings.Segment, low, high int) {
		limits := s.Rating.Limits()
		e.Spans = append(e.Spans, qa.Span{End: high, Blanking: s.Blanking, Top: s.Top, Valid: limits.High, Usual: s.Usual, Low: limits.Low, Modular: s.Modular(),
			Least: s.Ends.Least, Most: s.Ends.Most, Falling: s.Ends.Falling, Twofold: s.Ends.Twofold})
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
	e.Time, e.Flags = shift(e.Time, k), shift(e.Flags, k)
	if len(e.site.Log.Checks) == 0 {
		e.shownTime = e.Time
	} else {
		e.shownTime = shift(e.shownTime, k)
	}
	e.figure, e.Head = shift(e.figure, k), shift(e.Head, k)
	if e.Value = e.figure; e.ofFlow() {
		e.Value = e.Head
	}
	e.Figure = e.figure
	e.Conflict, e.Suspect, e.Unusable = shift(e.Conflict, k), shift(e.Suspect, k), shift(e.Unusable, k)
	e.DownstreamHead, e.Downstream = shift(e.DownstreamHead, k), shift(e.Downstream, k)
	e.SecondHead, e.Second = shift(e.SecondHead, k), shift(e.Second, k)
	e.air = shift(e.air, k)
	e.passed, e.passedState = shift(e.passed, k), shift(e.passedState, k)
	e.flow, e.flowState = shift(e.flow, k), shift(e.flowState, k)
	e.counterValue, e.counterState = shift(e.counterValue, k), shift(e.counterState, k)
	e.file, e.line = shift(e.file, k), shift(e.line, k)
	e.beforeFlow, e.used, e.atMost = shift(e.beforeFlow, k), shift(e.used, k), shift(e.atMost, k)
	e.afterFlow, e.keptFlow, e.free = shift(e.afterFlow, k), shift(e.keptFlow, k), shift(e.free, k)
	e.Verdicts = shift(e.Verdicts, k)
	for _, w := range e.whatIfs {
		if w.flow = shift(w.flow, k); w.beside != nil {
			w.beside.flow = shift(w.beside.flow, k)
		}
	}
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
	e.eachSegment(e.recorded, low, high, func(s *settings.Segment, low, high int) { e.shown(s, e.beforeFlow, low, high) })
	e.eachSegment(e.corrected, low, high, func(s *settings.Segment, low, high int) {
		s.Flows(e.afterFlow[low:high], e.Head[low:high], e.figure[low:high], e.Time[low:high])
		e.keep(s, low, high)
	})
	for _, w := range e.whatIfs {
		w.compute(e, low, high)
	}
	previous := max(low-1, 0)
	e.addBefore(previous, high)
	e.addLogged(previous, high)
	e.addCounter(low, high)
	e.addPassed(previous, high)
	if !e.ofFlow() {
		e.witness.compare(e, low, high)
	}
	e.trials.add(e, low, high)
	e.drown(low, high)
	e.visits.compare(e, low, high)
	e.slow.add(e, low, high)
	e.stays.add(e, low, high)
	e.after.add(e, low, high)
	if e.collect {
		for i := low; i < high; i++ {
			if e.used[i] {
				e.hours.add(e.Time[i], e.afterFlow[i])
			}
		}
	}
	if e.sink == nil {
		return nil
	}
	r := e.rows(low, high)
	e.boundRows(r, low)
	r.Doubt = func(i int) (float64, bool) {
		if len(e.sources) == 0 || !r.Used[i] || r.Flags[i]&e.after.drops != 0 || r.Lower[i] != r.Upper[i] {
			return 0, false
		}
		return e.doubtOf(low + i), true
	}
	return e.sink(r)
}

// compute works out the flows of a what-if lane, and of the recorded lane that its source moves.
func (w *whatIf) compute(e *Engine, low, high int) {
	e.eachSegment(w.lane, low, high, func(s *settings.Segment, low, high int) {
		w.heads = slices.Grow(w.heads[:0], high-low)[:high-low]
		s.Heads(w.heads, e.Time[low:high], e.figure[low:high], e.airOf(low, high))
		s.Flows(w.flow[low:high], w.heads, e.figure[low:high], e.Time[low:high])
	})
	if w.beside != nil {
		e.eachSegment(w.beside.lane, low, high, func(s *settings.Segment, low, high int) { e.shown(s, w.beside.flow, low, high) })
	}
}

// keep works out what a meter with the corrected settings of a segment would have shown.
func (e *Engine) keep(s *settings.Segment, low, high int) {
	if e.kept == nil {
		return
	}
	out := e.keptFlow[low:high]
	if s.AsRecorded {
		copy(out, e.beforeFlow[low:high])
		return
	}
	copy(out, e.afterFlow[low:high])
	s.Limit(out, e.Head[low:high])
}

// boundRows fills in the bounds of rows from low on.
func (e *Engine) boundRows(r *Rows, low int) {
	e.lower, e.upper = append(e.lower[:0], r.After...), append(e.upper[:0], r.After...)
	e.eachSegment(e.corrected, low, low+len(r.Time), func(s *settings.Segment, from, until int) {
		for i := from; i < until; i++ {
			if !e.used[i] || e.Flags[i]&(e.after.drops|qa.Hiding) == 0 && !s.OfMeans() && len(e.rulings.list) == 0 {
				continue
			}
			ruling := e.rulings.of(e.Time[i], e.Flags[i])
			_, b := e.counted(s, i, e.afterFlow[i], e.after.action(e.Flags[i]&e.after.drops), ruling)
			e.lower[i-low], e.upper[i-low] = b.Lower, b.Upper
		}
	})
	r.Lower, r.Upper = e.lower, e.upper
	r.Ruling = func(i int) int { return e.rulings.of(r.Time[i], r.Flags[i]) }
}

// shown is what the meter showed for the rows of one recorded segment.
func (e *Engine) shown(s *settings.Segment, column []float64, low, high int) {
	s.Shows(column[low:high], e.Time[low:high], e.figure[low:high], e.ofFlow())
}

func (e *Engine) rows(low, high int) *Rows {
	r := &Rows{Time: e.Time[low:high], Value: e.figure[low:high], Head: e.Head[low:high], Before: e.beforeFlow[low:high],
		After: e.afterFlow[low:high], Used: e.used[low:high], Flags: e.Flags[low:high]}
	if len(e.flow) > 0 {
		r.Logged, r.State = e.flow[low:high], e.flowState[low:high]
	}
	return r
}
