// Package chain is the signal chain: from a logged figure back to the measured distance with the settings that the
// meter had, and forward to a head with those of a lane.
//
//	measured distance = true distance × c(assumed air) / c(true air)
//	level             = empty distance − distance factor × measured distance
//	head              = head factor × (level − level of zero flow) + head shift
//	flow              = rating(head), no more than at maximum head or maximum flow, zero below the cut-off
//	logged figure     = distance, level, head or flow, through a current loop where there is one
//
// Where the way back is one straight line and the way forward too, both are folded into one: head = scale × figure +
// shift.
package chain

import (
	"retotal/ingest/site"
	"retotal/recompute/device"
	"retotal/recompute/stat"
)

// Chain is the way from a logged figure to a head under one segment's settings.
type Chain struct {
	scale, shift, shiftPerNs float64 // folded: head = scale·y + shift + shiftPerNs·(t − origin)
	origin                   int64

	// Backward is the rating of the meter where the logged figure is a flow; y is then the head that gives it. It is
	// nil when y is the figure itself.
	Backward    device.Rating
	alpha, beta float64 // the figure is first corrected to alpha + beta × figure: loop, factor
	// Exact is the factor of the flow by which alone the lane differs from the meter, of the figure or of a power law's
	// coefficient, so that no rating is needed; 0 otherwise.
	Exact float64

	air   *site.Air      // of the lane, when it is the logged temperature: then the distance below is not folded
	then  *site.Air      // of the meter
	depth affine         // measured distance from y
	rest  affine         // empty distance − level of zero flow, of the lane
	ratio float64        // distance factor of the lane over that of the meter
	head  float64        // head factor of the lane
	sound float64        // speed of sound of the lane over that of the meter, where neither takes a logged temperature
	meter *site.Settings // under which the figures were written

	Bend []stat.Point // what is added to a head, by the head; nil for nothing
	last float64      // head that the last flow went back to, where the next search begins
}

// Standard is the temperature of the air where none is known, K.
const Standard = 293.15

// affine is a + aPerNs·(t − origin) + b·y.
type affine struct{ a, aPerNs, b float64 }

// at is the line at some nanoseconds after the origin, for y.
func (l affine) at(since int64, y float64) float64 {
	return l.a + float64(l.aPerNs*float64(since)) + float64(l.b*y)
}

// Y turns a logged figure into what Forward takes: itself, or the head of a flow. The correction of a figure that is no
// flow is folded into the line.
func (c *Chain) Y(figure float64) float64 {
	if c.Backward == nil {
		return figure
	}
	c.last = device.HeadNear(c.Backward, c.Corrected(figure), c.last)
	return c.last
}

// Corrected is a logged flow after the correction of the figure itself.
func (c *Chain) Corrected(flow float64) float64 { return c.alpha + float64(c.beta*flow) }

// Logged is the logged flow of a corrected one.
func (c *Chain) Logged(corrected float64) float64 { return (corrected - c.alpha) / c.beta }

// AsLogged reports whether figures need no correction themselves.
func (c *Chain) AsLogged() bool { return c.alpha == 0 && c.beta == 1 }

// Head returns the head of a logged figure at an instant, with the air at a temperature in kelvin.
func (c *Chain) Head(at int64, figure, air float64) float64 { return c.Forward(at, c.Y(figure), air) }

// Forward is the straight line, or the longer way when the temperature is that of each reading.
func (c *Chain) Forward(at int64, y, air float64) float64 {
	if c.TakesSound() {
		return c.HeadOf(at, c.depth.at(at-c.origin, y), air)
	}
	h := float64(c.scale*y) + c.shift
	if c.shiftPerNs != 0 {
		h = float64(c.scale*y) + (c.shift + float64(c.shiftPerNs*float64(at-c.origin)))
	}
	return c.bent(h)
}

// HeadOf returns the head of a measured distance, as the meter had it.
func (c *Chain) HeadOf(at int64, distance, air float64) float64 {
	k := float64(c.ratio * c.sound)
	if c.TakesSound() {
		k = float64(c.ratio * soundRatio(kelvin(c.air, air), kelvin(c.then, air)))
	}
	return c.bent(float64(c.head * (c.rest.at(at-c.origin, 0) - float64(k*distance))))
}

// bent adds to a head what is added by the head.
func (c *Chain) bent(h float64) float64 {
	if c.Bend == nil {
		return h
	}
	return h + stat.Held(c.Bend, h)
}

// Heads fills in the heads of figures where they are one straight line that does not move, and reports whether they
// are.
func (c *Chain) Heads(heads, figures []float64) bool {
	if !c.Straight() || c.shiftPerNs != 0 {
		return false
	}
	scale, shift := c.scale, c.shift
	for i, v := range figures {
		heads[i] = float64(scale*v) + shift
	}
	return true
}

// Figure is what the meter shows at a head, by its own chain: its flow, or the level that gives the head.
func (c *Chain) Figure(head float64) float64 {
	if c.Backward != nil {
		return c.Backward.Flow(head)
	}
	return (head - c.shift) / c.scale
}

// Echo is what the sensor itself measured, whatever the meter was told: the distance at 20 degC, m. It does not change
// when a number is entered anew.
func (c *Chain) Echo(at int64, figure, air float64) float64 {
	return c.depth.at(at-c.origin, c.Y(figure)) / c.scaleOf(air)
}

// HeadOfEcho is the head of what the sensor measured.
func (c *Chain) HeadOfEcho(at int64, echo, air float64) float64 {
	return c.HeadOf(at, float64(echo*c.scaleOf(air)), air)
}

// scaleOf is what the meter made of a metre that its sensor measured at 20 degC: its distance factor, and the speed of
// sound that it assumed.
func (c *Chain) scaleOf(air float64) float64 {
	scale := factor(c.meter, site.DistanceFactor)
	if a := c.meter.Air; a != nil {
		scale *= soundRatio(kelvin(a, air), Standard)
	}
	return scale
}

// Straight reports whether heads are one line of figures: scale × figure + shift.
func (c *Chain) Straight() bool { return c.Backward == nil && !c.TakesSound() && c.Bend == nil }

// TakesSound reports whether the speed of sound is that of each reading's logged temperature.
func (c *Chain) TakesSound() bool { return c.air != nil || c.then != nil }

// Moves reports whether heads of one figure move with time.
func (c *Chain) Moves() bool { return c.shiftPerNs != 0 || c.depth.aPerNs != 0 || c.rest.aPerNs != 0 }

// Rises tells which way heads go as figures rise: 1 up, −1 down, 0 neither.
func (c *Chain) Rises() float64 {
	slope := c.scale
	switch {
	case c.Backward != nil:
		slope = c.beta
	case c.TakesSound():
		slope = -c.depth.b
	}
	switch {
	case slope > 0:
		return 1
	case slope < 0:
		return -1
	}
	return 0
}

// Raise moves all heads by a length. The meter's datum is then in doubt, so a factor is not all.
func (c *Chain) Raise(by float64) {
	c.shift += by
	c.rest.a += by
	c.Exact = 0
}

// Raised reports whether heads are moved against those of another chain with the same settings.
func (c *Chain) Raised(from *Chain) bool { return c.rest.a != from.rest.a || c.shift != from.shift }

// Plain is the chain without what is added by the head.
func (c *Chain) Plain() Chain {
	plain := *c
	plain.Bend = nil
	return plain
}
