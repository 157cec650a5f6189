package evidence

import (
	"math"
	"time"

	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/recompute/block"
	"retotal/recompute/settings"
)

// stay is a run of readings at one end of what the meter shows.
type stay struct {
	from, until     int64   // first and last reading
	entered, left   float64 // m, change of the head on the way in and out; NaN where there is no reading beside
	low             bool    // at the end of little flow
	spiked          bool    // every reading of it was a spike
	hidden          bool    // every reading of it hides what flowed; a zero need not
	verdict         qa.Verdict
	segment         int     // recorded one
	lowest, highest float64 // figures shown
}

// mostStays is how many stays with a jump are kept; a record with more has ends that its water reaches by jumps.
const mostStays = 20000

// Stays follows the readings at an end of what the meter shows, and the largest change between readings elsewhere.
//
// Some things only the whole record shows: whether a meter that logs levels stops at its maximum head, and whether an
// end of what the meter shows was reached as the water of this record comes and goes, or by a jump that it never makes
// elsewhere. A first pass takes the usual answer; where the record shows another, it is read again.
type Stays struct {
	Shown    []settings.Extremes // under each recorded segment
	list     []stay
	open     *stay
	largest  float64 // m, between neighbours of which no check doubts either
	latest   float64 // m, the change before, when it was one elsewhere
	left     bool    // the reading before stood at an end, or the one before it
	ordinary bool    // the reading before is one that no check doubts, and at no end
	head     float64 // of it
}

// NewStays prepares the stage for a pass.
func NewStays(b *block.Block) *Stays {
	s := &Stays{}
	for range b.Recorded.Segments {
		s.Shown = append(s.Shown, settings.Extremes{Least: math.Inf(1), Most: math.Inf(-1), Half: b.Limits.Step / 2})
	}
	return s
}

// leastJump is the least change that can be a jump, m; common practice.
const leastJump = 0.02

// doubted are the flags of readings that say nothing of how fast the water changes.
const doubted = qa.Spike | qa.Conflict | qa.Unusable | qa.Dead | qa.Stuck | qa.Loop | qa.SensorRange

// Add takes in the rows of a block.
func (s *Stays) Add(b *block.Block) {
	b.EachSegment(b.Corrected.Lane, b.Low, b.High, func(segment *settings.Segment, low, high int) {
		for i := low; i < high; i++ {
			s.row(b, segment, i)
		}
	})
}

// show takes in figures that the log shows under a recorded segment.
func (s *Stays) show(segment int, least, most float64) {
	x := &s.Shown[segment]
	x.Least, x.Most = min(x.Least, least), max(x.Most, most)
}

// row takes in one reading.
func (s *Stays) row(b *block.Block, segment *settings.Segment, i int) {
	head, flags, figure := b.Head[i], b.Flags[i], b.Figure[i]
	if flags&qa.Gap != 0 || i == 0 || b.Time[i] == segment.From {
		s.end(math.NaN())
		s.ordinary = false
	}
	end, low := atEnd(b, i)
	end = end && flags&qa.Dead == 0 // that is settled
	if end && low {                 // the meter itself jumps from its cut-off to zero
		head = max(head, segment.Head(b.Time[i], segment.Ends.Floor, b.AirAt(i)))
	}
	change := math.Abs(head - s.head)
	switch {
	case end && s.open != nil && s.open.low == low:
		s.open.until = b.Time[i]
		s.open.spiked, s.open.hidden = s.open.spiked && flags&qa.Spike != 0, s.open.hidden && flags&qa.Hiding != 0
		s.open.lowest, s.open.highest = min(s.open.lowest, figure), max(s.open.highest, figure)
	case end:
		out := change
		if flags&qa.Spike != 0 { // a bad reading is no way out
			out = math.NaN()
		}
		s.end(out)
		s.begin(b.Time[i], change, low, flags)
		s.open.segment, s.open.lowest, s.open.highest = b.NumberOf(b.Recorded.Lane, i), figure, figure
	case flags&doubted == 0:
		s.end(change)
		s.elsewhere(change)
		if ruling, _ := b.RulingOf(i); ruling == nil {
			s.show(b.NumberOf(b.Recorded.Lane, i), figure, figure)
		}
	default:
		s.end(math.NaN())
	}
	s.head, s.ordinary = head, !end && flags&doubted == 0
}

// begin opens a stay, entered by a change of the head.
func (s *Stays) begin(at int64, change float64, low bool, flags qa.Flags) {
	if !s.ordinary {
		change = math.NaN()
	}
	s.open = &stay{
		from:    at,
		until:   at,
		low:     low,
		spiked:  flags&qa.Spike != 0,
		hidden:  flags&qa.Hiding != 0,
		entered: change,
		left:    math.NaN(),
	}
	s.latest = 0 // it may have been the first half of the way in
}

