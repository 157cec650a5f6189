package uncertainty

import (
	"math"

	"retotal/recompute/block"
	"retotal/recompute/stat"
)

// Tally is what a period holds of what is not the same for all readings. Of pairs, the first is of after, the second of
// the difference.
type Tally struct {
	Squares [2]float64 // sum of the squares of what a metre of head changes in the volume of each reading, m⁴
	Bends   [2]float64 // the same of what may have been missed between readings of a day, m⁶
	Joins   [2]float64 // the same of what the two ways to join readings over a change of settings differ by, m⁶
	Beyond  float64    // volume times how much less well its coefficient is known, above the limit of validity, m³
	Lift    float64    // m³, by how much noise of the readings may lift the total
}

// Merge adds the tally of another period.
func (t *Tally) Merge(o *Tally) {
	for k := range t.Squares {
		t.Squares[k] += o.Squares[k]
		t.Bends[k] += o.Bends[k]
		t.Joins[k] += o.Joins[k]
	}
	t.Beyond += o.Beyond
	t.Lift += o.Lift
}

// Tallies are the stages that add up what is not the same for all readings, by day.
type Tallies struct {
	readings readings
	sampling sampling
	joins    joins
	beyond   beyond
}

// NewTallies prepares them for a pass.
func NewTallies(s *Components) *Tallies { return &Tallies{readings: readings{sources: s}} }

// Add takes in the steps of a block.
func (t *Tallies) Add(b *block.Block) {
	t.readings.add(b)
	t.beyond.add(b)
	if !b.Means {
		t.sampling.add(b)
		t.joins.add(b)
	}
}

// Day is the tally of day i.
func (t *Tallies) Day(i int) (out Tally) {
	if i < len(t.readings.squares) {
		out.Squares, out.Lift = t.readings.squares[i], t.readings.curves[i].lift()
	}
	if i < len(t.sampling.days) {
		for k, v := range t.sampling.days[i] {
			out.Bends[k] = float64(v*v) / 3
		}
	}
	if i < len(t.joins.days) {
		out.Joins = t.joins.days[i]
	}
	if i < len(t.beyond.days) {
		out.Beyond = t.beyond.days[i]
	}
	return out
}

// readings adds up how much the random part of each reading counts, and how the flow bends with head, which turns noise
// into volume.
type readings struct {
	sources *Components
	squares [][2]float64
	curves  []curve
}

// curve is how the flow of a day bends with head: what a square metre of variance would add to its volume twice, and
// how readings scatter.
type curve struct {
	volume  float64 // m³ per m²
	scatter stat.Scatter
}

// lift is the volume that noise of the readings adds: the mean of flows lies above the flow of the mean head by half of
// Q″ times the variance.
func (c *curve) lift() float64 {
	d := c.scatter.Deviation()
	return math.Max(0, float64(c.volume*d*d)/2)
}

func (r *readings) add(b *block.Block) {
	for k := range b.Steps {
		if s := &b.Steps[k]; s.Kind == block.Run {
			for i := s.Low; i < s.High; i++ {
				r.take(b, i)
			}
		}
	}
}

// take takes in one reading. Exactly one of the lanes that raise heads moves in each segment, by its standard
// uncertainty.
func (r *readings) take(b *block.Block, i int) {
	after, before := r.sources.slope(b, i)
	day := b.Day(b.Time[i])
	r.squares, r.curves = block.Grow(r.squares, day+1), block.Grow(r.curves, day+1)
	seconds := float64(b.Time[i]-b.Time[i-1]) * 1e-9
	v, d := float64(after*seconds), float64((after-before)*seconds)
	r.squares[day][0] += float64(v * v)
	r.squares[day][1] += float64(d * d)
	c := &r.curves[day]
	if h, q := b.Head[i], b.Corrected.Flow[i]; h > 0 && q > 0 { // Q″ of the power law that passes with the same slope
		c.volume += float64(after / h * (float64(after*h)/q - 1) * seconds)
	}
	if i >= 2 && b.Time[i]-b.Time[i-2] <= 3*int64(b.Log.At(b.Time[i]).Interval) && !b.Means {
		c.scatter.Add(math.Abs(b.Head[i-2] - 2*b.Head[i-1] + b.Head[i]))
	}
}

// slope is what a metre of head changes in the flow of row i, m²/s: in the corrected one, and in the one before.
func (l *Components) slope(b *block.Block, i int) (after, before float64) {
	for k := range l.List {
		s := &l.List[k]
		if !s.raises() {
			continue
		}
		m, moved := &b.Moved[s.lane], nudge*s.Input/1000
		after += (m.After.Flow[i] - b.Corrected.Flow[i]) / moved
		if m.Before != nil {
			before += (m.Before.Flow[i] - b.Recorded.Flow[i]) / moved
		}
	}
	return after, before
}

// U95 is the expanded uncertainty of the corrected flow of row i, m³/s: every source that moves the flow of a single
// reading.
func (l *Components) U95(b *block.Block, i int) float64 {
	squares, flow := 0.0, b.Corrected.Flow[i]
	for k := range l.List {
		s, effect := &l.List[k], 0.0
		switch s.Kind {
		case OfAll:
			effect = (b.Moved[s.lane].After.Flow[i] - flow) / nudge
		case OfReading:
			slope, _ := l.slope(b, i)
			effect = s.Input / 1000 * slope
		case OfShare:
			effect = s.share * flow
		}
		squares += float64(effect * effect)
	}
	return Coverage * math.Sqrt(squares)
}
