// Package sample holds pairs of level and flow in columns: aligned in time, with steps, ends, tolerance and a sample.
package sample

import (
	"cmp"
	"math"
	"slices"

	"retotal/recompute/stat"
)

// Series is a record in columns: heads are those that the flow is of, once it is aligned.
type Series struct {
	At         []int64
	Head, Flow []float64 // m, m³/s
	interval   int64
	means      bool
	LevelStep  float64 // m
	FlowStep   float64 // m³/s
	bins       []bin   // by head, of the tolerance
	Top        float64 // m³/s, at which the flow is held; +Inf where it is not
	Most       float64 // m³/s, the greatest flow
	Dry        float64 // head below which there is no flow, and above which there is much at once; -Inf for none
	Least      float64 // m³/s, the least flow above Dry where the flows themselves show it; else 0
	Sample     Sample  // that hypotheses are tried on
	Readings   Sample  // that ends are looked for in: the same, but where the level is coarse
	Cut        int     // the first reading after a change in time, which edges of steps do not mix with those before
	cells      []int   // steps of the level, where it is coarse
	origin     float64 // m, the middle of step 0
	aligned    bool    // heads are no longer those that were logged
}

// bin is what is known of the readings around one head.
type bin struct {
	head    float64
	flow    float64 // m³/s
	slope   float64 // m²/s, of flow over head
	scatter float64 // of flow, Relative
}

// Sample is the readings that hypotheses are tried on, in an order in which every stride covers all heads.
type Sample struct {
	Index                    []int
	Heads, Flows, Tolerances []float64
	Pred, Room               []float64    // scratch of the same length
	Blur                     float64      // the part by which a flow that is held may lie below the top
	coarse                   [3][]float64 // the part that grids are tried on
}

// Coarse is the stride of the grids.
const Coarse = 4

// LeastPairs is how many pairs with flow tell anything.
const LeastPairs = 30

// Numbers of the sample and of the tolerance; common practice but for the floor, which is what rounded coefficients of
// one equation differ by.
const (
	sampleSize   = 1200
	tailSize     = 20 // readings at either end of the heads that are all taken
	slopeBins    = 24
	scatterBlock = 96 // readings
	Relative     = 0.003
	EndSlack     = 1e-4
)

// New takes the pairs that are finite and have no negative flow. Interval is the usual step, 0 where not known, as are
// the steps.
func New(at []int64, heads, flows []float64, interval int64, levelStep, flowStep float64, means bool) *Series {
	s := &Series{interval: interval, means: means, LevelStep: levelStep, FlowStep: flowStep, Top: math.Inf(1),
		Dry: math.Inf(-1)}
	for i, h := range heads {
		if q := flows[i]; !math.IsNaN(h) && !math.IsInf(h, 0) && q >= 0 && !math.IsInf(q, 1) {
			s.At, s.Head, s.Flow = append(s.At, at[i]), append(s.Head, h), append(s.Flow, q)
		}
	}
	if s.interval <= 0 && len(s.At) > 1 {
		s.interval = max((s.At[len(s.At)-1]-s.At[0])/int64(len(s.At)-1), 1)
	}
	return s
}

// Unfit says why pairs tell nothing; "" where they do.
func (s *Series) Unfit() string {
	var heads []float64
	for i, q := range s.Flow {
		if q > 0 {
			heads = append(heads, s.Head[i])
		}
	}
	if len(heads) < LeastPairs {
		return "too few pairs with flow"
	}
	slices.Sort(heads)
	if !(stat.Percentile(heads, 0.98)-stat.Percentile(heads, 0.02) > 2*s.LevelStep) || heads[0] == heads[len(heads)-1] {
		return "the level hardly moves"
	}
	return ""
}

// Sum adds what a function gives of every pair.
func (s *Series) Sum(of func(i int) float64) (total float64) {
	for i := range s.At {
		total += of(i)
	}
	return total
}

// StepSeconds is the usual step in seconds.
func (s *Series) StepSeconds() float64 { return float64(s.interval) / 1e9 }

// Measure finds steps, ends, tolerance and sample of the aligned pairs.
func (s *Series) Measure() {
	if s.LevelStep <= 0 {
		s.LevelStep = stepOf(s.Head)
	}
	if s.FlowStep <= 0 {
		s.FlowStep = stepOf(s.Flow)
	}
	order := s.ByHead()
	s.measureBins(order)
	s.rounded(order)
	s.center(order)
	s.Focus(order)
}

