package evidence

import (
	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/qa/odd"
	"retotal/recompute/block"
	"retotal/recompute/settings"
)

// Odd hands the levels of a log to what looks for oddities of the whole record. Means over intervals, and heads that
// come out of flows, show none.
type Odd struct {
	record  *odd.Record
	segment *settings.Segment // of which the rating was told
	sign    float64           // −1 for distances, which fall as the water rises
}

// NewOdd prepares the stage for a pass.
func NewOdd(b *block.Block) *Odd {
	o := &Odd{sign: 1, record: odd.New(b.Log.Resolution[b.Site.Log.Primary], b.Log.Interval)}
	if b.Site.Log.Primary == reading.Distance {
		o.sign = -1
	}
	return o
}

// notOdd are the flags of readings that say nothing of the level, or of which all is said.
const notOdd = qa.Conflict | qa.Unusable | qa.Dead | qa.SensorRange | qa.Loop

// Add takes in the rows of a block. Of readings under a ruling a person has decided.
func (o *Odd) Add(b *block.Block) {
	if b.Means || b.OfFlow {
		return
	}
	b.EachSegment(b.Corrected.Lane, b.Low, b.High, func(s *settings.Segment, low, high int) {
		if s != o.segment && s.Rating != nil {
			o.segment = s
			o.record.Rating(s.Rating.Flow)
		}
		for i := low; i < high; i++ {
			if ruling, _ := b.RulingOf(i); ruling != nil || b.Flags[i]&notOdd != 0 {
				continue
			}
			if len(b.Log.Samplings) > 0 {
				o.record.Sampling(b.Log.At(b.Time[i]).Interval)
			}
			o.record.Add(odd.Reading{
				At: b.Time[i], Level: o.sign * b.Value[i], Head: b.Head[i], Flow: b.Corrected.Flow[i],
				Bound: b.Flags[i]&qa.Hiding != 0, Spike: b.Flags[i]&qa.Spike != 0,
			})
		}
	})
}

// Finish is what was found.
func (o *Odd) Finish() odd.Result { return o.record.Finish() }
