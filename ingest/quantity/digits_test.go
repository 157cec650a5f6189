package quantity

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// TestDigits: numbers as people write them, worked out by hand; where fmt writes no exponent, the two agree but for
// digits before the point, which stay.
func TestDigits(t *testing.T) {
	for _, c := range []struct {
		v      float64
		digits int
		want   string
	}{
		{271.8, 2, "272"}, {-271.8, 2, "-272"}, {0.1234, 2, "0.12"}, {0, 3, "0"}, {math.Copysign(0, -1), 2, "0"},
		{1250, 3, "1250"}, {12345.6, 4, "12346"}, {0.00001234, 3, "0.0000123"}, {9.96, 2, "10"}, {0.996, 2, "1"},
		{1e8, 4, "100000000"}, {2.50, 3, "2.5"}, {-0.04, 2, "-0.04"},
	} {
		if got := Digits(c.v, c.digits); got != c.want {
			t.Errorf("Digits(%v, %d) = %s, want %s", c.v, c.digits, got, c.want)
		}
	}
	for v := 0.00013; v < 999; v *= 1.37 {
		for digits := 3; digits < 7; digits++ {
			want := fmt.Sprintf("%.*g", digits, v)
			if got := Digits(v, digits); got != want && !strings.Contains(want, "e") {
				t.Errorf("Digits(%v, %d) = %s, and fmt writes %s", v, digits, got, want)
			}
		}
	}
	if got := Signed(271.8, 2) + Signed(-0.5, 2) + Signed(0, 2); got != "+272-0.5+0" {
		t.Error(got)
	}
}
