package recompute

import (
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/settings"
	"retotal/recompute/total"
)

// The difference of after and before is stated over the time that both cover, in parts that add up to it exactly: the
// settings (what a meter with the corrected ones would have shown, less what this one showed), the limits of the meter
// (what it could not show and the log still knows), drowned flow, what is filled, and screening, which is the rest.
// What before counted in time that after lacks, and the other way round, stands apart.

// parts integrates what the difference is made of.
type parts struct {
	lost, lostKept *total.Series // before, and kept, in time that after does not cover
	filledKept     *total.Series // kept in time that is filled
	gained         *total.Series // what is filled in time that before does not cover
	limits         *total.Series // corrected flow less what a meter with the corrected settings shows
	drowned        *total.Series // drowned flow less free flow
	pending        []piece       // of the stretch since the last accepted reading
	kept, before   float64       // kept flow, and the one before, of the last accepted reading
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

// fate is what becomes of the time between two accepted readings.
type fate int

const (
	joined fate = iota
	filled
	lost
)

func (p *parts) begin(e *Engine) {
	for _, s := range []**total.Series{&p.lost, &p.lostKept, &p.filledKept, &p.gained, &p.limits, &p.drowned} {
		*s = e.series()
	}
}

// keptAt is the flow that a meter with the corrected settings would have shown of row i.
func (e *Engine) keptAt(i int) float64 {
	if e.kept == nil {
		return e.beforeFlow[i]
	}
	return e.keptFlow[i]
}

func (e *Engine) freeAt(i int) float64 {
	if e.free == nil {
		return e.afterFlow[i]
	}
	return e.free[i]
}

// run takes in clean rows low to high−1, which follow an accepted one.
func (p *parts) run(e *Engine, low, high int) {
	kept := e.keptFlow
	if e.kept == nil {
		kept = e.beforeFlow
	}
	for i := low; i < high; i++ {
		if a, b := e.freeAt(i-1)-kept[i-1], e.freeAt(i)-kept[i]; a != 0 || b != 0 {
			p.limits.Step(e.Time[i-1], a, e.Time[i], b)
		}
	}
}

// join takes in the step from the last accepted reading to row i.
func (p *parts) join(e *Engine, i int, t0 int64, raw float64) {
	a := &e.after
	p.settle(joined)
	kept, free := e.keptAt(i), raw
	if e.free != nil {
		free = e.free[i]
	}
	if l0, l1 := a.last.free-p.kept, free-kept; l0 != 0 || l1 != 0 {
		p.limits.Step(t0, l0, e.Time[i], l1)
	}
	if d0, d1 := a.last.raw-a.last.free, raw-free; d0 != 0 || d1 != 0 {
		p.drowned.Step(t0, d0, e.Time[i], d1)
	}
}

// pend keeps the step to row i until it is known what becomes of its time.
func (p *parts) pend(e *Engine, i int) {
	a := &e.after
	add := func(kind pieceKind, shift int64) func(int64, float64, int64, float64) {
		return func(t0 int64, q0 float64, t1 int64, q1 float64) {
			p.pending = append(p.pending, piece{kind, t0 + shift, t1 + shift, q0, q1})
		}
	}
	shown := e.shownTime[i] - e.Time[i]
	switch {
	case e.ofIntervals():
		add(ofBefore, shown)(e.opens(i), e.beforeFlow[i], e.Time[i], e.beforeFlow[i])
		add(ofKept, 0)(e.opens(i), e.keptAt(i), e.Time[i], e.keptAt(i))
	case i == 0:
	case e.Flags[i]&qa.Gap != 0:
		add(ofGap, 0)(e.Time[i-1], 0, e.Time[i], 0)
	default:
		e.connect(e.recorded, e.endAt(i-1, e.beforeFlow[i-1]), e.endAt(i, e.beforeFlow[i]), settings.MeterRate, add(ofBefore, shown))
		e.connect(e.corrected, e.endAt(i-1, e.keptAt(i-1)), e.endAt(i, e.keptAt(i)), settings.MeterRate, add(ofKept, 0))
	}
	if a.hopeless(e, e.Time[i]) {
		p.settle(lost)
	}
}

// hopeless reports whether nothing will be put in the place of the time since the last accepted reading.
func (a *after) hopeless(e *Engine, now int64) bool {
	if !a.last.any {
		return true
	}
	since := now - a.last.at
	f := e.site.Filling
	fills := f.Rule != site.FillNot && f.Rule != "" && since <= f.Limit.Nanoseconds()
	return !fills && (a.stretch.leftOut || a.stretch.gap || since > a.bridge)
}

// settle gives the pieces of a stretch to where they belong.
func (p *parts) settle(f fate) {
	for _, x := range p.pending {
		switch {
		case x.kind == ofBefore && f == lost:
			p.lost.Step(x.t0, x.q0, x.t1, x.q1)
		case x.kind == ofKept && f == lost:
			p.lostKept.Step(x.t0, x.q0, x.t1, x.q1)
		case x.kind == ofKept && f == filled:
			p.filledKept.Step(x.t0, x.q0, x.t1, x.q1)
		}
	}
	p.pending = p.pending[:0]
}

// gain notes what a filled step puts into time in which nothing was logged.
func (p *parts) gain(t0 int64, q0 float64, t1 int64, q1 float64) {
	at := func(t int64) float64 { return q0 + float64((q1-q0)*(float64(t-t0)/float64(t1-t0))) }
	for _, x := range p.pending {
		if low, high := max(x.t0, t0), min(x.t1, t1); x.kind == ofGap && low < high {
			p.gained.Step(low, at(low), high, at(high))
		}
	}
}

// beside is the recorded lane moved by a source of uncertainty, over the readings that count: what before and after
// share of the source cancels.
type beside struct {
	lane   *settings.Lane
	flow   []float64
	series *total.Series // of the moved flows
	still  *total.Series // of the flows before, over the same time
	last   [2]float64    // of the last accepted reading: moved and still
}

func (b *beside) run(e *Engine, low, high int) {
	if b == nil {
		return
	}
	b.series.Run(e.Time[low-1:high], b.flow[low-1:high])
	b.still.Run(e.Time[low-1:high], e.beforeFlow[low-1:high])
}

// step takes in the step from the last accepted reading to row i, which begins at t0.
func (b *beside) step(e *Engine, i int, t0 int64) {
	if b == nil {
		return
	}
	b.series.Step(t0, b.last[0], e.Time[i], b.flow[i])
	b.still.Step(t0, b.last[1], e.Time[i], e.beforeFlow[i])
}

// volumes are what the source changes of before on a day, in volume.
func (b *beside) volumes(day int) (moved, still Volume) {
	moved.Sum, moved.Covered = b.series.Volume(day)
	still.Sum, still.Covered = b.still.Volume(day)
	return moved, still
}
