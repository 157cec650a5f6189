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
	Bounded                // from readings held at a limit: a lower bound
	Estimated              // from drowned readings
	Classes
)

// String names the class.
func (c Class) String() string { return [...]string{"measured", "bridged", "bounded", "estimated"}[c] }

// after integrates the corrected lane over the readings that screening accepts.
type after struct {
	series  [Classes]*total.Series
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
			for i := low; i < end; i++ {
				e.used[i] = true
			}
			e.events.extend(e, low, end)
			a.accept(e, end-1, e.afterFlow[end-1], false)
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
	until := e.corrected.Segments[e.corrected.at(a.last.time)].Until
	end := low
	for end < high && e.Flags[end]&a.drops == 0 && e.Time[end] < until {
		end++
	}
	return end
}

// accept makes row i the last accepted reading.
func (a *after) accept(e *Engine, i int, flow float64, held bool) {
	a.last = accepted{any: true, time: e.Time[i], value: e.Value[i], flow: flow, held: held, flags: e.Flags[i] & a.drops}
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

// row takes in one reading the careful way.
func (a *after) row(e *Engine, i int) {
	e.events.extend(e, i, i+1)
	if i > 0 && e.Flags[i]&qa.Gap == 0 {
		e.corrected.cross(e.Time[i-1], e.Value[i-1], e.Time[i], e.Value[i], (*Segment).keptAt, func(t0 int64, q0 float64, t1 int64, q1 float64) {
			a.stretch.unscreened += trapezoid(t0, q0, t1, q1)
		})
	} else if i > 0 {
		a.stretch.gap = true
	}
	segment := &e.corrected.Segments[e.corrected.at(e.Time[i])]
	flow, held := e.afterFlow[i], false
	switch a.action(e.Flags[i] & a.drops) {
	case site.LeaveOut:
		a.stretch.leftOut = true
		a.drop(e, i)
		return
	case site.Bridge:
		a.drop(e, i)
		return
	case site.Hold:
		flow, held = math.Min(flow, segment.hold), true
	case site.Zero:
		flow = 0
	}
	e.used[i], e.afterFlow[i] = true, flow
	volume := a.join(e, i, flow, held)
	a.settle(e, i, volume)
	a.accept(e, i, flow, held)
}

// keptAt is the flow of a reading at an instant when nothing is screened.
func (s *Segment) keptAt(at int64, value float64) float64 { return s.Rating.Flow(s.head(at, value)) }

// trapezoid is the volume under a straight line, m³, rounded before it is added to another.
func trapezoid(t0 int64, q0 float64, t1 int64, q1 float64) float64 {
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
func (a *after) join(e *Engine, i int, flow float64, held bool) (volume float64) {
	class := Measured
	switch s := &a.stretch; {
	case !a.last.any, s.leftOut, s.gap, s.dropped > 0 && e.Time[i]-a.last.time > a.bridge:
		return 0
	case s.dropped > 0:
		class = Bridged
	case held || a.last.held:
		class = Bounded
	case (e.Flags[i]|a.last.flags)&qa.Drowned != 0:
		class = Estimated
	}
	series := a.series[class]
	step := func(t0 int64, q0 float64, t1 int64, q1 float64) {
		series.Step(t0, q0, t1, q1)
		volume += trapezoid(t0, q0, t1, q1)
	}
	first, last := e.corrected.at(a.last.time), e.corrected.at(e.Time[i])
	if first == last {
		step(a.last.time, a.last.flow, e.Time[i], flow)
		return volume
	}
	// Settings change on the way: the flows at both ends are those that count, between them the level is a straight line.
	t0, t1 := a.last.time, e.Time[i]
	e.corrected.cross(t0, a.last.value, t1, e.Value[i], (*Segment).limitedAt, func(from int64, q0 float64, until int64, q1 float64) {
		if from == t0 {
			q0 = a.last.flow
		}
		if until == t1 && e.corrected.Segments[last].From < t1 {
			q1 = flow
		}
		step(from, q0, until, q1)
	})
	return volume
}

// limitedAt is the flow at an instant, none below zero and no more than can be held.
func (s *Segment) limitedAt(at int64, value float64) float64 {
	return math.Min(s.keptAt(at, value), s.hold)
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
