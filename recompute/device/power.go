package device

import (
	"fmt"
	"math"

	"retotal/ingest/quantity"
)

// Power is a rating of the form Q = C (h − e)^n. It serves the power law with coefficients of the user, the
// maximum-head/maximum-flow form, the Cipolletti weir and the Parshall flumes, which differ in where the
// numbers come from.
type Power struct {
	coefficient, exponent, offset float64 // SI: m^(3−n)/s, –, m
	limits                        Limits
	description                   Description
	drownable
}

// newPower reads coefficient, exponent, head_unit, flow_unit and the optional offset and modular_limit: the equation
// with the numbers as the user holds them, in their own units.
func newPower(d *dimensions) Rating {
	c, n := d.number("coefficient"), d.number("exponent")
	head, flow := d.unit("head_unit", quantity.LengthDimension), d.unit("flow_unit", quantity.FlowDimension)
	e := d.optional("offset", quantity.LengthDimension, 0)
	d.between("coefficient", c, math.SmallestNonzeroFloat64, 1e9, "a coefficient above 0")
	d.between("exponent", n, 0.1, 5, "an exponent from 0.1 to 5")
	return &Power{
		coefficient: c * flow.Factor / math.Pow(head.Factor, n), exponent: n, offset: e,
		limits: Limits{High: math.Inf(1), End: math.Inf(1)},
		description: Description{Kind: "power", Name: "power law of the user",
			Equation: fmt.Sprintf("Q = %s (h - %s m)^%s (%s, %s)", digits(c, 6), digits(e, 4), digits(n, 6),
				flow.Symbol, head.Symbol),
			Source: "coefficients from the site file; no limits of validity known",
			Dimensions: []Constant{{"coefficient", digits(c, 6)}, {"exponent", digits(n, 6)},
				{"offset", digits(e, 4) + " m"}}},
		drownable: givenModular(d),
	}
}

// newMaximum reads maximum_head, maximum_flow, exponent and the optional modular_limit: Q = Qmax (h/hmax)^n, the form
// in which many meters take a device that is not in their list (common practice).
func newMaximum(d *dimensions) Rating {
	h, q := d.quantity("maximum_head", quantity.LengthDimension), d.quantity("maximum_flow", quantity.FlowDimension)
	n := d.number("exponent")
	d.between("maximum_head", h, 1e-3, 100, "a head above 0")
	d.between("maximum_flow", q, math.SmallestNonzeroFloat64, 1e6, "a flow above 0")
	d.between("exponent", n, 0.1, 5, "an exponent from 0.1 to 5")
	return &Power{
		coefficient: q / math.Pow(h, n), exponent: n,
		limits: Limits{High: h, HighSource: "maximum head of the device", End: math.Inf(1)},
		description: Description{Kind: "maximum",
			Name:     fmt.Sprintf("maximum-head form, %s m at %s L/s", digits(h, 4), digits(q*1000, 4)),
			Equation: fmt.Sprintf("Q = %s L/s (h / %s m)^%s", digits(q*1000, 6), digits(h, 4), digits(n, 4)),
			Source:   "form in common use in meters; the numbers are those of the site file",
			Dimensions: []Constant{
				{"maximum_head", digits(h, 4) + " m"},
				{"maximum_flow", fmt.Sprintf("%s L/s", digits(q*1000, 6))},
				{"exponent", digits(n, 4)},
			}},
		drownable: givenModular(d),
	}
}

// newCipolletti reads width (of the crest) and the optional crest_height and channel_width.
//
// What: trapezoidal thin-plate weir, sides 1 horizontal to 4 vertical. Equation: Q = 3.367 L h^1.5 in feet
// and ft³/s (USBR Water Measurement Manual eq. 7-7, read), 1.8589 b h^1.5 in SI. Limits: as the contracted
// rectangular weir (read): h ≥ 0.06 m, h ≤ b/3. Uncertainty of the coefficient: 5 % (read).
func newCipolletti(d *dimensions) Rating {
	b := d.quantity("width", quantity.LengthDimension)
	p := d.optional("crest_height", quantity.LengthDimension, 0)
	channel := d.optional("channel_width", quantity.LengthDimension, 0)
	d.between("width", b, 0.15, 100, "a crest width from 0.15 m")
	d.positiveIfGiven("crest_height", "channel_width")
	k := 3.367 * math.Sqrt(0.3048) * b
	description := Description{Kind: "cipolletti", Name: fmt.Sprintf("Cipolletti weir, b = %s m", digits(b, 4)),
		Equation:    fmt.Sprintf("Q = 1.8589 b h^1.5 (Q = %.5f h^1.5)", k),
		Source:      "USBR Water Measurement Manual eq. 7-7, read",
		Uncertainty: 0.05, UncertainBy: "USBR Water Measurement Manual section 12, read",
		Dimensions: []Constant{{"width", digits(b, 4) + " m"}}}
	approach(&description, p, 2*b/3, channel, b+4*b/3)
	r := &Power{coefficient: k, exponent: 1.5,
		limits: Limits{Low: 0.06, LowSource: "h >= 0.2 ft (from memory of the USBR manual)", High: b / 3,
			HighSource: "h <= L/3 (EPA SWMM Vol. II)", End: math.Inf(1)},
		description: description}
	if channel > 0 && channel < b {
		d.refuse("channel_width", fmt.Sprintf("channel_width %q is narrower than the crest", d.text("channel_width")),
			"a channel at least as wide as the crest", "")
	}
	r.drowning = villemonte(1.5) // one exponent for the whole trapezoid: a judgement, not published
	return r
}

// Proportional returns the factor by which the flows of one rating are those of another at every head, where they are
// power laws that differ in nothing but their coefficients. The means of such flows differ by the same factor.
func Proportional(to, from Rating) (factor float64, ok bool) {
	if to == from {
		return 1, true
	}
	a, isPower := to.(*Power)
	b, alike := from.(*Power)
	if !isPower || !alike || a.exponent != b.exponent || a.offset != b.offset || a.limits.End != b.limits.End {
		return 0, false
	}
	return a.coefficient / b.coefficient, true
}

// Flow implements Rating.
func (p *Power) Flow(h float64) float64 {
	if h <= p.offset || h <= 0 {
		return 0
	}
	return p.coefficient * power(math.Min(h, p.limits.End)-p.offset, p.exponent)
}

// Flows implements Rating.
func (p *Power) Flows(q, h []float64) {
	c, n, e, end := p.coefficient, p.exponent, p.offset, p.limits.End
	least := math.Max(e, 0)
	h = h[:len(q)]
	for i, x := range h {
		if x <= least {
			q[i] = 0
			continue
		}
		q[i] = c * power(math.Min(x, end)-e, n)
	}
}

// Slope implements Rating.
func (p *Power) Slope(h float64) float64 {
	if h <= p.offset || h <= 0 || h > p.limits.End {
		return 0
	}
	return p.coefficient * p.exponent * power(h-p.offset, p.exponent-1)
}

// Drowned implements Drownable.
func (p *Power) Drowned(h, hd float64) (q, spread float64, ok bool) {
	return p.drowning.at(h, hd, p.Flow(h))
}

// Limits implements Rating.
func (p *Power) Limits() Limits { return p.limits }

// Describe implements Rating.
func (p *Power) Describe() Description { return p.description }
