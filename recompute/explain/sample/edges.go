package sample

import (
	"cmp"
	"math"
	"slices"

	"retotal/recompute/stat"
)

// A level that is rounded to a coarse step says little of the head of one reading, but much of the flow at which it
// goes from one step to the next: half the readings of that flow show the lower level and half the upper, whatever
// levels are frequent, and their head is the edge between the two. So the pairs of edge and flow stand in for readings.

// Rules of edges.
const (
	edgeFrom    = 0.04 // of the flow that half a step of the level makes, from which on steps are coarse
	leastEdges  = 2
	mostEnded   = 8 // times that a step without flow, or with the most, counts as much as an edge
	leastInCell = 3
	edgeBins    = 64 // of flow, from the middle of a step to the middle of the next
	edgePart    = 0.1
	edgeSpread  = 0.25 // from which on the flow is of a level that was not rounded: 0.5 for any place in a step alike
	leastSure   = 0.6  // part of the readings on either side of an edge, that are of that side's step
	leastSpread = 8    // readings of a step that tell it
)

// edge is the flow at which the level goes from a step to the next.
type edge struct {
	head, flow, error float64 // m, m³/s, standard error of the flow
	index             int     // a reading of its time
}

// rounded numbers the steps of the level, where they are coarse and the flow is not made of rounded levels.
func (s *Series) rounded(order []int) {
	if s.aligned || s.LevelStep <= 0 {
		return
	}
	s.origin = s.Head[0]
	s.cells = make([]int, len(s.Head))
	for i, h := range s.Head {
		s.cells[i] = int(math.Round((h - s.origin) / s.LevelStep))
	}
	wide, spread := s.steps(order)
	if wide < 2*edgeFrom || spread < edgeSpread {
		s.cells = nil
	}
}

// Coarse reports whether the level is in coarse steps, and the flow of a level that was not rounded.
func (s *Series) Coarse() bool { return s.cells != nil && s.LevelStep > coarseFrom*s.HighHead() }

// coarseFrom is the part of the greatest head that a coarse step is.
const coarseFrom = 0.02

// steps is by what part the flow changes from a step of the level to the next, and how much of that the middle half of
// the readings of a step take up, each for most readings; 0 where there are none.
func (s *Series) steps(order []int) (wide, spread float64) {
	steps, of := s.byCell(order)
	quartiles := map[int][3]float64{}
	for _, k := range steps {
		var flows []float64
		for _, i := range of[k] {
			flows = append(flows, s.Flow[i])
		}
		slices.Sort(flows)
		if len(flows) >= leastSpread && flows[0] > 0 {
			quartiles[k] = [3]float64{stat.Percentile(flows, 0.25), stat.Percentile(flows, 0.5),
				stat.Percentile(flows, 0.75)}
		}
	}
	var wides, spreads []weighted
	for _, k := range steps {
		a, here := quartiles[k]
		b, above := quartiles[k+1]
		if n := float64(min(len(of[k]), len(of[k+1]))); here && above && b[1] > a[1] {
			wides = append(wides, weighted{2 * (b[1] - a[1]) / (b[1] + a[1]), n})
			spreads = append(spreads, weighted{(a[2] - a[0] + b[2] - b[0]) / 2 / (b[1] - a[1]), n})
		}
	}
	return middle(wides), middle(spreads)
}

// weighted is a value and what it counts for.
type weighted struct{ value, weight float64 }

// middle is the weighted median; 0 of none.
func middle(list []weighted) float64 {
	slices.SortFunc(list, func(a, b weighted) int { return cmp.Compare(a.value, b.value) })
	all, sum := 0.0, 0.0
	for _, x := range list {
		all += x.weight
	}
	for _, x := range list {
		if sum += x.weight; 2*sum >= all {
			return x.value
		}
	}
	return 0
}

// onEdges is a sample of the edges that readings show, in either part of the record; nil where these are few.
func (s *Series) onEdges(order []int) *Sample {
	if s.cells == nil {
		return nil
	}
	var out Sample
	found := 0
	for _, later := range [...]bool{false, true} {
		part := slices.DeleteFunc(slices.Clone(order), func(i int) bool { return (i >= s.Cut) != later })
		for _, e := range s.edges(part) {
			out.add(e.index, e.head, e.flow, e.error+edgePart*s.FlowStep+Relative*e.flow)
			found++
		}
		s.addEnded(&out, part)
	}
	if found < leastEdges {
		return nil
	}
	return &out
}

// byCell is readings by step of the level, those of a step in the order of time.
func (s *Series) byCell(part []int) (steps []int, of map[int][]int) {
	of = map[int][]int{}
	for _, i := range part {
		if _, known := of[s.cells[i]]; !known {
			steps = append(steps, s.cells[i])
		}
		of[s.cells[i]] = append(of[s.cells[i]], i)
	}
	slices.Sort(steps)
	for _, list := range of {
		slices.Sort(list)
	}
	return steps, of
}

