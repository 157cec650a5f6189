package stage

import (
	"math"

	"retotal/recompute/block"
	"retotal/recompute/fill"
	"retotal/recompute/settings"
	"retotal/recompute/total"
	"retotal/recompute/uncertainty"
)

// Bounds integrates the corrected lane over the intervals in which its flow is only known between bounds.
type Bounds struct{ brackets }

// NewBounds prepares the stage for a pass.
func NewBounds(b *block.Block) *Bounds { return &Bounds{newBrackets(b)} }

// Add takes in the steps of a block.
func (x *Bounds) Add(b *block.Block) {
	for k := range b.Steps {
		if s := &b.Steps[k]; s.Kind == block.Counts && s.Fate == block.Joined && s.Bracketed {
			end := b.EndAt(s.Low, b.Corrected.Flow[s.Low])
			b.Connect(b.Corrected.Lane, s.Start(), end, b.LaneRate, x.counted.Step)
			x.between(s.From, s.Last.Bound, end.At, s.Bound)
		}
	}
}

// brackets integrates over the intervals in which a flow is only known between bounds.
type brackets struct {
	counted *total.Series // what counts of it in the total
	lower   *total.Series // the least and the most that flowed
	upper   *total.Series
	open    *total.Series // time in which nothing bounds the flow from above
}

func newBrackets(b *block.Block) brackets {
	return brackets{b.Series(), b.Series(), b.Series(), b.Series()}
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

// Day is the bracket of day i.
func (x *brackets) Day(i int) total.Bracket {
	return total.Bracket{
		Counted: x.counted.Volume(i),
		Low:     x.lower.Volume(i),
		High:    x.upper.Volume(i),
		Open:    x.open.Volume(i).Covered,
	}
}

// Lanes integrates the lanes beside the corrected one, what-ifs and those that a source of uncertainty moves, over the
// readings that the corrected one accepts.
type Lanes struct {
	filler  fill.Filler
	whatIfs []*lane
	moved   []*lane
}

// lane is one of them. Of the recorded lane that the same source moves, and of the recorded one over the same time, it
// keeps what before and after share of the source.
type lane struct {
	*block.Lane
	moved    bool // by a source of uncertainty
	series   *total.Series
	brackets brackets
	last     block.End // the last accepted reading
	bound    settings.Bound
	before   *block.Lane
	shown    *total.Series // moved flows of before; nil when before does not share the source
	still    *total.Series // the recorded flows
	lastSeen [2]float64    // of the last accepted reading: moved and recorded
}

// NewLanes prepares the stage for a pass.
func NewLanes(b *block.Block, filler fill.Filler) *Lanes {
	l := &Lanes{filler: filler}
	for _, w := range b.WhatIfs {
		l.whatIfs = append(l.whatIfs, &lane{Lane: w, series: b.Series(), brackets: newBrackets(b)})
	}
	for _, m := range b.Moved {
		x := &lane{Lane: m.After, moved: true, series: b.Series(), brackets: newBrackets(b), before: m.Before}
		if m.Before != nil {
			x.shown, x.still = b.Series(), b.Series()
		}
		l.moved = append(l.moved, x)
	}
	return l
}

// Add takes in the steps of a block.
func (l *Lanes) Add(b *block.Block) {
	for k := range b.Steps {
		s := &b.Steps[k]
		for _, list := range [][]*lane{l.whatIfs, l.moved} {
			for _, w := range list {
				switch s.Kind {
				case block.Run:
					w.run(b, s)
				case block.Counts:
					w.count(b, s, &l.filler)
				}
			}
		}
	}
}

// run takes in rows that count as they are.
func (w *lane) run(b *block.Block, s *block.Step) {
	times, last := b.Time[s.Low-1:s.High], s.High-1
	w.series.Run(times, w.Flow[s.Low-1:s.High])
	if w.before != nil {
		w.shown.Run(times, w.before.Flow[s.Low-1:s.High])
		w.still.Run(times, b.Recorded.Flow[s.Low-1:s.High])
	}
	w.accept(b, last, settings.Exactly(w.Flow[last]))
}

// accept makes row i the last accepted reading.
func (w *lane) accept(b *block.Block, i int, x settings.Bound) {
	w.last, w.bound = b.EndAt(i, w.Flow[i]), x
	if w.before != nil {
		w.lastSeen = [2]float64{w.before.Flow[i], b.Recorded.Flow[i]}
	}
}

// count takes in a row that counts, by the lane's own settings.
func (w *lane) count(b *block.Block, s *block.Step, filler *fill.Filler) {
	i, x := s.Low, s.Bound
	if s.Stated {
		w.Flow[i] = b.Corrected.Flow[i]
	} else {
		own := b.SegmentOf(w.Lane.Lane, i)
		means := own.OfMeans()
		if w.moved { // where a factor corrects means exactly, a source moves what they are, not what bounds them
			means = b.SegmentOf(b.Corrected.Lane, i).OfMeans()
		}
		w.Flow[i], x = counted(b, own, i, w.Flow[i], s.Action, s.Ruling, means)
	}
	if s.Bridges {
		mean := (w.last.Flow + w.Flow[i]) / 2
		w.series.Step(w.last.At, mean, s.From, mean)
	}
	switch s.Fate {
	case block.ToFill:
		filler.Between(w.last, b.EndAt(i, w.Flow[i]), w.series.Step)
	case block.Joined:
		w.join(b, s, x)
	}
	w.accept(b, i, x)
}

// join integrates over the interval of a step.
func (w *lane) join(b *block.Block, s *block.Step, x settings.Bound) {
	i, first := s.Low, w.last
	first.At = s.From
	b.Connect(w.Lane.Lane, first, b.EndAt(i, w.Flow[i]), b.LaneRate, func(t0 int64, q0 float64, t1 int64, q1 float64) {
		w.series.Step(t0, q0, t1, q1)
		if s.Bracketed {
			w.brackets.counted.Step(t0, q0, t1, q1)
		}
	})
	if s.Bracketed {
		w.brackets.between(s.From, w.bound, b.Time[i], x)
	}
	if w.before != nil {
		w.shown.Step(s.From, w.lastSeen[0], b.Time[i], w.before.Flow[i])
		w.still.Step(s.From, w.lastSeen[1], b.Time[i], b.Recorded.Flow[i])
	}
}

// WhatIfs are the volumes of the what-if lanes on day i.
func (l *Lanes) WhatIfs(i int) (list []total.Volume) {
	for _, w := range l.whatIfs {
		list = append(list, w.series.Volume(i))
	}
	return list
}

// Moved are the volumes of the moved lanes on day i.
func (l *Lanes) Moved(i int) (list []uncertainty.Moved) {
	for _, w := range l.moved {
		m := uncertainty.Moved{After: w.series.Volume(i), Bracket: w.brackets.Day(i)}
		if w.before != nil {
			m.Before, m.Still = w.shown.Volume(i), w.still.Volume(i)
		}
		list = append(list, m)
	}
	return list
}
