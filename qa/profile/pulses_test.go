package profile

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"retotal/testdata/records"
)

// TestAlikeSizes: six sizes or more, half of all, within a factor of 1.35 (our own limits).
func TestAlikeSizes(t *testing.T) {
	repeat := func(n int, x float64) (list []float64) {
		for range n {
			list = append(list, x)
		}
		return list
	}
	for _, c := range []struct {
		name  string
		sizes []float64
		want  alike
	}{
		{"none", nil, alike{}},
		{"five", repeat(5, 0.08), alike{}},
		{"six", repeat(6, 0.08), alike{0.04, 0.16}},
		{"six within the factor", append(repeat(5, 1), 1.35), alike{0.5, 2}},
		{"six beyond it", append(repeat(5, 1), 1.36), alike{}},
		{"half", append(repeat(6, 1), 4, 8, 16, 32, 64, 128), alike{0.5, 2}},
		{"less than half", append(repeat(6, 1), 4, 8, 16, 32, 64, 128, 256), alike{}},
		{"the larger of two groups", append(repeat(6, 1), repeat(7, 5)...), alike{2.5, 10}},
	} {
		if got := alikeOf(slices.Clone(c.sizes)); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	a := alike{0.5, 2}
	if a.holds(0.49) || !a.holds(0.5) || !a.holds(2) || a.holds(2.01) || (alike{}).holds(0) {
		t.Error("what alike holds")
	}
}

// pulses puts so many of between two lengths into a copy of a record, each as large as it is told.
func pulses(random *rand.Rand, r *records.Record, n, least, most int, put func(level float64) float64) *records.Record {
	one := *r
	one.Level = slices.Clone(r.Sound)
	for k := range n {
		share := len(r.Level) / (n + 1)
		at := share*k + share/2 + random.IntN(share/2)
		length := least + random.IntN(most-least+1)
		for i := at; i < at+length; i++ {
			one.Level[i] = math.Round(put(r.Sound[i])/r.Resolution) * r.Resolution
		}
	}
	return &one
}

// TestRarePump: pulses of one size are the record's own, however rare: a pump a few times a day or a week, a tank that
// is flushed. None is removed or flagged, and a note says so. Fewer than six may be faults.
func TestRarePump(t *testing.T) {
	for _, kind := range []records.Kind{records.Stream, records.Sewage, records.Recession} {
		for _, interval := range []time.Duration{time.Minute, 2 * time.Minute, 5 * time.Minute} {
			for _, c := range []struct {
				n, least, most int
				low, high      float64 // m
			}{
				{6, 1, 1, 0.09, 0.1}, {8, 2, 3, 0.08, 0.08}, {20, 1, 1, 0.14, 0.18}, {60, 2, 2, 0.14, 0.18},
				{100, 1, 12, 0.08, 0.082}, {5, 1, 1, 0.09, 0.1}, {5, 2, 3, 0.09, 0.1},
			} {
				for _, sign := range []float64{1, -1} {
					random := rand.New(rand.NewPCG(31, 14))
					r := records.Make(random, kind, interval, 0.001, 60*24*time.Hour)
					pumped := pulses(random, r, c.n, c.least, c.most, func(x float64) float64 {
						return x + sign*(c.low+(c.high-c.low)*random.Float64())
					})
					found := look(pumped)
					alike := slices.ContainsFunc(found.Notes, func(n Note) bool {
						return n.Kind == OwnPulses && n.Alike && n.Count >= c.n*4/5 && n.Rising == (sign > 0)
					})
					effect := harm(pumped, &found)
					if own := c.n >= fewestAlike; own != (effect == 0) || own != alike {
						t.Errorf("%v, %v, %+v, %v: effect %+.4f %%, notes %+v", kind, interval, c, sign, 100*effect,
							found.Notes)
					}
				}
			}
		}
	}
}

// TestDropOutsStay: drop-outs to one and the same level are a fault whose size the water makes: on water that hardly
// moves they are alike, and are removed all the same. What rises to one level, as in a tank that is flushed, is
// flagged and kept.
func TestDropOutsStay(t *testing.T) {
	for _, times := range []int{7, 30} {
		for _, to := range []float64{0, 0.5} {
			random := rand.New(rand.NewPCG(32, 14))
			r := records.Make(random, records.Recession, 5*time.Minute, 0.001, 60*24*time.Hour)
			for i := range r.Sound { // water that stands around 0.2 m
				r.Sound[i] = math.Round(1000*(0.2+0.02*math.Sin(float64(i)/288)+0.0008*random.NormFloat64())) / 1000
			}
			dropped := pulses(random, r, times, 1, 3, func(float64) float64 { return to })
			found := look(dropped)
			removed := 0
			for _, v := range found.Verdicts {
				if v.Remove {
					removed++
				}
			}
			if want := map[float64]int{0: times}[to]; removed != want || len(found.Verdicts) != times {
				t.Errorf("%d to %v: %d of %d removed, want %d", times, to, removed, len(found.Verdicts), want)
			}
			if slices.ContainsFunc(found.Notes, func(n Note) bool { return n.Kind == OwnPulses }) {
				t.Errorf("%d to %v: %+v", times, to, found.Notes)
			}
		}
	}
}

// TestDeepFalls: falls of one size are the record's own down to three times its range below its lowest level: an echo
// that is lost falls further, and is removed.
func TestDeepFalls(t *testing.T) {
	for _, c := range []struct {
		fall    int // steps; the record goes from 0 to 20
		removed int
	}{{-55, 0}, {-85, 8}, {-1000, 8}, {1000, 0}} {
		steps := calm(288 * 60)
		for i := range steps {
			steps[i] += int(math.Round(9.5 + 9.5*math.Sin(float64(i)/300)))
		}
		for k := range 8 {
			steps[1005+1900*k] += c.fall - k%3
		}
		found := profiled(5*time.Minute, steps)
		removed := 0
		for _, v := range found.Verdicts {
			if v.Remove {
				removed++
			}
		}
		own := slices.ContainsFunc(found.Notes, func(n Note) bool { return n.Kind == OwnPulses && n.Count == 8 })
		if removed != c.removed || len(found.Verdicts) != removed || own != (removed == 0) {
			t.Errorf("%+v: %d of %d removed, %+v", c, removed, len(found.Verdicts), found.Notes)
		}
	}
}

// TestGate: a short plateau in a record whose gate makes jumps as large, up and down, may be the gate's: it is flagged
// and kept. A lone reading is off by two jumps at once, as no gate makes it.
func TestGate(t *testing.T) {
	for _, c := range []struct {
		jumps, readings int
		removed         bool
	}{{0, 10, true}, {4, 10, true}, {5, 10, false}, {20, 10, false}, {20, 2, false}, {20, 1, true}} {
		random := rand.New(rand.NewPCG(33, 14))
		steps := make([]int, 288*60)
		high := 0
		for i := range steps {
			if k := i - 1000; k >= 0 && k%400 == 0 && k/400 < c.jumps {
				high = 1 - high
			}
			steps[i] = 300 + 150*high + int(math.Round(random.NormFloat64()))
		}
		for i := range c.readings {
			steps[16000+i] += 200
		}
		found := profiled(5*time.Minute, steps)
		if len(found.Verdicts) != 1 || found.Verdicts[0].Remove != c.removed {
			t.Errorf("%+v: %+v", c, found.Verdicts)
		}
	}
}