// addEnded adds what the readings show beyond the ends: no flow below where it ends, or at the lower edge of the
// highest step without any; the most above the upper edge of the lowest step that always shows it.
func (s *Series) addEnded(out *Sample, part []int) {
	steps, of := s.byCell(part)
	none, held := 0, 0
	dryHead, fullHead := math.Inf(-1), math.Inf(1)
	dryAt, fullAt := 0, 0
	for _, k := range steps {
		zeros, most := 0, 0
		for _, i := range of[k] {
			switch q := s.Flow[i]; {
			case q <= 0:
				zeros++
			case q >= s.Top*(1-s.Sample.Blur):
				most++
			}
		}
		middle := s.origin + float64(float64(k)*s.LevelStep)
		if zeros == len(of[k]) {
			dryHead, dryAt = middle-s.LevelStep/2, of[k][0]
		}
		if most == len(of[k]) && math.IsInf(fullHead, 1) {
			fullHead, fullAt = middle+s.LevelStep/2, of[k][0]
		}
		if none, held = none+zeros, held+most; zeros > 0 {
			dryAt = of[k][0]
		}
	}
	if s.Least > 0 {
		dryHead = s.Dry - float64(0.75*s.LevelStep)
	}
	for range min(none/leastInCell, mostEnded) {
		if !math.IsInf(dryHead, -1) {
			out.add(dryAt, dryHead, 0, s.FlowStep+math.Max(s.Least/10, 1e-9))
		}
	}
	for range min(held/leastInCell, mostEnded) {
		if !math.IsInf(fullHead, 1) {
			out.add(fullAt, fullHead, s.Top, s.FlowStep+float64((Relative+s.Sample.Blur/10)*s.Top))
		}
	}
}

// edges finds the flow of every edge between steps of the level.
func (s *Series) edges(part []int) (list []edge) {
	between := slices.DeleteFunc(slices.Clone(part), func(i int) bool {
		return s.Flow[i] <= 0 || s.Flow[i] >= s.Top*(1-s.Sample.Blur) || s.Head[i] < s.Dry
	})
	steps, of := s.byCell(between)
	power := s.power()
	for _, k := range steps {
		if len(of[k]) < leastInCell || len(of[k+1]) < leastInCell {
			continue
		}
		head := s.origin + float64((float64(k)+0.5)*s.LevelStep)
		if math.Abs(head-s.Dry) <= s.LevelStep {
			continue
		}
		flow, off, ok := s.edge(of, k, power)
		if ok && flow > 2*s.FlowStep {
			list = append(list, edge{head, flow, off, of[k][len(of[k])/2]})
		}
	}
	return list
}

// edge finds the flow at which the level goes from step k to the next: where the chance that it is higher, a logistic
// curve over the head that the flow is roughly of, is a half.
func (s *Series) edge(of map[int][]int, k int, power float64) (flow, off float64, ok bool) {
	rough := func(i int) float64 { return math.Pow(s.Flow[i], 1/power) }
	half := func(list []int) float64 {
		var all []float64
		for _, i := range list {
			all = append(all, rough(i))
		}
		slices.Sort(all)
		return all[len(all)/2]
	}
	low, high := half(of[k]), half(of[k+1])
	if !(high > low*(1+1e-9)) {
		return 0, 0, false
	}
	width := (high - low) / edgeBins
	f := flips{width: width}
	for c := k - 1; c <= k+2; c++ {
		for _, i := range of[c] {
			place := int((rough(i)-low)/width + 0.5)
			if place < 0 || place > edgeBins {
				continue
			}
			f.all[place]++
			if c > k {
				f.upper[place]++
			}
		}
	}
	at, wide := f.fit(math.Max(width, s.FlowStep/4*math.Pow((low+high)/2, 1-power)/power))
	if !f.crossed(at) {
		return 0, 0, false
	}
	u := low + float64(at*width)
	slope := power * math.Pow(u, power-1)
	return math.Pow(u, power), slope * wide * width, true
}

// flips counts readings, and those of the upper of two steps, by flow.
type flips struct {
	all, upper [edgeBins + 1]float64
	width      float64
}

// fit is the place, in bins, at which half the readings are of the upper step, with its standard error; the curve is
// no steeper than least makes it.
func (f *flips) fit(least float64) (at, off float64) {
	best := math.Inf(-1)
	for scale := least / f.width; scale < edgeBins/4; scale *= 1.4 {
		low, high := 0.0, float64(edgeBins)
		for range 24 {
			if middle := (low + high) / 2; f.slope(middle, scale) > 0 {
				low = middle
			} else {
				high = middle
			}
		}
		place := (low + high) / 2
		if likely := f.likelihood(place, scale); likely > best {
			best, at = likely, place
			off = 1 / math.Sqrt(f.information(place, scale)+1e-12)
		}
	}
	return at, math.Max(off, math.Max(least/f.width, 1)*0.3)
}

// crossed reports whether the readings themselves go from the lower step to the upper at a place.
func (f *flips) crossed(at float64) bool {
	var all, upper [2]float64
	for i, n := range f.all {
		side := 0
		if float64(i) > at {
			side = 1
		}
		all[side], upper[side] = all[side]+n, upper[side]+f.upper[i]
	}
	return min(all[0], all[1]) >= leastInCell && upper[0] < (1-leastSure)*all[0] && upper[1] > leastSure*all[1]
}

// slope has the sign of what a curve further up would gain.
func (f *flips) slope(at, scale float64) (sum float64) {
	for i, n := range f.all {
		if n > 0 {
			sum += n/(1+math.Exp(-(float64(i)-at)/scale)) - f.upper[i]
		}
	}
	return sum
}

// likelihood is the logarithm of how likely the counts are.
func (f *flips) likelihood(at, scale float64) (sum float64) {
	for i, n := range f.all {
		if n > 0 {
			x := (float64(i) - at) / scale
			sum -= float64(f.upper[i]*math.Log1p(math.Exp(-x))) + float64((n-f.upper[i])*math.Log1p(math.Exp(x)))
		}
	}
	return sum
}

// information is one over the variance of the place.
func (f *flips) information(at, scale float64) (sum float64) {
	for i, n := range f.all {
		p := 1 / (1 + math.Exp(-(float64(i)-at)/scale))
		sum += n * p * (1 - p)
	}
	return sum / (scale * scale)
}
