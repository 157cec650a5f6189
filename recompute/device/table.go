package device

import (
	"fmt"
	"math"
	"sort"

	"retotal/ingest/quantity"
)

// Table is a rating table: points of head and flow, between them straight lines or power-law arcs.
//
// Equation, log interpolation between (h1, Q1) and (h2, Q2) with offset e: Q = Q1 ((h−e)/(h1−e))^b,
// b = ln(Q2/Q1)/ln((h2−e)/(h1−e)) (ISO 18320:2020, from memory; reproduces a published expanded rating of USGS
// 01541303 within its rounding). An interval that starts at no flow, or at the offset, is a straight line.
//
// Limits: the first and last point. Below the first point the flow is a straight line from zero; beyond the last
// the table says nothing: the status is NotComputable and the flow stays the last one.
type Table struct {
	heads, flows, exponents []float64 // exponents[i] rules from point i to i+1; NaN for a straight line
	offset                  float64
	logarithmic             bool
	drownable
}

// newTable reads points = [["0.05 m", "0.8 L/s"], …], interpolation = "linear" or "log" and, for log, the
// optional offset; also the optional modular_limit.
func newTable(d *dimensions) Rating {
	t := &Table{offset: d.optional("offset", quantity.LengthDimension, 0)}
	t.heads, t.flows = d.points("points")
	t.drownable = givenModular(d)
	t.logarithmic = d.choice("interpolation", "linear", "log") == "log"
	for i := range t.heads {
		if i > 0 && (t.heads[i] <= t.heads[i-1] || t.flows[i] < t.flows[i-1]) || t.heads[i] < 0 || t.flows[i] < 0 {
			d.refuse("points", fmt.Sprintf("point %d (%s m, %s m3/s) does not rise above the one before it",
				i+1, digits(t.heads[i], 6), digits(t.flows[i], 6)),
				"heads and flows from 0 up, each head greater than the last", "put the points in order")
			return t
		}
	}
	t.exponents = make([]float64, len(t.heads))
	for i := range t.exponents {
		t.exponents[i] = t.exponent(i)
	}
	return t
}

// exponent returns b of the arc from point i to i+1, or NaN where the interval is a straight line.
func (t *Table) exponent(i int) float64 {
	if !t.logarithmic || i+1 >= len(t.heads) || t.flows[i] <= 0 || t.heads[i] <= t.offset {
		return math.NaN()
	}
	return math.Log(t.flows[i+1]/t.flows[i]) / math.Log((t.heads[i+1]-t.offset)/(t.heads[i]-t.offset))
}

// Flow implements Rating.
func (t *Table) Flow(h float64) float64 {
	last := len(t.heads) - 1
	switch {
	case h <= 0 || last < 0:
		return 0
	case h >= t.heads[last]:
		return t.flows[last]
	case h < t.heads[0]:
		return t.flows[0] * h / t.heads[0]
	}
	i := sort.SearchFloat64s(t.heads, h)
	if t.heads[i] > h {
		i--
	}
	if b := t.exponents[i]; !math.IsNaN(b) {
		return t.flows[i] * math.Pow((h-t.offset)/(t.heads[i]-t.offset), b)
	}
	return t.flows[i] + float64((t.flows[i+1]-t.flows[i])*((h-t.heads[i])/(t.heads[i+1]-t.heads[i])))
}

// lastHead returns the head at the end of the level stretch of flow q; 0 when the table has none.
func (t *Table) lastHead(q float64) float64 {
	for i := len(t.heads) - 1; i > 0; i-- {
		if t.flows[i] == q && t.flows[i-1] == q {
			return t.heads[i]
		}
	}
	return 0
}

// Drowned implements Drownable.
func (t *Table) Drowned(h, hd float64) (q, spread float64, ok bool) {
	return t.drowning.at(h, hd, t.Flow(h))
}

// Flows implements Rating.
func (t *Table) Flows(q, h []float64) { each(q, h, t.Flow) }

// Slope implements Rating; at a point of the table it is that of the interval above.
func (t *Table) Slope(h float64) float64 {
	last := len(t.heads) - 1
	switch {
	case h <= 0 || last < 0 || h >= t.heads[last]:
		return 0
	case h < t.heads[0]:
		return t.flows[0] / t.heads[0]
	}
	i := sort.SearchFloat64s(t.heads, h)
	if t.heads[i] > h {
		i--
	}
	if b := t.exponents[i]; !math.IsNaN(b) {
		return b * t.Flow(h) / (h - t.offset)
	}
	return (t.flows[i+1] - t.flows[i]) / (t.heads[i+1] - t.heads[i])
}

// Limits implements Rating.
func (t *Table) Limits() Limits {
	if len(t.heads) == 0 {
		return Limits{High: math.Inf(1), End: math.Inf(1)}
	}
	last := t.heads[len(t.heads)-1]
	return Limits{
		Low:        t.heads[0],
		LowSource:  "first point of the table",
		High:       last,
		HighSource: "last point of the table",
		End:        last,
		EndSource:  "last point of the table: nothing is known beyond",
	}
}

// Describe implements Rating.
func (t *Table) Describe() Description {
	form := "straight lines between points"
	if t.logarithmic {
		form = fmt.Sprintf("power-law arcs between points, offset %s m", digits(t.offset, 4))
	}
	d := Description{Kind: "table", Name: fmt.Sprintf("rating table of %d points", len(t.heads)), Equation: form,
		Source: "points from the site file; interpolation after ISO 18320 (from memory)"}
	for i := range t.heads {
		d.Dimensions = append(d.Dimensions, Constant{
			fmt.Sprintf("point %d", i+1), fmt.Sprintf("%s m, %s L/s", digits(t.heads[i], 5),
				digits(t.flows[i]*1000, 6)),
		})
	}
	return d
}