// Focus finds the ends that some of the pairs show and draws the sample from them; order is that of heads.
func (s *Series) Focus(order []int) {
	s.Most, s.Top, s.Dry, s.Least, s.Sample.Blur = 0, math.Inf(1), math.Inf(-1), 0, EndSlack
	for _, i := range order {
		s.Most = math.Max(s.Most, s.Flow[i])
	}
	s.findTop(order)
	s.findDry(order)
	edges := s.onEdges(order)
	if edges == nil { // what lies within a step of where the flow ends tells nothing
		order = slices.DeleteFunc(slices.Clone(order), func(i int) bool {
			return math.Abs(s.Head[i]-s.Dry) <= s.LevelStep
		})
	}
	s.Readings = s.take(order)
	if s.Sample = s.Readings; edges != nil {
		s.Sample = edges.ready(s.Readings.Blur)
	}
}

// ByHead is the pairs in the order of heads, but for those without head and flow.
func (s *Series) ByHead() (order []int) {
	for i := range s.At {
		if s.Flow[i] > 0 || s.Head[i] > 0 {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(s.Head[a], s.Head[b]) })
	return order
}

// stepOf is the step to which values seem to be rounded: the usual least distance of values that repeat; 0 where few
// do.
func stepOf(values []float64) float64 {
	sorted := slices.Clone(values)
	slices.Sort(sorted)
	var gaps []float64
	for i := 1; i < len(sorted); i++ {
		if d := sorted[i] - sorted[i-1]; d > 1e-9*math.Abs(sorted[i]) {
			gaps = append(gaps, d)
		}
	}
	if len(gaps) == 0 || 3*len(gaps) > len(values) {
		return 0
	}
	slices.Sort(gaps)
	return stat.Percentile(gaps, 0.1)
}

// measureBins finds slope and scatter of the flow by head. The scatter is that of a reading against its neighbours in
// head within a short span of time, so that a change of a setting does not pass for scatter.
func (s *Series) measureBins(order []int) {
	type off struct{ head, off float64 }
	var rests []off
	for from := 0; from < len(s.At); from += scatterBlock {
		var near []int
		for i := from; i < min(from+scatterBlock, len(s.At)); i++ {
			if s.Flow[i] > 0 {
				near = append(near, i)
			}
		}
		slices.SortStableFunc(near, func(a, b int) int { return cmp.Compare(s.Head[a], s.Head[b]) })
		for k := 1; k+1 < len(near); k++ {
			a, b, c := near[k-1], near[k], near[k+1]
			weight := 0.5
			if span := s.Head[c] - s.Head[a]; span > 0 {
				weight = (s.Head[b] - s.Head[a]) / span
			}
			between := s.Flow[a] + float64(weight*(s.Flow[c]-s.Flow[a]))
			spread := math.Sqrt(1 + weight*weight + (1-weight)*(1-weight))
			rests = append(rests, off{s.Head[b], math.Abs(s.Flow[b]-between) / s.Flow[b] / spread})
		}
	}
	slices.SortStableFunc(rests, func(a, b off) int { return cmp.Compare(a.head, b.head) })
	parts := min(slopeBins, max(len(order)/8, 1))
	from, rest := 0, 0
	for from < len(order) {
		until := min(from+max(len(order)/parts, 1), len(order))
		for until < len(order) && s.Head[order[until]] == s.Head[order[until-1]] { // one step of the level, one bin
			until++
		}
		if len(order)-until < len(order)/parts/2 {
			until = len(order)
		}
		var heads, flows, offs []float64
		for _, i := range order[from:until] {
			heads, flows = append(heads, s.Head[i]), append(flows, s.Flow[i])
		}
		for ; rest < len(rests) && rests[rest].head <= s.Head[order[until-1]]; rest++ {
			offs = append(offs, rests[rest].off)
		}
		b := bin{head: stat.Median(heads), flow: stat.Median(flows)}
		if len(offs) > 0 {
			b.scatter = 1.4826 * stat.Median(offs)
		}
		s.bins, from = append(s.bins, b), until
	}
	for k := range s.bins {
		a, b := max(k-1, 0), min(k+1, len(s.bins)-1)
		rise := s.bins[b].head - s.bins[a].head
		if rise > 0 {
			s.bins[k].slope = math.Max((s.bins[b].flow-s.bins[a].flow)/rise, 0)
		}
	}
}

