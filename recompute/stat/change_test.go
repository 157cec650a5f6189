package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"retotal/testdata/effort"
)

// nile is the yearly flow of the Nile at Aswan 1871 to 1970, 10⁸ m³ (the classic series of change-point papers, from
// memory of the R data sets). Its level fell after 1898, the year in which the first dam was begun.
var nile = []float64{
	1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140,
	1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100,
	774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821,
	768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845,
	944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918,
	986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
}

func TestPettittOnNile(t *testing.T) {
	at, most := pettitt(nile)
	p := chance(most, len(nile), 1)
	if len(nile) != 100 || at != 28 || p > 0.0001 {
		t.Errorf("%d values: change after %d with p %v", len(nile), 1870+at, p)
	}
}

// TestRanks: ties share the mean of their ranks.
func TestRanks(t *testing.T) {
	for i, want := range []float64{2.5, 1, 2.5, 4} {
		if got := ranked([]float64{2, 1, 2, 3})[i]; got != want {
			t.Errorf("rank %d: %v, want %v", i, got, want)
		}
	}
}

// TestChanges: steps of 10 mm in series with 2 mm of noise are found within three days in nineteen of twenty series;
// noise alone gives a false change in less than one series of a hundred.
func TestChanges(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 32))
	series := func(n int, level func(int) float64) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = level(i) + 0.002*random.NormFloat64()
		}
		return out
	}
	missed, false_ := 0, 0
	for range 300 {
		list := Pettitt(series(90, func(i int) float64 {
			switch {
			case i < 30:
				return 0.1
			case i < 60:
				return 0.11
			}
			return 0.1
		}))
		if len(list) != 2 || math.Abs(float64(list[0].Index-30)) > 3 ||
			math.Abs(float64(list[1].Index-60)) > 3 || math.Abs(list[0].Size-0.01) > 0.003 {
			missed++
		}
		if len(Pettitt(series(90, func(int) float64 { return 0.1 }))) > 0 {
			false_++
		}
	}
	if missed > 15 || false_ > 3 {
		t.Errorf("%d of 300 pairs of steps were missed, %d of 300 quiet series had a change", missed, false_)
	}
}

// TestTrend: the slope of a line under noise, and none in noise alone. For 1 to 20 in order Mann-Kendall's S is 190 and
// its variance 950 (n (n−1)(2n+5)/18), so z = 189/√950 = 6.132.
func TestTrend(t *testing.T) {
	random := rand.New(rand.NewPCG(33, 34))
	line, noise := make([]float64, 20), make([]float64, 90)
	for i := range line {
		line[i] = float64(i + 1)
	}
	if got, ok := MannKendall(line); !ok || got.PerStep != 1 ||
		math.Abs(got.P-math.Erfc(189/math.Sqrt(950)/math.Sqrt2)) > 1e-15 {
		t.Errorf("%+v, %v", got, ok)
	}
	found, false_ := 0, 0
	for range 300 {
		for i := range noise {
			noise[i] = 0.002 * random.NormFloat64()
		}
		if _, ok := MannKendall(noise); ok {
			false_++
		}
		for i := range noise {
			noise[i] += 0.0001 * float64(i) // 9 mm in 90 days
		}
		if got, ok := MannKendall(noise); ok && math.Abs(got.PerStep-0.0001) < 0.00003 {
			found++
		}
	}
	if found < 295 || false_ > 3 {
		t.Errorf("%d of 300 drifts were found, %d of 300 quiet series drift", found, false_)
	}
}

// TestInflationByHand: ten values in order, by the formula; of equal values, of values that go up and down and of very
// few the inflation is 1.
func TestInflationByHand(t *testing.T) {
	// of 1 2 … 10 the ranks less their mean are −4.5 … 4.5, squares 82.5; r(1) = Σ (a)(a+1) over nine pairs: 57.75/82.5
	// = 0.7, r(2) = 34/82.5 = 0.41212 < 1.96/√10 = 0.6198. So 1 + 2·9·8·7·0.7/(10·9·8) = 1.98.
	if got := Inflation([]float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}); math.Abs(got-1.98) > 1e-12 {
		t.Errorf("ten in order: %v, want 1.98", got)
	}
	for _, values := range [][]float64{repeat(3, 30), {1, 9, 2, 8, 3, 7, 4, 6, 5}, {1, 2, 3}} {
		if got := Inflation(values); got != 1 {
			t.Errorf("%v: %v", values, got)
		}
	}
}

// TestAutocorrelated: series without a change in which every value keeps a part of the one before (autoregressive, of
// first order), and yearly seasons under noise, make no change and no trend in 98 of 100; changes of five
// standard deviations are found in 95 of 100, to three values.
func TestAutocorrelated(t *testing.T) {
	random := rand.New(rand.NewPCG(37, 38))
	const n = 365
	rounds := effort.Rounds(60, 600)
	for _, c := range []struct{ keeps, season, change float64 }{
		{0.3, 0, 5}, {0.6, 0, 5}, {0.8, 0, 0}, {0.9, 0, 0}, {0, 5, 0}, {0.5, 5, 0}, {0, 0, 5},
	} {
		changed, trends, found := 0, 0, 0
		for range rounds {
			values, x, phase := make([]float64, n), 0.0, 2*math.Pi*random.Float64()
			for i := range values {
				x = float64(c.keeps*x) + math.Sqrt(1-c.keeps*c.keeps)*random.NormFloat64()
				values[i] = x + c.season*math.Sin(2*math.Pi*float64(i)/n+phase)
			}
			if len(Pettitt(values)) > 0 {
				changed++
			}
			if _, ok := MannKendall(values); ok {
				trends++
			}
			at := n/4 + random.IntN(n/2)
			for i := at; i < n; i++ {
				values[i] += c.change
			}
			if list := Pettitt(values); len(list) == 1 && list[0].Index > at-4 && list[0].Index < at+4 {
				found++
			}
		}
		t.Logf("%+v: %d changes, %d trends, %d found of %d", c, changed, trends, found, rounds)
		if changed*50 > rounds || trends*50 > rounds || c.change > 0 && found*100 < rounds*95 {
			t.Errorf("%+v: %d changes, %d trends, %d found of %d", c, changed, trends, found, rounds)
		}
	}
}
