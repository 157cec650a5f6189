// Package effect says what each flag of screening did to the corrected total, and what it would do to leave out the
// readings that were kept.
package effect

import (
	"math"
	"math/bits"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/stage"
)

// Event is a span of consecutive readings with one flag.
type Event struct {
	Flag        qa.Flags
	Check       string      // name of the check
	Action      site.Action // what becomes of its readings
	From, Until int64       // first and last reading; for a gap, the readings on both sides
	Rows        int
	File, Line  int32 // of the first reading
	Lowest      float64
	Highest     float64 // heads under the corrected settings, m
	// Effect is what the action added to the corrected total, m³. A stretch of readings that screening dropped or gave
	// another flow, between two that count as they are, belongs to the first flag of its first reading.
	Effect float64
	Spans  int // 1; more when spans were joined because there were too many
	// Left is what the corrected total would change by without its readings, where they are kept; all other readings
	// stay as they are.
	Left Change
}

// Drops reports whether its readings do not count in the corrected total, unless a ruling has them count.
func (e *Event) Drops() bool {
	return e.Flag != qa.Gap && (e.Action == site.LeaveOut || e.Action == site.Bridge)
}

// mostEvents is how many events of one check are kept apart; those beyond are joined to the last.
const mostEvents = 20000

// Events follows the spans of every flag, what each made of the total, and what it would make of it to leave out those
// that are kept.
type Events struct {
	List   []*Event
	open   [32]*Event // by flag
	count  [32]int
	latest [32]*Event
	any    qa.Flags
	owner  *Event // that the stretch of changed readings at hand belongs to; nil outside of one
	ruled  Event  // of stretches that begin with a reading under a ruling, or with one that no check changed
	kept   kept
}

// New prepares the stage for a pass.
func New(b *block.Block, joins stage.Joins) *Events { return &Events{kept: newKept(b, joins)} }

// Ruled is what the stretches that begin with a ruling added to the corrected total, m³: with the effects of all events
// it is what screening and rulings did.
func (v *Events) Ruled() float64 { return v.ruled.Effect }

// Left is what the corrected total would change by without the readings of all checks that keep. Those of single checks
// add up to it where no flags overlap.
func (v *Events) Left() Change { return v.kept.total }

// index numbers a single flag from 0; the empty set has number 31, which is never open.
func index(f qa.Flags) int {
	if f == 0 {
		return 31
	}
	return bits.TrailingZeros32(uint32(f))
}

// Add takes in the steps of a block.
func (v *Events) Add(b *block.Block) {
	for k := range b.Steps {
		s := &b.Steps[k]
		if s.Kind == block.Run {
			v.run(b, s)
			continue
		}
		v.extend(b, s.Low)
		if s.Changed || s.Kind == block.Drops {
			v.change(b, s)
		}
		if s.Kind == block.Counts {
			v.settle(s)
			v.kept.take(b, s, &v.open)
		}
	}
}

// run takes in rows that count as they are.
func (v *Events) run(b *block.Block, s *block.Step) {
	for i := s.Low; i < s.High; i++ {
		if b.Flags[i]|v.any == 0 && v.kept.all.to == nil {
			continue
		}
		if v.extend(b, i); v.kept.concerns(b, i) {
			single := b.Single(i)
			v.kept.take(b, &single, &v.open)
		}
	}
}

// Finish gives what lies after the last accepted reading, m³ if every reading had been kept, to the event behind it.
func (v *Events) Finish(tail float64) {
	if v.owner != nil {
		v.owner.Effect -= tail
	}
	v.kept.finish()
}

// change takes in a reading that was dropped or changed: where no stretch of such readings is open, it begins one. Of
// its flags those come first that act; a kept one may still hide flow.
func (v *Events) change(b *block.Block, s *block.Step) {
	if v.owner != nil {
		return
	}
	flags := b.Flags[s.Low] & b.Drops &^ qa.Gap
	if acting := flags &^ v.kept.flags; acting != 0 {
		flags = acting
	}
	if v.owner = v.open[index(flags.First())]; s.Ruling != nil || v.owner == nil {
		v.owner = &v.ruled
	}
}

// settle gives the difference that screening made since the last accepted reading to the stretch at hand.
func (v *Events) settle(s *block.Step) {
	if v.owner == nil {
		return
	}
	if v.owner.Effect += s.Volume - s.Unscreened; !s.Changed {
		v.owner = nil
	}
}

// extend takes in row i: its flags begin, carry on or end events.
func (v *Events) extend(b *block.Block, i int) {
	flags := b.Flags[i]
	for rest := flags | v.any; rest != 0; rest &^= rest.First() {
		f := rest.First()
		if flags&f == 0 || f == qa.Gap {
			v.open[index(f)] = nil
			v.any &^= f
		}
		if flags&f != 0 {
			v.carry(b, f, i)
		}
	}
}

// carry adds row i to the open event of a flag, or begins one.
func (v *Events) carry(b *block.Block, f qa.Flags, i int) {
	event := v.open[index(f)]
	if event == nil {
		event = v.begin(b, f, i)
	}
	event.Rows++
	event.Until = b.Time[i]
	event.Lowest, event.Highest = math.Min(event.Lowest, b.Head[i]), math.Max(event.Highest, b.Head[i])
}

func (v *Events) begin(b *block.Block, f qa.Flags, i int) *Event {
	k := index(f)
	v.any |= f
	if v.count[k]++; v.count[k] > mostEvents {
		v.open[k] = v.latest[k]
		v.latest[k].Spans++
		return v.latest[k]
	}
	event := &Event{
		Flag: f, Check: qa.Checks[k].Name, Action: b.Actions[f], From: b.Time[i], Until: b.Time[i],
		File: b.File[i], Line: b.Line[i], Lowest: math.Inf(1), Highest: math.Inf(-1), Spans: 1,
	}
	if f == qa.Gap {
		event.From = b.Time[i-1]
	}
	v.List = append(v.List, event)
	v.open[k], v.latest[k] = event, event
	return event
}
