package stat

import (
	"cmp"
	"math"
	"slices"
)

// Change is a point at which a slow series changes its level.
type Change struct {
	Index int     // first value after the change
	Size  float64 // median after less median before, between this change and its neighbours
	P     float64 // of Pettitt's test: how often chance gives as much, in a series as autocorrelated as this one
}

// Limits of the search for changes; common practice.
const (
	leastSide     = 5    // values on either side of a change
	mostChance    = 0.01 // p of a change that is told
	mostChanges   = 12
	leastDaysSeen = 2 * leastSide
)

// Pettitt finds where a slow series changes its level at once, by Pettitt's test (A. N. Pettitt, Applied Statistics 28,
// 1979: non-parametric, so storms in the series do not decide), on the whole series and then on either side of each
// change found. Of these it keeps what shows in five values on either side, as a season does not, and what the test
// finds between its neighbours when the autocorrelation of the rest is allowed for. The changes come in order, the
// twelve largest at the most.
func Pettitt(values []float64) (list []Change) {
	list = split(values)
	for i := range list {
		date(values, list, i)
	}
	size(values, list)
	usual := usualStep(values, list)
	list = slices.DeleteFunc(list, func(c Change) bool {
		near := step(values, c.Index)
		return near*c.Size <= 0 || math.Abs(near) < math.Abs(c.Size)/2 || math.Abs(near) <= atOnce*usual
	})
	for size(values, list); len(list) > 0; size(values, list) {
		worst := 0
		for i := range list {
			if list[i].P > list[worst].P {
				worst = i
			}
		}
		if list[worst].P <= mostChance {
			break
		}
		list = slices.Delete(list, worst, worst+1)
	}
	if len(list) > mostChanges {
		slices.SortStableFunc(list, func(a, b Change) int { return cmp.Compare(math.Abs(b.Size), math.Abs(a.Size)) })
		list = list[:mostChanges]
		slices.SortFunc(list, func(a, b Change) int { return a.Index - b.Index })
	}
	return list
}

// atOnce is by how many times a change at once exceeds what the medians of five values differ by elsewhere.
const atOnce = 3.4

// step is the median of the five values from one on less that of the five before it.
func step(values []float64, at int) float64 {
	return middle(values[at:at+leastSide]) - middle(values[at-leastSide:at])
}

// usualStep is what step gives where no change is near, as a standard deviation of normal scatter; 0 where every value
// is near one.
func usualStep(values []float64, list []Change) float64 {
	var steps []float64
	for at := leastSide; at+leastSide <= len(values); at++ {
		near := func(c Change) bool { return c.Index > at-leastSide && c.Index < at+leastSide }
		if !slices.ContainsFunc(list, near) {
			steps = append(steps, math.Abs(step(values, at)))
		}
	}
	if len(steps) == 0 {
		return 0
	}
	return 1.4826 * Median(steps)
}

// date moves a change by up to ten values to where the values are nearest to the levels of both its sides: ranks
// alone date it to some days.
func date(values []float64, list []Change, i int) {
	low, high := 0, len(values)
	if i > 0 {
		low = list[i-1].Index
	}
	if i+1 < len(list) {
		high = list[i+1].Index
	}
	at := list[i].Index
	before, after := middle(values[low:at]), middle(values[at:high])
	from, until := max(at-2*leastSide, low+leastSide), min(at+2*leastSide, high-leastSide)
	off, least := 0.0, math.Inf(1) // of what lies before t, against after it
	for t := from; t <= until; t++ {
		if off < least {
			least, list[i].Index = off, t
		}
		if t < until {
			off += math.Abs(values[t]-before) - math.Abs(values[t]-after)
		}
	}
}

// split finds changes as if values were independent, in order.
func split(values []float64) (list []Change) {
	var within func(low, high int)
	within = func(low, high int) {
		if high-low < leastDaysSeen {
			return
		}
		at, most := pettitt(values[low:high])
		if at < leastSide || high-low-at < leastSide || chance(most, high-low, 1) > mostChance {
			return
		}
		list = append(list, Change{Index: low + at})
		within(low, low+at)
		within(low+at, high)
	}
	within(0, len(values))
	slices.SortFunc(list, func(a, b Change) int { return a.Index - b.Index })
	size(values, list)
	return list
}

