package explain

import (
	"math"
	"slices"

	"retotal/recompute/explain/sample"
	"retotal/recompute/stat"
)

// outerPlaces is how many values of the outer setting of two are tried.
const outerPlaces = 14

// pairs fits a datum beside each other setting, and an exponent beside a factor, under the recorded equation and that
// of the best candidate so far.
func (c *catalogue) pairs(s *sample.Series, ranked []candidate) (list []candidate) {
	equations := []*equation{&c.equations[0]}
	if e := ranked[0].eq; e != nil && e != equations[0] {
		equations = append(equations, e)
	}
	datum, factor := c.dial("datum"), c.dial("flow factor")
	for _, e := range equations {
		for i := range c.dials {
			d := &c.dials[i]
			switch {
			case d.own || d == datum || d.name == "head factor" || d.name == "span offset":
			case d == factor:
				list = append(list, c.withFactor(s, e, datum, factor))
			default:
				list = append(list, c.nested(s, e, d, datum))
			}
			if d.name == "exponent" || d.choice && !d.own {
				list = append(list, c.withFactor(s, e, d, factor))
			}
		}
	}
	return slices.DeleteFunc(list, func(x candidate) bool { return math.IsInf(x.loss, 1) })
}

// dial is the dial of a name.
func (c *catalogue) dial(name string) *dial {
	for i := range c.dials {
		if c.dials[i].name == name {
			return &c.dials[i]
		}
	}
	return nil
}

// withFactor fits a dial and a factor of any size.
func (c *catalogue) withFactor(s *sample.Series, e *equation, d, factor *dial) candidate {
	x := c.fit(s, e, nil, d, anyFactor, 1)
	return c.pair(s, e, x, d, x.value, factor, x.model.factor/c.factor)
}

// nested fits an outer dial over its usual values or a grid, the inner one under each.
func (c *catalogue) nested(s *sample.Series, e *equation, outer, inner *dial) candidate {
	under := func(v float64, finest int) fitted {
		return c.fit(s, e, func(m *model) bool { return outer.set(m, e, v) }, inner, 1, finest)
	}
	grid := outer.values
	if !outer.choice && len(grid) > outerPlaces {
		grid = geometric(grid[0], grid[len(grid)-1], outerPlaces)
	}
	losses := make([]float64, len(grid))
	for i, v := range grid {
		losses[i] = under(v, sample.Coarse).loss
	}
	at := lowest(losses, 1)
	if len(at) == 0 {
		return candidate{loss: math.Inf(1)}
	}
	best := grid[at[0]]
	if !outer.choice {
		low, high := grid[max(at[0]-1, 0)], grid[min(at[0]+1, len(grid)-1)]
		best, _ = stat.Least(low, high, 14, func(v float64) float64 { return under(v, sample.Coarse).loss })
		for _, u := range outer.usual {
			loss := under(best, sample.Coarse).loss
			most := loss + float64(usualLoss*math.Sqrt(s.Sample.Few()))
			if math.Abs(u.Value/best-1) < 0.03 && under(u.Value, sample.Coarse).loss < most {
				best = u.Value
			}
		}
	}
	return c.pair(s, e, under(best, 1), inner, math.NaN(), outer, best)
}

// pair is a candidate of two dials; a value that is NaN is that of the fit.
func (c *catalogue) pair(s *sample.Series, e *equation, x fitted, a *dial, va float64, b *dial, vb float64) candidate {
	if math.IsNaN(va) {
		va = x.value
	}
	y := candidate{names: []string{a.name, b.name}, values: []float64{va, vb}, snapped: []string{"", ""},
		dials: []*dial{a, b}, eq: e, model: x.model, loss: x.loss, layer: 3}
	for i, d := range y.dials {
		for k, v := range d.values {
			if d.choice && v == y.values[i] {
				y.snapped[i] = d.labels[k]
			}
		}
		for _, u := range d.usual {
			if u.Value == y.values[i] {
				y.snapped[i] = u.Label
			}
		}
	}
	if !math.IsInf(x.loss, 1) {
		c.finish(s, &y)
	}
	return y
}
