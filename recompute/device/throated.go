package device

import (
	"fmt"
	"math"

	"retotal/ingest/quantity"
)

// criticalUnit is (2/3)^1.5 √g, the flow over a unit width at a unit energy head: 1.7046 m^0.5/s.
var criticalUnit = math.Pow(2.0/3, 1.5) * math.Sqrt(Gravity)

const recalled4359 = "equations recalled from ISO 4359 (1983 and 2013), not read: confirm against the standard; " +
	"critical flow solved exactly"

// newThroated reads section ("rectangular", "trapezoidal" or "U"), its dimensions, throat_length, and the optional
// approach (see readChannel), hump, exit_expansion and coefficient.
//
// What: long-throated flume. Equation: Q = Cd √(g A³/T) at the critical depth of the energy head H, H = h + Q²/(2 g
// A1²), solved to convergence; Cd = (1 − 0.006 ξ L/b)(1 − 0.003 L/h)^1.5 with ξ = √(1+m²) − m (rectangular: 1; U: b is
// the diameter D). Quantities: h head above the throat floor; b, D, m throat; L its length; A1 approach area. Limits
// (from memory): h ≥ 0.05 m and 0.05 L, H/L ≤ 0.5 to
// 0.67, h/b ≤ 3, h ≤ 2 m, throat area up to 0.7 of
// the approach's; Froude number of the approach up to 0.5 (read in public code). Drowned: see throatDrowned.
// Uncertainty of Cd: 1 + 20 (Cv − Cd) % (from memory). Sources: recalled from ISO 4359, not read; the critical
// condition is hydraulics of the textbooks.
func newThroated(d *dimensions) Rating {
	s := readSection(d, "rectangular", "trapezoidal", "U")
	return throatedRating(d, s, "throated", s.name+" long-throated flume", recalled4359)
}

// throatedRating builds a long-throated flume on a section.
func throatedRating(d *dimensions, s section, kind, name, source string) Rating {
	length := d.quantity("throat_length", quantity.LengthDimension)
	d.between("throat_length", length, 0.01, 100, "a length above 0")
	description := Description{
		Kind: kind,
		Name: fmt.Sprintf("%s, throat %s m", name, digits(s.size, 4)),
		Equation: "Q = Cd sqrt(g A^3/T) at critical depth, H = h + Q^2/(2 g A1^2), Cd = (1 - 0.006 xi L/b)(1 - " +
			"0.003 L/h)^1.5",
		Source:      source,
		Uncertainty: 0.03,
		UncertainBy: "from memory of ISO 4359: 1 + 20 (Cv - Cd) %, usually 2 to 4 %",
		Dimensions:  append(append([]Constant{}, s.dims...), Constant{"throat_length", digits(length, 4) + " m"}),
	}
	hump := d.optional("hump", quantity.LengthDimension, 0)
	d.between("hump", hump, 0, 50, "a height from 0")
	approach := readChannel(d, channel{}, hump, "hump", &description)
	low, high := math.Max(0.05, 0.05*length), math.Min(2, 0.5*length)
	if s.size > 0 && s.name == "rectangular" {
		high = math.Min(high, 3*s.size)
	}
	limits := Limits{
		Low:        low,
		High:       math.Max(high, low),
		End:        math.Inf(1),
		LowSource:  "larger of 0.05 m and 0.05 L (recalled from ISO 4359)",
		HighSource: "H/L <= 0.5, h/b <= 3, h <= 2 m (recalled from ISO 4359)",
	}
	flow := criticalThroat(s, approach, throatCoefficient(d, s, length))
	key := "channel_width"
	if d.has("approach_diameter") {
		key = "approach_diameter"
	}
	approach.limit(d, key, &limits, flow, s, 0.7, "throat area <= 0.7 of the approach's (recalled from ISO 4359)")
	f := &Formula{flow: flow, limits: limits, description: description, drownable: drownable{throatDrowned(d)}}
	least := math.Max(low/2, 0.01*length)
	return d.tabulate(f, least, approach.smooth(least, math.Min(1.5*limits.High, limits.End), flow))
}

// criticalThroat is the flow of a throat: critical at the energy head of the approach.
func criticalThroat(s section, approach channel, coefficient func(h float64) float64) func(h float64) float64 {
	return func(h float64) float64 {
		cd := coefficient(h)
		flow := func(energy float64) float64 { return cd * s.criticalFlow(energy) }
		return flow(approach.energy(h, flow))
	}
}

// exitLimits are the modular limits H2/H1 by the slope of the expansion below the throat, 1 : first (from memory of ISO
// 4359).
var exitLimits = [][2]float64{{3, 0.74}, {6, 0.80}, {10, 0.83}, {20, 0.90}}

// throatDrowned reads the optional exit_expansion (6 for walls that open 1:6). Without it the flume is taken to end
// abruptly, with the modular limit of a broad-crested weir. Heads stand for total heads. No drowned equation was found.
func throatDrowned(d *dimensions) *drowning {
	x := d.optional("exit_expansion", quantity.None, 0)
	if !d.has("exit_expansion") {
		return modularOnly(0.66, "no expansion is given below the throat: as a broad-crested weir, tailwater below "+
			"0.66 of the head (read: CRAN package weirs)")
	}
	d.between("exit_expansion", x, exitLimits[0][0], 1000,
		"6 for an expansion of 1:6, from 3; leave it out for an abrupt end")
	limit := exitLimits[0][1]
	for i := 1; i < len(exitLimits); i++ {
		a, b := exitLimits[i-1], exitLimits[i]
		if x > a[0] {
			limit = a[1] + float64((b[1]-a[1])*(math.Min(x, b[0])-a[0])/(b[0]-a[0]))
		}
	}
	return modularOnly(limit, fmt.Sprintf("H2/H1 for an expansion of 1:%s (from memory of ISO 4359)", digits(x, 4)))
}

// throatCoefficient returns Cd at a head: the boundary layer of ISO 4359, or the coefficient that the user gives.
func throatCoefficient(d *dimensions, s section, length float64) func(h float64) float64 {
	if c := d.optional("coefficient", quantity.None, 0); d.has("coefficient") {
		d.between("coefficient", c, 0.5, 1.2, "a discharge coefficient, usually 0.93 to 1")
		return func(float64) float64 { return c }
	}
	xi := 1.0
	if s.name == "trapezoidal" {
		xi = math.Sqrt(1+float64(s.slope*s.slope)) - s.slope
	}
	side := 1 - float64(0.006*xi*length)/math.Max(s.size, 1e-9)
	if s.size <= 0 {
		side = 1
	}
	if side <= 0 {
		d.refuse("throat_length", "the boundary layer of a throat this long fills its width",
			"a throat of up to about 150 widths", "")
	}
	return func(h float64) float64 {
		bed := 1 - float64(0.003*length)/h
		return math.Max(side, 0) * power(math.Max(bed, 0), 1.5)
	}
}
