package recompute

import (
	"cmp"
	"math"
	"slices"
	"time"

	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/recompute/settings"
)

// Some things only the whole record shows: whether a meter that logs levels stops at its maximum head, and whether an
// end of what the meter shows was reached as the water of this record comes and goes, or by a jump that it never makes
// elsewhere. A first pass takes the usual answer; where the record shows another, it is read again.

// Whole is what a pass over a whole record showed.
type Whole struct {
	shown []settings.Extremes // under each recorded segment
	stays []stay              // at an end, of which the usual answer was wrong
}

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

// stays follows the readings at an end, and the largest change between readings elsewhere.
type stays struct {
	list     []stay
	open     *stay
	largest  float64             // m, between neighbours of which no check doubts either
	latest   float64             // m, the change before, when it was one elsewhere
	left     bool                // the reading before stood at an end, or the one before it
	ordinary bool                // the reading before is one that no check doubts, and at no end
	head     float64             // of it
	shown    []settings.Extremes // under each recorded segment
}

// leastJump is the least change that can be a jump, m; common practice.
const leastJump = 0.02

// doubted are the flags of readings that say nothing of how fast the water changes.
const doubted = qa.Spike | qa.Conflict | qa.Unusable | qa.Dead | qa.Stuck | qa.Loop | qa.SensorRange

// add takes in rows low to high−1.
func (s *stays) add(e *Engine, low, high int) {
	if s.shown == nil {
		for range e.recorded.Segments {
			s.shown = append(s.shown, settings.Extremes{Least: math.Inf(1), Most: math.Inf(-1), Half: e.screener.Limits.Step / 2})
		}
	}
	e.eachSegment(e.corrected, low, high, func(segment *settings.Segment, low, high int) {
		for i := low; i < high; i++ {
			s.row(e, segment, i)
		}
	})
}

// show takes in figures that the log shows under a recorded segment.
func (s *stays) show(segment int, least, most float64) {
	x := &s.shown[segment]
	x.Least, x.Most = min(x.Least, least), max(x.Most, most)
}

// row takes in one reading.
func (s *stays) row(e *Engine, segment *settings.Segment, i int) {
	head, flags := e.Head[i], e.Flags[i]
	if flags&qa.Gap != 0 || i == 0 || e.Time[i] == segment.From {
		s.end(math.NaN())
		s.ordinary = false
	}
	end, low := e.atEnd(i)
	end = end && flags&qa.Dead == 0 // that is settled
	if end && low {                 // the meter itself jumps from its cut-off to zero
		head = max(head, segment.Head(e.Time[i], segment.Ends.Floor, e.airAt(i)))
	}
	change := math.Abs(head - s.head)
	switch {
	case end && s.open != nil && s.open.low == low:
		s.open.until, s.open.spiked, s.open.hidden = e.Time[i], s.open.spiked && flags&qa.Spike != 0, s.open.hidden && flags&qa.Hiding != 0
		s.open.lowest, s.open.highest = min(s.open.lowest, e.figure[i]), max(s.open.highest, e.figure[i])
	case end:
		s.end(change)
		s.begin(e.Time[i], change, low, flags)
		s.open.segment, s.open.lowest, s.open.highest = e.recorded.At(e.Time[i]-e.lag), e.figure[i], e.figure[i]
	case flags&doubted == 0:
		s.end(change)
		s.elsewhere(change)
		if e.rulings.of(e.Time[i], flags) < 0 {
			s.show(e.recorded.At(e.Time[i]-e.lag), e.figure[i], e.figure[i])
		}
	default:
		s.end(math.NaN())
	}
	s.head, s.ordinary = head, !end && flags&doubted == 0
}

// begin opens a stay, entered by a change of the head.
func (s *stays) begin(at int64, change float64, low bool, flags qa.Flags) {
	if !s.ordinary {
		change = math.NaN()
	}
	s.open = &stay{from: at, until: at, low: low, spiked: flags&qa.Spike != 0, hidden: flags&qa.Hiding != 0, entered: change, left: math.NaN()}
	s.latest = 0 // it may have been the first half of the way in
}

// elsewhere takes in a change between readings of which none stands at an end. The one before an end and the one after
// it may be half of a jump, and do not count.
func (s *stays) elsewhere(change float64) {
	if s.ordinary {
		s.largest, s.latest = max(s.largest, s.latest), change
	}
	if s.left {
		s.latest, s.left = 0, !s.ordinary
	}
}

// end closes the open stay, left by a change of the head.
func (s *stays) end(change float64) {
	if s.open == nil {
		return
	}
	if s.open.left = change; len(s.list) < mostStays && (s.open.spiked || s.open.entered > leastJump || change > leastJump) {
		s.list = append(s.list, *s.open)
	} else {
		s.show(s.open.segment, s.open.lowest, s.open.highest)
	}
	s.open, s.left = nil, true
}

// atEnd reports whether row i stands at an end of what the meter shows, and at which. Zero is one too: a sensor may die
// there.
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

// verdicts decides what the stays of the whole record were. A change is a jump when it is over three times the largest
// change elsewhere, 20 mm and ten steps of the log. One jump, in or out, tells of dirt or a dead sensor where readings
// come every five minutes or faster; at longer intervals, and at the end of little flow, where pumps and valves stop at
// once, all sides that are known must be jumps; at the end of little flow for an hour or longer. An end that is met so
// again and again is how this water comes and goes.
func (s *stays) verdicts(e *Engine) (again []stay) {
	s.end(math.NaN())
	limit := max(3*max(s.largest, s.latest), leastJump, 10*e.screener.Limits.Resolution)
	half, often := e.screener.Limits.SpikeWindow.Nanoseconds()/2, map[bool]int{}
	for i := range s.list {
		if x := &s.list[i]; x.jumped(limit, false) && x.until-x.from > max(half, x.least()) {
			often[x.low]++
		}
	}
	for i := range s.list {
		x := &s.list[i]
		long := x.until-x.from > half
		dead := x.jumped(limit, !x.low && e.log.Interval <= shortInterval)
		if long && (often[x.low] > fewFaults || x.until-x.from < x.least()) {
			dead = false
		}
		if x.verdict = x.judge(dead, long); x.verdict != x.usual() {
			again = append(again, *x)
		}
		if x.verdict != qa.DeadEnd && x.verdict != qa.Glitch { // a fault shows nothing of where the meter ends
			s.show(x.segment, x.lowest, x.highest)
		}
	}
	return again
}

// jumped reports whether all sides of a stay that are known are jumps, or with one any of them.
func (x *stay) jumped(limit float64, one bool) bool {
	in, out := x.entered > limit, x.left > limit
	if one {
		return in || out
	}
	return (in || math.IsNaN(x.entered)) && (out || math.IsNaN(x.left)) && (in || out)
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

// learn adds what the whole record showed in this pass to what was known; news says that a reading may be another for
// it.
func (e *Engine) learn(p *plan, known *Whole) (w *Whole, news bool) {
	found := e.stays.verdicts(e) // before the extremes are final
	w = &Whole{shown: e.stays.shown, stays: found}
	if known != nil {
		w.stays = append(slices.Clone(known.stays), found...)
		slices.SortFunc(w.stays, func(a, b stay) int { return cmp.Compare(a.from, b.from) })
	}
	return w, p.learn(e.site, w.shown) || len(found) > 0
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
