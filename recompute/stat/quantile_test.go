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

// TestLeast finds the least of (x − 0.3)² to what 40 steps of golden section leave of 0 to 1.
func TestLeast(t *testing.T) {
	x, y := Least(0, 1, 40, func(x float64) float64 { return (x - 0.3) * (x - 0.3) })
	if math.Abs(x-0.3) > 1e-7 || y > 1e-14 {
		t.Errorf("%v, %v", x, y)
	}
}
