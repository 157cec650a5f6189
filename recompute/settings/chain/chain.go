package settings

import (
	"math"
	"sort"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/device"
)

// The signal chain of a meter, from the water to the log:
//
//	measured distance = true distance × c(assumed air) / c(true air)
//	head              = head factor × (empty distance − distance factor × measured distance − level of zero flow) + head shift
//	flow              = rating(head), no more than at maximum head or maximum flow, zero below the cut-off
//	logged figure     = distance, level, head or flow, through a current loop where there is one
//
// A logged figure is taken back to the measured distance with the settings that the meter had, and forward again with
// those of a lane. Where the way back is one straight line and the way forward too, both are folded into one: head =
// scale × figure + shift.

// chain is the way from a logged figure to a head under one segment's settings.
type chain struct {
	scale, shift, shiftPerNs float64 // folded: head = scale·y + shift + shiftPerNs·(t − origin)
	origin                   int64

	backward device.Rating // of the meter: the logged figure is a flow, and y is the head that gives it; nil when y is the figure itself
	alpha    float64       // the figure is first corrected to alpha + beta × figure: loop, factor
	beta     float64
	exact    float64 // the lane differs from the meter by this factor of the flow alone, and no rating is needed; 0 otherwise

	air   *site.Air // of the lane, when it is the logged temperature: then the distance below is not folded
	then  *site.Air // of the meter
	depth affine    // measured distance from y
	rest  affine    // empty distance − level of zero flow, of the lane
	ratio float64   // distance factor of the lane over that of the meter
	head  float64   // head factor of the lane
	sound float64   // speed of sound of the lane over that of the meter, where neither takes a logged temperature
	meter *Segment  // the settings under which the figures were written

	bend []site.Knot
	last float64 // head that the last flow went back to, where the next search begins
}

// affine is a + aPerNs·(t − origin) + b·y.
type affine struct{ a, aPerNs, b float64 }

// y turns a logged figure into what the straight line takes: itself, or the head of a flow.
func (c *chain) y(v float64) float64 {
	v = c.alpha + float64(c.beta*v)
	if c.backward == nil {
		return v
	}
	c.last = Inverse(c.backward, v, c.last)
	return c.last
}

// headAt returns the head of a logged figure at an instant, with the air at a temperature in kelvin, 0 when it is not
// known.
func (c *chain) headAt(at int64, v, air float64) float64 {
	return c.forward(at, c.yOf(v), air)
}

// yOf turns a logged figure into what the straight line takes; the correction of a figure that is no flow is folded
// into the line.
func (c *chain) yOf(v float64) float64 {
	if c.backward == nil {
		return v
	}
	return c.y(v)
}

// forward is the straight line, or the longer way when the temperature is that of each reading.
func (c *chain) forward(at int64, y, air float64) float64 {
	h := 0.0
	if c.air == nil && c.then == nil {
		h = float64(c.scale*y) + c.shift
		if c.shiftPerNs != 0 {
			h = float64(c.scale*y) + (c.shift + float64(c.shiftPerNs*float64(at-c.origin)))
		}
	} else {
		return c.headOf(at, c.distance(at, y), air)
	}
	if c.bend != nil {
		h += bendAt(c.bend, h)
	}
	return h
}

// distance is the measured distance of y, as the meter had it, m.
func (c *chain) distance(at int64, y float64) float64 {
	return c.depth.a + float64(c.depth.aPerNs*float64(at-c.origin)) + float64(c.depth.b*y)
}

// headOf returns the head of a measured distance, as the meter had it.
func (c *chain) headOf(at int64, distance, air float64) float64 {
	k := float64(c.ratio * c.sound)
	if c.air != nil || c.then != nil {
		k = float64(c.ratio * soundRatio(kelvin(c.air, air), kelvin(c.then, air)))
	}
	h := float64(c.head * (c.rest.a + float64(c.rest.aPerNs*float64(at-c.origin)) - float64(k*distance)))
	if c.bend != nil {
		h += bendAt(c.bend, h)
	}
	return h
}

