package evidence

import (
	"math"

	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/recompute/block"
)

// Hours gathers what each hour of the log's own clock holds: volumes of flow and counter, levels, warmth of the air.
// Times are those under which the meter logged; screening changes nothing but which levels are taken.
type Hours struct {
	List    []Hour
	flow    series // of the recorded lane
	logged  series
	counter series
	head    series
}

// Hour is one hour that has readings, or part of it.
type Hour struct {
	Number                int64 // since 1970
	Flow, Logged, Counted Amount
	Head                  float64 // m, sum of the heads of readings that no check doubts
	Least, Most           float64 // m, of them
	Air                   float64 // K, sum
	Readings              int
	Jump                  float64 // m, the largest change of the head from a reading to the next that ends in the hour
	JumpAt                int64   // when it does
}

// Mean is the mean head, m; NaN where there is none.
func (h *Hour) Mean() float64 {
	if h.Readings == 0 {
		return math.NaN()
	}
	return h.Head / float64(h.Readings)
}

// Amount is a volume and the time that it covers.
type Amount struct {
	M3      float64
	Covered int64 // ns
}

// series is the last reading of a quantity.
type series struct {
	at    int64
	value float64
	known bool
}

const hourNs = int64(36e11)

// longestCount is the most that two readings of a counter may lie apart for their difference to be spread over the
// hours between.
const longestCount = 3 * 24 * hourNs

// noHead are the flags of readings whose level is none, or none of the water.
const noHead = qa.Conflict | qa.Unusable | qa.SensorRange | qa.Loop | qa.Spike

// Add takes in the rows of a block.
func (h *Hours) Add(b *block.Block) {
	for i := b.Low; i < b.High; i++ {
		at, gap := b.Shown[i], b.Flags[i]&qa.Gap != 0
		opens := at
		if b.Means {
			opens -= b.Time[i] - b.Opens(i)
		}
		h.step(&h.flow, b, opens, at, b.Recorded.Flow[i], gap, func(x *Hour) *Amount { return &x.Flow })
		if len(b.Logged) > 0 {
			if b.LoggedState[i] == reading.Present {
				h.step(&h.logged, b, opens, at, b.Logged[i], gap, func(x *Hour) *Amount { return &x.Logged })
			} else {
				h.logged.known = false
			}
		}
		if len(b.Counter) > 0 && b.CounterState[i] == reading.Present {
			h.count(at, b.Counter[i])
		}
		if b.Flags[i]&noHead == 0 {
			h.level(b, i, at)
		}
	}
}

// level takes in the head of a row.
func (h *Hours) level(b *block.Block, i int, at int64) {
	x, head := h.hour(block.HourOf(at)), b.Head[i]
	if x.Readings == 0 {
		x.Least, x.Most = head, head
	}
	x.Least, x.Most = math.Min(x.Least, head), math.Max(x.Most, head)
	x.Head += head
	x.Readings++
	if jump := head - h.head.value; h.head.known && math.Abs(jump) > math.Abs(x.Jump) {
		x.Jump, x.JumpAt = jump, at
	}
	h.head = series{at, head, true}
	if len(b.Air) > 0 {
		x.Air += b.Air[i]
	}
}

// step adds a flow since the reading before, or over the interval of a mean.
func (h *Hours) step(s *series, b *block.Block, opens, at int64, flow float64, gap bool, of func(*Hour) *Amount) {
	last := *s
	*s = series{at, flow, true}
	switch {
	case b.Means:
		h.spread(opens, flow, at, flow, of)
	case last.known && !gap && at > last.at:
		h.spread(last.at, last.value, at, flow, of)
	}
}

// spread adds the trapezoid between two flows, split at the hours.
func (h *Hours) spread(from int64, q0 float64, until int64, q1 float64, of func(*Hour) *Amount) {
	slope := (q1 - q0) / float64(until-from)
	for low := from; low < until; {
		number := block.HourOf(low)
		high := min(until, (number+1)*hourNs)
		middle := q0 + float64(slope*(float64(low-from)+float64(high-low)/2))
		to := of(h.hour(number))
		to.M3 += float64(middle * float64(high-low) * 1e-9)
		to.Covered += high - low
		low = high
	}
}

// count spreads what the counter rose by evenly over the time since its last reading. What it fell by is nothing.
func (h *Hours) count(at int64, shown float64) {
	last := h.counter
	h.counter = series{at, shown, true}
	if rise, ns := shown-last.value, at-last.at; last.known && rise >= 0 && ns > 0 && ns <= longestCount {
		flow := rise / (float64(ns) * 1e-9)
		h.spread(last.at, flow, at, flow, func(x *Hour) *Amount { return &x.Counted })
	}
}

// hour is the hour of a number, which is new or one of the last.
func (h *Hours) hour(number int64) *Hour {
	k := len(h.List)
	for k > 0 && h.List[k-1].Number > number {
		k--
	}
	if k > 0 && h.List[k-1].Number == number {
		return &h.List[k-1]
	}
	h.List = append(h.List, Hour{})
	copy(h.List[k+1:], h.List[k:])
	h.List[k] = Hour{Number: number}
	return &h.List[k]
}
