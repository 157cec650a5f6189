package chain

import (
	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/recompute/device"
	"retotal/recompute/stat"
)

// Told is what the meter was told, or what a lane says that it should have been told.
type Told struct {
	Settings *site.Settings
	Rating   device.Rating
}

// Build works out the way from the log's figures, written as the meter was told, to heads by what the lane says.
// Settings that move are reckoned from the origin.
func Build(primary reading.Quantity, column *site.Column, origin int64, lane, meter Told) Chain {
	c := Chain{origin: origin, head: factor(lane.Settings, site.HeadFactor), sound: 1, meter: meter.Settings}
	c.alpha, c.beta = loopChange(column, meter.Settings.Loop, lane.Settings.Loop)
	logged := factor(lane.Settings, site.LoggedFactor) / factor(meter.Settings, site.LoggedFactor)
	c.alpha, c.beta = float64(logged*c.alpha), float64(logged*c.beta)
	c.ratio = factor(lane.Settings, site.DistanceFactor) / factor(meter.Settings, site.DistanceFactor)
	empty, zero := emptyOf(lane.Settings, meter.Settings, origin), line(lane.Settings, site.LevelOfZeroFlow, origin)
	c.rest = affine{empty.At - zero.At, empty.PerNs - zero.PerNs, 0}
	c.depth = depthOf(primary, meter.Settings, origin)
	if primary > reading.Head {
		c.Backward = meter.Rating
		if k, ok := device.Proportional(lane.Rating, meter.Rating); ok && sameGeometry(lane, meter) && c.alpha == 0 {
			c.Exact = float64(k * c.beta)
		}
	} else { // the figure's own correction is folded in
		c.depth.a += float64(c.depth.b * c.alpha)
		c.depth.b = float64(c.depth.b * c.beta)
	}
	for _, k := range lane.Settings.Shift {
		c.Bend = append(c.Bend, stat.Point{X: k.Head.SI, Y: k.Add.SI})
	}
	c.fold(lane.Settings.Air, meter.Settings.Air)
	return c
}

// emptyOf is a lane's empty distance. One that the meter took by an echo was measured by sound.
func emptyOf(lane, meter *site.Settings, origin int64) Straight {
	empty := line(lane, site.EmptyDistance, origin)
	if at := lane.EchoAt; at != nil {
		k := soundRatio(at.SI, kelvin(meter.Air, at.SI))
		return Straight{float64(empty.At * k), float64(empty.PerNs * k)}
	}
	return empty
}

// depthOf is the measured distance behind a figure, as the meter was told.
func depthOf(primary reading.Quantity, meter *site.Settings, origin int64) affine {
	empty, zero := line(meter, site.EmptyDistance, origin), line(meter, site.LevelOfZeroFlow, origin)
	switch primary {
	case reading.Distance:
		return affine{0, 0, 1}
	case reading.Level:
		return affine{empty.At, empty.PerNs, -1}
	} // a head, logged or of a flow
	return affine{empty.At - zero.At, empty.PerNs - zero.PerNs, -1 / factor(meter, site.HeadFactor)}
}

// fold makes one straight line of the way back and the way forward, unless the air temperature is that of each reading.
func (c *Chain) fold(air, then *site.Air) {
	k := c.ratio
	if logged(air) || logged(then) {
		if air != then { // else both are the same, whatever it is
			c.air, c.then = orOther(air, then), orOther(then, air)
			return
		}
	} else if air != nil || then != nil {
		c.sound = soundRatio(kelvin(orOther(air, then), 0), kelvin(orOther(then, air), 0))
		k = float64(k * c.sound)
	}
	if k == 1 && c.head == 1 { // the usual case, without a rounding more than it needs
		c.scale, c.shift, c.shiftPerNs = -c.depth.b, c.rest.a-c.depth.a, c.rest.aPerNs-c.depth.aPerNs
		return
	}
	c.scale = -float64(c.head * k * c.depth.b)
	c.shift = float64(c.head * (c.rest.a - float64(k*c.depth.a)))
	c.shiftPerNs = float64(c.head * (c.rest.aPerNs - float64(k*c.depth.aPerNs)))
}

// kelvin is the temperature that a setting means when the air has a logged one.
func kelvin(a *site.Air, logged float64) float64 {
	switch {
	case a == nil:
		return Standard
	case a.Logged:
		return logged + a.Plus
	}
	return a.Fixed.SI
}

// logged reports whether a temperature is that of each reading.
func logged(a *site.Air) bool { return a != nil && a.Logged }

// orOther is a temperature setting, or the other lane's when this lane says nothing: no difference is claimed then.
func orOther(a, other *site.Air) *site.Air {
	if a == nil {
		return other
	}
	return a
}

// soundRatio is the speed of sound at one temperature over that at another, both in kelvin.
func soundRatio(a, b float64) float64 { return site.SpeedOfSound(a) / site.SpeedOfSound(b) }

// loopChange returns what turns figures scaled by one loop setting into those of another: alpha + beta × figure.
func loopChange(column *site.Column, from, to *site.Loop) (alpha, beta float64) {
	if from == nil {
		from = ColumnLoop(column)
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

// ColumnLoop is the loop by which the log's column is scaled, nil when it holds no currents.
func ColumnLoop(column *site.Column) *site.Loop {
	if column == nil || !column.Loop || column.Unit == nil {
		return nil
	}
	l := &site.Loop{From: 4, To: 20}
	l.Low.SI, l.High.SI = column.Unit.ToSI(4), column.Unit.ToSI(20)
	return l
}

// factor returns a factor, 1 when it is not set. Factors that move are cut into steps before.
func factor(s *site.Settings, which site.Setting) float64 {
	if r := s.Values[which]; r != nil {
		return r.From.SI
	}
	return 1
}

// sameGeometry reports whether both give the same head for the same signal: they may differ in factors of the logged
// figure alone, and in their devices.
func sameGeometry(a, b Told) bool {
	geometry := []site.Setting{site.DistanceFactor, site.EmptyDistance, site.LevelOfZeroFlow, site.HeadFactor}
	for _, which := range geometry {
		if a.Settings.Values[which] != b.Settings.Values[which] {
			return false
		}
	}
	sameAir := a.Settings.Air == b.Settings.Air || a.Settings.Air == nil || b.Settings.Air == nil
	return sameAir && a.Settings.EchoAt == nil && a.Settings.Shift == nil
}

// Straight is a setting as a straight line in time from an origin.
type Straight struct{ At, PerNs float64 }

// Line returns a setting from an origin on, which may lie within the correction that moves it.
func Line(r *site.Ramp, origin int64) Straight {
	if r == nil {
		return Straight{}
	}
	if r.From.SI == r.To.SI {
		return Straight{At: r.From.SI}
	}
	perNs := (r.To.SI - r.From.SI) / float64(r.Ends-r.Starts)
	return Straight{At: r.From.SI + float64(perNs*float64(origin-r.Starts)), PerNs: perNs}
}

func line(s *site.Settings, which site.Setting, origin int64) Straight {
	return Line(s.Values[which], origin)
}