// scaleOf is what the meter made of a metre that its sensor measured at 20 degC: its distance factor, and the speed of
// sound that it assumed.
func (c *chain) scaleOf(air float64) float64 {
	scale := number(c.meter, site.DistanceFactor)
	if a := c.meter.Settings.Air; a != nil {
		scale *= soundRatio(kelvin(a, air), 293.15)
	}
	return scale
}

// echo is what the sensor itself measured, whatever the meter was told: the distance at 20 degC, m. It does not change
// when a number is entered anew.
func (c *chain) echo(at int64, figure, air float64) float64 {
	return c.distance(at, c.yOf(figure)) / c.scaleOf(air)
}

// straight reports whether heads are one line of figures: scale × figure + shift.
func (c *chain) straight() bool {
	return c.backward == nil && c.air == nil && c.then == nil && c.bend == nil
}

// kelvin is the temperature that a setting means when the air has a logged one.
func kelvin(a *site.Air, logged float64) float64 {
	switch {
	case a == nil:
		return 293.15
	case a.Logged:
		return logged + a.Plus
	}
	return a.Fixed.SI
}

// soundRatio is the speed of sound at one temperature over that at another, both in kelvin.
func soundRatio(a, b float64) float64 { return site.SpeedOfSound(a) / site.SpeedOfSound(b) }

// bendAt is what is added to a head: a straight line between knots, level outside them.
func bendAt(knots []site.Knot, h float64) float64 {
	i := sort.Search(len(knots), func(i int) bool { return knots[i].Head.SI >= h })
	switch {
	case i == 0:
		return knots[0].Add.SI
	case i == len(knots):
		return knots[i-1].Add.SI
	}
	a, b := knots[i-1], knots[i]
	share := (h - a.Head.SI) / (b.Head.SI - a.Head.SI)
	return a.Add.SI + float64((b.Add.SI-a.Add.SI)*share)
}

// Inverse returns the head that gives a flow, by Newton's method from a guess and, where that does not settle, by
// bisection. Flows that the rating does not reach give the head at its end; flows of zero and less give zero.
func Inverse(r device.Rating, q, guess float64) float64 {
	if q <= 0 {
		return 0
	}
	h := guess
	for range 12 {
		slope := r.Slope(h)
		if h <= 0 || !(slope > 0) {
			break
		}
		step := (r.Flow(h) - q) / slope
		if next := h - step; next <= 0 || next > 4*h {
			break
		} else if h = next; math.Abs(step) <= 1e-14*h {
			return h
		}
	}
	if h, ok := device.Head(r, q); ok {
		return h
	}
	return math.Min(r.Limits().End, 100)
}

// buildChain works out the way from the log's figures, written under the recorded settings, to heads under those of s.
func buildChain(primary reading.Quantity, column *site.Column, s, recorded *Segment) chain {
	c := chain{origin: s.Origin, alpha: 0, beta: 1, head: number(s, site.HeadFactor), sound: 1, meter: recorded}
	c.alpha, c.beta = loopChange(column, recorded.Settings.Loop, s.Settings.Loop)
	factor := number(s, site.LoggedFactor) / number(recorded, site.LoggedFactor)
	c.alpha, c.beta = float64(factor*c.alpha), float64(factor*c.beta)
	empty, zero := Line(s.Settings.Values[site.EmptyDistance], s), Line(s.Settings.Values[site.LevelOfZeroFlow], s)
	emptyThen, zeroThen := Line(recorded.Settings.Values[site.EmptyDistance], s), Line(recorded.Settings.Values[site.LevelOfZeroFlow], s)
	if at := s.Settings.EchoAt; at != nil { // the distance that the meter called the empty distance was measured by sound
		k := soundRatio(at.SI, kelvin(recorded.Settings.Air, at.SI))
		empty = straight{float64(empty.At * k), float64(empty.PerNs * k)}
	}
	c.ratio = number(s, site.DistanceFactor) / number(recorded, site.DistanceFactor)
	headThen := number(recorded, site.HeadFactor)
	c.rest = affine{empty.At - zero.At, empty.PerNs - zero.PerNs, 0}
	switch {
	case primary == reading.Distance:
		c.depth = affine{0, 0, 1}
	case primary == reading.Level:
		c.depth = affine{emptyThen.At, emptyThen.PerNs, -1}
	default: // a head, logged or of a flow
		c.depth = affine{emptyThen.At - zeroThen.At, emptyThen.PerNs - zeroThen.PerNs, -1 / headThen}
	}
	if primary > reading.Head {
		c.backward = recorded.Rating
		if sameGeometry(s, recorded) && c.alpha == 0 {
			c.exact = c.beta
		}
	} else { // the figure's own correction is folded in
		c.depth.a += float64(c.depth.b * c.alpha)
		c.depth.b = float64(c.depth.b * c.beta)
	}
	c.bend = s.Settings.Shift
	c.fold(s, recorded)
	return c
}

