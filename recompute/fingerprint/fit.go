package fingerprint

import (
	"cmp"
	"math"
	"slices"

	"retotal/recompute/explain/sample"
	"retotal/recompute/stat"
)

// fitter tries hypotheses on a log.
type fitter struct {
	s      *sample.Series
	moves  bool // the level is no head, so that a datum has to be found
	record *Record
}

// fitted is a hypothesis with what fits best.
type fitted struct {
	hypothesis
	datum         float64 // m, level less head
	times         float64 // head over level less datum; other than 1 for a level in another unit
	factor        float64
	moved, scaled bool // datum, factor were fitted
	loss, score   float64
	unlike        float64 // part of the volume
}

// Hypotheses that are fitted to the whole sample: of how many sizes at least, how many at most, and in between by how
// much more loss.
const (
	fewest    = 4
	finalists = 24
	farthest  = 1.0
)

// all fits every hypothesis: all of them to a part of the sample with whatever they may be off, the best ones to the
// whole, with and without each.
func (f *fitter) all() []fitted {
	var first []fitted
	for _, h := range catalogue() {
		first = append(first, f.fit(h, true, h.most > 1, sample.Coarse))
	}
	slices.SortStableFunc(first, func(a, b fitted) int { return cmp.Compare(a.loss, b.loss) })
	var list []fitted
	sizes := map[[2]string]bool{}
	for i, x := range first {
		law := x.kind == "power" || x.kind == "linear"
		if (i >= finalists || len(sizes) >= fewest && x.loss > first[0].loss+farthest) && !law {
			continue
		}
		sizes[[2]string{x.kind, x.size}] = true
		for _, moved := range [...]bool{false, true} {
			for _, scaled := range [...]bool{false, true} {
				if f.moves && !moved || scaled && x.most <= 1 || !scaled && x.most == anyFactor {
					continue
				}
				list = append(list, f.fit(x.hypothesis, moved, scaled, 1))
			}
		}
	}
	list = ranked(list)
	for i := range list {
		list[i].unlike = f.unlike(list[i])
	}
	return list
}

// fit finds the datum, the factor and the free size of a hypothesis under which the loss is least.
func (f *fitter) fit(h hypothesis, moved, scaled bool, stride int) fitted {
	x := fitted{hypothesis: h, factor: 1, times: 1, moved: moved, scaled: scaled, loss: math.Inf(1), score: math.Inf(1)}
	if h.grid == nil {
		x = f.placed(x, stride)
	} else {
		at := func(v float64, stride int) fitted {
			y := x
			if y.value, y.rating = v, h.resized(v); y.rating == nil {
				return x
			}
			return f.placed(y, stride)
		}
		found := f.sought(func(v float64) fitted { return at(v, sample.Coarse) }, h.grid)
		if x = found; stride != sample.Coarse && found.rating != nil {
			x = at(found.value, stride)
		}
	}
	if f.weigh(&x, stride); x.rating == nil {
		x.score = math.Inf(1)
	}
	return x
}

// sought is the best on a grid and between its neighbours.
func (f *fitter) sought(at func(v float64) fitted, grid []float64) fitted {
	best, place := fitted{loss: math.Inf(1)}, 0
	for i, v := range grid {
		if x := at(v); x.loss < best.loss {
			best, place = x, i
		}
	}
	low, high := grid[max(place-1, 0)], grid[min(place+1, len(grid)-1)]
	v, _ := stat.Least(low, high, 12, func(v float64) float64 { return at(v).loss })
	if x := at(v); x.loss < best.loss {
		return x
	}
	return best
}

// placed finds the datum.
func (f *fitter) placed(x fitted, stride int) fitted {
	if !x.moved {
		return f.turned(x, 0, stride)
	}
	high := f.s.HighHead()
	grid := []float64{0}
	for part := 0.004; part < 1.1; part *= 1.5 {
		grid = append(grid, part*high, -part*high)
	}
	slices.Sort(grid)
	losses := make([]float64, len(grid))
	for i, d := range grid {
		losses[i] = f.turned(x, d, sample.Coarse).loss
	}
	best := fitted{loss: math.Inf(1)}
	for i, l := range losses {
		if i > 0 && losses[i-1] < l || i+1 < len(losses) && losses[i+1] < l || l > slices.Min(losses)+0.5 {
			continue
		}
		low, high := grid[max(i-1, 0)], grid[min(i+1, len(grid)-1)]
		d, _ := stat.Least(low, high, 16, func(d float64) float64 { return f.turned(x, d, stride).loss })
		if y := f.turned(x, d, stride); y.loss < best.loss {
			best = y
		}
	}
	if math.IsInf(best.loss, 1) {
		best.hypothesis = x.hypothesis
	}
	return best
}

// sizings is how often a free size is renewed.
const sizings = 4

