package recompute

import (
	"math"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/total"
)

// Class is how a part of the corrected volume came about.
type Class int

// The classes of volume.
const (
	Measured  Class = iota // between accepted readings
	Bridged                // over dropped readings, along a straight line between the accepted ones
	Bounded                // from readings of which only bounds are known
	Estimated              // from drowned readings
	Filled                 // put in the place of missing time, because the site file asks for it
	Classes
)

// String names the class.
func (c Class) String() string {
	return [...]string{"measured", "bridged", "bounded", "estimated", "filled"}[c]
}

// after integrates the corrected lane over the readings that screening accepts.
type after struct {
	series  [Classes]*total.Series
	lower   *total.Series // of the bounded readings, the least and the most that flowed
	upper   *total.Series
	open    *total.Series            // time in which nothing bounds the flow from above
	actions map[qa.Flags]site.Action // by flag, single bits
	drops   qa.Flags                 // flags that make a reading more than one to keep: all with another action, and drowned
	bridge  int64                    // longest bridge, ns
	last    accepted
	stretch stretch
}

// accepted is a reading that counts.
type accepted struct {
	any   bool
	time  int64
	value float64
	flow  float64
	held  bool
	lower float64 // m³/s; flow itself where it is exact
	upper float64
	flags qa.Flags
}

// stretch is what has happened since the last accepted reading.
type stretch struct {
	unscreened float64 // m³, as if every reading had been kept
	dropped    int
	leftOut    bool
	gap        bool
	events     []*Event // of the dropped readings, one each
}

func (a *after) setUp(e *Engine) {
	a.actions = map[qa.Flags]site.Action{}
	for _, c := range qa.Checks {
		action := e.site.Screening.Actions[c.Name]
		if action == "" {
			action = site.LeaveOut // gaps: nothing is put in their place
		}
		a.actions[c.Flag] = action
		if action != site.Keep || c.Flag == qa.Drowned {
			a.drops |= c.Flag
		}
	}
	a.bridge = e.screener.Limits.BridgeLimit.Nanoseconds()
}

// add integrates rows low to high−1. Stretches of clean rows within one segment go the fast way.
func (a *after) add(e *Engine, low, high int) {
	for low < high {
		if end := a.clean(e, low, high); end > low {
			a.series[Measured].Run(e.Time[low-1:end], e.afterFlow[low-1:end])
			for _, w := range e.whatIfs {
				w.series.Run(e.Time[low-1:end], w.flow[low-1:end])
				w.last = w.flow[end-1]
			}
			for i := low; i < end; i++ {
				e.used[i] = true
			}
			e.addSquares(low, end)
			e.addBends(low, end)
			e.addPeaks(low, end)
			e.addSamples(low, end)
			e.events.extend(e, low, end)
			a.accept(e, end-1, e.afterFlow[end-1], exactly(e.afterFlow[end-1]))
			low = end
			continue
		}
		a.row(e, low)
		low++
	}
}

// clean returns the end of the rows from low on that follow an accepted neighbour, fail no check that drops them, and share
// its segment.
func (a *after) clean(e *Engine, low, high int) int {
	if low == 0 || !a.last.any || a.last.time != e.Time[low-1] || a.last.held || a.last.flags&qa.Drowned != 0 || a.stretch.dropped > 0 {
		return low
	}
	segment := &e.corrected.Segments[e.corrected.at(a.last.time)]
	if segment.ends.hull != nil {
		return low
	}
	until := segment.Until
	for _, w := range e.whatIfs {
		until = min(until, w.lane.Segments[w.lane.at(a.last.time)].Until)
	}
	end := low
	for end < high && e.Flags[end]&a.drops == 0 && e.Time[end] < until {
		end++
	}
	for i := low; len(e.rulings.list) > 0 && i < end; i++ {
		if e.rulings.of(e.Time[i], e.Flags[i]) >= 0 {
			return i
		}
	}
	return end
}

// accept makes row i the last accepted reading.
func (a *after) accept(e *Engine, i int, flow float64, b bound) {
	a.last = accepted{any: true, time: e.Time[i], value: e.figure[i], flow: flow, held: b.held, lower: b.lower, upper: b.upper, flags: e.Flags[i] & a.drops}
	a.stretch = stretch{events: a.stretch.events[:0]}
}

// action returns what becomes of a reading: the strongest action of its flags.
func (a *after) action(flags qa.Flags) site.Action {
	strongest := site.Keep
	rank := map[site.Action]int{site.Keep: 0, site.Zero: 1, site.Hold: 2, site.Bridge: 3, site.LeaveOut: 4}
	for _, c := range qa.Checks {
		if flags&c.Flag&^qa.Gap != 0 && rank[a.actions[c.Flag]] > rank[strongest] {
			strongest = a.actions[c.Flag]
		}
	}
	return strongest
}

