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
	segment *settings.Segment // of the last reading
	echo    float64           // m, what the sensor measured in it
	head    float64           // m, its head by the recorded settings
	offset  float64           // m, of all moves that the recorded settings know
	any     bool
}

// noPlace are the flags of readings that say nothing of where the sensor is.
const noPlace = qa.Conflict | qa.Unusable | qa.SensorRange | qa.Loop | qa.Blanking | qa.CutOff | qa.Capped

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
			if b.Flags[i]&noPlace != 0 {
				continue
			}
			echo := s.Echo(b.Time[i], b.Figure[i], b.AirAt(i))
			head := s.Head(b.Time[i], b.Figure[i], b.AirAt(i))
			if m.any && s != m.segment {
				m.enter(echo, head)
			}
			m.segment, m.echo, m.head, m.any = s, echo, head, true
			m.record.Add(b.Time[i], m.offset-echo)
		}
	})
}

// enter takes in that a setting was entered anew between the last reading and this one. Where nothing moved, what the
// sensor measures goes on and the head by the settings leaps; where a sensor was moved and the meter was told, it is
// the other way. What goes on is taken.
func (m *Moves) enter(echo, head float64) {
	if measured := m.echo - echo; math.Abs(head-m.head) < math.Abs(measured) {
		m.offset += head - m.head - measured
	}
}

// Find ends the record and returns its moves, in the order of time.
func (m *Moves) Find() []moves.Move { return m.record.Find() }
