package odd

import (
	"math"
	"time"
)

// DropOuts are many short drop-outs to one and the same extreme value.
type DropOuts struct {
	Span
	High   bool    // the extreme is the highest level of the record, not the lowest
	Head   float64 // m, of the extreme, at the first of them
	Times  int
	Bounds int     // readings that are held as bounds
	Effect float64 // m³ that the total has by them, against lines between the readings around them
}

// Fade is a slide to the extreme of a record, where it stays until it jumps back.
type Fade struct {
	Span
	High bool
	Head float64 // m, of the extreme
	Left float64 // m, of the jump
}

const (
	mostVisits   = 20000 // that are kept; more are how this water comes and goes
	shortVisit   = 12    // readings of a drop-out at the most
	fewestDrops  = 6
	mostAtEnd    = 0.25 // share of the readings of a record at an extreme that a fault has
	longVisit    = 6 * time.Hour
	fewestFaded  = 5 // readings
	ofDropOuts   = 0.8
	dropNoise    = 6 // times the noise, and steps below, of the jump of a drop-out
	dropSteps    = 5
	dropReversal = 1.5 // times the third largest reversal elsewhere
	returns      = 0.3 // of the jump, by how much the levels before and after may differ
	fadeChange   = 3   // times the third largest change elsewhere, of the jump out of a fade
	settledFade  = 1.2 // the same where the level stays after it, as no flood does
	settledAfter = 7   // readings
	settled      = 0.2 // of the jump
	leastFade    = 0.02
)

// visit is a run of readings at the extreme of the record.
type visit struct {
	from, until   int64
	rows, bounds  int
	head          float64
	before, after float64 // m, the readings beside it, in the direction of the extreme; NaN for none
	flow          float64 // m³/s, the sum of its readings'
	flowBefore    float64
	flowAfter     float64
	followed      int     // readings after it without a gap, up to settledAfter
	strays        float64 // m, by how much they differ from the first of them
}

func (v *visit) jumps(extreme float64) (in, out float64) {
	return extreme - v.before, extreme - v.after
}

// end follows the visits of a record to its lowest or highest level, and what it does elsewhere. Levels are turned so
// that the extreme is the highest.
type end struct {
	sign      float64
	extreme   float64
	list      []visit
	left      int // visits that were not kept
	open      bool
	visit     visit
	n         int // readings in a row away from the extreme, up to 3
	last      [2]float64
	flow      float64
	followed  bool // the last visit of the list is being followed
	changes   top
	reversals top
}

func newEnd(sign float64) end { return end{sign: sign, extreme: math.Inf(-1)} }

// top holds the three largest of some numbers; the third is not moved by a lone odd one or two.
type top [3]float64

func (t *top) add(x float64) {
	if x <= t[2] {
		return
	}
	for i := range t {
		if x > t[i] {
			t[i], x = x, t[i]
		}
	}
}

func (e *end) add(r *Record, x *Reading) {
	y, tolerance := e.sign*x.Level, 1.5*r.step
	if y > e.extreme+tolerance {
		e.raise(y)
	}
	if y >= e.extreme-tolerance {
		if !e.open {
			e.open, e.followed = true, false
			e.visit = visit{from: x.At, head: x.Head, before: math.NaN(), after: math.NaN()}
			if e.n > 0 {
				e.visit.before, e.visit.flowBefore = e.last[1], e.flow
			}
		}
		e.visit.until, e.visit.rows, e.visit.flow = x.At, e.visit.rows+1, e.visit.flow+x.Flow
		if x.Bound {
			e.visit.bounds++
		}
		e.n = 0
		return
	}
	if e.open {
		e.visit.after, e.visit.flowAfter = y, x.Flow
		e.close()
		e.followed = e.left == 0
	}
	if e.followed {
		v := &e.list[len(e.list)-1]
		v.strays = max(v.strays, math.Abs(y-v.after))
		v.followed++
		e.followed = v.followed < settledAfter
	}
	if e.n > 0 {
		change := y - e.last[1]
		e.changes.add(math.Abs(change))
		if before := e.last[1] - e.last[0]; e.n > 1 && change < 0 && before > 0 {
			e.reversals.add(min(-change, before))
		}
	}
	e.last = [2]float64{e.last[1], y}
	e.n, e.flow = min(e.n+1, 3), x.Flow
}

