package stat

import (
	"math"
	"slices"
)

// Change is a point at which a slow series changes its level.
type Change struct {
	Index      int     // first value after the change
	Size       float64 // median after less median before, between this change and its neighbours
	Confidence float64 // 1 − p of the test
}

// Limits of the search for changes; common practice.
const (
	leastSide     = 5    // values on either side of a change
	leastSure     = 0.99 // confidence of a change that is told
	mostChanges   = 12
	leastDaysSeen = 2 * leastSide
)

// Pettitt finds where a slow series changes its level, most by Pettitt's test (A. N. Pettitt, Applied Statistics 28,
// 1979: non-parametric, so storms in the series do not decide), on the whole series and then on either side of each
// change found. The changes come in order.
func Pettitt(values []float64) (list []Change) {
	var split func(low, high int)
	split = func(low, high int) {
		if high-low < leastDaysSeen || len(list) == mostChanges {
			return
		}
		at, confidence := pettitt(values[low:high])
		if at < leastSide || high-low-at < leastSide || confidence < leastSure {
			return
		}
		list = append(list, Change{Index: low + at, Confidence: confidence})
		split(low, low+at)
		split(low+at, high)
	}
	split(0, len(values))
	slices.SortFunc(list, func(a, b Change) int { return a.Index - b.Index })
	bounds := []int{0}
	for _, c := range list {
		bounds = append(bounds, c.Index)
	}
	bounds = append(bounds, len(values))
	for i := range list {
		list[i].Size = middle(values[bounds[i+1]:bounds[i+2]]) - middle(values[bounds[i]:bounds[i+1]])
	}
	return list
}

func middle(values []float64) float64 { return Median(slices.Clone(values)) }

// pettitt returns the most likely change of a series, as the first index after it, and the confidence that there is
// one: U(t) = 2 Σ ranks − t (n + 1), K = max |U|, p ≈ 2 exp(−6 K² / (n³ + n²)).
func pettitt(values []float64) (at int, confidence float64) {
	n := len(values)
	ranks := ranked(values)
	sum, most := 0.0, 0.0
	for t := 1; t < n; t++ {
		sum += ranks[t-1]
		if u := math.Abs(2*sum - float64(t)*float64(n+1)); u > most {
			most, at = u, t
		}
	}
	size := float64(n)
	p := 2 * math.Exp(-6*most*most/(size*size*size+size*size))
	return at, 1 - math.Min(p, 1)
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
	PerStep    float64 // Theil-Sen slope: the median of the slopes of all pairs
	Confidence float64 // of Mann-Kendall's test, two-sided
}

// mostTrend is how many values a trend is taken from; of longer series every k-th.
const mostTrend = 800

// MannKendall tests a slow series for a trend that storms do not decide: Mann-Kendall's test and the Theil-Sen slope
// (H. B. Mann 1945, P. K. Sen 1968; forms from memory). It fails for fewer than 20 values and for a confidence under
// 99.9 %.
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
	z := math.Max(math.Abs(s)-1, 0) / math.Sqrt(size*(size-1)*(2*size+5)/18)
	t := Trend{PerStep: Median(slopes), Confidence: math.Erf(z / math.Sqrt2)}
	return t, t.Confidence >= 0.999
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
