package settings

import (
	"math"

	"retotal/qa"
	"retotal/recompute/device"
)

// Bound is what is known of a reading's flow.
type Bound struct {
	Held         bool // only bounds are known
	Lower, Upper float64
}

// Exactly is a flow that is known.
func Exactly(flow float64) Bound { return Bound{Lower: flow, Upper: flow} }

// fullWithin is how near the flow of a full pipe a logged flow must be to be it.
const fullWithin = 1e-3

// Bounds returns the flows between which the truth lies behind a reading that stands at an end, or has two heads. flow
// is its flow whatever stands behind it.
func (s *Segment) Bounds(at int64, figure, air, flow float64, flags qa.Flags) Bound {
	e, b := &s.Ends, Bound{Held: true}
	switch {
	case flags&qa.CutOff != 0: // at the end of little flow
		b.Lower, b.Upper = 0, s.Flow(at, e.Floor, air)
	case flags&qa.Capped != 0:
		b.Lower, b.Upper = s.Flow(at, e.cap, air), e.depth
	case flags&qa.Blanking != 0:
		b.Lower, b.Upper = math.Min(flow, s.Hold), e.depth
	case e.Twofold > 0 && figure >= e.Twofold*(1-fullWithin):
		return s.boundsOfFull(at, figure, air, flow)
	default: // what is above the channel's depth may pass the device or leave the channel
		b.Lower, b.Upper = math.Min(flow, s.Hold), e.spill
		if !math.IsInf(e.spill, 1) {
			b.Upper = math.Max(flow, e.spill)
		}
	}
	return b.ordered()
}

// ordered is the bound with its upper side no lower than the other.
func (b Bound) ordered() Bound {
	b.Upper = math.Max(b.Upper, b.Lower)
	return b
}

// boundsOfFull are the bounds of a logged flow at which the meter's closed pipe is full, or runs at one of two depths.
func (s *Segment) boundsOfFull(at int64, figure, air, flow float64) Bound {
	e, b := &s.Ends, Bound{Held: true}
	two, exact := figure > e.Twofold*(1+fullWithin), s.chain.Exact != 0
	switch {
	case two && exact: // either depth has this flow
		return Exactly(flow)
	case two:
		b.Lower, b.Upper = s.twoFlows(at, figure, air)
	case exact: // full, or under pressure, which nothing bounds
		b.Lower, b.Upper = flow, e.spill
	default:
		b.Lower, _ = s.twoFlows(at, e.Twofold, air)
		b.Upper = e.spill
	}
	return b.ordered()
}

// twoFlows are the least and the greatest flow of a lane where two heads of the meter's rating give the logged flow: a
// closed pipe carries most a little below its crown.
func (s *Segment) twoFlows(at int64, figure, air float64) (lower, upper float64) {
	c := &s.chain
	low, high, ok := device.Heads(c.Backward, c.Corrected(figure))
	if !ok {
		return s.Hold, s.Ends.depth
	}
	a, b := s.Rating.Flow(c.Forward(at, low, air)), s.Rating.Flow(c.Forward(at, high, air))
	return math.Min(a, b), math.Max(a, b)
}
