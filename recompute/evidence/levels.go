package evidence

import (
	"math"
	"time"

	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/settings"
)

// Levels follows how the readings of the whole record stand to the device, and the long runs of one value among them.
type Levels struct {
	tally   headTally
	run     Still
	rows    int     // of the run
	after   bool    // it comes after a long one, so that the way into it is no change as the water makes it
	head    float64 // of the reading before
	any     bool    // there is one, and no gap after it
	largest float64 // m, from one reading to the next elsewhere
	steps   float64 // m, ten steps of the log
	list    []Still
}

// Still is a long run of readings of one value.
type Still struct {
	From, Until   int64
	Head          float64 // m
	Entered, Left float64 // m, change of the head on the way in and out; NaN where there is no reading beside
}

const (
	longStill  = 12 * time.Hour // from which on a run of one value is long; common practice
	stillRows  = 5              // of a long run
	mostStills = 1000           // more tell that this record often stands still
)

// noLevel are the flags of readings that say nothing of levels. Those too near to the sensor or beyond what the meter
// shows do, when there are many.
const noLevel = qa.Conflict | qa.Unusable | qa.SensorRange | qa.Spike

// Add takes in the rows of a block. Means may well be equal, and heads that come out of flows are the flows' matter.
func (l *Levels) Add(b *block.Block) {
	if b.Means || b.OfFlow {
		return
	}
	l.steps = 10 * b.Limits.Resolution
	b.EachSegment(b.Corrected.Lane, b.Low, b.High, func(s *settings.Segment, low, high int) {
		lowest := s.Rating.Limits().Low
		for i := low; i < high; i++ {
			if b.Flags[i]&noLevel == 0 {
				l.tally.add(b.Head[i], s, lowest, b.Limits.BelowZero)
			}
			if b.Flags[i]&(qa.Conflict|qa.Unusable|qa.Spike) == 0 {
				l.row(b, i, s)
			}
		}
	})
}

// row follows the run of one value.
func (l *Levels) row(b *block.Block, i int, s *settings.Segment) {
	head, entered := b.Head[i], math.NaN()
	if b.Flags[i]&qa.Gap != 0 || b.Time[i] == s.From {
		l.end(math.NaN())
		l.any = false
	}
	if l.any {
		entered = math.Abs(head - l.head)
	}
	if l.head = head; l.any && entered <= 1e-9 {
		l.run.Until, l.rows = b.Time[i], l.rows+1
		return
	}
	l.end(entered)
	l.run, l.rows, l.any = Still{From: b.Time[i], Until: b.Time[i], Head: head, Entered: entered}, 1, true
}

// end closes the run at hand, left by a change of the head.
func (l *Levels) end(left float64) {
	if l.rows == 0 {
		return
	}
	long := l.rows >= stillRows && l.run.Until-l.run.From >= longStill.Nanoseconds()
	if long && len(l.list) < mostStills {
		l.run.Left = left
		l.list = append(l.list, l.run)
	} else if l.run.Entered > l.largest && !l.after {
		l.largest = l.run.Entered
	}
	l.after, l.rows = long, 0
}

// Heads is how the readings stand to the device.
func (l *Levels) Heads() Heads { return l.tally.heads() }

// Dead returns the long runs that were reached and left by jumps, larger than any change elsewhere, as those of a dead
// sensor are: over three times the largest, 20 mm and ten steps of the log. A record that has more than a few comes and
// goes so.
func (l *Levels) Dead() (list []Still) {
	l.end(math.NaN())
	limit := max(3*l.largest, leastJump, l.steps)
	for _, x := range l.list {
		in, out := x.Entered > limit, x.Left > limit
		if (in || math.IsNaN(x.Entered)) && (out || math.IsNaN(x.Left)) && (in || out) {
			list = append(list, x)
		}
	}
	if len(list) > fewFaults {
		return nil
	}
	return list
}
