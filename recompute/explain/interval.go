package explain

import (
	"math"
	"slices"

	"retotal/recompute/explain/sample"
)

// What intervals are made of.
const (
	freePairs    = 40    // that a record is worth, since neighbours in time err together
	equationPart = 0.010 // standard part of the flow, by which published equations of a device differ
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
	for i := range x.values {
		half := x.half(c, s, i)
		e.Low[i], e.High[i] = e.Values[i]-half, e.Values[i]+half
	}
	return e
}

// half is half the interval of a value: from how the flow changes with it, what readings say of it and what an error
// of the equation would make of it, together.
func (x candidate) half(c *catalogue, s *sample.Series, i int) float64 {
	d, v := x.dials[i], x.values[i]
	switch {
	case d == nil && x.names[i] == "cap":
		return s.FlowStep + float64((sample.Relative+s.Sample.Blur/10)*v)
	case d == nil && x.names[i] == "cut-off" && s.Least > 0:
		return s.FlowStep + float64(0.05*v)
	case d == nil && x.names[i] == "cut-off":
		return s.FlowStep + x.model.flow(s.Dry+s.LevelStep) - x.model.flow(s.Dry) + float64(0.02*v)
	case d == nil:
		return 2 * equationPart * v
	case d.choice || d.values == nil && len(d.labels) > 0:
		return 0
	}
	step := math.Max(1e-3*math.Abs(v), 1e-5)
	up := x.moved(c, i, step)
	if up == nil {
		return 0
	}
	// Normal equations of the value and of a factor on the flow, with the weights of the loss.
	vv, vf := 0.0, 0.0
	for k, at := range s.Sample.Index {
		head := s.Sample.Heads[k]
		q := x.model.flow(head)
		if x.before != nil && at < x.since || q <= 0 || q >= x.model.cap*(1-s.Sample.Blur) {
			continue
		}
		t := s.Sample.Tolerances[k]
		r := (q - s.Sample.Flows[k]) / t
		w := 1 / ((1 + r*r) * t * t)
		slope := (up.flow(head) - q) / step
		vv, vf = vv+float64(w*slope*slope), vf+float64(w*slope*q)
	}
	if !(vv > 0) {
		return math.Abs(v)
	}
	n := float64(len(s.Sample.Index))
	reading := math.Sqrt(n / freePairs / vv)
	equation := equationPart * math.Abs(vf/vv)
	return 1.96 * math.Hypot(reading, equation)
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
