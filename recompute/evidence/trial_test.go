package evidence

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"retotal/ingest/site"
	"retotal/qa"
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
			if h > 3*0.4 || h < -3*0.4 {
				want.Far++
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

// TestTrialByHand: distances of 0.9 and 0.7 m by the minute at 1 m empty distance, 1.1 m corrected from minute 1 on:
// readings in the span alone are tried, those with a flag that says they stand for something else are not.
func TestTrialByHand(t *testing.T) {
	s, l := lanes(t, "empty_distance = \"1 m\"\n",
		"[[correction]]\nreason = \"x\"\nfrom = 2031-03-01T00:01:00\nempty_distance = \"1.1 m\"\n")
	b := hand([]float64{0, 1, 2, 3, 20, 61}, []float64{0.5, 0.9, 0.7, 0.2, 0.9, 0.7})
	b.Lanes.Recorded, b.Lanes.Corrected = l.Recorded, l.Corrected
	b.Flags[3] = qa.Spike
	b.Flags[4] = qa.Gap
	for i, d := range b.Figure {
		b.Head[i] = 1.1 - d
		if i == 0 {
			b.Head[i] = 1 - d
		}
		l.Recorded.Flow, l.Corrected.Flow = append(l.Recorded.Flow, 0.1*(1-d)), append(l.Corrected.Flow, 0.1*b.Head[i])
	}
	x := NewTrials(s)
	b.High = 2
	x.Add(b)
	b.Low, b.High = 2, 6
	x.Add(b)
	list := x.Finish(s)
	if len(list) != 1 {
		t.Fatal(list)
	}
	r := list[0]
	if r.Number != 0 || r.Correction != &s.Corrections[0] || r.Changed != 4 || r.Before.Readings != 4 ||
		r.After.Readings != 4 || !near(r.Before.Least, 0.1) || !near(r.Before.Highest, 0.3) ||
		!near(r.After.Least, 0.2) || !near(r.After.Highest, 0.4) {
		t.Errorf("%+v", r)
	}
	// the steps to minutes 1 and 2 count, those over a gap do not
	if !near(r.VolumeBefore, 60*(0.01+0.03)) || !near(r.VolumeAfter, 60*(0.02+0.04)) {
		t.Errorf("%g and %g m³", r.VolumeBefore, r.VolumeAfter)
	}
	// of hour 0 the mean of 0.1, 0.3 and 0.1, of hour 1 that of 0.3: one day
	if r.Nights != 1 || !near(r.NightBefore, 0.5/3) || !near(r.NightAfter, 0.8/3) {
		t.Errorf("%d nights of %g and %g m", r.Nights, r.NightBefore, r.NightAfter)
	}
}

// TestHeadsSearched: of flows the first 4,096 are tried, then one in seven, and any beyond the extremes.
func TestHeadsSearched(t *testing.T) {
	var x trial
	for i := 1; i <= 4110; i++ {
		flow := 1.0
		switch i {
		case 1:
			flow = 5
		case 2:
			flow = 0
		case 4098:
			flow = 5.1
		case 4099:
			flow = 5.1 // no more than before
		case 4103:
			flow = -0.1
		case 4104:
			flow = -0.1
		}
		want := i <= 4096 || i == 4098 || i == 4103 || i == 4102 || i == 4109 // 586 · 7 and 587 · 7
		if got := x.wanted(flow); got != want {
			t.Errorf("flow %d: %v", i, got)
		}
	}
}

// TestChangedFlow: a flow that moves by more than a billionth of itself is changed, either way, and one whose head
// moved; a step as long as the longest is none too many.
func TestChangedFlow(t *testing.T) {
	var x trial
	for _, c := range []struct {
		before, after float64
		moved         bool
		changed       int
	}{
		{1, 1, false, 0}, {1, 1 + 5e-10, false, 0}, {1, 1 + 2e-9, false, 1}, {1 + 2e-9, 1, false, 1}, {1, 1, true, 1},
		{100, 100 + 5e-8, false, 0}, {0, 0, false, 0},
	} {
		b := hand([]float64{0, 10}, []float64{9, c.before})
		b.Corrected.Flow[1] = c.after
		x = trial{}
		x.flow(b, 1, c.moved)
		if x.Changed != c.changed || !near(x.VolumeBefore, 600*c.before) || !near(x.VolumeAfter, 600*c.after) {
			t.Errorf("%+v: %d, %g and %g m³", c, x.Changed, x.VolumeBefore, x.VolumeAfter)
		}
		if x.flow(b, 0, false); x.Changed != c.changed {
			t.Errorf("%+v: the first row is changed", c)
		}
	}
}

// TestNightMinima: the lowest hourly mean of each day, of which the median is taken; of an even number the mean of the
// two in the middle.
func TestNightMinima(t *testing.T) {
	b := hand([]float64{0, 30, 60, 1440, 1440 * 3, 1440 * 3}, make([]float64, 6))
	var n nights
	for i, v := range []float64{0.2, 0.4, 0.5, 0.7, 0.1, 0.3} {
		n.add(b, i, v, 2*v)
	}
	n.close()
	n.close()
	if days, before, after := n.medians(); days != 3 || !near(before, 0.3) || !near(after, 0.6) { // 0.3, 0.7, 0.2
		t.Errorf("%d days, %g and %g", days, before, after)
	}
	n = nights{}
	for i, v := range []float64{0.2, 0.4, 0.5, 0.7} {
		n.add(b, i, v, 2*v)
	}
	n.close()
	if days, before, after := n.medians(); days != 2 || !near(before, 0.5) || !near(after, 1) { // 0.3 and 0.7
		t.Errorf("%d days, %g and %g", days, before, after)
	}
	if days, before, after := new(nights).medians(); days != 0 || before != 0 || after != 0 {
		t.Errorf("%d days, %g and %g", days, before, after)
	}
}

// TestHeadEdges: a step below, at and above each limit that heads are counted by: 1 mm below zero, zero, 0.06 m of
// validity, 0.4 m that is usual, 0.5 m at the top or, without one, three times what is usual.
func TestHeadEdges(t *testing.T) {
	for _, c := range []struct {
		head, top float64
		want      Heads
	}{
		{-0.0011, 0.5, Heads{Negative: 1}}, {-0.001, 0.5, Heads{}}, {0, 0.5, Heads{}},
		{0.001, 0.5, Heads{Low: 1, Inside: 1}}, {0.0599, 0.5, Heads{Low: 1, Inside: 1}}, {0.06, 0.5, Heads{Inside: 1}},
		{0.25, 0.5, Heads{Inside: 1}}, {0.4, 0.5, Heads{Inside: 1}}, {0.401, 0.5, Heads{Surcharged: 1, Inside: 1}},
		{0.5, 0.5, Heads{Surcharged: 1, Inside: 1}}, {0.501, 0.5, Heads{Surcharged: 1}},
		{1.199, math.Inf(1), Heads{Surcharged: 1, Inside: 1}}, {1.201, math.Inf(1), Heads{Surcharged: 1, Far: 1}},
		{-1.199, 0.5, Heads{Negative: 1}}, {-1.201, 0.5, Heads{Negative: 1, Far: 1}},
	} {
		var tally headTally
		tally.add(c.head, &settings.Segment{Usual: 0.4, Top: c.top}, 0.06, 0.001)
		c.want.Readings, c.want.Least, c.want.Median, c.want.Highest = 1, c.head, c.head, c.head
		if got := tally.heads(); got != c.want || got.Outside() != c.want.Negative+c.want.Surcharged+c.want.Low {
			t.Errorf("%g: %+v", c.head, got)
		}
	}
}
