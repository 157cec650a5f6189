package device

import (
	"fmt"
	"math"

	"retotal/ingest/quantity"
)

// section is the cross-section of a channel or a throat: its area, its width at the surface and its wetted perimeter at a depth.
type section struct {
	name      string
	area      func(y float64) float64 // m²
	width     func(y float64) float64 // m
	perimeter func(y float64) float64 // m
	depth     float64                 // of the section; +Inf for an open one
	size      float64                 // bottom width, or diameter
	dims      []Constant
}

// trapezoidSection is a channel of bottom width b and side slope m (horizontal to vertical); m = 0 is a rectangle, b = 0 a V.
func trapezoidSection(b, m float64) section {
	side := math.Sqrt(1 + float64(m*m))
	name := "trapezoidal"
	if m == 0 {
		name = "rectangular"
	}
	return section{name: name, depth: math.Inf(1), size: b,
		area:      func(y float64) float64 { return (b + float64(m*y)) * y },
		width:     func(y float64) float64 { return b + float64(2*m*y) },
		perimeter: func(y float64) float64 { return b + float64(2*y*side) },
		dims:      []Constant{{"width", fmt.Sprintf("%.4g m", b)}, {"side_slope", fmt.Sprintf("%.4g", m)}}}
}

// circleSection is a pipe of diameter d (EPA SWMM Vol. II, sidebar on circular sections, read).
func circleSection(d float64) section {
	angle := func(y float64) float64 { return 2 * math.Acos(1-2*math.Min(math.Max(y/d, 0), 1)) }
	return section{name: "circular", depth: d, size: d,
		area:      func(y float64) float64 { a := angle(y); return d * d / 8 * (a - math.Sin(a)) },
		width:     func(y float64) float64 { return d * math.Sin(angle(y)/2) },
		perimeter: func(y float64) float64 { return d / 2 * angle(y) },
		dims:      []Constant{{"diameter", fmt.Sprintf("%.4g m", d)}}}
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
		dims:      []Constant{{"diameter", fmt.Sprintf("%.4g m", d)}}}
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

// criticalDepth returns the depth y at which the energy head above the bottom, y + A/(2T), is H: flow there is critical.
func (s section) criticalDepth(energy float64) float64 {
	low, high := energy/2, energy
	for i := 0; i < 100 && high-low > 1e-15*energy; i++ {
		y := low + (high-low)/2
		if t := s.width(y); t > 0 && y+s.area(y)/(2*t) < energy {
			low = y
		} else {
			high = y
		}
	}
	return low + (high-low)/2
}

// criticalFlow returns Q = √(g A³/T) at the critical depth of an energy head.
func (s section) criticalFlow(energy float64) float64 {
	y := s.criticalDepth(energy)
	a := s.area(y)
	return math.Sqrt(Gravity * a * a * a / s.width(y))
}

// withApproach solves H = h + α Q²/(2 g A²) with Q = flow(H): the velocity head of the approach, of area A at head h. The iteration
// converges where the approach is wider than the throat; it starts at H = h.
func withApproach(h, area float64, flow func(energy float64) float64) float64 {
	if math.IsInf(area, 1) {
		return flow(h)
	}
	energy := h
	for range 200 {
		q := flow(energy)
		next := h + q*q/(2*Gravity*area*area)
		if math.Abs(next-energy) <= 1e-14*energy {
			return flow(next)
		}
		if next > float64(1.5*h)+1e-9 { // no subcritical approach carries this flow
			return flow(1.5 * h)
		}
		energy = next
	}
	return flow(energy)
}

// approachArea reads channel_width and hump (the height of the crest or throat floor above the approach bed) and returns the
// approach area at a head; without a channel width the velocity of approach is left out, and the advice says so.
func approachArea(d *dimensions, hump string, description *Description) func(h float64) float64 {
	b, p := d.optional("channel_width", quantity.LengthDimension, 0), d.optional(hump, quantity.LengthDimension, 0)
	d.positiveIfGiven("channel_width")
	if b == 0 {
		description.Advice = append(description.Advice, "channel_width is not given, so the velocity of approach is left out; the flow is then too low rather than too high")
		return func(float64) float64 { return math.Inf(1) }
	}
	description.Dimensions = append(description.Dimensions, Constant{"channel_width", fmt.Sprintf("%.4g m", b)}, Constant{hump, fmt.Sprintf("%.4g m", p)})
	return func(h float64) float64 { return b * (h + p) }
}