// bound is what is known of a reading's flow.
type bound struct {
	held         bool // only bounds are known
	lower, upper float64
}

func exactly(flow float64) bound { return bound{lower: flow, upper: flow} }

// row takes in one reading the careful way.
func (a *after) row(e *Engine, i int) {
	e.events.extend(e, i, i+1)
	if i > 0 && e.Flags[i]&qa.Gap == 0 {
		e.cross(e.corrected, e.Time[i-1], e.figure[i-1], e.Time[i], e.figure[i], e.keptAt(i), func(t0 int64, q0 float64, t1 int64, q1 float64) {
			a.stretch.unscreened += e.trapezoid(t0, q0, t1, q1)
		})
	} else if i > 0 {
		a.stretch.gap = true
	}
	segment := &e.corrected.Segments[e.corrected.at(e.Time[i])]
	flow := e.afterFlow[i]
	b := exactly(flow)
	action := a.action(e.Flags[i] & a.drops)
	ruling := e.rulings.of(e.Time[i], e.Flags[i])
	if ruling >= 0 {
		action, flow, b = e.rule(ruling, i, flow)
	}
	switch action {
	case site.LeaveOut:
		a.stretch.leftOut = true
		a.drop(e, i)
		return
	case site.Bridge:
		a.drop(e, i)
		return
	case site.Hold:
		flow, b = e.held(segment, i, flow)
	case site.Zero:
		flow, b = 0, exactly(0)
	}
	if h := segment.ends.hull; h != nil && !b.held && ruling < 0 {
		b.held = true
		b.lower, b.upper = h.bounds(e.figure[i], e.airAt(i))
	}
	stated := ruling >= 0 && flow != e.afterFlow[i] // whatever the settings
	e.used[i], e.afterFlow[i] = true, flow
	e.peaks.add(a.last.time, a.last.flow, e.Time[i], flow, a.last.any && !a.stretch.gap && !a.stretch.leftOut && a.stretch.dropped == 0)
	e.peaks.most = max(e.peaks.most, b.upper)
	for _, w := range e.whatIfs {
		if w.flow[i] = e.heldBeside(w, i, action); stated {
			w.flow[i] = flow
		}
	}
	volume := a.join(e, i, flow, b)
	a.settle(e, i, volume)
	a.accept(e, i, flow, b)
	for _, w := range e.whatIfs {
		w.last = w.flow[i]
	}
}

// held returns the flow that counts for a reading at a limit, the least that flowed, and its bounds.
func (e *Engine) held(s *Segment, i int, flow float64) (float64, bound) {
	low, high := e.Flags[i]&qa.CutOff != 0, e.Flags[i]&qa.Capped != 0
	b := bound{held: true}
	b.lower, b.upper = s.bounds(e.Time[i], e.figure[i], e.airAt(i), low, high)
	if !low && !high && s.ends.hull == nil {
		b.lower = math.Min(flow, s.hold)
	}
	b.upper = math.Max(b.upper, b.lower)
	return b.lower, b
}

// heldBeside is the flow of a what-if lane for a reading that the corrected lane accepts at a limit.
func (e *Engine) heldBeside(w *whatIf, i int, action site.Action) float64 {
	s := &w.lane.Segments[w.lane.at(e.Time[i])]
	if action != site.Hold {
		return w.flow[i]
	}
	low, high := e.Flags[i]&qa.CutOff != 0, e.Flags[i]&qa.Capped != 0
	if low || high {
		lower, _ := s.bounds(e.Time[i], e.figure[i], e.airAt(i), low, high)
		return lower
	}
	return math.Min(w.flow[i], s.hold)
}

// keptAt gives the flow of a figure at an instant near row i when nothing is screened.
func (e *Engine) keptAt(i int) func(*Segment, int64, float64) float64 {
	air := e.airAt(i)
	return func(s *Segment, at int64, figure float64) float64 { return s.flow(at, figure, air) }
}

// trapezoid is the volume under a straight line, m³, rounded before it is added to another; of means over intervals, the mean times the time.
func (e *Engine) trapezoid(t0 int64, q0 float64, t1 int64, q1 float64) float64 {
	if e.ofIntervals() {
		q0 = q1
	}
	return float64((q0 + q1) / 2 * float64(t1-t0) * 1e-9)
}

// drop notes a reading that does not count.
func (a *after) drop(e *Engine, i int) {
	a.stretch.dropped++
	e.used[i] = false
	if event := e.events.open[index((e.Flags[i] & a.drops &^ qa.Gap).First())]; event != nil {
		a.stretch.events = append(a.stretch.events, event)
	}
}

