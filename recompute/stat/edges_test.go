package stat

import (
	"math"
	"math/rand/v2"
	"testing"
)

// repeat returns n values v.
func repeat(v float64, n int) (out []float64) {
	for range n {
		out = append(out, v)
	}
	return out
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-12*math.Max(1, math.Abs(b)) }

func TestMedian(t *testing.T) {
	for _, c := range []struct {
		values []float64
		want   float64
	}{
		{[]float64{7}, 7},
		{[]float64{3, 1}, 2},
		{[]float64{9, 1, 5}, 5},
		{[]float64{9, 1, 5, 2}, 3.5},
		{[]float64{5, 4, 3, 2, 1}, 3},
	} {
		if got := Median(c.values); got != c.want {
			t.Errorf("%v: %v, want %v", c.values, got, c.want)
		}
	}
	if got := Percentile([]float64{7}, 0.3); got != 7 {
		t.Errorf("of one value: %v", got)
	}
}

// TestStepEdges: m values on one level and m on another, without noise, give Pettitt's K = m² and p = 2 exp(−6m⁴/(8m³ +
// 4m²)) by hand: 0.01489 for seven on either side, which is less sure than 99 %, and 0.00705 for eight. Seven and nine
// give 2 exp(−6·63²/(16³ + 16²)) = 0.00841, seven and eight 0.01074.
func TestStepEdges(t *testing.T) {
	for _, c := range []struct {
		before, after int
		p             float64 // 0 where nothing is told
	}{
		{7, 7, 0}, {8, 8, 2 * math.Exp(-384.0/68)}, {7, 8, 0}, {8, 7, 0}, {7, 9, 2 * math.Exp(-6*63*63/4352.0)},
		{9, 7, 2 * math.Exp(-6*63*63/4352.0)}, {6, 13, 0}, {5, 10, 0}, {0, 30, 0},
	} {
		list := Pettitt(append(repeat(0.1, c.before), repeat(0.35, c.after)...))
		if c.p == 0 {
			if len(list) != 0 {
				t.Errorf("%d and %d values: %+v", c.before, c.after, list)
			}
			continue
		}
		if len(list) != 1 || list[0].Index != c.before || !near(list[0].Size, 0.25) ||
			!near(list[0].P, c.p) {
			t.Errorf(
				"%d and %d values: %+v, want one after %d of 0.25 with p %v",
				c.before,
				c.after,
				list,
				c.before,
				c.p,
			)
		}
	}
}

// TestManySteps: no more than twelve changes are told; each is as high as the stair that was built.
func TestManySteps(t *testing.T) {
	for levels, want := range map[int]int{1: 0, 2: 1, 4: 3, 12: 11, 13: 12, 16: 12} {
		var values []float64
		for k := range levels {
			values = append(values, repeat(float64(k*k), 20)...)
		}
		list := Pettitt(values)
		if len(list) != want {
			t.Errorf("%d levels: %d changes, want %d", levels, len(list), want)
		}
		for i, c := range list {
			if k := i + 1; levels <= 13 && (c.Index != 20*k || c.Size != float64(2*k-1)) { // k² − (k−1)²
				t.Errorf("%d levels, change %d: %+v", levels, i, c)
			}
		}
	}
}

// TestStepTie: a value half way between two levels may end the one or begin the other; the first of the equally likely
// places is told.
func TestStepTie(t *testing.T) {
	list := Pettitt(append(append(repeat(0, 12), 0.5), repeat(1, 12)...))
	if len(list) != 1 || list[0].Index != 12 {
		t.Errorf("%+v", list)
	}
}

// inverted returns 20 values that rise but for a number of inversions up to 55: every other one stands above so many of
// those that follow it. What a line leaves of them goes up and down, so nothing follows its neighbour.
func inverted(inversions int) (out []float64) {
	above := [10]int{}
	for k := 0; inversions > 0; k++ {
		if i := 9 - k%10; above[i] < 10-i {
			above[i]++
			inversions--
		}
	}
	for i, n := range above {
		out = append(out, float64(2*i+2*n)-0.5+0.02*float64(i), float64(2*i+1))
	}
	return out
}

