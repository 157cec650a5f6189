package stat

import "slices"

// LeastSquares returns the least-squares line through points.
func LeastSquares(x, y []float64) func(float64) float64 {
	n, meanX, meanY := float64(len(x)), 0.0, 0.0
	for i := range x {
		meanX, meanY = meanX+x[i]/n, meanY+y[i]/n
	}
	xy, xx := 0.0, 0.0
	for i := range x {
		xy, xx = xy+float64((x[i]-meanX)*(y[i]-meanY)), xx+float64((x[i]-meanX)*(x[i]-meanX))
	}
	slope := 0.0
	if xx > 0 {
		slope = xy / xx
	}
	return func(v float64) float64 { return meanY + float64(slope*(v-meanX)) }
}

// SameRank returns the value among sorted own ones that has the rank of x among sorted others, which are as many;
// beyond them the nearest end.
func SameRank(others, own []float64, x float64) float64 {
	i, found := slices.BinarySearch(others, x)
	switch {
	case i == len(others):
		return own[len(own)-1]
	case found || i == 0:
		return own[i]
	}
	share := (x - others[i-1]) / (others[i] - others[i-1])
	return own[i-1] + float64((own[i]-own[i-1])*share)
}

// Least finds where a function is least between low and high, by golden section.
func Least(low, high float64, times int, of func(float64) float64) (x, least float64) {
	const part = 0.6180339887498949
	a, b := high-part*(high-low), low+part*(high-low)
	fa, fb := of(a), of(b)
	for range times {
		if fa < fb {
			high, b, fb = b, a, fa
			a = high - part*(high-low)
			fa = of(a)
		} else {
			low, a, fa = a, b, fb
			b = low + part*(high-low)
			fb = of(b)
		}
	}
	if fa < fb {
		return a, fa
	}
	return b, fb
}
