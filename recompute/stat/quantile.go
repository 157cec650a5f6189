// Package stat is pure functions on slices: medians, quantiles, ranks, trends, change points, the scatter of readings,
// and lines and hulls through points.
package stat

import (
	"math"
	"slices"
)

// Median sorts the values and returns the middle one, or the mean of the middle two.
func Median(values []float64) float64 {
	slices.Sort(values)
	n := len(values)
	if n%2 == 1 {
		return values[n/2]
	}
	return (values[n/2-1] + values[n/2]) / 2
}

// Mean is the mean of values.
func Mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// Percentile returns a quantile of sorted values, on the straight line between the two nearest (definition 7 of Hyndman
// and Fan 1996, the usual one of general-purpose statistics programs).
func Percentile(sorted []float64, p float64) float64 {
	at := p * float64(len(sorted)-1)
	i := int(math.Floor(at))
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + float64((sorted[i+1]-sorted[i])*(at-float64(i)))
}
