package recompute

import (
	"math"
	"retotal/recompute/settings"
	"time"

	"retotal/ingest/reading"
	"retotal/qa"
)

// Some things only the whole record shows: whether a meter that logs levels stops at its maximum head, and whether an end of what the meter shows was reached as the
// water of this record comes and goes, or by a jump that it never makes elsewhere. A first pass takes the usual answer; where the record shows another, it is
// read again.

// Whole is what a pass over a whole record showed.
type Whole struct {
	more  []bool // of each recorded segment: the log shows more than its maximum head
	stays []stay // at an end, of which the usual answer was wrong
}

// stay is a run of readings at one end of what the meter shows.
type stay struct {
	from, until   int64   // first and last reading
	entered, left float64 // m, change of the head on the way in and out; 0 where there is no reading beside
	low           bool    // at the end of little flow
	spiked        bool    // every reading of it was a spike
	hidden        bool    // every reading of it hides what flowed; a zero need not
	verdict       qa.Verdict
}

// mostStays is how many stays with a jump are kept; a record with more has ends that its water reaches by jumps.
const mostStays = 20000

// stays follows the readings at an end, and the largest change between readings elsewhere.
type stays struct {
	list     []stay
	open     *stay
	largest  float64 // m, between neighbours of which no check doubts either
	ordinary bool    // the reading before is one that no check doubts, and at no end
	head     float64 // of it
	more     []bool
}

// leastJump is the least change that can be a jump, m; common practice.
const leastJump = 0.02

// doubted are the flags of readings that say nothing of how fast the water changes.
const doubted = qa.Spike | qa.Conflict | qa.Unusable | qa.Dead | qa.Stuck | qa.Loop | qa.SensorRange

// add takes in rows low to high−1.
func (s *stays) add(e *Engine, low, high int) {
	e.eachSegment(e.corrected, low, high, func(segment *settings.Segment, low, high int) {
		for i := low; i < high; i++ {
			s.row(e, segment, i)
		}
	})
	s.showMore(e, low, high)
}

// row takes in one reading.
func (s *stays) row(e *Engine, segment *settings.Segment, i int) {
	head, flags := e.Head[i], e.Flags[i]
	if flags&qa.Gap != 0 || i == 0 || e.Time[i] == segment.From {
		s.end(e, 0)
		s.ordinary = false
	}
	end, low := e.atEnd(i)
	if end && low { // the meter itself jumps from its cut-off to zero
		head = math.Max(head, segment.Head(e.Time[i], segment.Ends.Floor, e.airAt(i)))
	}
	change := math.Abs(head - s.head)
	switch {
	case end && s.open != nil && s.open.low == low:
		s.open.until, s.open.spiked, s.open.hidden = e.Time[i], s.open.spiked && flags&qa.Spike != 0, s.open.hidden && flags&qa.Hiding != 0
	case end:
		s.end(e, change)
		s.open = &stay{from: e.Time[i], until: e.Time[i], low: low, spiked: flags&qa.Spike != 0, hidden: flags&qa.Hiding != 0}
		if s.ordinary {
			s.open.entered = change
		}
	case flags&doubted == 0:
		s.end(e, change)
		if s.ordinary {
			s.largest = math.Max(s.largest, change)
		}
	default:
		s.end(e, 0)
	}
	s.head, s.ordinary = head, !end && flags&doubted == 0
}

// end closes the open stay, left by a change of the head.
func (s *stays) end(_ *Engine, change float64) {
	if s.open == nil {
		return
	}
	if s.open.left = change; len(s.list) < mostStays && (s.open.spiked || math.Max(s.open.entered, change) > leastJump) {
		s.list = append(s.list, *s.open)
	}
	s.open = nil
}

// atEnd reports whether row i stands at an end of what the meter shows, and at which. Zero is one too: a sensor may die there.
func (e *Engine) atEnd(i int) (end, low bool) {
	switch flags := e.Flags[i]; {
	case flags&qa.CutOff != 0:
		return true, true
	case flags&qa.Hiding != 0:
		return true, false
	case math.Abs(e.figure[i]) <= e.screener.Limits.Step/2:
		return true, e.primary != reading.Distance
	}
	return false, false
}

