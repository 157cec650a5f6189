package explain

import (
	"math"
	"slices"

	"retotal/recompute/explain/sample"
	"retotal/recompute/stat"
)

// What intervals are made of.
const (
	freePairs    = 250    // that a record is worth at most, since neighbours in time err together
	equationPart = 0.0115 // standard part of the flow, by which published equations of a device differ: of up to 2 %
	exponentPart = 0.01   // and standard difference of their exponents
	equationOdds = 3.0    // of a factor, and of both, before, over one of the equation as it is
	together     = 4.0    // readings that err together: neighbours in time do, and the shape of an equation does
	leastSpread  = 0.01   // of squares of tolerances, that readings are off at least
)

// explanation is a candidate as it is handed out.
func (x candidate) explanation(c *catalogue, s *sample.Series, lag sample.Lag) Explanation {
	e := Explanation{Names: x.names, Values: slices.Clone(x.values), Snapped: x.snapped, Equation: x.model.equation(),
		Score: x.score, Flow: x.model.flow, Low: slices.Clone(x.values), High: slices.Clone(x.values)}
	if x.before != nil {
		e.Since, e.SinceLow, e.SinceHigh = s.At[x.since], s.At[max(x.onset[0]-1, 0)], s.At[x.onset[1]]
		// The log does not tell whether a late flow is made with the settings of its own instant or of the level's.
		if lag.Seconds > 0 {
			e.SinceLow -= int64(lag.High * 1e9)
		}
	}
	shift, half := x.spread(c, s)
	for i := range x.values {
		if half[i] < 0 {
			half[i] = x.endHalf(s, i)
		}
		e.Low[i] = min(e.Values[i], e.Values[i]+shift[i]) - half[i]
		e.High[i] = max(e.Values[i], e.Values[i]+shift[i]) + half[i]
	}
	e.Snapped = x.named(e.Low, e.High)
	return e
}

// named is what values are taken for: those that were, the name of an equation, and of a value of which the record
// does not say so the usual one within its interval, if there is just one.
func (x candidate) named(low, high []float64) []string {
	list := slices.Clone(x.snapped)
	for i, d := range x.dials {
		switch {
		case list[i] != "":
		case x.names[i] == "equation" && x.eq != nil && x.eq.name != recorded:
			list[i] = x.eq.name
		case d != nil:
			within := 0
			for _, u := range d.usual {
				if u.Value >= low[i] && u.Value <= high[i] {
					list[i] = u.Label
					within++
				}
			}
			if within > 1 {
				list[i] = ""
			}
		}
	}
	return list
}

// endHalf is half the interval of an end.
func (x candidate) endHalf(s *sample.Series, i int) float64 {
	v := x.values[i]
	switch {
	case x.names[i] == "cap":
		return s.FlowStep + float64((sample.Relative+s.Sample.Blur/10)*v)
	case x.names[i] == "cut-off" && s.Least > 0:
		return s.FlowStep + float64(0.05*v)
	case x.names[i] == "cut-off":
		return s.FlowStep + x.model.flow(s.Dry+s.LevelStep) - x.model.flow(s.Dry) + float64(0.02*v)
	}
	return 0.02 * v
}

// spread is half the interval of every value, and by how much it would move if the equation were not quite the
// device's: negative for ends, which are known otherwise, 0 for a choice. Published equations of a device differ by a
// factor and by the exponent. Values are let go together, near the best: under the equation as it is, with a factor
// let go besides as far as equations differ, and with both, and each counts by how likely it is.
func (x candidate) spread(c *catalogue, s *sample.Series) (shift, half []float64) {
	shift, half = make([]float64, len(x.values)), make([]float64, len(x.values))
	var turns []turn
	for i, d := range x.dials {
		switch {
		case d == nil:
			half[i] = -1
		case d.choice || d.values == nil && len(d.labels) > 0:
		default:
			if y, ok := x.turn(c, i); ok {
				turns = append(turns, y)
			}
		}
	}
	k := len(turns)
	if k == 0 {
		return shift, half
	}
	all := x.normal(s, turns)
	exact := all.Part(k)
	all.Right[k] -= math.Log(x.model.factor/x.plainFactor(c)) / (equationPart * equationPart)
	all.Rows[k][k] += 1 / (equationPart * equationPart)
	scaled := all.Part(k + 1)
	all.Rows[k+1][k+1] += 1 / (exponentPart * exponentPart)
	a, b, both := exact.Solve(), scaled.Solve(), all.Solve()
	// By what the readings make of them (Laplace's approximation) and the odds before.
	weights := [...]float64{1, equationOdds * likelier(a, b) / equationPart,
		equationOdds * likelier(a, both) / (equationPart * exponentPart)}
	sum := weights[0] + weights[1] + weights[2]
	for j, y := range turns {
		mean, square := 0.0, 0.0
		for i, z := range [...]stat.Solution{a, b, both} {
			w := weights[i] / sum
			mean += float64(w * z.X[j])
			square += float64(w * (z.Variance[j] + float64(z.X[j]*z.X[j])))
		}
		shift[y.at], half[y.at] = mean, 1.96*math.Sqrt(math.Max(square-float64(mean*mean), 0))
		if !(math.Abs(mean) <= math.Abs(x.values[y.at])) || math.IsInf(half[y.at], 1) {
			shift[y.at], half[y.at] = 0, math.Abs(x.values[y.at])
		}
	}
	return shift, half
}