// size works out how large changes are, and how likely by chance.
func size(values []float64, list []Change) {
	if len(list) == 0 {
		return
	}
	bounds := []int{0}
	for _, c := range list {
		bounds = append(bounds, c.Index)
	}
	bounds = append(bounds, len(values))
	rest := slices.Clone(values)
	levels := make([]float64, len(bounds)-1)
	for i := range levels {
		side := rest[bounds[i]:bounds[i+1]]
		levels[i] = middle(side)
		for k := range side {
			side[k] -= levels[i]
		}
	}
	inflation := Inflation(rest)
	for i := range list {
		list[i].Size = levels[i+1] - levels[i]
		_, most := pettitt(values[bounds[i]:bounds[i+2]])
		list[i].P = chance(most, bounds[i+2]-bounds[i], inflation)
	}
}

func middle(values []float64) float64 { return Median(slices.Clone(values)) }

// pettitt returns the most likely change of a series, as the first index after it, and Pettitt's statistic K, the
// largest |U(t)|: U(t) = 2 Σ ranks − t (n + 1).
func pettitt(values []float64) (at int, most float64) {
	n, sum := len(values), 0.0
	for i, r := range ranked(values)[:max(n-1, 0)] {
		sum += r
		if u := math.Abs(2*sum - float64(i+1)*float64(n+1)); u > most {
			most, at = u, i+1
		}
	}
	return at, most
}

// chance is p of Pettitt's test of n values: 2 exp(−6 K² / (n³ + n²)). Autocorrelation makes the test find too much (F.
// Serinaldi and C. G. Kilsby, Stochastic Environmental Research and Risk Assessment 30, 2016): it makes the variance of
// U larger, by which the exponent is divided here.
func chance(most float64, n int, inflation float64) float64 {
	size := float64(n)
	return math.Min(2*math.Exp(-6*most*most/((size*size*size+size*size)*inflation)), 1)
}

// tiny is the range within which values are equal but for the residue of arithmetic, of the largest of them.
const tiny = 1e-9

// Inflation is by how many times autocorrelation makes the variance of sums of ranks larger than that of independent
// values, at least 1: 1 + 2/(n(n−1)(n−2)) Σ (n−i)(n−i−1)(n−i−2) r(i), with the autocorrelations r(i) of the ranks (K.
// H. Hamed and A. R. Rao, Journal of Hydrology 204, 1998; form from memory), here up to the first that is not
// significant at 95 % (1.96/√n). The values are what a trend or a change leaves of a series; it sorts a copy.
func Inflation(rest []float64) float64 {
	n := len(rest)
	low, high := slices.Min(rest), slices.Max(rest)
	if n < 4 || high-low <= tiny*math.Max(1, math.Max(math.Abs(low), math.Abs(high))) {
		return 1
	}
	ranks, mean, square := ranked(rest), float64(n+1)/2, 0.0
	for _, r := range ranks {
		square += (r - mean) * (r - mean)
	}
	size, sum := float64(n), 0.0
	for i := 1; i < n-2; i++ {
		product := 0.0
		for k := i; k < n; k++ {
			product += (ranks[k] - mean) * (ranks[k-i] - mean)
		}
		r := product / square
		if r < 1.96/math.Sqrt(size) {
			break
		}
		sum += float64(n-i) * float64(n-i-1) * float64(n-i-2) * r
	}
	return 1 + 2*sum/(size*(size-1)*(size-2))
}

// ranked returns the rank of each value from 1; equal values share the mean of their ranks.
func ranked(values []float64) []float64 {
	order := make([]int, len(values))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case values[a] < values[b]:
			return -1
		case values[a] > values[b]:
			return 1
		}
		return a - b
	})
	ranks := make([]float64, len(values))
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && values[order[j]] == values[order[i]] {
			j++
		}
		for k := i; k < j; k++ {
			ranks[order[k]] = float64(i+j+1) / 2
		}
		i = j
	}
	return ranks
}