// join integrates from the last accepted reading to row i, if anything may be put between them, and returns the volume.
func (a *after) join(e *Engine, i int, flow float64, b bound) (volume float64) {
	class := Measured
	t0, t1 := a.last.time, e.Time[i]
	held := b.held || a.last.held && !e.ofIntervals()
	switch s := &a.stretch; {
	case !a.last.any:
		return 0
	case e.ofIntervals() && (s.leftOut || s.gap): // the figure stands for its own interval alone
		if t0 = e.Time[i-1]; s.gap {
			t0 = t1 - int64(e.log.Interval)
		}
	case s.leftOut, s.gap, s.dropped > 0 && t1-t0 > a.bridge:
		a.fill(e, i, t0, flow)
		return 0
	case s.dropped > 0:
		class = Bridged
	}
	switch {
	case class == Bridged:
	case held:
		class = Bounded
	case (e.Flags[i]|a.last.flags)&qa.Drowned != 0:
		class = Estimated
	}
	if held && class == Bounded {
		a.bracket(t0, t1, b)
	}
	series := a.series[class]
	step := func(t0 int64, q0 float64, t1 int64, q1 float64) {
		series.Step(t0, q0, t1, q1)
		volume += e.trapezoid(t0, q0, t1, q1)
	}
	e.between(e.corrected, i, t0, a.last.flow, flow, step)
	for _, w := range e.whatIfs {
		e.between(w.lane, i, t0, w.last, w.flow[i], w.series.Step)
	}
	return volume
}

// fill puts an estimate in the place of missing time, when the site file asks for it and the time is no longer than it allows: all of it or nothing. It
// stays a class of its own in every total. What-if lanes are filled by the same rule from their own flows, except by the time of day.
func (a *after) fill(e *Engine, i int, t0 int64, flow float64) {
	f, t1 := e.site.Filling, e.Time[i]
	if f.Rule == site.FillNot || f.Rule == "" || t1-t0 > f.Limit.Nanoseconds() {
		return
	}
	series := a.series[Filled]
	switch f.Rule {
	case site.FillLinear:
		series.Step(t0, a.last.flow, t1, flow)
	case site.FillHold:
		series.Step(t0, a.last.flow, t1, a.last.flow)
	default:
		fillHours(t0, t1, e.estimate, series.Step)
	}
	for _, w := range e.whatIfs {
		switch f.Rule {
		case site.FillLinear:
			w.series.Step(t0, w.last, t1, w.flow[i])
		case site.FillHold:
			w.series.Step(t0, w.last, t1, w.last)
		default:
			fillHours(t0, t1, e.estimate, w.series.Step)
		}
	}
}

// bracket integrates the least and the most that flowed between two readings of which one at least is only bounded.
func (a *after) bracket(t0, t1 int64, b bound) {
	a.lower.Step(t0, a.last.lower, t1, b.lower)
	upper := [2]float64{a.last.upper, b.upper}
	if a.upper.Hold {
		upper[0] = upper[1]
	}
	if math.IsInf(upper[0], 1) || math.IsInf(upper[1], 1) {
		a.open.Step(t0, 0, t1, 0)
		upper = [2]float64{a.last.lower, b.lower}
	}
	a.upper.Step(t0, upper[0], t1, upper[1])
}

// between integrates a lane from an accepted reading at t0 to row i. Where settings change on the way, the flows at both ends are those that count, and
// between them the figure is a straight line.
func (e *Engine) between(l *Lane, i int, t0 int64, from, flow float64, step func(int64, float64, int64, float64)) {
	t1 := e.Time[i]
	last := l.at(t1)
	if l.at(t0) == last {
		step(t0, from, t1, flow)
		return
	}
	air := e.airAt(i)
	limited := func(s *Segment, at int64, figure float64) float64 { return math.Min(s.flow(at, figure, air), s.hold) }
	e.cross(l, t0, e.after.last.value, t1, e.figure[i], limited, func(from0 int64, q0 float64, until int64, q1 float64) {
		if from0 == t0 {
			q0 = from
		}
		if until == t1 && l.Segments[last].From < t1 {
			q1 = flow
		}
		step(from0, q0, until, q1)
	})
}

// settle gives the difference that screening made since the last accepted reading to the events behind it, in equal parts
// to each dropped or changed reading.
func (a *after) settle(e *Engine, i int, volume float64) {
	causes := a.stretch.events
	if event := e.events.open[index((e.Flags[i] & a.drops &^ qa.Gap).First())]; event != nil {
		causes = append(causes, event)
	}
	if a.last.any && a.last.flags != 0 && e.events.recent != nil {
		causes = append(causes, e.events.recent)
	}
	for _, event := range causes {
		event.Effect += (volume - a.stretch.unscreened) / float64(len(causes))
	}
	e.events.recent = nil
	if flags := e.Flags[i] & a.drops &^ qa.Gap; flags != 0 {
		e.events.recent = e.events.open[index(flags.First())]
	}
	a.stretch.events = causes[:0]
}

// finish settles what is left after the last accepted reading.
func (a *after) finish(e *Engine) {
	for _, event := range a.stretch.events {
		event.Effect -= a.stretch.unscreened / float64(len(a.stretch.events))
	}
}
