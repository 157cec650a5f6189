package settings

import (
	"math"

	"retotal/recompute/device"
)

// twoFlows are the least and the greatest flow of a lane where two heads of the meter's rating give the logged flow: a
// closed pipe carries most a little below its crown.
func (s *Segment) twoFlows(at int64, figure, air float64) (lower, upper float64) {
	c := &s.chain
	low, high, ok := device.Heads(c.backward, c.alpha+float64(c.beta*figure))
	if !ok {
		return s.Hold, s.Ends.depth
	}
	a := s.Rating.Flow(c.forward(at, low, air))
	b := s.Rating.Flow(c.forward(at, high, air))
	return math.Min(a, b), math.Max(a, b)
}
