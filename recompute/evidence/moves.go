package evidence

import (
	"math"

	"retotal/qa"
	"retotal/qa/moves"
	"retotal/recompute/block"
	"retotal/recompute/settings"
)

// Moves looks for moves of the sensor, in what it measured by the recorded settings: neither a number that was entered
// anew nor a correction makes one there.
type Moves struct {
	record  *moves.Record
	last    shown
	offset  float64 // m, of all moves that the recorded settings know
	entries []entry
}

// shown is a reading under the settings in which it was logged; none before the first.
type shown struct {
	segment     *settings.Segment
	at          int64
	figure, air float64
	echo        float64 // m, what the sensor measured
}

// head is its head by these settings, m.
func (x *shown) head() float64 { return x.segment.Head(x.at, x.figure, x.air) }

// Move is a move of the sensor, beside what was entered in the meter between its two readings. Its size is of what the
// sensor measured.
type Move struct {
	moves.Move
	Entered int64   // when a setting was entered anew, the last time of several
	Entry   float64 // m, what that makes of the head; 0 where nothing was entered
}

// Unexplained is what is left of a move in the head, in metres.
func (m *Move) Unexplained() float64 { return m.Size + m.Entry }

// entry is a setting that was entered anew between two readings.
type entry struct {
	before, after int64   // times of the readings
	at            int64   // when
	makes         float64 // m, of the head
	known         float64 // m, what the record was not told of what the sensor measured, since the entry fits
}

// NoPlace are the flags of readings that say nothing of where the sensor is.
const NoPlace = qa.Conflict | qa.Unusable | qa.SensorRange | qa.Loop | qa.Blanking | qa.CutOff | qa.Capped

// NewMoves begins a record.
func NewMoves(b *block.Block) *Moves {
	step := b.Log.At(math.MinInt64).Step
	if b.OfFlow {
		step = 0 // heads are computed, not logged
	}
	return &Moves{record: moves.New(step)}
}

// Add takes in the rows of a block.
func (m *Moves) Add(b *block.Block) {
	b.EachSegment(b.Recorded.Lane, b.Low, b.High, func(s *settings.Segment, low, high int) {
		for i := low; i < high; i++ {
			if b.Flags[i]&NoPlace != 0 {
				continue
			}
			x := shown{segment: s, at: b.Time[i], figure: b.Figure[i], air: b.AirAt(i)}
			x.echo = s.Echo(x.at, x.figure, x.air)
			if m.last.segment != nil && s != m.last.segment {
				m.enter(&x)
			}
			m.last = x
			m.record.Add(x.at, m.offset-x.echo)
		}
	})
}

// enter takes in that a setting was entered anew between the last reading and this one. Where nothing moved, what the
// sensor measures goes on and the head by the settings leaps; where a sensor was moved and the meter was told, it is
// the other way. What goes on is taken.
func (m *Moves) enter(x *shown) {
	measured, rise := m.last.echo-x.echo, x.head()-m.last.head()
	e := entry{before: m.last.at, after: x.at, at: x.segment.From, makes: rise - measured}
	if math.Abs(rise) < math.Abs(measured) {
		m.offset += e.makes
		e.known = -e.makes
	}
	if math.Abs(e.makes) > leastEntry {
		m.entries = append(m.entries, e)
	}
}

// leastEntry is the least that a setting makes of the head to be one that was entered anew, m: above rounding.
const leastEntry = 1e-6

// Find ends the record and returns its moves, in the order of time.
func (m *Moves) Find() (list []Move) {
	for _, found := range m.record.Find() {
		move := Move{Move: found}
		for _, e := range m.entries {
			if e.before >= found.Before && e.after <= found.After {
				move.Size += e.known
				move.Entered, move.Entry = e.at, move.Entry+e.makes
			}
		}
		list = append(list, move)
	}
	return list
}
