package explain

import (
	"math"

	"retotal/recompute/device"
)

// model is a meter: the head that it has of a logged one, the rating and the factor behind it, and where it stops.
type model struct {
	rating        device.Rating // nil for a flow that is a straight line over head
	name          string        // of the equation
	scale, offset float64       // its head is scale times the logged one and offset
	factor        float64
	cap, cut      float64 // m³/s: no more than cap, nothing below cut
}

// flow is what the meter shows at a logged head.
func (m *model) flow(head float64) float64 {
	h := float64(m.scale*head) + m.offset
	q := m.factor * h
	if m.rating != nil {
		q = m.factor * m.rating.Flow(h)
	}
	return m.ended(q)
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
		q[i] = m.ended(m.factor * q[i])
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
func (s *sample) loss(m *model, stride int) float64 {
	heads, flows, tolerances := s.of(stride)
	pred := s.pred[:len(heads)]
	m.flows(pred, heads, s.room)
	sum := 0.0
	for i, q := range flows {
		r := (pred[i] - q) / tolerances[i]
		sum += math.Log1p(r * r)
	}
	return sum / float64(len(heads))
}

// bestFactor multiplies a model by the factor between low and high under which the loss is least, by weights that
// are renewed, from 1 and from the factor between the sums.
func (s *sample) bestFactor(m *model, low, high float64, stride int) {
	heads, flows, tolerances := s.of(stride)
	pred := s.pred[:len(heads)]
	free := *m
	free.cap, free.cut = math.Inf(1), 0
	free.flows(pred, heads, s.room)
	logged, made := 0.0, 0.0
	for i, q := range flows {
		if q < m.cap*(1-endSlack) {
			logged, made = logged+q, made+pred[i]
		}
	}
	best, least := 1.0, math.Inf(1)
	for _, k := range [...]float64{1, logged / math.Max(made, 1e-300)} {
		for range 12 {
			up, down := 0.0, 0.0
			for i, q := range flows {
				if q >= m.cap*(1-endSlack) || q <= 0 {
					continue
				}
				r := (k*pred[i] - q) / tolerances[i]
				w := 1 / ((1 + r*r) * tolerances[i] * tolerances[i])
				up, down = up+float64(w*pred[i]*q), down+float64(w*pred[i]*pred[i])
			}
			if !(down > 0) {
				break
			}
			k = min(max(up/down, low), high)
		}
		try := *m
		try.factor *= k
		pred2 := s.loss(&try, stride)
		free.flows(pred, heads, s.room)
		if pred2 < least {
			best, least = k, pred2
		}
	}
	m.factor *= best
}
