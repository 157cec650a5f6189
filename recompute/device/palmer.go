package device

import (
	"fmt"
	"math"
	"strings"

	"retotal/ingest/quantity"
)

// palmerThroat is the geometry of a Palmer-Bowlus throat.
type palmerThroat struct{ width, ramp, slope, length float64 }

// usualThroat is the common geometry for a pipe (from memory of Wells and Gotaas 1958): bottom width 5D/12, floor D/6
// above the invert, sides 2 vertical to 1 horizontal, length D.
func usualThroat(diameter float64) palmerThroat {
	return palmerThroat{5 * diameter / 12, diameter / 6, 0.5, diameter}
}

// palmerAlternatives are other dimensions that throats are built with, by the key that would tell (common practice,
// from memory: no standard fixes them). The flow of each against the usual one is what not measuring the throat leaves
// open.
func palmerAlternatives(diameter float64) map[string][]float64 {
	return map[string][]float64{
		"throat_width": {diameter / 3, diameter / 2}, "throat_ramp": {diameter / 12, diameter / 4},
		"throat_slope": {1.0 / 3, 2.0 / 3}, "throat_length": {diameter / 2, 2 * diameter},
	}
}

// palmerKeys are the keys of the throat, in the order in which they are told.
var palmerKeys = []string{"throat_width", "throat_ramp", "throat_slope", "throat_length"}

func (p *palmerThroat) field(key string) *float64 {
	return map[string]*float64{
		"throat_width": &p.width, "throat_ramp": &p.ramp, "throat_slope": &p.slope, "throat_length": &p.length,
	}[key]
}

// newPalmerBowlus reads diameter (of the pipe) and the optional throat_width, throat_ramp, throat_slope, throat_length,
// coefficient and approach (see readChannel; the pipe itself where none is given).
//
// What: trapezoidal throat in a pipe, upright where it would be wider than the pipe. Equation: as the throated flume;
// ASTM D5390 rates the flume by the same theory (scope read). The throat is assumed to be usualThroat where it is not
// given: the description says so, and the uncertainty covers palmerAlternatives. Limits: 0.1 to
// 0.9 D (from memory); it ends at the crown of the pipe. Uncertainty: 3 %, about 10 % with the level device (read: US
// Navy MO-221).
func newPalmerBowlus(d *dimensions) Rating {
	diameter := readDiameter(d)
	p := usualThroat(diameter)
	p.width = d.optional("throat_width", quantity.LengthDimension, p.width)
	p.ramp = d.optional("throat_ramp", quantity.LengthDimension, p.ramp)
	p.slope = d.optional("throat_slope", quantity.None, p.slope)
	p.length = d.optional("throat_length", quantity.LengthDimension, p.length)
	d.between("throat_width", p.width, 0.01, diameter, "a width within the pipe")
	d.between("throat_ramp", p.ramp, 0, diameter/2, "a ramp of up to half the pipe")
	d.between("throat_slope", p.slope, 0, 10, "horizontal to vertical, from 0")
	d.between("throat_length", p.length, 0.01, 100, "a length above 0")
	throat := p.section(diameter)
	description := Description{
		Kind:     "palmer-bowlus",
		Name:     fmt.Sprintf("Palmer-Bowlus flume in a pipe of %s m", digits(diameter, 4)),
		Equation: "Q = Cd sqrt(g A^3/T) at critical depth in the throat, velocity of approach from the pipe",
		Source: "critical-flow theory as in ASTM D5390 (scope read); usual geometry recalled from Wells and " +
			"Gotaas 1958, not read: measure the throat",
		Uncertainty: 0.05,
		UncertainBy: "US Navy MO-221, read: 3 %, about 10 % with the level device",
		Dimensions: append([]Constant{{"diameter", digits(diameter, 4) + " m"},
			{"throat_length", digits(p.length, 4) + " m"}}, throat.dims...),
	}
	approach := readChannel(d, channel{section: circleSection(diameter), known: true}, p.ramp,
		"throat_ramp", &description)
	crown := diameter - p.ramp
	top := math.Max(float64(0.9*diameter)-p.ramp, 0.02)
	limits := Limits{
		Low:        math.Min(0.1*diameter, top),
		High:       top,
		End:        math.Max(crown, top),
		LowSource:  "0.1 D (from memory)",
		HighSource: "water at 0.9 D in the pipe (from memory)",
		EndSource:  "crown of the pipe",
	}
	flow := p.flow(d, diameter, approach)
	approach.limit(d, "diameter", &limits, flow, throat, 0, "")
	p.assume(d, diameter, approach, limits, &description)
	drowned := modularOnly(0.85, "from memory (Wells and Gotaas 1958); that no correction is published was read")
	f := &Formula{flow: flow, description: description, limits: limits, drownable: drownable{drowned}}
	least := limits.Low
	return d.tabulate(f, least, approach.smooth(least, limits.End, flow))
}

// section is the throat: a trapezoid up to where it is as wide as the pipe, upright walls above.
func (p palmerThroat) section(diameter float64) section {
	s := trapezoidSection(p.width, p.slope)
	if p.slope <= 0 {
		return s
	}
	full := (diameter - p.width) / (2 * p.slope)
	area := s.area
	s.area = func(y float64) float64 { return area(math.Min(y, full)) + float64(diameter*math.Max(y-full, 0)) }
	s.width = func(y float64) float64 { return p.width + float64(2*p.slope*math.Min(y, full)) }
	return s
}

// flow rates a throat in an approach.
func (p palmerThroat) flow(d *dimensions, diameter float64, approach channel) func(h float64) float64 {
	throat := p.section(diameter)
	approach.hump = p.ramp
	return criticalThroat(throat, approach, throatCoefficient(d, throat, p.length))
}

// assume says which dimensions of the throat are assumed and widens the uncertainty by what each of them leaves open:
// the largest difference that an alternative makes between a fifth of the range and its top, added in quadrature.
func (p palmerThroat) assume(d *dimensions, diameter float64, approach channel, l Limits, description *Description) {
	if len(d.issues) > 0 {
		return
	}
	usual, square := p.flow(d, diameter, approach), description.Uncertainty*description.Uncertainty
	alternatives := palmerAlternatives(diameter)
	var assumed []string
	for _, key := range palmerKeys {
		if d.has(key) {
			continue
		}
		worst := 0.0
		for _, v := range alternatives[key] {
			other := p
			*other.field(key) = v
			worst = math.Max(worst,
				largestDifference(other.flow(d, diameter, approach), usual, l.Low+float64(0.2*(l.High-l.Low)), l.High))
		}
		square += worst * worst
		text := digits(*p.field(key), 4) + " m"
		if key == "throat_slope" {
			text = digits(*p.field(key), 4)
		}
		assumed = append(assumed, key)
		description.Assumed = append(description.Assumed,
			fmt.Sprintf("%s = %s is assumed, not given; other usual throats differ by up to %.0f %% of the flow",
				key, text, 100*worst))
	}
	if len(assumed) > 0 {
		description.Uncertainty = math.Sqrt(square)
		description.UncertainBy += "; widened for the assumed " + strings.Join(assumed, ", ") +
			" to cover the other usual throats"
	}
}

// largestDifference is that of one flow relative to another at eleven heads of a range.
func largestDifference(other, usual func(float64) float64, low, high float64) (worst float64) {
	for i := range 11 {
		h := low + float64((high-low)*float64(i)/10)
		worst = math.Max(worst, math.Abs(other(h)/usual(h)-1))
	}
	return worst
}