// likelier is how much likelier the readings are under more unknowns than under fewer, but for what is known of these
// before.
func likelier(fewer, more stat.Solution) float64 {
	return math.Exp(min((fewer.LogDet-more.LogDet+more.Gain-fewer.Gain)/2, 300))
}

// turn is a value of a candidate, and its model with that value a step away.
type turn struct {
	at    int
	step  float64
	model *model
}

// turn takes a step of a value, up or where that cannot be set down.
func (x candidate) turn(c *catalogue, i int) (turn, bool) {
	step := math.Max(1e-3*math.Abs(x.values[i]), 1e-5)
	for _, by := range [...]float64{step, -step} {
		if m := x.moved(c, i, by); m != nil {
			return turn{i, by, m}, true
		}
	}
	return turn{}, false
}

// normal is the normal equations, with the weights of the loss, of values, of a factor on the flow, as a logarithm, and
// of an exponent.
func (x candidate) normal(s *sample.Series, turns []turn) *stat.Normal {
	k := len(turns)
	all := stat.NewNormal(k + 2)
	slope, weights, squares := make([]float64, k+2), 0.0, 0.0
	middle := stat.Median(slices.Clone(s.Sample.Heads))
	for n, i := range s.Sample.Index {
		head, m, earlier := s.Sample.Heads[n], &x.model, x.before != nil && i < x.since
		if earlier {
			m = x.before
		}
		q := m.flow(head)
		if q <= 0 || q >= m.cap*(1-s.Sample.Blur) {
			continue
		}
		for j, y := range turns {
			if slope[j] = 0; !earlier {
				slope[j] = (y.model.flow(head) - q) / y.step
			}
		}
		slope[k], slope[k+1] = q, 0
		if head > 0 && middle > 0 {
			slope[k+1] = q * math.Log(head/middle)
		}
		t := s.Sample.Tolerances[n]
		r := (s.Sample.Flows[n] - q) / t
		w := 1 / (1 + r*r)
		all.Add(slope, s.Sample.Flows[n]-q, w/(t*t))
		weights, squares = weights+w, squares+float64(w*r*r)
	}
	// Tolerances are the most that a reading is off, what it is off usually is in the readings themselves.
	all.Scale(1 / (together * math.Max(squares/math.Max(weights, 1), leastSpread)))
	return all
}

// moved is the model of a candidate with one of its values a step greater; nil where that cannot be set.
func (x candidate) moved(c *catalogue, i int, step float64) *model {
	m := c.model(x.eq)
	for k, d := range x.dials {
		v := x.values[k]
		if k == i {
			v += step
		}
		if d != nil && !d.set(&m, x.eq, v) {
			return nil
		}
	}
	if x.free || x.before != nil {
		m.factor *= x.model.factor / x.plainFactor(c)
	}
	m.cap, m.cut, m.dry = x.model.cap, x.model.cut, x.model.dry
	return &m
}

// plainFactor is the factor that the dials alone give.
func (x candidate) plainFactor(c *catalogue) float64 {
	m := c.model(x.eq)
	for k, d := range x.dials {
		if d != nil {
			d.set(&m, x.eq, x.values[k])
		}
	}
	return m.factor
}
