package device

import (
	"fmt"
	"math"

	"retotal/ingest/quantity"
)

// criticalUnit is (2/3)^1.5 √g, the flow over a unit width at a unit energy head: 1.7046 m^0.5/s.
var criticalUnit = math.Pow(2.0/3, 1.5) * math.Sqrt(Gravity)

const recalled4359 = "equations recalled from ISO 4359 (1983 and 2013), not read: confirm against the standard; critical flow solved exactly"

// newThroated reads section ("rectangular", "trapezoidal" or "U"), its dimensions, throat_length, and the optional channel_width,
// hump and coefficient.
//
// What: long-throated flume. Equation: Q = Cd √(g A³/T) at the critical depth of the energy head H, H = h + Q²/(2 g A1²), solved to
// convergence; Cd = (1 − 0.006 ξ L/b)(1 − 0.003 L/h)^1.5 with ξ = √(1+m²) − m (rectangular: 1; U: b is the diameter D). Quantities:
// h head above the throat floor; b, D, m throat; L its length; A1 approach area. Limits (from memory): h ≥ 0.05 m and 0.05 L, H/L ≤ 0.5 to
// 0.67, h/b ≤ 3, h ≤ 2 m. Uncertainty of Cd: 1 + 20 (Cv − Cd) % (from memory). Sources: recalled from ISO 4359, not read; the
// critical condition is hydraulics of the textbooks.
func newThroated(d *dimensions) Rating {
	s := readSection(d, "rectangular", "trapezoidal", "U")
	return throatedRating(d, s, "throated", s.name+" long-throated flume", recalled4359)
}

// newPalmerBowlus reads diameter (of the pipe) and the optional throat_width, throat_ramp, throat_slope, throat_length and coefficient.
//
// What: trapezoidal throat in a pipe. Equation: as the throated flume, with the pipe above the ramp as approach; ASTM D5390 rates the flume
// by the same theory (scope read). Usual geometry (from memory of Wells and Gotaas 1958): floor D/6 above the invert, bottom width 5D/12,
// sides 2 vertical to 1 horizontal, length D. Limits: 0.1 to 0.9 D (from memory). Uncertainty: 3 %, about 10 % with the level device
// (read: US Navy MO-221).
func newPalmerBowlus(d *dimensions) Rating {
	diameter := readDiameter(d)
	width := d.optional("throat_width", quantity.LengthDimension, 5*diameter/12)
	ramp := d.optional("throat_ramp", quantity.LengthDimension, diameter/6)
	slope := d.optional("throat_slope", quantity.None, 0.5)
	length := d.optional("throat_length", quantity.LengthDimension, diameter)
	d.between("throat_width", width, 0.01, diameter, "a width within the pipe")
	d.between("throat_ramp", ramp, 0, diameter/2, "a ramp of up to half the pipe")
	d.between("throat_slope", slope, 0, 10, "horizontal to vertical, from 0")
	d.between("throat_length", length, 0.01, 100, "a length above 0")
	throat, pipe := trapezoidSection(width, slope), circleSection(diameter)
	description := Description{Kind: "palmer-bowlus", Name: fmt.Sprintf("Palmer-Bowlus flume in a pipe of %.4g m", diameter),
		Equation:    "Q = Cd sqrt(g A^3/T) at critical depth in the throat, velocity of approach from the pipe",
		Source:      "critical-flow theory as in ASTM D5390 (scope read); usual geometry recalled from Wells and Gotaas 1958, not read: measure the throat",
		Uncertainty: 0.05, UncertainBy: "US Navy MO-221, read: 3 %, about 10 % with the level device",
		Dimensions: append([]Constant{{"diameter", fmt.Sprintf("%.4g m", diameter)}, {"throat_ramp", fmt.Sprintf("%.4g m", ramp)}, {"throat_length", fmt.Sprintf("%.4g m", length)}}, throat.dims...)}
	coefficient := throatCoefficient(d, throat, length)
	flow := func(h float64) float64 {
		cd := coefficient(h)
		return withApproach(h, pipe.area(math.Min(h+ramp, diameter)), func(energy float64) float64 { return cd * throat.criticalFlow(energy) })
	}
	top := math.Max(float64(0.9*diameter)-ramp, 0.02)
	return tabulate(&Formula{flow: flow, description: description, limits: Limits{Low: 0.1 * diameter, High: top, End: math.Inf(1),
		LowSource: "0.1 D (from memory)", HighSource: "water at 0.9 D in the pipe (from memory)"}}, math.Max(0.02*diameter, 1e-3), 1.02*top)
}

// throatedRating builds a long-throated flume on a section.
func throatedRating(d *dimensions, s section, kind, name, source string) Rating {
	length := d.quantity("throat_length", quantity.LengthDimension)
	d.between("throat_length", length, 0.01, 100, "a length above 0")
	description := Description{Kind: kind, Name: fmt.Sprintf("%s, throat %.4g m", name, s.size),
		Equation: "Q = Cd sqrt(g A^3/T) at critical depth, H = h + Q^2/(2 g A1^2), Cd = (1 - 0.006 xi L/b)(1 - 0.003 L/h)^1.5",
		Source:   source, Uncertainty: 0.03, UncertainBy: "from memory of ISO 4359: 1 + 20 (Cv - Cd) %, usually 2 to 4 %",
		Dimensions: append(append([]Constant{}, s.dims...), Constant{"throat_length", fmt.Sprintf("%.4g m", length)})}
	area := approachArea(d, "hump", &description)
	coefficient := throatCoefficient(d, s, length)
	flow := func(h float64) float64 {
		cd := coefficient(h)
		return withApproach(h, area(h), func(energy float64) float64 { return cd * s.criticalFlow(energy) })
	}
	low, high := math.Max(0.05, 0.05*length), math.Min(2, 0.5*length)
	if s.size > 0 && s.name == "rectangular" {
		high = math.Min(high, 3*s.size)
	}
	limits := Limits{Low: low, High: math.Max(high, low), End: math.Inf(1), LowSource: "larger of 0.05 m and 0.05 L (recalled from ISO 4359)",
		HighSource: "H/L <= 0.5, h/b <= 3, h <= 2 m (recalled from ISO 4359)"}
	return tabulate(&Formula{flow: flow, limits: limits, description: description}, math.Max(low/2, 0.01*length), 1.5*limits.High)
}

// throatCoefficient returns Cd at a head: the boundary layer of ISO 4359, or the coefficient that the user gives.
func throatCoefficient(d *dimensions, s section, length float64) func(h float64) float64 {
	if c := d.optional("coefficient", quantity.None, 0); d.has("coefficient") {
		d.between("coefficient", c, 0.5, 1.2, "a discharge coefficient, usually 0.93 to 1")
		return func(float64) float64 { return c }
	}
	xi := 1.0
	if s.name == "trapezoidal" {
		m := (s.width(1) - s.width(0)) / 2
		xi = math.Sqrt(1+float64(m*m)) - m
	}
	side := 1 - float64(0.006*xi*length)/math.Max(s.size, 1e-9)
	if s.size <= 0 {
		side = 1
	}
	return func(h float64) float64 {
		bed := 1 - float64(0.003*length)/h
		return math.Max(side, 0) * power(math.Max(bed, 0), 1.5)
	}
}