// TestTrendEdges: of 20 values S = 190 − 2·inversions and its variance 950; 99.9 % needs z = 3.2905 (normal tables), so
// |S| − 1 ≥ 101.4: 104 is a trend, 102 is none. Fewer than 20 values are none, however straight. Pairs of equal values
// count for neither side: of 0 0 1 1 … 9 9 S is 190 − 10.
func TestTrendEdges(t *testing.T) {
	chance := func(s float64) float64 { return math.Erfc(math.Max(s-1, 0) / math.Sqrt(950) / math.Sqrt2) }
	pairs := make([]float64, 20)
	for i := range pairs {
		pairs[i] = float64(i / 2)
	}
	for _, c := range []struct {
		name   string
		values []float64
		s      float64
		ok     bool
	}{
		{"43 inversions", inverted(43), 104, true},
		{"44 inversions", inverted(44), 102, false},
		{"pairs", pairs, 180, true},
		{"standing still", repeat(3, 20), 0, false},
	} {
		for _, sign := range []float64{1, -1} {
			values := make([]float64, len(c.values))
			for i, v := range c.values {
				values[i] = sign * v
			}
			if got, ok := MannKendall(values); ok != c.ok || math.Abs(got.P-chance(c.s)) > 1e-15 {
				t.Errorf("%s, sign %v: %+v, %v; want %v", c.name, sign, got, ok, chance(c.s))
			}
		}
	}
	if got, ok := MannKendall(inverted(0)[:19]); ok || got != (Trend{}) {
		t.Errorf("19 values: %+v", got)
	}
}

// TestTrendThins: up to 800 values all are looked at, of 801 to 1,600 every second. The odd ones, which would turn the
// trend about, are then not seen.
func TestTrendThins(t *testing.T) {
	x := make([]float64, 1601)
	values := make([]float64, 1601)
	for i := range values {
		x[i], values[i] = float64(i), float64(i)
		if i%2 == 1 {
			values[i] = float64(-i)
		}
	}
	for _, c := range []struct {
		n    int
		thin bool
	}{{800, false}, {801, true}, {1600, true}} {
		got, ok := MannKendall(values[:c.n])
		if seen := ok && got.PerStep == 1; seen != c.thin {
			t.Errorf("%d values: %+v, %v", c.n, got, ok)
		}
		if seen := TheilSen(x[:c.n], values[:c.n]) == 1; seen != c.thin {
			t.Errorf("%d points: slope %v", c.n, TheilSen(x[:c.n], values[:c.n]))
		}
	}
	for i := range values { // of 1,601 every third
		values[i] = float64(i)
		if i%3 != 0 {
			values[i] = float64(-i)
		}
	}
	if got, ok := MannKendall(values); !ok || got.PerStep != 1 {
		t.Errorf("1601 values: %+v, %v", got, ok)
	}
}

