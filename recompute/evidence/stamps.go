package evidence

import (
	"retotal/qa"
	"retotal/recompute/block"
)

// Stamps gathers what the log's own instants tell of its clock: hours that are missing between two readings, and hours
// that stand in the log twice.
type Stamps struct {
	Gaps    []StampSpan // of about an hour beyond the interval, the first ones
	Doubles []StampSpan // spells of readings whose times stand twice with other values, the first ones
	last    int64
	known   bool
	double  *StampSpan
}

// StampSpan is the time between two readings, or a spell of readings, with how many stood there a second time.
type StampSpan struct {
	From, Until int64
	Readings    int
}

// mostStamps is how many spans are kept.
const mostStamps = 200

// Add takes in the rows of a block.
func (s *Stamps) Add(b *block.Block) {
	for i := b.Low; i < b.High; i++ {
		at := b.Shown[i]
		interval := func() int64 { return int64(b.Log.At(b.Time[i]).Interval) }
		if beyond := at - s.last - hourNs; s.known && beyond > -hourNs/6 && len(s.Gaps) < mostStamps {
			if more := beyond - interval(); more > -hourNs/6 && more < hourNs/6 {
				s.Gaps = append(s.Gaps, StampSpan{From: s.last, Until: at})
			}
		}
		switch {
		case b.Flags[i]&qa.Conflict == 0:
		case s.double != nil && at-s.double.Until <= hourNs/2+interval():
			s.double.Until = at
			s.double.Readings++
		case len(s.Doubles) < mostStamps:
			s.Doubles = append(s.Doubles, StampSpan{at, at, 1})
			s.double = &s.Doubles[len(s.Doubles)-1]
		}
		s.last, s.known = at, true
	}
}