// center moves Coarse heads to the mean of the levels that were rounded to them, as far as their own numbers tell it:
// where more readings lie above a step than below, the mean lies above its middle. Else levels that crowd together
// would make the flow rise too slowly with the head. Heads from which the meter took its flow do not scatter so, and
// stay.
func (s *Series) center(order []int) {
	if !s.apart() {
		return
	}
	counts := map[int]float64{}
	cell := func(i int) int { return int(math.Round(s.Head[i] / s.LevelStep)) }
	for _, i := range order {
		counts[cell(i)]++
	}
	moved := map[int]float64{}
	for k, n := range counts {
		moved[k] = min(max((counts[k+1]-counts[k-1])/n/24, -0.25), 0.25) * s.LevelStep
	}
	for _, i := range order {
		s.Head[i] += moved[cell(i)]
	}
}

// apart reports whether the flow is of a level that was not rounded.
func (s *Series) apart() bool {
	apart := 0
	for _, b := range s.bins {
		if b.scatter*b.flow > centerFrom*s.LevelStep*b.slope && b.slope > 0 {
			apart++
		}
	}
	return s.LevelStep > 0 && 2*apart > len(s.bins)
}

// centerFrom is the part of what a step of the level makes of the flow that scatters, if the flow is of a level that
// was not rounded: 0.29 for any place within the step alike.
const centerFrom = 0.15

// Tolerance is by how much a reading may be off any curve: the half steps of the log or the scatter, whichever is
// greater, and a part of the flow.
func (s *Series) Tolerance(i int) float64 {
	h, q := s.Head[i], s.Flow[i]
	k, _ := slices.BinarySearchFunc(s.bins, h, func(b bin, h float64) int { return cmp.Compare(b.head, h) })
	b := s.bins[min(k, len(s.bins)-1)]
	if k > 0 && k < len(s.bins) && s.bins[k].head > s.bins[k-1].head {
		w := (h - s.bins[k-1].head) / (s.bins[k].head - s.bins[k-1].head)
		a := s.bins[k-1]
		b.slope, b.scatter = a.slope+float64(w*(b.slope-a.slope)), a.scatter+float64(w*(b.scatter-a.scatter))
	}
	t := math.Max(float64(0.5*s.LevelStep*b.slope)+0.5*s.FlowStep, b.scatter*q) + Relative*q
	if s.means && i > 0 && i+1 < len(s.At) && h > 0 {
		swing := (s.Head[i+1] - s.Head[i-1]) / 2
		t += q * math.Min(swing*swing/(h*h), 1) * meansPart
	}
	return math.Max(t, 1e-9)
}

// meansPart is how much of a squared Relative swing within the interval the mean of the flow may be off the flow of
// the mean: n (n − 1)/2 of the variance, a twelfth of the square where the level goes in a straight line, and more
// where it peaks.
const meansPart = 0.5

// take draws a sample by quantile of head, tails whole.
func (s *Series) take(order []int) Sample {
	var picked []int
	n := len(order)
	if n <= sampleSize {
		picked = slices.Clone(order)
	} else {
		middle := order[tailSize : n-tailSize]
		picked = append(picked, order[:tailSize]...)
		for k := range sampleSize - 2*tailSize {
			picked = append(picked, middle[k*len(middle)/(sampleSize-2*tailSize)])
		}
		picked = append(picked, order[n-tailSize:]...)
	}
	var out Sample
	for _, i := range picked {
		out.add(i, s.Head[i], s.Flow[i], s.Tolerance(i))
	}
	return out.ready(s.Sample.Blur)
}

// add adds a pair, near a reading.
func (s *Sample) add(i int, head, flow, tolerance float64) {
	s.Index = append(s.Index, i)
	s.Heads, s.Flows, s.Tolerances = append(s.Heads, head), append(s.Flows, flow), append(s.Tolerances, tolerance)
}

// ready is a sample with its coarse part and scratch.
func (s Sample) ready(blur float64) Sample {
	s.Blur = blur
	stride := Coarse
	if len(s.Index) <= fewPairs {
		stride = 1
	}
	for i := 0; i < len(s.Index); i += stride {
		for k, column := range [...][]float64{s.Heads, s.Flows, s.Tolerances} {
			s.coarse[k] = append(s.coarse[k], column[i])
		}
	}
	s.Pred, s.Room = make([]float64, len(s.Index)), make([]float64, len(s.Index))
	return s
}

// Few is how many times as much a pair of the sample counts as one of many, roughly.
func (s *Sample) Few() float64 { return min(max(fewPairs/float64(len(s.Index)), 1), mostFew) }

