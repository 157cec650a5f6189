package stat

import "math"

// Scatter is how readings scatter within a day: a histogram of their second differences, in eighths of an octave from a
// tenth of a millimetre on, of which the median tells the noise whatever storms do.
type Scatter struct{ counts [scatterBins]uint32 }

const (
	scatterBins  = 112
	scatterLeast = 1e-4 // m
	scatterParts = 8    // bins to the octave
)

// Add takes in one second difference of heads, m.
func (s *Scatter) Add(difference float64) {
	if !(difference > scatterLeast) {
		s.counts[0]++
		return
	}
	s.counts[min(1+int(scatterParts*math.Log2(difference/scatterLeast)), scatterBins-1)]++
}

// Deviation is the standard deviation of the noise of one reading, m: the median of the second differences of
// independent normal readings is 0.6745 √6 of it.
func (s *Scatter) Deviation() float64 {
	all, below := uint32(0), uint32(0)
	for _, n := range s.counts {
		all += n
	}
	for k, n := range s.counts {
		if below += n; 2*below >= all && all > 0 {
			if k == 0 {
				return 0
			}
			return scatterLeast * math.Exp2((float64(k)-0.5)/scatterParts) / (0.6745 * math.Sqrt(6))
		}
	}
	return 0
}
