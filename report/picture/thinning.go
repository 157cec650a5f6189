package picture

import (
	"math"

	"retotal/ingest/reading"
	"retotal/recompute"
)

// slots is the most slots of time that a track keeps: a pixel of a plot, or half of one.
const slots = 2400

// track is a flow over time, thinned to the least and the greatest value of each slot, so that no peak is lost whatever
// the length of the log. Slots double in width when the log outgrows them.
type track struct {
	origin int64
	width  int64 // ns of one slot
	slots  []slot
}

// slot is the readings of a short time.
type slot struct {
	any            bool
	low, high      float64
	lowAt, highAt  int64
	firstAt, endAt int64
}

// add takes in one value; times rise.
func (t *track) add(at int64, v float64) {
	if t.width == 0 {
		t.origin, t.width = at, 1e9
	}
	i := int((at - t.origin) / t.width)
	for i >= slots {
		t.widen()
		i = int((at - t.origin) / t.width)
	}
	for len(t.slots) <= i {
		t.slots = append(t.slots, slot{})
	}
	t.slots[i].merge(slot{true, v, v, at, at, at, at})
}

func (s *slot) merge(o slot) {
	if !o.any {
		return
	}
	if !s.any {
		*s = o
		return
	}
	if o.low < s.low {
		s.low, s.lowAt = o.low, o.lowAt
	}
	if o.high > s.high {
		s.high, s.highAt = o.high, o.highAt
	}
	s.firstAt, s.endAt = min(s.firstAt, o.firstAt), max(s.endAt, o.endAt)
}

// widen doubles the width of the slots.
func (t *track) widen() {
	t.width *= 2
	for i := range (len(t.slots) + 1) / 2 {
		merged := t.slots[2*i]
		if 2*i+1 < len(t.slots) {
			merged.merge(t.slots[2*i+1])
		}
		t.slots[i] = merged
	}
	t.slots = t.slots[:(len(t.slots)+1)/2]
}

// point is one corner of a thinned line.
type point struct {
	at int64
	v  float64
}

// lines returns the thinned line, broken where there was nothing for longer than gap and than a slot.
func (t *track) lines(gap int64) (lines [][]point) {
	var line []point
	last := int64(math.MinInt64)
	for _, s := range t.slots {
		if !s.any {
			continue
		}
		if last != math.MinInt64 && s.firstAt-last > max(gap, t.width) && len(line) > 0 {
			lines, line = append(lines, line), nil
		}
		a, b := point{s.lowAt, s.low}, point{s.highAt, s.high}
		if a.at > b.at {
			a, b = b, a
		}
		if line = append(line, a); b != a {
			line = append(line, b)
		}
		last = s.endAt
	}
	if len(line) > 0 {
		lines = append(lines, line)
	}
	return lines
}

// tracks is everything that plots need of the rows.
type tracks struct {
	before, after track
	cloud         map[int]*cell // logged flow by corrected head in steps of cloudStep
	maxHead       float64
	headAny       bool
}

// cell is the logged flows at one head.
type cell struct{ low, high float64 }

// cloudStep is the step of head, in metres, by which logged flows are gathered for the rating plot.
const cloudStep = 0.001

// mostCells bounds the memory of the cloud: heads beyond it are not drawn. It stands for 20 m of head.
const mostCells = 20000

func newTracks() *tracks { return &tracks{cloud: map[int]*cell{}} }

func (t *tracks) add(rows *recompute.Rows) {
	for i, at := range rows.Time {
		t.before.add(at, rows.Before[i])
		if !rows.Used[i] {
			continue
		}
		t.after.add(at, rows.After[i])
		h := rows.Head[i]
		t.maxHead, t.headAny = math.Max(t.maxHead, h), true
		if rows.Logged == nil || rows.State[i] != reading.Present ||
			rows.Flags[i] != 0 || h < 0 || h > mostCells*cloudStep {
			continue
		}
		k := int(math.Round(h / cloudStep))
		if c := t.cloud[k]; c == nil {
			t.cloud[k] = &cell{rows.Logged[i], rows.Logged[i]}
		} else {
			c.low, c.high = math.Min(c.low, rows.Logged[i]), math.Max(c.high, rows.Logged[i])
		}
	}
}
