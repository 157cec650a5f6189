package explain

import (
	"math"
	"slices"

	"retotal/recompute/explain/sample"
	"retotal/recompute/stat"
)

// Rules of a change in time.
const (
	mostSpans    = 240 // of the record, by which a change is sought
	leastSide    = 0.02
	changeApart  = 0.5 // by how many tolerances medians before and after differ at least
	onsetSlack   = 5.0 // of the sum of losses, within which an onset may lie as well
	mostReading  = 4.0 // of loss, that one reading may say of an onset
	changesTried = 4
)

// changes seeks one change in time: an instant before which recorded settings or an equation hold, and after which one
// setting differs. The instant is first that which splits the medians of spans best by absolute deviations, then that
// which misclassifies least readings.
func (c *catalogue) changes(s *sample.Series, split int) (out []candidate) {
	whole, order := s.Sample, s.ByHead()
	s.Cut = 0
	defer func() {
		s.Cut = split
		s.Focus(order)
	}()
	side := func(split int, later bool) []int {
		return slices.DeleteFunc(slices.Clone(order), func(i int) bool { return (i >= split) != later })
	}
	fit := func(split int) []candidate {
		s.Focus(side(split, false))
		before := rank(slices.DeleteFunc(c.plain(s), func(x candidate) bool { return x.layer > 1 }))[0]
		s.Focus(side(split, true))
		later := *c
		later.equations, later.factor = []equation{*before.eq}, before.model.factor
		after := slices.DeleteFunc(later.plain(s), func(x candidate) bool { return x.layer < 2 })
		for i := range c.dials {
			after = append(after, later.singles(s, &c.dials[i])...)
		}
		after = rank(slices.DeleteFunc(after, func(x candidate) bool { return x.free || x.layer > 2 }))
		after = after[:min(len(after), changesTried)]
		for i := range after {
			after[i].before, after[i].eq, after[i].free = &before.model, before.eq, before.free
		}
		return after
	}
	for _, x := range fit(split) {
		x.onsetIn(s)
		few := min(len(side(x.since, false)), len(side(x.since, true)))
		if x.since != split && few >= sample.LeastPairs {
			for _, y := range fit(x.since) {
				if y.names[0] == x.names[0] {
					x = y
					x.onsetIn(s)
					break
				}
			}
		}
		s.Sample = whole
		x.loss = 0
		for k, i := range whole.Index {
			r := (x.on(i, whole.Heads[k]) - whole.Flows[k]) / whole.Tolerances[k]
			x.loss += math.Log1p(r*r) / float64(len(whole.Index))
		}
		x.weigh(s)
		out = append(out, x)
	}
	return out
}

// split is the pair at which a change may have been: where the spans' medians of what pairs and recorded settings
// differ by go to another level; 0 for none.
func (c *catalogue) split(s *sample.Series) int {
	m := c.model(&c.equations[0])
	c.end(&m)
	spans := min(mostSpans, len(s.At)/12)
	if spans < 6 {
		return 0
	}
	var medians []float64
	var starts []int
	for k := range spans {
		from, until := k*len(s.At)/spans, (k+1)*len(s.At)/spans
		var rests []float64
		for i := from; i < until; i++ {
			if s.Flow[i] > 0 || s.Head[i] > 0 {
				rests = append(rests, math.Asinh((m.flow(s.Head[i])-s.Flow[i])/s.Tolerance(i)))
			}
		}
		if len(rests) >= 4 {
			medians, starts = append(medians, stat.Median(rests)), append(starts, from)
		}
	}
	at, least := 0, math.Inf(1)
	side := max(2, int(leastSide*float64(len(medians))))
	for k := side; k+side <= len(medians); k++ {
		if d := deviations(medians[:k]) + deviations(medians[k:]); d < least {
			at, least = k, d
		}
	}
	if at == 0 || least > 0.9*deviations(medians) ||
		math.Abs(stat.Median(slices.Clone(medians[:at]))-stat.Median(slices.Clone(medians[at:]))) < changeApart {
		return 0
	}
	return starts[at]
}

// deviations is the sum of absolute deviations from the median.
func deviations(values []float64) (sum float64) {
	middle := stat.Median(slices.Clone(values))
	for _, v := range values {
		sum += math.Abs(v - middle)
	}
	return sum
}

// onsetIn finds the pair from which on a candidate's later model holds: that which misclassifies least, and the
// interval within which it may lie as well.
func (x *candidate) onsetIn(s *sample.Series) {
	gain := make([]float64, len(s.At)+1) // of the earlier model up to a pair
	for i := range s.At {
		t := s.Tolerance(i)
		a, b := (x.before.flow(s.Head[i])-s.Flow[i])/t, (x.model.flow(s.Head[i])-s.Flow[i])/t
		d := math.Log1p(a*a) - math.Log1p(b*b)
		gain[i+1] = gain[i] + min(max(d, -mostReading), mostReading)
	}
	best := 0
	for i := range s.At {
		if gain[i] < gain[best] {
			best = i
		}
	}
	low, high := best, best
	for low > 0 && gain[low-1] <= gain[best]+onsetSlack {
		low--
	}
	for high+1 < len(s.At) && gain[high+1] <= gain[best]+onsetSlack {
		high++
	}
	x.since, x.onset = best, [2]int{low, high}
}
