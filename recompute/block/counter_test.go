package block

import (
	"math"
	"testing"

	"retotal/recompute/total"
)

// TestCounterIntoFlows: increases over the time between readings, by hand; over a rollover at 1,000 m³ when that is the
// smaller step; none at the first reading and after a fall; over a declared change as far as it was read.
func TestCounterIntoFlows(t *testing.T) {
	const second = int64(1e9)
	type reading struct {
		at    int64
		shown float64
		flow  float64
		ok    bool
	}
	for _, c := range []struct {
		name     string
		rollover float64
		changes  []total.CounterChange
		readings []reading
	}{
		{"rises", 0, nil, []reading{{0, 10, 0, false}, {10, 15, 0.5, true}, {30, 15, 0, true}, {40, 16, 0.1, true}}},
		{"falls", 0, nil, []reading{{0, 900, 0, false}, {10, 20, 0, false}, {20, 30, 1, true}}},
		{"rolls over", 1000, nil, []reading{{0, 995, 0, false}, {10, 5, 1, true}}},
		{"a rollover of just under half", 1000, nil, []reading{{0, 900, 0, false}, {10, 399, 49.9, true}}},
		{"a fall of half the rollover is none", 1000, nil, []reading{{0, 900, 0, false}, {10, 400, 0, false}}},
		{"same instant", 0, nil, []reading{{0, 10, 0, false}, {0, 12, 0, false}}},
		{"changed at 5 s from 20 to 100", 0, []total.CounterChange{{At: 5 * second, Last: 20, First: 100}},
			[]reading{{0, 10, 0, false}, {10, 105, 1.5, true}, {20, 105, 0, true}}},
		{"changed at the reading", 0, []total.CounterChange{{At: 10 * second, Last: 20, First: 100}},
			[]reading{{0, 10, 0, false}, {10, 100, 1, true}}},
		{"changed, and nobody read it", 0, []total.CounterChange{{At: 5 * second, Last: math.NaN(), First: 100}},
			[]reading{{0, 10, 0, false}, {10, 105, 0, false}, {20, 115, 1, true}}},
	} {
		x := counter{rollover: c.rollover, changes: c.changes}
		for i, r := range c.readings {
			if flow, ok := x.next(r.at*second, r.shown); ok != r.ok || math.Abs(flow-r.flow) > 1e-12 {
				t.Errorf("%s, reading %d: %g, %v, want %g, %v", c.name, i, flow, ok, r.flow, r.ok)
			}
		}
	}
}

// TestHours: hours are numbered through 1970: the last nanosecond before it lies in hour −1.
func TestHours(t *testing.T) {
	for at, want := range map[int64]int64{0: 0, Hour - 1: 0, Hour: 1, -1: -1, -Hour: -1, -Hour - 1: -2} {
		if got := HourOf(at); got != want {
			t.Errorf("%d: hour %d, want %d", at, got, want)
		}
	}
}
