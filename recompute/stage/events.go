package stage

import (
	"math"
	"math/bits"

	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/block"
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
	// Effect is what the action added to the corrected total, m³; readings with several flags count for the first.
	Effect float64
	Spans  int // 1; more when spans were joined because there were too many
}

// mostEvents is how many events of one check are kept apart; those beyond are joined to the last.
const mostEvents = 20000

// Events follows the spans of every flag, and what each made of the total.
type Events struct {
	List    []*Event
	open    [32]*Event // by flag
	count   [32]int
	latest  [32]*Event
	any     qa.Flags
	dropped []*Event // of the readings dropped since the last accepted one, one each
	recent  *Event   // of the last accepted reading, when it was changed
}

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
		v.extend(b, s.Low, s.High)
		switch s.Kind {
		case block.Drops:
			if event := v.behind(b, s.Low); event != nil {
				v.dropped = append(v.dropped, event)
			}
		case block.Counts:
			v.settle(b, s)
		}
	}
}

// Finish gives what lies after the last accepted reading, m³ if every reading had been kept, to the events behind it.
func (v *Events) Finish(tail float64) {
	for _, event := range v.dropped {
		event.Effect -= tail / float64(len(v.dropped))
	}
}

// behind is the event that counts for what screening made of row i; nil for none.
func (v *Events) behind(b *block.Block, i int) *Event {
	return v.open[index((b.Flags[i] & b.Drops &^ qa.Gap).First())]
}

// settle gives the difference that screening made since the last accepted reading to the events behind it, in equal
// parts to each dropped or changed reading.
func (v *Events) settle(b *block.Block, s *block.Step) {
	causes, own := v.dropped, v.behind(b, s.Low)
	if own != nil {
		causes = append(causes, own)
	}
	if s.Last.Flags != 0 && v.recent != nil {
		causes = append(causes, v.recent)
	}
	for _, event := range causes {
		event.Effect += (s.Volume - s.Unscreened) / float64(len(causes))
	}
	v.recent, v.dropped = own, causes[:0]
}

// extend takes in rows low to high−1: their flags begin, carry on or end events.
func (v *Events) extend(b *block.Block, low, high int) {
	for i := low; i < high; i++ {
		flags := b.Flags[i]
		if flags|v.any == 0 {
			continue
		}
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
