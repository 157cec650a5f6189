package stat

import (
	"math"
	"testing"
)

// TestNormal: the line through (0, 1), (1, 3), (2, 5), 1 + 2 x, by hand: sums n = 3, x = 3, x² = 5 have the inverse
// (5 −3; −3 3)/6, determinant 6; with one unknown held at 0, 13/5 x.
func TestNormal(t *testing.T) {
	e := NewNormal(2)
	for x := range 3 {
		e.Add([]float64{1, float64(x)}, 1+2*float64(x), 1)
	}
	for _, by := range []float64{1, 4} {
		e.Scale(by)
		s := e.Solve()
		if math.Abs(s.X[0]-1) > 1e-9 || math.Abs(s.X[1]-2) > 1e-9 || math.Abs(s.Variance[0]*by-5.0/6) > 1e-9 ||
			math.Abs(s.Variance[1]*by-0.5) > 1e-9 || math.Abs(s.Gain/by-35) > 1e-9 ||
			math.Abs(s.LogDet-math.Log(6*by*by)) > 1e-9 {
			t.Errorf("times %v: %+v", by, s)
		}
	}
	turned := NewNormal(2)
	for x := range 3 {
		turned.Add([]float64{float64(x), 1}, 1+2*float64(x), 1)
	}
	if s := turned.Part(1).Solve(); math.Abs(s.X[0]-13.0/5) > 1e-9 {
		t.Errorf("one alone: %+v", s)
	}
	alike := NewNormal(2)
	alike.Add([]float64{1, 1}, 1, 1)
	if s := alike.Solve(); math.IsNaN(s.X[0]) || s.Variance[0] < 1e6 {
		t.Errorf("two that cannot be told apart: %+v", s)
	}
}
