package explain

import (
	"math"

	"retotal/recompute/device"
	"retotal/recompute/explain/sample"
)

// model is a meter: the head that it has of a logged one, the rating and the factor behind it, and where it stops.
type model struct {
	rating        device.Rating // nil for a flow that is a straight line over head
	name          string        // of the equation
	scale, offset float64       // its head is scale times the logged one and offset
	factor, plus  float64       // of the flow, and m³/s that are added to it
	cap, cut      float64       // m³/s: no more than cap, nothing below cut
	dry           float64       // logged head below which there is no flow
}

// flow is what the meter shows at a logged head.
func (m *model) flow(head float64) float64 {
	if head < m.dry {
		return 0
	}
	h := float64(m.scale*head) + m.offset
	q := float64(m.factor * h)
	if m.rating != nil {
		q = float64(m.factor * m.rating.Flow(h))
	}
	return m.ended(q + m.plus)
}

// ended is a flow within the ends of the meter.
func (m *model) ended(q float64) float64 {
	if !(q > 0) || q < m.cut {
		return 0
	}
	return min(q, m.cap)
}

// flows sets q to the flows of heads; room is scratch of the same length.
func (m *model) flows(q, heads, room []float64) {
	logged := heads
	if m.rating == nil || m.scale != 1 || m.offset != 0 {
		for i, h := range heads {
			room[i] = float64(m.scale*h) + m.offset
		}
		heads = room[:len(heads)]
	}
	if m.rating == nil {
		copy(q, heads)
	} else {
		m.rating.Flows(q, heads)
	}
	for i := range q {
		if q[i] = m.ended(float64(m.factor*q[i]) + m.plus); logged[i] < m.dry {
			q[i] = 0
		}
	}
}

// equation says what makes the flow.
func (m *model) equation() string {
	if m.rating == nil {
		return "a straight line over head"
	}
	return m.rating.Describe().Equation
}

// loss is the mean of ln(1 + (r/t)²) over readings, of which every one in stride is taken.
func (m *model) loss(s *sample.Sample, stride int) float64 {
	heads, flows, tolerances := s.Of(stride)
	pred := s.Pred[:len(heads)]
	m.flows(pred, heads, s.Room)
	sum := 0.0
	for i, q := range flows {
		r := (pred[i] - q) / tolerances[i]
		sum += math.Log1p(r * r)
	}
	return sum / float64(len(heads))
}

// factorTimes is how often the weights of a factor are renewed at most.
const factorTimes = 15

// bestFactor multiplies a model by the factor between low and high under which the loss is least, by weights that
// are renewed: from 1, and where the factor may be any from that between the sums too.
func (m *model) bestFactor(s *sample.Sample, low, high float64, stride int) {
	heads, flows, tolerances := s.Of(stride)
	pred, top := s.Pred[:len(heads)], m.cap*(1-s.Blur)
	free := *m
	free.cap, free.cut = math.Inf(1), 0
	free.flows(pred, heads, s.Room)
	logged, made := 0.0, 0.0
	for i, q := range flows {
		if q < top {
			logged, made = logged+q, made+pred[i]
		}
	}
	starts := []float64{1}
	if all := logged / made; high > mostFactor && all > 0 && !math.IsInf(all, 1) {
		starts = append(starts, all)
	}
	best, least := 1.0, math.Inf(1)
	for _, k := range starts {
		loss := 0.0
		for range factorTimes {
			up, down, last := 0.0, 0.0, k
			loss = 0
			for i, q := range flows {
				if q >= top || q <= 0 {
					continue
				}
				r := (k*pred[i] - q) / tolerances[i]
				w := 1 / ((1 + r*r) * tolerances[i] * tolerances[i])
				loss += 1 - 1/(1+r*r)
				up, down = up+float64(w*pred[i]*q), down+float64(w*pred[i]*pred[i])
			}
			if !(down > 0) {
				break
			}
			if k = min(max(up/down, low), high); math.Abs(k-last) < 1e-6*k {
				break
			}
		}
		if loss < least {
			best, least = k, loss
		}
	}
	m.factor, m.plus = m.factor*best, m.plus*best
}