// turned sets a datum, and with it the factor or the size.
func (f *fitter) turned(x fitted, datum float64, stride int) fitted {
	x.datum = datum
	switch {
	case x.grown != nil:
		for range sizings {
			k := f.ratio(&x, stride)
			if !(k > 0) || math.IsInf(k, 1) {
				return fitted{hypothesis: x.hypothesis, loss: math.Inf(1)}
			}
			v := x.grown(x.value, k)
			same := math.Abs(v/x.value-1) < 1e-4
			if x.value, x.rating = v, x.resized(v); x.rating == nil {
				return fitted{hypothesis: x.hypothesis, loss: math.Inf(1)}
			}
			if same {
				break
			}
		}
	case x.scaled:
		x.factor = 1
		if k := f.ratio(&x, stride); k > 0 && !math.IsInf(k, 1) {
			x.factor = min(max(k, 1/x.most), x.most)
		}
	}
	heads, flows, tolerances := f.s.Sample.Of(stride)
	pred := f.flows(&x, heads)
	sum := 0.0
	for i, q := range flows {
		r := (min(pred[i], f.s.Top) - q) / tolerances[i]
		sum += math.Log1p(r * r)
	}
	x.loss = sum / float64(len(heads))
	return x
}

// flows are those of a fit at heads, without a cap.
func (f *fitter) flows(x *fitted, heads []float64) []float64 {
	q, room := f.s.Sample.Pred[:len(heads)], f.s.Sample.Room[:len(heads)]
	for i, h := range heads {
		room[i] = x.times * (h - x.datum)
	}
	x.rating.Flows(q, room)
	for i := range q {
		if q[i] *= x.factor; heads[i] < f.s.Dry {
			q[i] = 0
		}
	}
	return q
}

// ratio is what logged flows are times those of a fit: the median, each reading by how many tolerances its flow is.
func (f *fitter) ratio(x *fitted, stride int) float64 {
	heads, flows, tolerances := f.s.Sample.Of(stride)
	pred, top := f.flows(x, heads), f.s.Top*(1-f.s.Sample.Blur)
	type part struct{ ratio, weight float64 }
	parts, all := make([]part, 0, len(heads)), 0.0
	for i, q := range flows {
		if q > 0 && q < top && pred[i] > 0 {
			w := pred[i] / tolerances[i]
			parts, all = append(parts, part{q / pred[i], w}), all+w
		}
	}
	slices.SortFunc(parts, func(a, b part) int { return cmp.Compare(a.ratio, b.ratio) })
	sum := 0.0
	for _, p := range parts {
		if sum += p.weight; sum >= all/2 {
			return p.ratio
		}
	}
	return math.NaN()
}

// weigh adds what a hypothesis costs to its loss.
func (f *fitter) weigh(x *fitted, stride int) {
	heads, _, _ := f.s.Sample.Of(stride)
	n := float64(len(heads))
	parameters := 0.0
	if x.score = x.loss + x.prior; x.resized != nil {
		if parameters++; usual(x.kind, x.value, x.value*(1-nearUsual), x.value*(1+nearUsual)) == "" {
			x.score += priorUnusual
		}
	}
	if x.scaled {
		parameters++
		if x.most == mostFactor {
			x.score += priorFactor
		}
	}
	if x.moved && !f.moves {
		parameters++
		x.score += priorDatum
	}
	x.score += parameters * math.Log(n) / n
}

// at is what a fit makes of pair i.
func (f *fitter) at(x *fitted, i int) float64 {
	h := f.s.Head[i]
	if h < f.s.Dry {
		return 0
	}
	return min(x.flow(h), f.s.Top)
}

// flow is what a fit makes of a head, without ends.
func (x *fitted) flow(head float64) float64 { return x.factor * x.rating.Flow(x.times*(head-x.datum)) }

// volume is the logged flow, summed over the pairs.
func (f *fitter) volume() float64 { return f.s.Sum(func(i int) float64 { return f.s.Flow[i] }) }

// unlike is what a fit leaves, part of the volume.
func (f *fitter) unlike(x fitted) float64 {
	return f.s.Sum(func(i int) float64 { return math.Abs(f.at(&x, i) - f.s.Flow[i]) }) / f.volume()
}

// spread is what the flow is off its own median, part of the volume.
func (f *fitter) spread() float64 {
	middle := stat.Median(slices.Clone(f.s.Flow))
	return f.s.Sum(func(i int) float64 { return math.Abs(f.s.Flow[i] - middle) }) / f.volume()
}

// tolerance is the usual one, part of the flow.
func (f *fitter) tolerance() float64 {
	var parts []float64
	for k, q := range f.s.Sample.Flows {
		if q > 0 {
			parts = append(parts, f.s.Sample.Tolerances[k]/q)
		}
	}
	return stat.Median(parts)
}
