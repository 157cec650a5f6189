package stat

import (
	"math"
	"testing"
)

// TestPercentile: definition 7 on 1 to 5, worked out by hand: at p the value 1 + 4p.
func TestPercentile(t *testing.T) {
	for _, p := range []float64{0, 0.05, 0.2, 0.5, 0.95, 1} {
		if got := Percentile([]float64{1, 2, 3, 4, 5}, p); math.Abs(got-(1+4*p)) > 1e-12 {
			t.Errorf("%g: %g", p, got)
		}
	}
}
