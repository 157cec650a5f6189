package device

import (
	"fmt"
	"math"

	"retotal/ingest/quantity"
)

// Compound is a V-notch cut into the crest of a rectangular section.
//
// Equation: Q = Qv(h) for h ≤ a; above it Q = Qv(h) − Qv(h−a) + C s (h−a)^1.5, with a the height of the notch, s the
// length of the horizontal crest beside it (both sides together) and Qv the rating of the notch. The middle term takes
// away the part of the notch's triangle that the plate does not have. The form is that of the published rating of two
// open records (Ochoa-Tocachi et al. 2018, Scientific Data 5:180080); for a frictionless nappe it follows from
// integrating √z over the section.
//
// Quantities: angle or notch_coefficient (Qv = k h^2.5, SI); crest_coefficient C, SI, 1.8384 by default (Francis,
// 3.33 in ft: USBR Water Measurement Manual eq. 7-5, read).
//
// Limits: those of the notch at the low end; none is published for the whole. Drowned: each part at its own crest, by
// Villemonte. Uncertainty: none is published; several per cent above the notch are common practice.
type Compound struct {
	notch            Rating
	height, shoulder float64
	crest            float64
	description      Description
}

// francis is 3.33 ft^0.5/s in SI: USBR Water Measurement Manual eq. 7-5 (read).
var francis = 3.33 * math.Sqrt(0.3048)

// newCompound reads notch_height, shoulder_width, crest_coefficient and either angle or notch_coefficient.
func newCompound(d *dimensions) Rating {
	c := &Compound{
		height:   d.quantity("notch_height", quantity.LengthDimension),
		shoulder: d.quantity("shoulder_width", quantity.LengthDimension),
		crest:    d.optional("crest_coefficient", quantity.None, francis),
	}
	d.between("notch_height", c.height, 0.01, 10, "a notch height above 0")
	d.between("shoulder_width", c.shoulder, 0, 100, "a width from 0")
	d.between("crest_coefficient", c.crest, 0.5, 5, "a coefficient in m^0.5/s, usually 1.7 to 1.9")
	if d.has("notch_coefficient") {
		k := d.number("notch_coefficient")
		d.between("notch_coefficient", k, 0.01, 10, "a coefficient in m^0.5/s, about 1.37 at 90 deg")
		c.notch = &Power{
			coefficient: k,
			exponent:    2.5,
			limits:      Limits{High: math.Inf(1), End: math.Inf(1)},
			drownable:   drownable{villemonte(2.5)},
			description: Description{Name: "notch", Equation: fmt.Sprintf("Qv = %s h^2.5", digits(k, 5))},
		}
	} else {
		c.notch = newNotch(d, math.Inf(1))
	}
	inner := c.notch.Describe()
	c.description = Description{
		Kind: "compound",
		Name: fmt.Sprintf("V-notch of %s m under a rectangular section", digits(c.height, 4)),
		Equation: fmt.Sprintf("%s; above h = %s m: Q = Qv(h) - Qv(h-a) + %s s (h-a)^1.5, s = %s m",
			inner.Equation, digits(c.height, 4), digits(c.crest, 5), digits(c.shoulder, 4)),
		Source: "form of the published rating in Ochoa-Tocachi et al. 2018 (Scientific Data 5:180080); no " +
			"standard covers it; " + inner.Source,
		Dimensions: append(inner.Dimensions, Constant{"notch_height", digits(c.height, 4) + " m"},
			Constant{"shoulder_width", digits(c.shoulder, 4) + " m"},
			Constant{"crest_coefficient", digits(c.crest, 5)}),
		Advice: append(inner.Advice, "flow above the notch is not covered by a standard"),
	}
	return c
}

// Flow implements Rating.
func (c *Compound) Flow(h float64) float64 {
	q := c.notch.Flow(h)
	if over := h - c.height; over > 0 {
		q += float64(c.crest*c.shoulder*power(over, 1.5)) - c.notch.Flow(over)
	}
	return q
}

// terms are the summands of the flow, each with its crest: they drown apart, as the parts of a trapezoidal weir do
// (read: EPA SWMM Vol. II).
func (c *Compound) terms() []summand {
	side := &Power{
		coefficient: c.crest * c.shoulder,
		exponent:    1.5,
		limits:      Limits{End: math.Inf(1)},
		drownable:   drownable{villemonte(1.5)},
	}
	return []summand{{0, 1, c.notch}, {c.height, -1, c.notch}, {c.height, 1, side}}
}

// ModularLimit implements Drownable.
func (c *Compound) ModularLimit() (ratio float64, source string) { return drownedSum(c.terms()) }

// Drowned implements Drownable; the notch is the first part to come to the end of its equation.
func (c *Compound) Drowned(h, hd float64) (q, spread float64, ok bool) {
	all := &drowning{
		end:  villemonteEnd,
		flow: func(h, hd, _ float64) (float64, float64, bool) { return drownedFlows(c.terms(), h, hd) },
	}
	return all.at(h, hd, c.Flow(h))
}

// Flows implements Rating.
func (c *Compound) Flows(q, h []float64) { each(q, h, c.Flow) }

// Slope implements Rating.
func (c *Compound) Slope(h float64) float64 {
	s := c.notch.Slope(h)
	if over := h - c.height; over > 0 {
		s += float64(1.5*c.crest*c.shoulder*math.Sqrt(over)) - c.notch.Slope(over)
	}
	return s
}

// Limits implements Rating.
func (c *Compound) Limits() Limits {
	l := c.notch.Limits()
	return Limits{Low: l.Low, LowSource: l.LowSource, High: math.Inf(1), End: math.Inf(1)}
}

// Describe implements Rating.
func (c *Compound) Describe() Description { return c.description }