const mostFew = 16

// fewPairs is how many are few enough that all are tried.
const fewPairs = 200

// Of is the sample, whole or its Coarse part.
func (s *Sample) Of(stride int) (heads, flows, tolerances []float64) {
	if stride == 1 {
		return s.Heads, s.Flows, s.Tolerances
	}
	return s.coarse[0], s.coarse[1], s.coarse[2]
}

// findTop finds the flow at which the meter holds: the greatest, where several readings show it over heads that would
// make a greater difference than the steps of the log and the scatter do.
func (s *Series) findTop(order []int) {
	most := s.Most
	low, high, count := math.Inf(1), math.Inf(-1), 0
	for _, i := range order {
		if s.Flow[i] >= most-math.Max(0.6*s.FlowStep, EndSlack*most) {
			low, high, count = math.Min(low, s.Head[i]), math.Max(high, s.Head[i]), count+1
		}
	}
	if count < LeastHeld {
		s.findBlurred(order)
		return
	}
	// The slope below the plateau, from readings at 0.6 to 0.95 of the flow.
	var heads, flows []float64
	for _, i := range order {
		if s.Flow[i] > 0.6*most && s.Flow[i] < 0.97*most {
			heads, flows = append(heads, s.Head[i]), append(flows, s.Flow[i])
		}
	}
	scatter := s.bins[len(s.bins)-1].scatter * most
	natural := 2*s.LevelStep + 1e-6
	if len(heads) >= 4 {
		if slope := stat.TheilSen(thin(heads), thin(flows)); slope > 0 {
			natural += (s.FlowStep + 2*scatter + EndSlack*most) / slope
		}
	}
	if high-low > 2*natural {
		s.Top = most
		return
	}
	s.findBlurred(order)
}

// findBlurred finds a plateau that noise has blurred: from some head on the flow no longer rises with it, which it does
// below.
func (s *Series) findBlurred(order []int) {
	highest := s.Head[order[len(order)-1]]
	between := func(from, until float64) (heads, flows []float64) {
		for _, i := range order {
			if h := s.Head[i]; h >= from && h <= until && h > 0 && s.Flow[i] > 0 {
				heads, flows = append(heads, math.Log(h)), append(flows, math.Log(s.Flow[i]))
			}
		}
		return thin(heads), thin(flows)
	}
	scatter := s.bins[len(s.bins)-1].scatter
	farthest, wide, least := 0.9, 0.1, 2*LeastHeld
	if s.cells != nil && s.LevelStep > wide/5*highest { // two steps will do, of many readings
		farthest, wide, least = 1, 0.9*s.LevelStep/highest, 6*LeastHeld
	}
	for part := 0.4; part < farthest && scatter > blurFrom; part += 0.05 * farthest / 1.8 {
		heads, flows := between(part*highest, highest)
		lower, less := between(0.7*part*highest, part*highest)
		if len(heads) < least || len(lower) < 2*LeastHeld || heads[len(heads)-1]-heads[0] < wide {
			continue
		}
		if below := stat.TheilSen(lower, less); below > 0.8 && stat.TheilSen(heads, flows) < flatPart*below {
			if farthest == 1 && !(narrow(flows, below, -math.Log(part)) && s.again(order, part*highest)) {
				continue
			}
			if _, upper := between((1+part)/2*highest, highest); len(upper) >= 2*LeastHeld {
				flows = upper // the lower ones may not be held yet
			}
			top := math.Exp(stat.Median(flows))
			if s.Most > top*(1+6*scatter) { // noise does not reach so far
				continue
			}
			s.Top = top
			s.Sample.Blur = min(3*scatter, 0.3)
			return
		}
	}
}

// narrow reports whether logarithms of flows lie closer than they would over heads of a range, going by an exponent.
func narrow(flows []float64, exponent, reach float64) bool {
	sorted := slices.Clone(flows)
	slices.Sort(sorted)
	return stat.Percentile(sorted, 0.9)-stat.Percentile(sorted, 0.1) < 0.8*narrowPart*exponent*reach
}

// again reports whether readings above a head come more than once: water that stands on the edge of two steps for a
// while looks held, but stands elsewhere the next time.
func (s *Series) again(order []int, head float64) bool {
	var high []int
	for _, i := range order {
		if s.Head[i] >= head {
			high = append(high, i)
		}
	}
	slices.Sort(high)
	times, run := 0, 0
	for k, i := range high {
		if run++; k+1 == len(high) || s.At[high[k+1]]-s.At[i] > apartAgain {
			if run >= LeastHeld {
				times++
			}
			run = 0
		}
	}
	return times > 1
}