// Trend is a slow series that moves along a line.
type Trend struct {
	PerStep float64 // Theil-Sen slope: the median of the slopes of all pairs
	P       float64 // of Mann-Kendall's test, two-sided, in a series as autocorrelated as this one
}

// mostTrend is how many values a trend is taken from; of longer series every k-th.
const mostTrend = 800

// MannKendall tests a slow series for a trend that storms do not decide: Mann-Kendall's test and the Theil-Sen slope
// (H. B. Mann 1945, P. K. Sen 1968; forms from memory), with the variance that autocorrelation makes larger (Hamed and
// Rao 1998, see Inflation): what wanders is no trend. It fails for fewer than 20 values and for a p over 0.001.
func MannKendall(values []float64) (Trend, bool) {
	stride := 1 + (len(values)-1)/mostTrend
	var thin []float64
	for i := 0; i < len(values); i += stride {
		thin = append(thin, values[i])
	}
	n := len(thin)
	if n < 20 {
		return Trend{}, false
	}
	s, slopes := 0.0, make([]float64, 0, n*(n-1)/2)
	for i := range thin {
		for k := i + 1; k < n; k++ {
			d := thin[k] - thin[i]
			slopes = append(slopes, d/float64((k-i)*stride))
			switch {
			case d > 0:
				s++
			case d < 0:
				s--
			}
		}
	}
	size := float64(n)
	t := Trend{PerStep: Median(slopes)}
	for i := range thin {
		thin[i] -= float64(t.PerStep * float64(i*stride))
	}
	z := math.Max(math.Abs(s)-1, 0) / math.Sqrt(size*(size-1)*(2*size+5)/18*Inflation(thin))
	t.P = math.Erfc(z / math.Sqrt2)
	return t, t.P <= 0.001
}

// Straighter reports whether a line explains a series better than steps do: by the sum of absolute deviations from its
// own levels, of the line and of the medians between changes, with a handicap for every step.
func Straighter(values []float64, t Trend, changes []Change) bool {
	if len(changes) == 0 {
		return true
	}
	rest := make([]float64, len(values))
	for i, v := range values {
		rest[i] = v - float64(t.PerStep*float64(i))
	}
	line, steps, start := deviations(rest), 0.0, 0
	for _, c := range changes {
		steps += deviations(values[start:c.Index])
		start = c.Index
	}
	const eachStep = 0.3 // every step fits a little better by itself
	return line < (steps+deviations(values[start:]))*(1+eachStep*float64(len(changes)))
}

// deviations adds up how far values are from their median.
func deviations(values []float64) (sum float64) {
	m := middle(values)
	for _, v := range values {
		sum += math.Abs(v - m)
	}
	return sum
}

// Pearson is Pearson's, of two series of one length; 0 when either stands still.
func Pearson(a, b []float64) float64 {
	n := float64(len(a))
	meanA, meanB := 0.0, 0.0
	for i := range a {
		meanA, meanB = meanA+a[i]/n, meanB+b[i]/n
	}
	ab, aa, bb := 0.0, 0.0, 0.0
	for i := range a {
		x, y := a[i]-meanA, b[i]-meanB
		ab, aa, bb = ab+float64(x*y), aa+float64(x*x), bb+float64(y*y)
	}
	if aa == 0 || bb == 0 {
		return 0
	}
	return ab / math.Sqrt(aa*bb)
}

// Spearman is Spearman's: Pearson's of the ranks.
func Spearman(a, b []float64) float64 { return Pearson(ranked(a), ranked(b)) }

// TheilSen is the median of the slopes of all pairs of points (Theil-Sen), 0 when there is none.
func TheilSen(x, y []float64) float64 {
	var slopes []float64
	stride := 1 + (len(x)-1)/mostTrend
	for i := 0; i < len(x); i += stride {
		for k := i + stride; k < len(x); k += stride {
			if x[k] != x[i] {
				slopes = append(slopes, (y[k]-y[i])/(x[k]-x[i]))
			}
		}
	}
	if len(slopes) == 0 {
		return 0
	}
	return Median(slopes)
}
