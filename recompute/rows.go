package recompute

import (
	"slices"

	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/settings"
	"retotal/recompute/stage"
	"retotal/recompute/total"
	"retotal/recompute/uncertainty"
)

// Rows is a stretch of readings with all that was decided on them, in columns of one length. It is valid during the
// call.
type Rows struct {
	Time []int64
	// Value is the logged figure that the flow is computed from, SI; of counters and interval volumes, the mean flow of
	// the interval.
	Value []float64
	Head  []float64 // under the corrected settings, m
	// RecordedHead is under the recorded settings, m; nil where flows or volumes are logged.
	RecordedHead []float64
	Air          []float64 // K, as logged, or as last logged; nil when the log has no temperature
	Counter      []float64 // m³; nil when the log has no counter
	CounterState []reading.State
	Before       []float64 // m³/s
	After        []float64 // m³/s; meaningful where Used
	Used         []bool    // whether After counts
	// Lower and Upper are the flows between which the truth lies, m³/s: After itself where it is exact; Upper is +Inf
	// where nothing bounds it. Both are meaningful where Used.
	Lower, Upper []float64
	Ruling       func(i int) int // number of the ruling that a row is under; −1 for none
	// U95 is the expanded uncertainty (95 %) of After of row i, m³/s; false where the reading does not count as it was
	// read, or the flow is only bounded, or when there is no budget.
	U95    func(i int) (float64, bool)
	Logged []float64 // m³/s; nil when the log has no flow
	State  []reading.State
	Flags  []qa.Flags
	Cells  *total.Calendar // whose days are the cells that were asked for; nil for none
}

// rows is the stage that hands rows out.
type rows struct {
	to           func(*Rows) error
	sources      *uncertainty.Components
	lower, upper []float64 // of the rows handed out last
	heads        []float64
	err          error
}

// Add hands out the rows of a block.
func (x *rows) Add(b *block.Block) {
	low, high := b.Low, b.High
	r := &Rows{
		Time:   b.Time[low:high],
		Value:  b.Figure[low:high],
		Head:   b.Head[low:high],
		Before: b.Recorded.Flow[low:high],
		After:  b.Corrected.Flow[low:high],
		Used:   b.Used[low:high],
		Flags:  b.Flags[low:high],
	}
	if b.Cells != nil {
		r.Cells = b.Cells.Calendar
	}
	if len(b.Logged) > 0 {
		r.Logged, r.State = b.Logged[low:high], b.LoggedState[low:high]
	}
	if len(b.Counter) > 0 {
		r.Counter, r.CounterState = b.Counter[low:high], b.CounterState[low:high]
	}
	r.Air, r.RecordedHead = b.AirOf(low, high), x.recorded(b)
	x.bound(b, r)
	r.Ruling = func(i int) int { _, number := b.RulingOf(low + i); return number }
	r.U95 = func(i int) (float64, bool) {
		if len(x.sources.List) == 0 || !r.Used[i] || r.Flags[i]&b.Drops&^qa.Gap != 0 || r.Lower[i] != r.Upper[i] {
			return 0, false
		}
		return x.sources.U95(b, low+i), true
	}
	x.err = x.to(r)
}

// recorded works out the heads of rows under the recorded settings; nil where flows or volumes are logged.
func (x *rows) recorded(b *block.Block) []float64 {
	if b.OfFlow {
		return nil
	}
	x.heads = slices.Grow(x.heads[:0], b.High-b.Low)[:b.High-b.Low]
	b.EachSegment(b.Recorded.Lane, b.Low, b.High, func(s *settings.Segment, low, high int) {
		s.Heads(x.heads[low-b.Low:high-b.Low], b.Time[low:high], b.Figure[low:high], b.AirOf(low, high))
	})
	return x.heads
}

// bound fills in the bounds of rows.
func (x *rows) bound(b *block.Block, r *Rows) {
	x.lower, x.upper = append(x.lower[:0], r.After...), append(x.upper[:0], r.After...)
	b.EachSegment(b.Corrected.Lane, b.Low, b.High, func(s *settings.Segment, low, high int) {
		for i := low; i < high; i++ {
			if !b.Used[i] || b.Flags[i]&(b.Drops|qa.Hiding) == 0 && !s.OfMeans() && len(b.Rulings.List) == 0 {
				continue
			}
			ruling, _ := b.RulingOf(i)
			_, known := stage.Counted(b, s, i, b.Corrected.Flow[i], b.ActionOf(b.Flags[i]&b.Drops), ruling)
			x.lower[i-b.Low], x.upper[i-b.Low] = known.Lower, known.Upper
		}
	})
	r.Lower, r.Upper = x.lower, x.upper
}