const apartAgain = 6 * 3600e9 // ns

// narrowPart is the part of the spread of flows that are not held, which those of a plateau have at most.
const narrowPart = 0.6

// What makes a blurred plateau: the relative scatter from which on it is sought, and the part of the exponent below it
// that flat is.
const (
	blurFrom = 0.005
	flatPart = 0.15
)

// LeastHeld is how many readings make a plateau.
const LeastHeld = 4

// thin keeps at most some 100 values.
func thin(values []float64) (out []float64) {
	every := max(len(values)/100, 1)
	for i := 0; i < len(values); i += every {
		out = append(out, values[i])
	}
	return out
}

// findDry finds the head below which the meter shows no flow, as a cut-off makes it: the one that misclassifies least
// readings, if the flow is much at once above it. Under a datum that is off, it would begin with little.
func (s *Series) findDry(order []int) {
	wet := slices.DeleteFunc(slices.Clone(order), func(i int) bool { return s.Head[i] <= 0 })
	zeros, wrong, at := 0, 0, 0
	for _, i := range wet {
		if s.Flow[i] == 0 {
			zeros++
		}
	}
	least := zeros
	wrong = zeros
	for k, i := range wet {
		if s.Flow[i] == 0 {
			wrong--
		} else {
			wrong++
		}
		if wrong <= least && (k+1 == len(wet) || s.Head[wet[k+1]] > s.Head[i]) {
			least, at = wrong, k+1
		}
	}
	if zeros < LeastHeld || at == 0 || at == len(wet) || 4*least > 3*zeros {
		return
	}
	dry := (s.Head[wet[at-1]] + s.Head[wet[at]]) / 2
	if s.cells != nil { // near and far lie within a step: the flows themselves say what is the least
		if least := s.leastFlow(); least > 4*s.FlowStep {
			s.Dry, s.Least = dry, least
		}
		return
	}
	width := math.Max(2*s.LevelStep, 0.02*s.HighHead())
	var near, far []float64
	for _, i := range wet[at:] {
		switch above := s.Head[i] - dry; {
		case above < width:
			near = append(near, s.Flow[i])
		case above > 2*width && above < 3*width:
			far = append(far, s.Flow[i])
		}
	}
	if len(near) == 0 || len(far) == 0 {
		return
	}
	if first := stat.Median(near); first > 4*s.FlowStep && stat.Median(far) < mostRise*first {
		s.Dry = dry
	}
}

// leastFlow is the least flow beside none, where that stands out from others: under a datum that is off the flow would
// come down to nothing.
func (s *Series) leastFlow() float64 {
	var flows []float64
	for _, q := range s.Flow {
		if q > 0 {
			flows = append(flows, q)
		}
	}
	slices.Sort(flows)
	least := stat.Median(flows[:min(LeastHeld, len(flows))])
	if least < leastJump*stat.Percentile(flows, 0.1) {
		return 0
	}
	return least
}

// leastJump is the part of the flow of low water, a tenth of the time, that a cut-off is no less than.
const leastJump = 0.3

// mostRise is how many times the flow may grow over a little head above a cut-off; from no flow at all it would grow
// eleven times and more, 5 to the power 1.5.
const mostRise = 5

// Held is the part of the sample's readings with flow that are held at the top.
func (s *Series) Held() float64 {
	wet, held := 0.0, 0.0
	for _, q := range s.Readings.Flows {
		if q > 0 {
			wet++
		}
		if q >= s.Top*(1-s.Sample.Blur) {
			held++
		}
	}
	return held / math.Max(wet, 1)
}

// HighHead is the greatest head, but for the highest two in a hundred of readings with flow.
func (s *Series) HighHead() float64 {
	var heads []float64
	for i, q := range s.Flow {
		if q > 0 {
			heads = append(heads, math.Abs(s.Head[i]))
		}
	}
	slices.Sort(heads)
	return math.Max(stat.Percentile(heads, 0.98), 1e-3)
}

// ManyBelow reports whether readings show flows below one, but not none.
func (s *Series) ManyBelow(flow float64) bool {
	count := 0
	for _, q := range s.Flow {
		if q > 0 && q < 0.9*flow-s.FlowStep {
			count++
		}
	}
	return count >= LeastHeld && (!s.means || 50*count > len(s.Flow))
}
