package profile

import (
	"math"
	"slices"
	"testing"
	"time"
)

// TestImpossible: a few readings that no level can have, between levels that agree, are a spike to be removed, at any
// interval and next to each other; more of them, or those after which the level is another, are not. They feed nothing:
// what is said of the rest is what is said without them.
func TestImpossible(t *testing.T) {
	for _, interval := range []time.Duration{time.Minute, time.Hour} {
		level := func(i int) float64 { return 0.3 + 0.05*math.Sin(float64(i)/100) + 0.001*float64(i*7919%5) }
		gone := map[int]float64{
			500: 2, 502: -1, 503: -1.1, 600: 2, // lone ones, and a pair
			700: 2, 701: 2.1, 702: 2, 703: 2, 704: 2, 705: 2, 706: 2, 707: 2, 708: 2, 709: 2, 710: 2, 711: 2, // twelve
			800: 2, 801: 2, 802: 2, 803: 2, 804: 2, 805: 2, 806: 2, 807: 2, 808: 2, 809: 2, 810: 2,
			811: 2, 812: 2, // more
			900: 2, 901: -1, // to both sides
		}
		p := New(Settings{Resolution: 0.001, Interval: interval})
		moved := 0.0
		for i := range 2000 {
			at := int64(i) * int64(interval)
			if i == 1000 {
				p.Impossible(at, 2)
				moved = 2.5 // the level after it is another
				continue
			}
			if v, is := gone[i]; is {
				p.Impossible(at, v)
				continue
			}
			p.Add(at, level(i)+moved, true)
		}
		var got []int
		for _, v := range p.Finish().Verdicts {
			if v.Kind == Spike && v.Remove {
				got = append(got, int(v.From/int64(interval)))
			}
		}
		if want := []int{500, 502, 600, 700}; !slices.Equal(got, want) {
			t.Errorf("every %v: spikes at %v, want %v", interval, got, want)
		}
	}
}
