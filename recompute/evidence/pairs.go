package evidence

import (
	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/explain"
	"retotal/recompute/settings"
)

// Pairs keeps the levels and flows that were logged at one instant, by recorded segment: all of them, or of a long log
// every second, fourth, … one.
type Pairs struct {
	Of    []SegmentPairs
	Most  int // that are kept
	Every int // of how many one is kept
	seen  int
}

// SegmentPairs are those under one set of recorded settings, in the order of time.
type SegmentPairs struct {
	Segment *settings.Segment
	Pairs   []explain.Pair
}

// noPair are the flags of readings that say nothing of what a meter makes of a level.
const noPair = qa.Conflict | qa.Unusable | qa.SensorRange | qa.Loop

// Add takes in the rows of a block. A log of flows has none: its heads are computed from them.
func (p *Pairs) Add(b *block.Block) {
	if len(b.Logged) == 0 || b.OfFlow {
		return
	}
	b.EachSegment(b.Recorded.Lane, b.Low, b.High, func(s *settings.Segment, low, high int) {
		if n := len(p.Of); n == 0 || p.Of[n-1].Segment != s {
			p.Of = append(p.Of, SegmentPairs{Segment: s})
		}
		to := &p.Of[len(p.Of)-1]
		for i := low; i < high; i++ {
			if b.LoggedState[i] != reading.Present || b.Flags[i]&noPair != 0 {
				continue
			}
			if p.seen++; p.seen%max(p.Every, 1) == 0 {
				head := s.Head(b.Time[i], b.Figure[i], b.AirAt(i))
				to.Pairs = append(to.Pairs, explain.Pair{At: b.Time[i], Head: head, Flow: b.Logged[i]})
			}
		}
	})
	if p.count() > p.Most {
		p.thin()
	}
}

func (p *Pairs) count() (n int) {
	for i := range p.Of {
		n += len(p.Of[i].Pairs)
	}
	return n
}

// thin keeps every second pair.
func (p *Pairs) thin() {
	p.Every = 2 * max(p.Every, 1)
	for i := range p.Of {
		list := p.Of[i].Pairs
		kept := list[:0]
		for k := 1; k < len(list); k += 2 {
			kept = append(kept, list[k])
		}
		p.Of[i].Pairs = kept
	}
}
