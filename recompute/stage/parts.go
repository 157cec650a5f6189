package stage

import (
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/fill"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// Parts is what the difference of after and before is made of, beside the settings and screening.
//
// The difference is stated over the time that both cover, in parts that add up to it exactly: the settings (what a
// meter with the corrected ones would have shown, less what this one showed), the limits of the meter (what it could
// not show and the log still knows), drowned flow, what is filled, and screening, which is the rest. What before
// counted in time that after lacks, and the other way round, stands apart.
type Parts struct {
	Lost, LostKept total.Volume // before, and kept, in time that after does not cover
	FilledKept     total.Volume // kept in time that is filled
	Gained         total.Volume // filled in time that before does not cover
	Limits         total.Volume // what the meter could not show of the corrected flow, and the log still knows
	Drowned        total.Volume // drowned flow less free flow
}

// Merge adds the parts of another period.
func (p *Parts) Merge(o Parts) {
	p.Lost.Merge(o.Lost)
	p.LostKept.Merge(o.LostKept)
	p.FilledKept.Merge(o.FilledKept)
	p.Gained.Merge(o.Gained)
	p.Limits.Merge(o.Limits)
	p.Drowned.Merge(o.Drowned)
}

// Difference integrates the parts of the difference.
type Difference struct {
	lost, lostKept, filledKept, gained, limits, drowned *total.Series // as Parts has them

	filler  fill.Filler
	pending []piece // of the stretch since the last accepted reading
	last    flows   // of the last accepted reading
}

// flows are those of one reading, m³/s.
type flows struct {
	raw  float64 // corrected, before screening
	free float64 // the same before drowned readings were looked at
	kept float64 // what a meter with the corrected settings would have shown
}

// piece is one step of a stretch whose fate is not known yet.
type piece struct {
	kind   pieceKind
	t0, t1 int64
	q0, q1 float64
}

type pieceKind int

const (
	ofBefore pieceKind = iota
	ofKept
	ofGap // nothing was logged
)

// fate is what becomes of the pieces.
type fate int

const (
	joined fate = iota
	filled
	lost
)

// NewDifference prepares the stage for a pass.
func NewDifference(b *block.Block, filler fill.Filler) *Difference {
	d := &Difference{filler: filler}
	for _, s := range []**total.Series{&d.lost, &d.lostKept, &d.filledKept, &d.gained, &d.limits, &d.drowned} {
		*s = b.Series()
	}
	if b.Kept == b.Recorded { // nothing was corrected: the same to the last bit
		d.lostKept = d.lost
	}
	return d
}

// Day is the parts of day i.
func (d *Difference) Day(i int) Parts {
	return Parts{
		Lost:       d.lost.Volume(i),
		LostKept:   d.lostKept.Volume(i),
		FilledKept: d.filledKept.Volume(i),
		Gained:     d.gained.Volume(i),
		Limits:     d.limits.Volume(i),
		Drowned:    d.drowned.Volume(i),
	}
}

// Finish settles what is left after the last accepted reading.
func (d *Difference) Finish() { d.settle(lost) }

// Add takes in the steps of a block.
func (d *Difference) Add(b *block.Block) {
	for k := range b.Steps {
		switch s := &b.Steps[k]; s.Kind {
		case block.Run:
			d.run(b, s.Low, s.High)
			d.last = flowsAt(b, s.High-1, b.Corrected.Flow[s.High-1])
		case block.Drops:
			if d.pend(b, s.Low); s.Hopeless {
				d.settle(lost)
			}
		default:
			d.count(b, s)
			d.last = flowsAt(b, s.Low, s.Raw)
		}
	}
}

func flowsAt(b *block.Block, i int, raw float64) flows {
	f := flows{raw: raw, free: raw, kept: b.Kept.Flow[i]}
	if len(b.Free) > 0 {
		f.free = b.Free[i]
	}
	return f
}

// run takes in clean rows low to high−1, which follow an accepted one.
func (d *Difference) run(b *block.Block, low, high int) {
	kept, q0 := b.Kept.Flow, d.last.free-d.last.kept // not what counts for it: a person may have stated that
	for i := low; i < high; i++ {
		q1 := b.FreeAt(i) - kept[i]
		if q0 != 0 || q1 != 0 {
			d.limits.Step(b.Time[i-1], q0, b.Time[i], q1)
		}
		q0 = q1
	}
}

// count takes in a row that counts.
func (d *Difference) count(b *block.Block, s *block.Step) {
	if s.Pends {
		d.pend(b, s.Low)
	}
	switch {
	case s.Fate == block.ToFill:
		if d.gain(b, s) {
			d.settle(filled)
		}
		d.settle(lost)
	case s.Fate != block.Joined, b.Means && !s.Bridges:
		d.settle(lost)
	}
	if s.Fate == block.Joined {
		d.join(b, s)
	}
}

// join takes in the step from the last accepted reading to a row.
func (d *Difference) join(b *block.Block, s *block.Step) {
	d.settle(joined)
	was, is := d.last, flowsAt(b, s.Low, s.Raw)
	if q0, q1 := was.free-was.kept, is.free-is.kept; q0 != 0 || q1 != 0 {
		d.limits.Step(s.From, q0, b.Time[s.Low], q1)
	}
	if q0, q1 := was.raw-was.free, is.raw-is.free; q0 != 0 || q1 != 0 {
		d.drowned.Step(s.From, q0, b.Time[s.Low], q1)
	}
}

// pend keeps the step to row i until it is known what becomes of its time.
func (d *Difference) pend(b *block.Block, i int) {
	add := func(kind pieceKind, shift int64) block.PutStep {
		return func(t0 int64, q0 float64, t1 int64, q1 float64) {
			d.pending = append(d.pending, piece{kind, t0 + shift, t1 + shift, q0, q1})
		}
	}
	shown, before, kept := b.Shown[i]-b.Time[i], b.Recorded.Flow, b.Kept.Flow
	switch {
	case b.Means:
		add(ofBefore, shown)(b.Opens(i), before[i], b.Time[i], before[i])
		add(ofKept, 0)(b.Opens(i), kept[i], b.Time[i], kept[i])
	case i == 0:
	case b.Flags[i]&qa.Gap != 0:
		add(ofGap, 0)(b.Time[i-1], 0, b.Time[i], 0)
	default:
		rate := settings.MeterRate
		b.Connect(b.Recorded.Lane, b.EndAt(i-1, before[i-1]), b.EndAt(i, before[i]), rate, add(ofBefore, shown))
		b.Connect(b.Corrected.Lane, b.EndAt(i-1, kept[i-1]), b.EndAt(i, kept[i]), rate, add(ofKept, 0))
	}
}

// settle gives the pieces of a stretch to where they belong.
func (d *Difference) settle(f fate) {
	for _, x := range d.pending {
		switch {
		case x.kind == ofBefore && f == lost:
			d.lost.Step(x.t0, x.q0, x.t1, x.q1)
		case x.kind == ofKept && f == lost && d.lostKept != d.lost:
			d.lostKept.Step(x.t0, x.q0, x.t1, x.q1)
		case x.kind == ofKept && f == filled:
			d.filledKept.Step(x.t0, x.q0, x.t1, x.q1)
		}
	}
	d.pending = d.pending[:0]
}

// gain notes what is filled in time in which nothing was logged, and reports whether anything was filled.
func (d *Difference) gain(b *block.Block, s *block.Step) (done bool) {
	d.filler.Between(
		s.Last.End,
		b.EndAt(s.Low, b.Corrected.Flow[s.Low]),
		func(t0 int64, q0 float64, t1 int64, q1 float64) {
			done = true
			at := func(t int64) float64 { return q0 + float64((q1-q0)*(float64(t-t0)/float64(t1-t0))) }
			for _, x := range d.pending {
				if low, high := max(x.t0, t0), min(x.t1, t1); x.kind == ofGap && low < high {
					d.gained.Step(low, at(low), high, at(high))
				}
			}
		},
	)
	return done
}