// showMore notes which recorded segments stop at their maximum head although the log shows more.
func (s *stays) showMore(e *Engine, low, high int) {
	if e.primary != reading.Level && e.primary != reading.Head {
		return
	}
	if s.more == nil {
		s.more = make([]bool, len(e.recorded.Segments))
	}
	half := e.screener.Limits.Step/2 + 1e-9
	for low < high {
		k := e.recorded.At(e.Time[low] - e.lag)
		segment := &e.recorded.Segments[k]
		for ; low < high && e.Time[low]-e.lag < segment.Until; low++ {
			if over := segment.Head(e.Time[low], e.figure[low], e.airAt(low)) - segment.MaximumHead; over > half && e.Flags[low]&doubted == 0 {
				s.more[k] = true
			}
		}
	}
}

// verdicts decides what the stays of the whole record were. A change is a jump when it is over three times the largest change elsewhere, 20 mm and ten steps of the
// log. One jump, in or out, tells of dirt or a dead sensor where readings come every five minutes or faster; at longer intervals, and at the end of little
// flow, where pumps and valves stop at once, it takes both, at least an hour, and an end that is not met so again and again.
func (s *stays) verdicts(e *Engine) (again []stay) {
	s.end(e, 0)
	limit := max(3*s.largest, leastJump, 10*e.screener.Limits.Resolution)
	jumped := func(x *stay) (one, both bool) {
		return max(x.entered, x.left) > limit, min(x.entered, x.left) > limit
	}
	lows := 0
	for i := range s.list {
		if x := &s.list[i]; x.low && x.until-x.from >= longLow {
			if _, both := jumped(x); both {
				lows++
			}
		}
	}
	for i := range s.list {
		x := &s.list[i]
		one, both := jumped(x)
		dead := both
		switch {
		case x.low:
			dead = both && (x.spiked || lows <= fewLows && x.until-x.from >= longLow)
		case e.log.Interval <= shortInterval:
			dead = one
		}
		if x.verdict = x.judge(dead, x.until-x.from > e.screener.Limits.SpikeWindow.Nanoseconds()/2); x.verdict != x.usual() {
			again = append(again, *x)
		}
	}
	return again
}

const (
	longLow       = int64(3600e9)   // ns
	fewLows       = 2               // stays at the end of little flow that can be faults; more are how this water stops
	shortInterval = 5 * time.Minute // up to which one jump tells of a fault
)

// usual is what a first pass takes a stay for.
func (x *stay) usual() qa.Verdict {
	if x.spiked {
		return qa.Glitch
	}
	return qa.NoVerdict
}

// judge says what a stay was, when it is known whether a jump tells of a fault, and whether it was longer than a spike.
func (x *stay) judge(dead, long bool) qa.Verdict {
	switch {
	case dead && long:
		return qa.DeadEnd
	case dead:
		return qa.Glitch
	case x.spiked && x.hidden:
		return qa.Water
	}
	return x.usual()
}

// learn returns what the whole record showed that this pass did not know; nil when it knew all.
func (e *Engine) learn() *Whole {
	w := &Whole{more: make([]bool, len(e.recorded.Segments)), stays: e.stays.verdicts(e)}
	news := len(w.stays) > 0
	for k := range e.stays.more {
		if w.more[k] = e.stays.more[k]; w.more[k] && !e.recorded.Segments[k].ShowsMore {
			news = true
		}
	}
	if !news {
		return nil
	}
	return w
}

// takeVerdicts marks the rows from start on of which the whole record told more.
func (e *Engine) takeVerdicts(start int) {
	if e.whole == nil || len(e.whole.stays) == 0 && e.Verdicts == nil {
		return
	}
	e.Verdicts = grow(e.Verdicts, len(e.Time))
	for i := start; i < len(e.Time); i++ {
		for len(e.whole.stays) > 0 && e.whole.stays[0].until < e.Time[i] {
			e.whole = &Whole{stays: e.whole.stays[1:]}
		}
		if len(e.whole.stays) > 0 && e.Time[i] >= e.whole.stays[0].from {
			e.Verdicts[i] = e.whole.stays[0].verdict
		}
	}
}
