package settings

import (
	"math"
	"slices"

	"retotal/recompute/device"
	"retotal/recompute/settings/chain"
	"retotal/recompute/stat"
)

// curve ties corrected flows to recorded figures by a place: the head that the meter's rating is given where a flow is
// logged, with the correction of the figure itself, and else the meter's head.
type curve struct {
	segment, recorded *Segment
	chain.Chain
	times []state     // one, or both ends of a segment whose settings move, and of a step of the air's temperature
	plain chain.Chain // without the correction that depends on head
}

// state is an instant and the temperature of the air, K.
type state struct {
	at  int64
	air float64
}

func newCurve(s, recorded *Segment, from, until float64) *curve {
	c := &curve{segment: s, recorded: recorded, Chain: s.chain, plain: s.chain.Plain()}
	c.times = []state{{s.Origin, from}}
	if c.Moves() && s.Until != Never {
		c.times = append(c.times, state{s.Until, from})
	}
	if until != from {
		for _, t := range c.times {
			c.times = append(c.times, state{t.at, until})
		}
	}
	return c
}

// figure is what the meter shows at a place.
func (c *curve) figure(p float64) float64 {
	if c.Backward != nil {
		return c.Logged(c.Backward.Flow(p))
	}
	return c.recorded.chain.Figure(p)
}

// head is the corrected head at a place, by the whole chain or by the plain one.
func (c *curve) head(way *chain.Chain, t state, p float64) float64 {
	y := p
	if c.Backward == nil {
		y = c.recorded.chain.Figure(p)
	}
	return way.Forward(t.at, y, t.air)
}

// flows are the least and the most of the corrected flows at a place.
func (c *curve) flows(p float64) (least, most float64) {
	least = math.Inf(1)
	for _, t := range c.times {
		q := c.segment.Rating.Flow(c.head(&c.Chain, t, p))
		least, most = math.Min(least, q), math.Max(most, q)
	}
	return least, most
}

// placeOf is where the meter's head lies on a curve of flows.
func (c *curve) placeOf(head float64) float64 {
	if math.IsInf(head, 1) || c.AsLogged() {
		return head
	}
	return Inverse(c.Backward, c.Corrected(c.recorded.Rating.Flow(head)), head)
}

// placesOf are the places at which the corrected head is h, at each of the times.
func (c *curve) placesOf(h float64) (list []float64) {
	reach := 0.0
	for _, k := range c.Bend {
		reach = math.Max(reach, math.Abs(k.Y))
	}
	for _, t := range c.times {
		if c.Bend == nil {
			list = append(list, c.plainPlace(t, h))
			continue
		} // else the plain place is wrong by no more than the largest correction
		list = append(list, stat.Bisect(c.plainPlace(t, h-reach), c.plainPlace(t, h+reach), 60,
			func(p float64) bool { return c.head(&c.Chain, t, p) < h }))
	}
	return list
}

// plainPlace is the place at which the corrected head is h before what is added by head.
func (c *curve) plainPlace(t state, h float64) float64 {
	zero, one := c.head(&c.plain, t, 0), c.head(&c.plain, t, 1)
	return (h - zero) / (one - zero)
}

// deepest is the place of a corrected head that the water does not exceed.
func (c *curve) deepest(h float64) float64 {
	if math.IsInf(h, 1) {
		return h
	}
	return slices.Max(c.placesOf(h))
}

// places are where the curve is worked out, rising, and whether it is known to bend there.
func (c *curve) places(bottom, top float64) (list []float64, kinks []bool) {
	bends := c.bends()
	list = append(slices.Clone(bends), bottom, top)
	for i := 1; i < len(bends); i++ { // so that each piece has a neighbour without a kink between
		list = append(list, bends[i-1]+(bends[i]-bends[i-1])/3, bends[i]-(bends[i]-bends[i-1])/3)
	}
	ratio := math.Pow(2*hullTop/hullLeast, 1.0/hullPlaces)
	for h, i := hullLeast, 0; i <= hullPlaces; h, i = h*ratio, i+1 {
		list = append(append(list, h), c.placesOf(h)...)
	}
	list = slices.DeleteFunc(list, func(p float64) bool { return !(p >= bottom && p <= top) })
	slices.Sort(list)
	list = slices.Compact(list)
	kinks = make([]bool, len(list))
	for i, p := range list {
		_, kinks[i] = slices.BinarySearch(bends, p)
	}
	return list, kinks
}

// bends are the places of known kinks, rising: of both ratings, of no flow, and of a correction by head.
func (c *curve) bends() (list []float64) {
	list = append(list, device.Kinks(c.recorded.Rating)...)
	for _, k := range append([]float64{0}, device.Kinks(c.segment.Rating)...) {
		list = append(list, c.placesOf(k)...)
	}
	for _, k := range c.Bend {
		for _, t := range c.times {
			list = append(list, c.plainPlace(t, k.X))
		}
	}
	slices.Sort(list)
	return slices.Compact(list)
}
