package evidence

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"retotal/ingest/site"
	"retotal/recompute/settings"
)

// TestHeadTally: the median of any heads is that of a sorted list to 0.2 %, and exact in millimetres; counts are those
// of a plain loop.
func TestHeadTally(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 3))
	for _, c := range []struct {
		name string
		head func() float64
		off  float64
	}{
		{"millimetres", func() float64 { return math.Round(1000*(0.2+0.1*random.NormFloat64())) / 1000 }, 0},
		{"any", func() float64 { return 0.3 * random.NormFloat64() }, 0.002},
		{"all below zero", func() float64 { return -2 * random.Float64() }, 0.002},
		{"far off", func() float64 { return 1500 + random.Float64() }, 1},
		{"one", func() float64 { return 0.125 }, 0},
	} {
		var tally headTally
		var list []float64
		var want Heads
		for range 10001 {
			h := c.head()
			list = append(list, h)
			tally.add(h, &settings.Segment{Usual: 0.4, Top: 0.5}, 0.06, 0.0005)
			switch {
			case h < -0.0005:
				want.Negative++
			case h > 0.4:
				want.Surcharged++
			}
			if h > 0 && h <= 0.5 {
				want.Inside++
			}
			if h > 0 && h < 0.06 {
				want.Low++
			}
		}
		slices.Sort(list)
		got, middle := tally.heads(), list[5000]
		if math.Abs(got.Median-middle) > c.off*math.Abs(middle)+1e-15 && math.Abs(middle) < 256 {
			t.Errorf("%s: median %v, want %v", c.name, got.Median, middle)
		}
		want.Readings, want.Least, want.Highest, want.Median = 10001, list[0], list[10000], got.Median
		if got != want {
			t.Errorf("%s: %+v, want %+v", c.name, got, want)
		}
	}
}

// TestRefused: one step below, at and above what is refused.
func TestRefused(t *testing.T) {
	for _, c := range []struct {
		name                  string
		before, after, refuse int
		sure                  bool
	}{
		{"none left of all", 1000, 0, 1, false}, {"none left of one in a hundred", 10, 0, 1, false}, {"none left of fewer", 9, 0, 0, false},
		{"one left", 1000, 1, 0, false}, {"none before", 0, 0, 0, false}, {"sure", 1000, 0, 0, true},
	} {
		one := Trial{
			Correction: &site.Correction{Sure: c.sure},
			Before:     Heads{Readings: 1000, Inside: c.before}, After: Heads{Readings: 1000, Inside: c.after},
		}
		if got := len(Refused([]Trial{one})); got != c.refuse {
			t.Errorf("%s: %d refused, want %d", c.name, got, c.refuse)
		}
	}
}
