package report

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
)

// TestSignificant: ties to the even digit (as IEC 60559 and the trade's "banker's rounding" have it) and away from zero
// (as school has it), worked out by hand; UK daily flows are given to four figures
// (nrfa.ceh.ac.uk/gauged-daily-flow-data).
func TestSignificant(t *testing.T) {
	for _, c := range []struct {
		v       float64
		figures int
		even    string
		up      string
	}{
		{2.675, 3, "2.68", "2.68"}, {2.665, 3, "2.66", "2.67"}, {2.5, 1, "2", "3"}, {3.5, 1, "4", "4"}, {-2.5, 1, "-2", "-3"}, {0.00012345, 4, "0.0001234", "0.0001235"},
		{99950, 3, "100000", "100000"}, {99949, 3, "99900", "99900"}, {123456, 4, "123500", "123500"}, {1, 4, "1.000", "1.000"}, {0, 3, "0.00", "0.00"}, {82724.3, 4, "82720", "82720"}, {999.96, 4, "1000", "1000"},
	} {
		if got := significant(c.v, c.figures, false); got != c.even {
			t.Errorf("%g to %d: %s, want %s", c.v, c.figures, got, c.even)
		}
		if got := significant(c.v, c.figures, true); got != c.up {
			t.Errorf("%g to %d, half up: %s, want %s", c.v, c.figures, got, c.up)
		}
	}
}

// TestSignificantIsNear: what is written is within half a unit of the last figure.
func TestSignificantIsNear(t *testing.T) {
	random := rand.New(rand.NewPCG(71, 72))
	for range 20000 {
		v, figures := math.Exp(20*random.Float64()-10)*float64(1-2*random.IntN(2)), 1+random.IntN(8)
		got, err := strconv.ParseFloat(significant(v, figures, random.IntN(2) == 0), 64)
		if err != nil ||
			math.Abs(got-v) > 0.5000001*math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-float64(figures)+1) {
			t.Fatalf("%g to %d figures: %g, %v", v, figures, got, err)
		}
	}
}