// raise takes another level for the extreme; the visits to the one before were elsewhere.
func (e *end) raise(y float64) {
	if e.open { // a slide goes through one extreme after the other
		e.close()
		e.last[1], e.flow, e.n = e.extreme, e.visit.flow/float64(e.visit.rows), 1
	}
	for i := range e.list {
		if in, out := e.list[i].jumps(e.extreme); !math.IsNaN(in) {
			e.changes.add(in)
			if !math.IsNaN(out) {
				e.changes.add(out)
				e.reversals.add(min(in, out))
			}
		}
	}
	e.list, e.left, e.extreme, e.followed = e.list[:0], 0, y, false
}

func (e *end) close() {
	if e.open, e.followed = false, false; len(e.list) < mostVisits {
		e.list = append(e.list, e.visit)
	} else {
		e.left++
	}
}

func (e *end) breakOff(*Record) {
	if e.open {
		e.close()
	}
	e.n, e.followed = 0, false
}

// tell says whether the visits are drop-outs, and whether one of them is a fade.
func (e *end) tell(r *Record, noise float64, found *Result) {
	limit := max(dropNoise*noise, dropSteps*r.step, dropReversal*e.reversals[2])
	d := DropOuts{High: e.sign > 0}
	rows, visits, lasting := 0, 0, 0
	for i := range e.list {
		v := &e.list[i]
		rows += v.rows
		switch {
		case e.drops(v, limit):
			d.take(r, v)
		case e.long(v):
			lasting++
		default:
			visits++
		}
	}
	if e.left > 0 || float64(rows) > mostAtEnd*float64(r.readings) {
		return
	}
	if d.Times >= fewestDrops && float64(d.Times) >= ofDropOuts*float64(d.Times+visits) {
		found.DropOuts = append(found.DropOuts, d)
	}
	if lasting == 1 && visits <= 1 {
		e.tellFade(r, found)
	}
}

// drops reports whether a visit is short and between jumps to and from one level.
func (e *end) drops(v *visit, limit float64) bool {
	in, out := v.jumps(e.extreme)
	return v.rows <= shortVisit && in > limit && out > limit && math.Abs(in-out) <= returns*min(in, out)
}

func (e *end) long(v *visit) bool {
	return v.rows >= fewestFaded && v.until-v.from >= longVisit.Nanoseconds()
}

func (d *DropOuts) take(r *Record, v *visit) {
	if d.Times == 0 {
		d.From, d.Head = v.from, v.head
	}
	d.Until = v.until
	d.Times++
	d.Readings += v.rows
	d.Bounds += v.bounds
	seconds := r.seconds
	d.Hours += float64(v.rows) * seconds / 3600
	d.Volume += float64(v.flow * seconds)
	d.Effect += float64((v.flow - float64(float64(v.rows)*(v.flowBefore+v.flowAfter)/2)) * seconds)
}

// tellFade tells of a visit that was reached as water comes and left by a jump that this water never makes. How one
// was reached before which there is no reading is not known.
func (e *end) tellFade(r *Record, found *Result) {
	for i := range e.list {
		v := &e.list[i]
		in, out := v.jumps(e.extreme)
		change := fadeChange * e.changes[2]
		if v.followed == settledAfter && v.strays <= settled*out {
			change = settledFade * e.changes[2]
		}
		limit := max(change, leastFade, 2*dropSteps*r.step)
		if e.long(v) && v.bounds == 0 && in <= limit && out > limit {
			seconds := r.seconds
			found.Fades = append(found.Fades, Fade{
				Span: Span{From: v.from, Until: v.until, Readings: v.rows,
					Hours: float64(v.rows) * seconds / 3600, Volume: v.flow * seconds},
				High: e.sign > 0, Head: v.head, Left: out,
			})
		}
	}
}
