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
	Joins
	series  [total.Classes]*total.Series
	last    accepted
	stretch stretch
}

// accepted is the last reading that counts.
type accepted struct {
	block.Accepted
	raw float64 // flow if it is kept as it is, m³/s
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
		Joins:      NewJoins(b, filler),
	}
	for class := range a.series {
		if a.series[class] = b.Series(); b.Cells != nil {
			a.series[class].Also = b.Cells.After
		}
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
	if low == 0 || !a.last.Any || a.last.At != b.Time[low-1] ||
		a.last.Bound.Held || a.last.Flags&qa.Drowned != 0 || a.last.Flow != a.last.raw || a.stretch.dropped > 0 {
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

// accept makes row i the last accepted reading; raw is its flow if it is kept as it is.
func (a *Accept) accept(b *block.Block, i int, raw float64, x settings.Bound) {
	last := block.Accepted{Any: true, End: b.EndAt(i, b.Corrected.Flow[i]), Bound: x, Flags: b.Flags[i] & b.Drops}
	a.last = accepted{Accepted: last, raw: raw}
	a.stretch = stretch{}
}

// row takes in one reading the careful way.
func (a *Accept) row(b *block.Block, i int) {
	raw := b.Corrected.Flow[i]
	kept := keptFlow(b, i)
	a.unscreened(b, i, kept)
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
		a.drop(b, i, &s)
		return
	}
	if b.Means {
		flow, s.Bound = spanning(b, i, flow, s.Bound)
	}
	s.Stated, s.Changed = ruling != nil && flow != raw, flow != kept
	b.Used[i], b.Corrected.Flow[i] = true, flow
	a.join(b, &s)
	b.Steps = append(b.Steps, s)
	a.accept(b, i, kept, s.Bound)
}

// keptFlow is the flow of row i if it is kept as it is, m³/s.
func keptFlow(b *block.Block, i int) float64 {
	flow := b.Corrected.Flow[i]
	if !b.Means {
		return flow
	}
	if b.SegmentOf(b.Corrected.Lane, i).OfMeans() {
		flow, _ = drowned(b, i, flow, settings.Exactly(b.FreeAt(i)))
	}
	flow, _ = spanning(b, i, flow, settings.Exactly(flow))
	return flow
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
		if a.last.Any && a.last.At == b.Time[i-1] {
			previous = a.last.raw
		}
		add := func(t0 int64, q0 float64, t1 int64, q1 float64) {
			a.stretch.unscreened += b.Trapezoid(t0, q0, t1, q1)
		}
		b.Connect(b.Corrected.Lane, b.EndAt(i-1, previous), b.EndAt(i, raw), (*settings.Segment).Rated, add)
	}
}

// drop notes a reading that does not count.
func (a *Accept) drop(b *block.Block, i int, s *block.Step) {
	a.stretch.leftOut = a.stretch.leftOut || s.Action == site.LeaveOut
	a.stretch.dropped++
	b.Used[i] = false
	b.Steps = append(b.Steps, block.Step{
		Kind: block.Drops, Low: i, High: i + 1, Ruling: s.Ruling, Hopeless: a.hopeless(b.Time[i]),
	})
}

// hopeless reports whether nothing will be put in the place of the time since the last accepted reading.
func (a *Accept) hopeless(now int64) bool {
	if !a.last.Any {
		return true
	}
	fate := a.Fate(now-a.last.At, true, a.stretch.leftOut || a.stretch.gap)
	return fate == block.Lost
}

// join integrates from the last accepted reading to the row of a step, if anything may be put between them, and
// completes the step.
func (a *Accept) join(b *block.Block, s *block.Step) {
	x := &a.stretch
	s.Last, s.Unscreened = a.last.Accepted, x.unscreened
	s.Apart = x.gap || x.leftOut
	s.Next = a.last.Any && !s.Apart && x.dropped == 0
	s.Pends = !b.Means && (x.dropped > 0 || x.gap)
	a.Decide(b, s, x.dropped > 0)
	if s.Fate == block.Joined {
		s.Class, s.Bracketed = a.classOf(b, s)
	}
	a.Put(b, s, func(c total.Class, t0 int64, q0 float64, t1 int64, q1 float64) {
		a.series[c].Step(t0, q0, t1, q1)
	})
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