// TestStraighterEdges: 0, 5 and, a step higher, 2+s, 7+s. By hand (upper half less lower half) the steps deviate by 5 +
// 5 = 10 in all, one level by 4 + 2s, so at the handicap of 0.3 a step, a judgement of our own, the edge is 13, s =
// 4.5; cut into three, 5 + 0 + 0 against 8 at two steps: the edge of 4 + 2s is 1.6 × 5, s = 2.
func TestStraighterEdges(t *testing.T) {
	values := func(s float64) []float64 { return []float64{0, 5, 2 + s, 7 + s} }
	for _, c := range []struct {
		name    string
		values  []float64
		slope   float64
		changes []Change
		want    bool
	}{
		{"below the edge", values(4.49), 0, []Change{{Index: 2}}, true},
		{"at the edge", values(4.5), 0, []Change{{Index: 2}}, false},
		{"above the edge", values(4.51), 0, []Change{{Index: 2}}, false},
		{"two steps, below", []float64{0, 5, 6.495, 6.495}, 0, []Change{{Index: 2}, {Index: 3}}, true},
		{"two steps, above", []float64{0, 5, 6.505, 6.505}, 0, []Change{{Index: 2}, {Index: 3}}, false},
		{"a line of itself", []float64{0, 1, 2, 3, 4, 5}, 1, []Change{{Index: 3}}, true},
		{"the line the other way", []float64{0, 1, 2, 3, 4, 5}, -1, []Change{{Index: 3}}, false},
		{"no steps", values(9), 0, nil, true},
	} {
		if got := Straighter(c.values, Trend{PerStep: c.slope}, c.changes); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// TestCorrelations by hand: of 1 2 3 4 and 1 3 2 4 the sums of squares are 5 and 5 and that of products 4; of 1 2 3 and
// 1 2 9 they are 2, 38 and 8, and the ranks are the same.
func TestCorrelations(t *testing.T) {
	for _, c := range []struct {
		a, b            []float64
		pearson, ranked float64
	}{
		{[]float64{1, 2, 3, 4}, []float64{1, 3, 2, 4}, 0.8, 0.8},
		{[]float64{1, 2, 3}, []float64{1, 2, 9}, 8 / math.Sqrt(76), 1},
		{[]float64{1, 2, 3}, []float64{3, 2, 1}, -1, -1},
		{[]float64{1, 2, 3}, []float64{5, 5, 5}, 0, 0},
		{[]float64{5, 5, 5}, []float64{1, 2, 3}, 0, 0},
	} {
		if p, r := Pearson(c.a, c.b), Spearman(c.a, c.b); !near(p, c.pearson) || !near(r, c.ranked) {
			t.Errorf("%v and %v: %v and %v, want %v and %v", c.a, c.b, p, r, c.pearson, c.ranked)
		}
	}
}

// TestTheilSen by hand: the slopes between (0,0), (1,1) and (2,4) are 1, 2 and 3; points above each other have none.
func TestTheilSen(t *testing.T) {
	for _, c := range []struct {
		x, y []float64
		want float64
	}{
		{[]float64{0, 1, 2}, []float64{0, 1, 4}, 2}, {[]float64{0, 0, 1}, []float64{0, 9, 4}, -0.5},
		{[]float64{1, 1}, []float64{0, 9}, 0}, {[]float64{1}, []float64{1}, 0},
	} {
		if got := TheilSen(c.x, c.y); got != c.want {
			t.Errorf("%v %v: %v, want %v", c.x, c.y, got, c.want)
		}
	}
}

// TestScatterBins: eighths of an octave from 0.1 mm on; the median's bin stands for its geometric middle. 0.1 mm itself
// counts as nothing, 0.2 mm begins the ninth bin, of two differences the smaller is the median, and what is beyond
// 110/8 octaves stands in the last.
func TestScatterBins(t *testing.T) {
	for _, c := range []struct {
		differences []float64
		octaves     float64 // from 0.1 mm to the middle of the bin; below 0 for none
	}{
		{nil, -1}, {[]float64{0}, -1}, {[]float64{1e-4}, -1}, {[]float64{1.01e-4}, 0.5 / 8},
		{[]float64{1.99e-4}, 7.5 / 8}, {[]float64{2e-4}, 8.5 / 8}, {[]float64{4.01e-4, 2.01e-4}, 8.5 / 8},
		{[]float64{4.01e-4, 2.01e-4, 4.02e-4}, 16.5 / 8}, {[]float64{0, 0, 4.01e-4}, -1}, {[]float64{10}, 110.5 / 8},
	} {
		var s Scatter
		for _, d := range c.differences {
			s.Add(d)
		}
		want := 0.0
		if c.octaves >= 0 {
			want = 1e-4 * math.Pow(2, c.octaves) / 0.6745 / math.Sqrt(6)
		}
		if got := s.Deviation(); !near(got, want) {
			t.Errorf("%v: %v, want %v", c.differences, got, want)
		}
	}
}

// TestScatterOfNormalNoise: the deviation of independent normal readings of 2 mm comes back to within half a bin, 4.4
// %.
func TestScatterOfNormalNoise(t *testing.T) {
	random := rand.New(rand.NewPCG(41, 42))
	var s Scatter
	a, b := 0.0, 0.0
	for range 20000 {
		c := 0.002 * random.NormFloat64()
		s.Add(math.Abs(a - 2*b + c))
		a, b = b, c
	}
	if got := s.Deviation(); math.Abs(got/0.002-1) > 0.05 {
		t.Errorf("%v m, want 0.002", got)
	}
}
