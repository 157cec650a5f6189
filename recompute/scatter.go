package recompute

import "math"

// scatter is how readings scatter within a day: a histogram of their second differences, in eighths of an octave from a tenth of a millimetre on, of which the
// median tells the noise whatever storms do.
type scatter struct{ counts [scatterBins]uint32 }

const (
	scatterBins  = 112
	scatterLeast = 1e-4 // m
	scatterParts = 8    // bins to the octave
)

// add takes in one second difference of heads, m.
func (s *scatter) add(difference float64) {
	if !(difference > scatterLeast) {
		s.counts[0]++
		return
	}
	s.counts[min(1+int(scatterParts*math.Log2(difference/scatterLeast)), scatterBins-1)]++
}

// deviation is the standard deviation of the noise of one reading, m: the median of the second differences of independent normal readings is 0.6745 √6 of it.
func (s *scatter) deviation() float64 {
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

// noise is how the flow of a day bends with head: what a square metre of variance would add to its volume twice, and how readings scatter.
type noise struct {
	volume  float64 // m³ per m²
	scatter scatter
}

// lift is the volume that noise of the readings adds: the mean of flows lies above the flow of the mean head by half of Q″ times the variance.
func (c *noise) lift() float64 {
	d := c.scatter.deviation()
	return math.Max(0, float64(c.volume*d*d)/2)
}
