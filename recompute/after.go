package recompute

import (
	"math"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/settings"
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
	series   [Classes]*total.Series
	brackets brackets
	parts    parts
	actions  map[qa.Flags]site.Action // by flag, single bits
	drops    qa.Flags                 // flags that make a reading more than one to keep: all with another action, and careful
	holdsTop bool                     // readings above the channel or the rating are held
	bridge   int64                    // longest bridge, ns
	last     accepted
	stretch  stretch
}

// brackets integrates over the intervals in which a flow is only known between bounds.
type brackets struct {
	counted *total.Series // what counts of it in the total
	lower   *total.Series // the least and the most that flowed
	upper   *total.Series
	open    *total.Series // time in which nothing bounds the flow from above
}

func newBrackets(e *Engine) brackets { return brackets{e.series(), e.series(), e.series(), e.series()} }

// accepted is a reading that counts.
type accepted struct {
	any bool
	end
	bound settings.Bound
	raw   float64 // flow before screening, m³/s
	free  float64 // flow before drowned readings were looked at
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

func (a *after) begin(e *Engine) {
	for class := range a.series {
		a.series[class] = e.series()
	}
	a.brackets = newBrackets(e)
	a.parts.begin(e)
	a.setUp(e)
}

// careful are the flags of readings whose flow is not simply what it shows, even where the site file keeps them.
const careful = qa.Drowned | qa.CutOff | qa.Capped | qa.Blanking | qa.Spike

func (a *after) setUp(e *Engine) {
	a.actions = map[qa.Flags]site.Action{}
	for _, c := range qa.Checks {
		action := e.site.Screening.Actions[c.Name]
		if action == "" {
			action = site.LeaveOut // gaps: nothing is put in their place
		}
		a.actions[c.Flag] = action
		if action != site.Keep || c.Flag&careful != 0 {
			a.drops |= c.Flag
		}
	}
	a.bridge = e.screener.Limits.BridgeLimit.Nanoseconds()
	a.holdsTop = a.actions[qa.Surcharge] == site.Hold
}

// add integrates rows low to high−1. Stretches of clean rows within one segment go the fast way.
func (a *after) add(e *Engine, low, high int) {
	for low < high {
		if end := a.clean(e, low, high); end > low {
			a.series[Measured].Run(e.Time[low-1:end], e.afterFlow[low-1:end])
			for i := low; e.ofIntervals() && i < end; i++ {
				e.addEdges(e.Time[i-1], e.Time[i], e.afterFlow[i])
			}
			for _, w := range e.whatIfs {
				w.series.Run(e.Time[low-1:end], w.flow[low-1:end])
				w.accept(e, end-1, w.flow[end-1], settings.Exactly(w.flow[end-1]))
				w.beside.run(e, low, end)
			}
			for i := low; i < end; i++ {
				e.used[i] = true
			}
			a.parts.run(e, low, end)
			e.addSquares(low, end)
			e.addBends(low, end)
			e.addBeyond(low, end)
			e.addPeaks(low, end)
			e.addSamples(low, end)
			e.events.extend(e, low, end)
			a.accept(e, end-1, e.afterFlow[end-1], e.afterFlow[end-1], settings.Exactly(e.afterFlow[end-1]))
			low = end
			continue
		}
		a.row(e, low)
		low++
	}
}

// clean returns the end of the rows from low on that follow an accepted neighbour, fail no check that drops them, and
// share its segment.
func (a *after) clean(e *Engine, low, high int) int {
	if low == 0 || !a.last.any || a.last.at != e.Time[low-1] || a.last.bound.Held || a.last.flags&qa.Drowned != 0 || a.stretch.dropped > 0 {
		return low
	}
	segment := &e.corrected.Segments[e.corrected.At(a.last.at)]
	if segment.OfMeans() {
		return low
	}
	until := segment.Until
	for _, w := range e.whatIfs {
		until = min(until, w.lane.Segments[w.lane.At(a.last.at)].Until)
		if w.beside != nil {
			until = min(until, w.beside.lane.Segments[w.beside.lane.At(a.last.at)].Until)
		}
	}
	end := low
	for end < high && e.Flags[end]&a.drops == 0 && e.Time[end] < until {
		if e.ofIntervals() && e.opens(end) != e.Time[end-1] {
			return end
		}
		end++
	}
	for i := low; len(e.rulings.list) > 0 && i < end; i++ {
		if e.rulings.of(e.Time[i], e.Flags[i]) >= 0 {
			return i
		}
	}
	return end
}

// accept makes row i the last accepted reading; raw is its flow before screening.
func (a *after) accept(e *Engine, i int, flow, raw float64, b settings.Bound) {
	a.last = accepted{any: true, end: e.endAt(i, flow), bound: b, raw: raw, free: raw, flags: e.Flags[i] & a.drops}
	if e.free != nil {
		a.last.free = e.free[i]
	}
	a.parts.kept, a.parts.before = e.keptAt(i), e.beforeFlow[i]
	a.stretch = stretch{events: a.stretch.events[:0]}
}

func (e *Engine) endAt(i int, flow float64) end {
	return end{at: e.Time[i], figure: e.figure[i], air: e.airAt(i), flow: flow}
}

// accept makes row i the last accepted reading of a lane.
func (w *whatIf) accept(e *Engine, i int, flow float64, b settings.Bound) {
	w.last, w.bound = e.endAt(i, flow), b
	if w.beside != nil {
		w.beside.last = [2]float64{w.beside.flow[i], e.beforeFlow[i]}
	}
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

// row takes in one reading the careful way.
func (a *after) row(e *Engine, i int) {
	e.events.extend(e, i, i+1)
	segment := &e.corrected.Segments[e.corrected.At(e.Time[i]-e.lag)]
	raw := e.afterFlow[i]
	a.unscreened(e, i, raw)
	flow, b := raw, settings.Exactly(raw)
	action := a.action(e.Flags[i] & a.drops)
	ruling := e.rulings.of(e.Time[i], e.Flags[i])
	if ruling >= 0 {
		action, flow, b = e.rule(ruling, i, flow)
	} else if action != site.LeaveOut && action != site.Bridge {
		flow, b = e.counted(segment, i, raw, action, ruling)
	}
	switch action {
	case site.LeaveOut:
		a.stretch.leftOut = true
		fallthrough
	case site.Bridge:
		a.drop(e, i)
		a.parts.pend(e, i)
		return
	}
	if e.ofIntervals() {
		flow, b = e.spanning(i, flow, b)
	}
	stated := ruling >= 0 && flow != raw // whatever the settings
	e.used[i], e.afterFlow[i] = true, flow
	e.peaks.add(a.last.at, a.last.flow, e.Time[i], flow, a.last.any && !a.stretch.gap && !a.stretch.leftOut && a.stretch.dropped == 0)
	e.peaks.most = max(e.peaks.most, b.Upper)
	own := make([]settings.Bound, len(e.whatIfs))
	for k, w := range e.whatIfs {
		own[k] = b
		if stated {
			w.flow[i] = flow
			continue
		}
		w.flow[i], own[k] = e.counted(&w.lane.Segments[w.lane.At(e.Time[i]-e.lag)], i, w.flow[i], action, ruling)
	}
	volume := a.join(e, i, flow, raw, b, own)
	a.settle(e, i, volume)
	a.accept(e, i, flow, raw, b)
	for k, w := range e.whatIfs {
		w.accept(e, i, w.flow[i], own[k])
	}
}

// unscreened adds what the step to row i would be if every reading were kept.
func (a *after) unscreened(e *Engine, i int, raw float64) {
	switch {
	case e.ofIntervals():
		a.stretch.unscreened += e.trapezoid(e.opens(i), raw, e.Time[i], raw)
		if i > 0 && e.Flags[i]&qa.Gap != 0 {
			a.stretch.gap = true
		}
	case i == 0:
	case e.Flags[i]&qa.Gap != 0:
		a.stretch.gap = true
	default:
		previous := e.afterFlow[i-1]
		if a.last.any && a.last.at == e.Time[i-1] {
			previous = a.last.raw
		}
		e.connect(e.corrected, e.endAt(i-1, previous), e.endAt(i, raw), (*settings.Segment).Rated, func(t0 int64, q0 float64, t1 int64, q1 float64) {
			a.stretch.unscreened += e.trapezoid(t0, q0, t1, q1)
		})
	}
}

// counted returns the flow of a lane that counts for a reading that is used, and what is known of it; raw is its flow
// whatever stands behind it.
func (e *Engine) counted(s *settings.Segment, i int, raw float64, action site.Action, ruling int) (float64, settings.Bound) {
	if ruling >= 0 {
		if x := &e.rulings.list[ruling]; x.Action == site.RuleBound {
			return x.Least, settings.Bound{Held: true, Lower: x.Least, Upper: x.Most}
		}
		return raw, settings.Exactly(raw)
	}
	switch means := s.OfMeans(); {
	case action == site.Hold && (e.Flags[i]&(qa.CutOff|qa.Capped) != 0 || !means && e.Flags[i]&qa.Hiding != 0):
		return e.heldAt(s, i, raw)
	case action == site.Keep && e.Flags[i]&(qa.CutOff|qa.Capped|qa.Blanking) != 0: // what the meter hid it hid, whatever is made of it
		flow, b := e.heldAt(s, i, raw)
		return math.Max(flow, raw), settings.Bound{Held: true, Lower: b.Lower, Upper: math.Max(b.Upper, raw)}
	case means: // a mean below zero still has flow in its interval
		b := settings.Bound{Held: true}
		b.Lower, b.Upper = s.MeanBounds(e.figure[i], e.airAt(i))
		return b.Lower, b
	case action == site.Zero:
		return 0, settings.Exactly(0)
	case e.atMost != nil && e.atMost[i]:
		return raw, settings.Bound{Lower: 0, Upper: raw}
	}
	if head := e.headOn(s, i); e.after.holdsTop && head > s.Top+e.screener.Limits.Resolution { // a kept spike flows no more than the channel holds
		b := s.Bounds(e.Time[i], e.figure[i], e.airAt(i), raw, qa.Surcharge)
		return b.Lower, b
	}
	return raw, settings.Exactly(raw)
}

// heldAt returns the least that flowed at a reading that stands at an end, and its bounds. Water below the device that
// drowns it leaves less, or nothing that is known.
func (e *Engine) heldAt(s *settings.Segment, i int, raw float64) (float64, settings.Bound) {
	b := s.Bounds(e.Time[i], e.figure[i], e.airAt(i), raw, e.Flags[i])
	switch {
	case e.Flags[i]&qa.Drowned == 0:
	case e.atMost[i]:
		b.Lower = 0
	default:
		b.Lower = math.Min(b.Lower, raw)
	}
	return b.Lower, b
}

// headOn is the head of row i under a segment, which is worked out only where it may be above the segment's top.
func (e *Engine) headOn(s *settings.Segment, i int) float64 {
	if math.IsInf(s.Top, 1) {
		return 0
	}
	return s.Head(e.Time[i], e.figure[i], e.airAt(i))
}

// spanning widens what is known of a mean whose interval holds a change of settings: it was written under both.
func (e *Engine) spanning(i int, flow float64, b settings.Bound) (float64, settings.Bound) {
	from := e.opens(i)
	cuts := e.corrected.ChangesIn(from, e.Time[i]-1)
	if len(cuts) == 0 {
		cuts = e.recorded.ChangesIn(from, e.Time[i]-1)
	}
	now := &e.corrected.Segments[e.corrected.At(e.Time[i]-e.lag)]
	for _, cut := range cuts {
		then := &e.corrected.Segments[e.corrected.At(cut-1)]
		other := settings.Exactly(then.Flow(cut-1, e.figure[i], e.airAt(i)))
		if then.OfMeans() {
			other.Lower, other.Upper = then.MeanBounds(e.figure[i], e.airAt(i))
		}
		b = settings.Bound{Held: true, Lower: math.Min(b.Lower, other.Lower), Upper: math.Max(b.Upper, other.Upper)}
		if now.OfMeans() && then.OfMeans() {
			lower, upper := now.MeanBoundsWith(then, e.figure[i], e.airAt(i))
			b.Lower, b.Upper = math.Min(b.Lower, lower), math.Max(b.Upper, upper)
		}
		flow = b.Lower
	}
	return flow, b
}

// opens is when the interval begins that the mean of row i stands for: at the reading before it or, where that is
// further away than the log's own interval, one interval before its stamp. Half an interval more is taken for a stamp
// that came late.
func (e *Engine) opens(i int) int64 {
	at := e.Time[i]
	if e.primary == reading.Counter {
		return e.Time[max(i-1, 0)]
	}
	own := e.log.Begins(at)
	if i > 0 && (at-e.Time[i-1])*2 <= (at-own)*3 {
		return e.Time[i-1]
	}
	return own
}

// trapezoid is the volume under a straight line, m³, rounded before it is added to another; of means over intervals,
// the mean times the time.
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
// own is what is known of the flows of the other lanes.
func (a *after) join(e *Engine, i int, flow, raw float64, b settings.Bound, own []settings.Bound) (volume float64) {
	class := Measured
	t0, t1 := a.last.at, e.Time[i]
	if (a.stretch.dropped > 0 || a.stretch.gap) && !e.ofIntervals() {
		a.parts.pend(e, i)
	}
	switch s := &a.stretch; {
	case e.ofIntervals(): // the figure stands for its own interval alone
		t0 = e.opens(i)
		a.parts.settle(a.intervalBridge(e, i, t0, flow))
	case !a.last.any:
		a.parts.settle(lost)
		return 0
	case s.leftOut, s.gap, s.dropped > 0 && t1-t0 > a.bridge:
		a.fill(e, i, t0, flow)
		return 0
	case s.dropped > 0:
		class = Bridged
	}
	held := b.Held || a.last.bound.Held && !e.ofIntervals()
	bracketed := b.Lower != b.Upper || b.Held || !e.ofIntervals() && (a.last.bound.Lower != a.last.bound.Upper || a.last.bound.Held)
	switch {
	case class == Bridged:
	case held:
		class = Bounded
	case (e.Flags[i]|a.last.flags)&qa.Drowned != 0:
		class = Estimated
	}
	first := a.last.end
	first.at = t0
	final := e.endAt(i, flow)
	e.addJoin(i, first, final)
	if e.ofIntervals() {
		e.addEdges(t0, final.at, flow)
	}
	e.connect(e.corrected, first, final, a.laneRate, func(t0 int64, q0 float64, t1 int64, q1 float64) {
		a.series[class].Step(t0, q0, t1, q1)
		volume += e.trapezoid(t0, q0, t1, q1)
		if bracketed {
			a.brackets.counted.Step(t0, q0, t1, q1)
		}
	})
	if bracketed {
		a.brackets.between(t0, a.last.bound, t1, b)
	}
	for k, w := range e.whatIfs {
		w.join(a, e, i, t0, own[k], bracketed)
	}
	a.parts.join(e, i, t0, raw)
	return volume
}

// join integrates a lane beside the corrected one over the same interval.
func (w *whatIf) join(a *after, e *Engine, i int, t0 int64, b settings.Bound, bracketed bool) {
	first := w.last
	first.at = t0
	e.connect(w.lane, first, e.endAt(i, w.flow[i]), a.laneRate, func(t0 int64, q0 float64, t1 int64, q1 float64) {
		w.series.Step(t0, q0, t1, q1)
		if bracketed {
			w.brackets.counted.Step(t0, q0, t1, q1)
		}
	})
	if bracketed {
		w.brackets.between(t0, w.bound, e.Time[i], b)
	}
	w.beside.step(e, i, t0)
}

// intervalBridge puts the mean of the means on both sides over dropped ones, within the longest bridge, and says what
// became of the stretch.
func (a *after) intervalBridge(e *Engine, i int, t0 int64, flow float64) fate {
	s := &a.stretch
	if !a.last.any || s.dropped == 0 || s.leftOut || s.gap || t0-a.last.at > a.bridge || t0 <= a.last.at {
		return lost
	}
	mean := (a.last.flow + flow) / 2
	a.series[Bridged].Step(a.last.at, mean, t0, mean)
	for _, w := range e.whatIfs {
		mean := (w.last.flow + w.flow[i]) / 2
		w.series.Step(w.last.at, mean, t0, mean)
	}
	return joined
}

// fill puts an estimate in the place of missing time, when the site file asks for it and the time is no longer than it
// allows: all of it or nothing. It stays a class of its own in every total. What-if lanes are filled by the same rule
// from their own flows, except by the time of day.
func (a *after) fill(e *Engine, i int, t0 int64, flow float64) {
	f, t1 := e.site.Filling, e.Time[i]
	if f.Rule == site.FillNot || f.Rule == "" || t1-t0 > f.Limit.Nanoseconds() {
		a.parts.settle(lost)
		return
	}
	done := false
	step := func(t0 int64, q0 float64, t1 int64, q1 float64) {
		a.series[Filled].Step(t0, q0, t1, q1)
		a.parts.gain(t0, q0, t1, q1)
		done = true
	}
	e.fillBy(t0, a.last.flow, t1, flow, step)
	for _, w := range e.whatIfs {
		e.fillBy(t0, w.last.flow, t1, w.flow[i], w.series.Step)
	}
	if done {
		a.parts.settle(filled)
	}
	a.parts.settle(lost)
}

// fillBy fills the time between two readings by the rule of the site file.
func (e *Engine) fillBy(t0 int64, from float64, t1 int64, until float64, step func(int64, float64, int64, float64)) {
	switch e.site.Filling.Rule {
	case site.FillLinear:
		step(t0, from, t1, until)
	case site.FillHold:
		step(t0, from, t1, from)
	default:
		fillHours(t0, t1, e.estimate, step)
	}
}

// between integrates the least and the most that flowed between two readings of which one at least is only bounded.
func (x *brackets) between(t0 int64, a settings.Bound, t1 int64, b settings.Bound) {
	if x.lower.Hold { // a mean stands for its interval alone
		a = b
	}
	x.lower.Step(t0, a.Lower, t1, b.Lower)
	if math.IsInf(a.Upper, 1) || math.IsInf(b.Upper, 1) {
		x.open.Step(t0, 0, t1, 0)
		a.Upper, b.Upper = a.Lower, b.Lower
	}
	x.upper.Step(t0, a.Upper, t1, b.Upper)
}

// settle gives the difference that screening made since the last accepted reading to the events behind it, in equal
// parts to each dropped or changed reading.
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
	a.parts.settle(lost)
	for _, event := range a.stretch.events {
		event.Effect -= a.stretch.unscreened / float64(len(a.stretch.events))
	}
}
