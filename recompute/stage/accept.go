package stage

import (
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/fill"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// Accept decides which readings count in the corrected total, what for, and how the total goes on between them. It
// lays out its decisions as the block's steps, which the stages after it go by.
type Accept struct {
	RulingRows []int   // by ruling: readings that it was about
	Tail       float64 // m³, of the time after the last accepted reading if every reading had been kept
	series     [total.Classes]*total.Series
	filler     fill.Filler
	bridge     int64 // longest bridge, ns
	last       accepted
	stretch    stretch
}

// accepted is the last reading that counts.
type accepted struct {
	block.Accepted
	any bool
	raw float64 // flow before screening, m³/s
}

// stretch is what has happened since the last accepted reading.
type stretch struct {
	unscreened float64 // m³, as if every reading had been kept
	dropped    int
	leftOut    bool
	gap        bool
}

// NewAccept prepares the stage for a pass.
func NewAccept(b *block.Block, filler fill.Filler) *Accept {
	a := &Accept{
		RulingRows: make([]int, len(b.Rulings.List)),
		filler:     filler,
		bridge:     b.Limits.BridgeLimit.Nanoseconds(),
	}
	for class := range a.series {
		a.series[class] = b.Series()
	}
	return a
}

// Classes are the volumes of day i by class.
func (a *Accept) Classes(i int) (classes [total.Classes]total.Volume) {
	for class, s := range a.series {
		classes[class] = s.Volume(i)
	}
	return classes
}

// Add integrates a block. Stretches of clean rows within one segment go the fast way.
func (a *Accept) Add(b *block.Block) {
	b.Steps = b.Steps[:0]
	for low := b.Low; low < b.High; {
		if end := a.clean(b, low); end > low {
			a.run(b, low, end)
			low = end
			continue
		}
		a.row(b, low)
		low++
	}
	a.Tail = a.stretch.unscreened
}

// run takes in rows that follow an accepted neighbour and count as they are.
func (a *Accept) run(b *block.Block, low, end int) {
	flows := b.Corrected.Flow
	a.series[total.Measured].Run(b.Time[low-1:end], flows[low-1:end])
	for i := low; i < end; i++ {
		b.Used[i] = true
	}
	b.Steps = append(b.Steps, block.Step{Kind: block.Run, Low: low, High: end})
	a.accept(b, end-1, flows[end-1], settings.Exactly(flows[end-1]))
}

// clean returns the end of the rows from low on that follow an accepted neighbour, fail no check that drops them, and
// share its segment.
func (a *Accept) clean(b *block.Block, low int) int {
	if low == 0 || !a.last.any || a.last.At != b.Time[low-1] ||
		a.last.Bound.Held || a.last.Flags&qa.Drowned != 0 || a.stretch.dropped > 0 {
		return low
	}
	if b.Corrected.Segments[b.Corrected.At(a.last.At)].OfMeans() {
		return low
	}
	end, until := low, a.changes(b)
	for end < b.High && b.Flags[end]&b.Drops == 0 && b.Time[end] < until {
		if b.Means && b.Opens(end) != b.Time[end-1] {
			return end
		}
		end++
	}
	for i := low; len(b.Rulings.List) > 0 && i < end; i++ {
		if ruling, _ := b.RulingOf(i); ruling != nil {
			return i
		}
	}
	return end
}

// changes is when the settings of any lane change next after the last accepted reading.
func (a *Accept) changes(b *block.Block) int64 {
	until := int64(settings.Never)
	of := func(l *block.Lane) { until = min(until, l.Segments[l.At(a.last.At)].Until) }
	of(b.Corrected)
	for _, w := range b.WhatIfs {
		of(w)
	}
	for _, m := range b.Moved {
		if of(m.After); m.Before != nil {
			of(m.Before)
		}
	}
	return until
}

// accept makes row i the last accepted reading; raw is its flow before screening.
func (a *Accept) accept(b *block.Block, i int, raw float64, x settings.Bound) {
	last := block.Accepted{End: b.EndAt(i, b.Corrected.Flow[i]), Bound: x, Flags: b.Flags[i] & b.Drops}
	a.last = accepted{Accepted: last, any: true, raw: raw}
	a.stretch = stretch{}
}

// row takes in one reading the careful way.
func (a *Accept) row(b *block.Block, i int) {
	raw := b.Corrected.Flow[i]
	a.unscreened(b, i, raw)
	s := block.Step{
		Kind:   block.Counts,
		Low:    i,
		High:   i + 1,
		Raw:    raw,
		Bound:  settings.Exactly(raw),
		Action: b.ActionOf(b.Flags[i] & b.Drops),
	}
	flow := raw
	ruling, number := b.RulingOf(i)
	if s.Ruling = ruling; ruling != nil {
		a.RulingRows[number]++
		s.Action, flow, s.Bound = ruled(ruling, flow)
	} else if s.Action != site.LeaveOut && s.Action != site.Bridge {
		flow, s.Bound = Counted(b, b.SegmentOf(b.Corrected.Lane, i), i, raw, s.Action, nil)
	}
	if s.Action == site.LeaveOut || s.Action == site.Bridge {
		a.drop(b, i, s.Action)
		return
	}
	if b.Means {
		flow, s.Bound = spanning(b, i, flow, s.Bound)
	}
	s.Stated = ruling != nil && flow != raw
	b.Used[i], b.Corrected.Flow[i] = true, flow
	a.join(b, &s)
	b.Steps = append(b.Steps, s)
	a.accept(b, i, raw, s.Bound)
}

// unscreened adds what the step to row i would be if every reading were kept.
func (a *Accept) unscreened(b *block.Block, i int, raw float64) {
	gap := i > 0 && b.Flags[i]&qa.Gap != 0
	a.stretch.gap = a.stretch.gap || gap
	switch {
	case b.Means:
		a.stretch.unscreened += b.Trapezoid(b.Opens(i), raw, b.Time[i], raw)
	case i == 0 || gap:
	default:
		previous := b.Corrected.Flow[i-1]
		if a.last.any && a.last.At == b.Time[i-1] {
			previous = a.last.raw
		}
		add := func(t0 int64, q0 float64, t1 int64, q1 float64) {
			a.stretch.unscreened += b.Trapezoid(t0, q0, t1, q1)
		}
		b.Connect(b.Corrected.Lane, b.EndAt(i-1, previous), b.EndAt(i, raw), (*settings.Segment).Rated, add)
	}
}

// drop notes a reading that does not count.
func (a *Accept) drop(b *block.Block, i int, action site.Action) {
	a.stretch.leftOut = a.stretch.leftOut || action == site.LeaveOut
	a.stretch.dropped++
	b.Used[i] = false
	b.Steps = append(b.Steps, block.Step{Kind: block.Drops, Low: i, High: i + 1, Hopeless: a.hopeless(b.Time[i])})
}

// hopeless reports whether nothing will be put in the place of the time since the last accepted reading.
func (a *Accept) hopeless(now int64) bool {
	if !a.last.any {
		return true
	}
	since := now - a.last.At
	return !a.filler.Takes(since) && (a.stretch.leftOut || a.stretch.gap || since > a.bridge)
}

// join integrates from the last accepted reading to the row of a step, if anything may be put between them, and
// completes the step.
func (a *Accept) join(b *block.Block, s *block.Step) {
	x, i := &a.stretch, s.Low
	s.Last = a.last.Accepted
	s.From, s.Unscreened = a.last.At, x.unscreened
	s.Next = a.last.any && !x.gap && !x.leftOut && x.dropped == 0
	if b.Means { // the figure stands for its own interval alone
		s.From = b.Opens(i)
		s.Bridges = a.bridges(s.From)
	} else {
		s.Pends = x.dropped > 0 || x.gap
		s.Fate = a.fate(b.Time[i])
	}
	if s.Bridges {
		mean := (s.Last.Flow + b.Corrected.Flow[i]) / 2
		a.series[total.Bridged].Step(s.Last.At, mean, s.From, mean)
	}
	switch s.Fate {
	case block.ToFill:
		a.filler.Between(s.Last.End, b.EndAt(i, b.Corrected.Flow[i]), a.series[total.Filled].Step)
	case block.Joined:
		s.Class, s.Bracketed = a.classOf(b, s)
		add := func(t0 int64, q0 float64, t1 int64, q1 float64) {
			a.series[s.Class].Step(t0, q0, t1, q1)
			s.Volume += b.Trapezoid(t0, q0, t1, q1)
		}
		b.Connect(b.Corrected.Lane, s.Start(), b.EndAt(i, b.Corrected.Flow[i]), b.LaneRate, add)
	}
}

// fate is what becomes of the time since the last accepted reading.
func (a *Accept) fate(now int64) block.Fate {
	x := &a.stretch
	switch since := now - a.last.At; {
	case !a.last.any:
		return block.Begins
	case !x.leftOut && !x.gap && (x.dropped == 0 || since <= a.bridge):
		return block.Joined
	case a.filler.Takes(since):
		return block.ToFill
	}
	return block.Lost
}

// bridges reports whether the mean of the means on both sides is put over dropped ones, within the longest bridge.
func (a *Accept) bridges(opens int64) bool {
	x := &a.stretch
	return a.last.any && x.dropped > 0 && !x.leftOut && !x.gap && opens-a.last.At <= a.bridge && opens > a.last.At
}

// classOf is the class of a step, and whether its flow is only known between bounds.
func (a *Accept) classOf(b *block.Block, s *block.Step) (total.Class, bool) {
	held, open := s.Bound.Held, s.Bound.Held || s.Bound.Lower != s.Bound.Upper
	if !b.Means {
		held, open = held || s.Last.Bound.Held, open || s.Last.Bound.Held || s.Last.Bound.Lower != s.Last.Bound.Upper
	}
	switch {
	case !b.Means && a.stretch.dropped > 0:
		return total.Bridged, open
	case held:
		return total.Bounded, open
	case (b.Flags[s.Low]|s.Last.Flags)&qa.Drowned != 0:
		return total.Estimated, open
	}
	return total.Measured, open
}