// fold makes one straight line of the way back and the way forward, unless the air temperature is that of each reading.
func (c *chain) fold(s, recorded *Segment) {
	k := c.ratio
	if air, then := s.Settings.Air, recorded.Settings.Air; air != nil || then != nil {
		if air != nil && air.Logged || then != nil && then.Logged {
			if air != then { // else both are the same, whatever it is
				c.air, c.then = orStandard(air, then), orStandard(then, air)
				return
			}
		} else {
			c.sound = soundRatio(kelvin(orStandard(air, then), 0), kelvin(orStandard(then, air), 0))
			k = float64(k * c.sound)
		}
	}
	if k == 1 && c.head == 1 { // the usual case, without a rounding more than it needs
		c.scale, c.shift, c.shiftPerNs = -c.depth.b, c.rest.a-c.depth.a, c.rest.aPerNs-c.depth.aPerNs
		return
	}
	c.scale = -float64(c.head * k * c.depth.b)
	c.shift = float64(c.head * (c.rest.a - float64(k*c.depth.a)))
	c.shiftPerNs = float64(c.head * (c.rest.aPerNs - float64(k*c.depth.aPerNs)))
}

// orStandard is a temperature setting, or the other lane's when this lane says nothing: no difference is claimed then.
func orStandard(a, other *site.Air) *site.Air {
	if a == nil {
		return other
	}
	return a
}

// loopChange returns what turns figures scaled by one loop setting into those of another: alpha + beta × figure.
func loopChange(column *site.Column, from, to *site.Loop) (alpha, beta float64) {
	if from == nil {
		from = columnLoop(column)
	}
	if from == nil || to == nil || *from == *to {
		return 0, 1
	}
	// current = From + (figure − Low)·(To − From)/(High − Low), and back with the other setting
	perFigure := (from.To - from.From) / (from.High.SI - from.Low.SI)
	perCurrent := (to.High.SI - to.Low.SI) / (to.To - to.From)
	beta = float64(perFigure * perCurrent)
	current := from.From - float64(from.Low.SI*perFigure) // at figure 0
	return to.Low.SI + float64((current-to.From)*perCurrent), beta
}

// columnLoop is the loop by which the log's column is scaled, nil when it holds no currents.
func columnLoop(column *site.Column) *site.Loop {
	if column == nil || !column.Loop || column.Unit == nil {
		return nil
	}
	l := &site.Loop{From: 4, To: 20}
	l.Low.SI, l.High.SI = column.Unit.ToSI(4), column.Unit.ToSI(20)
	return l
}

// number returns a factor, 1 when it is not set. Factors that move are cut into steps before.
func number(s *Segment, which site.Setting) float64 {
	if r := s.Settings.Values[which]; r != nil {
		return r.From.SI
	}
	return 1
}

// sameGeometry reports whether two segments give the same flow for the same signal: they may differ in factors of the
// logged figure alone.
func sameGeometry(a, b *Segment) bool {
	for _, which := range []site.Setting{site.DistanceFactor, site.EmptyDistance, site.LevelOfZeroFlow, site.HeadFactor} {
		if a.Settings.Values[which] != b.Settings.Values[which] {
			return false
		}
	}
	return a.Rating == b.Rating && sameAir(a.Settings.Air, b.Settings.Air) && a.Settings.EchoAt == nil && a.Settings.Shift == nil
}

func sameAir(a, b *site.Air) bool { return a == b || a == nil || b == nil }
