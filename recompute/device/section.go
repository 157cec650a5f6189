package device

import (
	"math"

	"retotal/ingest/quantity"
)

// section is the cross-section of a channel or a throat: its area, its width at the surface and its wetted perimeter at
// a depth.
type section struct {
	name      string
	area      func(y float64) float64 // m²
	width     func(y float64) float64 // m
	perimeter func(y float64) float64 // m
	depth     float64                 // of the section; +Inf for an open one
	size      float64                 // bottom width, or diameter
	slope     float64                 // of the sides of a trapezoid, horizontal to vertical
	dims      []Constant
}

// trapezoidSection is a channel of bottom width b and side slope m (horizontal to vertical); m = 0 is a rectangle, b =
// 0 a V.
func trapezoidSection(b, m float64) section {
	side := math.Sqrt(1 + float64(m*m))
	name := "trapezoidal"
	if m == 0 {
		name = "rectangular"
	}
	return section{name: name, depth: math.Inf(1), size: b, slope: m,
		area:      func(y float64) float64 { return (b + float64(m*y)) * y },
		width:     func(y float64) float64 { return b + float64(2*m*y) },
		perimeter: func(y float64) float64 { return b + float64(2*y*side) },
		dims:      []Constant{{"width", digits(b, 4) + " m"}, {"side_slope", digits(m, 4)}}}
}

// circleSection is a pipe of diameter d (EPA SWMM Vol. II, sidebar on circular sections, read).
func circleSection(d float64) section {
	angle := func(y float64) float64 { return 2 * math.Acos(1-2*math.Min(math.Max(y/d, 0), 1)) }
	return section{name: "circular", depth: d, size: d,
		area:      func(y float64) float64 { a := angle(y); return d * d / 8 * (a - math.Sin(a)) },
		width:     func(y float64) float64 { return d * math.Sin(angle(y)/2) },
		perimeter: func(y float64) float64 { return d / 2 * angle(y) },
		dims:      []Constant{{"diameter", digits(d, 4) + " m"}}}
}

// uSection is a half circle of diameter d under upright walls.
func uSection(d float64) section {
	c := circleSection(d)
	half := d / 2
	above := func(y float64) float64 { return math.Max(y-half, 0) }
	return section{name: "U-shaped", depth: math.Inf(1), size: d,
		area: func(y float64) float64 { return c.area(math.Min(y, half)) + float64(d*above(y)) },
		width: func(y float64) float64 {
			if y >= half {
				return d
			}
			return c.width(y)
		},
		perimeter: func(y float64) float64 { return c.perimeter(math.Min(y, half)) + 2*above(y) },
		dims:      []Constant{{"diameter", digits(d, 4) + " m"}}}
}

// readSection reads section = "rectangular", "trapezoidal", "circular" or "U" and its dimensions.
func readSection(d *dimensions, shapes ...string) section {
	switch d.choice("section", shapes...) {
	case "trapezoidal":
		b, m := d.quantity("width", quantity.LengthDimension), d.number("side_slope")
		d.between("width", b, 0, 1000, "a bottom width from 0")
		d.between("side_slope", m, 0, 20, "horizontal to vertical, from 0")
		return trapezoidSection(b, m)
	case "circular":
		return circleSection(readDiameter(d))
	case "U":
		return uSection(readDiameter(d))
	}
	b := d.quantity("width", quantity.LengthDimension)
	d.between("width", b, 0.01, 1000, "a width above 0")
	return trapezoidSection(b, 0)
}

func readDiameter(d *dimensions) float64 {
	v := d.quantity("diameter", quantity.LengthDimension)
	d.between("diameter", v, 0.01, 20, "a diameter above 0")
	return math.Max(v, 0.01)
}

// criticalDepth returns the depth y at which the energy head above the bottom, y + A/(2T), is H: flow there is
// critical. By false position with halved weights (Illinois), to the last digits in about ten steps.
func (s section) criticalDepth(energy float64) float64 {
	excess := func(y float64) float64 {
		t := s.width(y)
		if t <= 0 {
			return y - energy
		}
		return y + s.area(y)/(2*t) - energy
	}
	low, high := energy/2, energy // A is at most y T in a section that does not close
	below, above := excess(low), excess(high)
	y, last, side := high, low, 0
	for i := 0; i < 100 && math.Abs(y-last) > 1e-15*energy; i++ {
		last = y
		y = (low*above - float64(high*below)) / (above - below)
		switch e := excess(y); {
		case e == 0:
			return y
		case e < 0:
			low, below = y, e
			if side < 0 {
				above /= 2
			}
			side = -1
		default:
			high, above = y, e
			if side > 0 {
				below /= 2
			}
			side = 1
		}
	}
	return y
}

// criticalFlow returns Q = √(g A³/T) at the critical depth of an energy head.
func (s section) criticalFlow(energy float64) float64 {
	y := s.criticalDepth(energy)
	a := s.area(y)
	return math.Sqrt(Gravity * a * a * a / s.width(y))
}