// elsewhere takes in a change between readings of which none stands at an end. The one before an end and the one after
// it may be half of a jump, and do not count.
func (s *Stays) elsewhere(change float64) {
	if s.ordinary {
		s.largest, s.latest = max(s.largest, s.latest), change
	}
	if s.left {
		s.latest, s.left = 0, !s.ordinary
	}
}

// end closes the open stay, left by a change of the head.
func (s *Stays) end(change float64) {
	if s.open == nil {
		return
	}
	s.open.left = change
	if len(s.list) < mostStays && (s.open.spiked || s.open.entered > leastJump || change > leastJump) {
		s.list = append(s.list, *s.open)
	} else {
		s.show(s.open.segment, s.open.lowest, s.open.highest)
	}
	s.open, s.left = nil, true
}

// atEnd reports whether row i stands at an end of what the meter shows, and at which. Zero is one too: a sensor may die
// there.
func atEnd(b *block.Block, i int) (end, low bool) {
	switch flags := b.Flags[i]; {
	case flags&qa.CutOff != 0:
		return true, true
	case flags&qa.Hiding != 0:
		return true, false
	case math.Abs(b.Figure[i]) <= b.Limits.Step/2:
		return true, b.Site.Log.Primary != reading.Distance
	}
	return false, false
}

// Verdicts decides what the stays of the whole record were, and returns those of which the usual answer was wrong. A
// change is a jump when it is over three times the largest change elsewhere, 20 mm and ten steps of the log. One jump,
// in or out, tells of dirt or a dead sensor where readings come every five minutes or faster; at longer intervals all
// sides that are known must be jumps. At the end of little flow, where pumps and valves stop at once and a flood comes
// down a dry bed as a front, both must be, and it must last for an hour or longer. An end that is met so again and
// again is how this water comes and goes, and what moves there is no fault.
func (s *Stays) Verdicts(l *qa.Limits, interval time.Duration) (again []block.Told) {
	s.end(math.NaN())
	limit := max(3*max(s.largest, s.latest), leastJump, 10*l.Resolution)
	half, often := l.SpikeWindow.Nanoseconds()/2, map[bool]int{}
	s.lookThrough(half)
	for i := range s.list {
		if x := &s.list[i]; x.jumped(limit, false) && x.until-x.from > max(half, x.least()) {
			often[x.low]++
		}
	}
	for i := range s.list {
		x := &s.list[i]
		long := x.until-x.from > half
		dead := x.jumped(limit, !x.low && interval <= shortInterval)
		if long && (often[x.low] > fewFaults || x.until-x.from < x.least() || x.low && !x.between() ||
			!x.stands(l)) {
			dead = false
		}
		if x.verdict = x.judge(dead, long); x.verdict != x.usual() {
			again = append(again, block.Told{From: x.from, Until: x.until, Verdict: x.verdict})
		}
		if x.verdict != qa.DeadEnd && x.verdict != qa.Glitch { // a fault shows nothing of where the meter ends
			s.show(x.segment, x.lowest, x.highest)
		}
	}
	return again
}

// lookThrough takes no time away from an end for a way in or out that is as short as a spike.
func (s *Stays) lookThrough(short int64) {
	for i := 1; i < len(s.list); i++ {
		if x, y := &s.list[i-1], &s.list[i]; x.low == y.low && y.from-x.until <= short {
			x.left, y.entered = math.NaN(), math.NaN()
		}
	}
}

// jumped reports whether all sides of a stay that are known are jumps, or with one any of them.
func (x *stay) jumped(limit float64, one bool) bool {
	in, out := x.entered > limit, x.left > limit
	if one {
		return in || out
	}
	return (in || math.IsNaN(x.entered)) && (out || math.IsNaN(x.left)) && (in || out)
}

// between reports whether both sides of a stay are known.
func (x *stay) between() bool { return !math.IsNaN(x.entered) && !math.IsNaN(x.left) }

// stands reports whether what is shown hardly moves, as it does behind dirt and of a dead sensor: by 5 mm or ten steps
// of the log at the most.
func (x *stay) stands(l *qa.Limits) bool {
	within := 10 * l.Step
	if l.Resolution > 0 || l.Step == 0 {
		within = max(within, 0.005)
	}
	return x.highest-x.lowest <= within+l.Step/10+1e-9
}

// least is how long a stay must be to be a fault and not a short stop.
func (x *stay) least() int64 {
	if x.low && !x.spiked {
		return longLow
	}
	return 0
}

const (
	longLow       = int64(3600e9)   // ns
	fewFaults     = 2               // long stays at an end that can be faults; more are how this water comes and goes
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
