package odd

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"retotal/testdata/records"
)

// TestBias holds the bias by noise to the mean flow over normal noise, summed finely over ±8 standard deviations, and
// to a million draws: for Q = C h^2.5, a V-notch, and C h^1.5, a rectangle. Half of Q″ s² holds where the noise is
// small beside the head and not near zero flow, where no flow is below zero.
func TestBias(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 14))
	for _, c := range []struct {
		exponent, ratio float64 // ratio is the standard deviation over the head
		share           float64 // of the flow, by half of Q″ s²: ½ n (n−1) ratio²
		holds           bool    // that this is within a twentieth of the bias
	}{
		{2.5, 0.02, 0.00075, true},
		{2.5, 0.1, 0.01875, true},
		{2.5, 0.3, 0.16875, true},
		{1.5, 0.02, 0.00015, true},
		{1.5, 0.1, 0.00375, true},
		{1.5, 0.3, 0.03375, true},
		{2.5, 1, 1.875, false},
		{1.5, 1, 0.375, false},
		{1.5, 2, 1.5, false},
	} {
		const head = 0.2
		rating := func(h float64) float64 { return 1.4 * math.Pow(max(h, 0), c.exponent) }
		s := c.ratio * head
		fine, drawn := 0.0, 0.0
		const steps, draws = 20000, 1000000
		for i := range steps {
			z := -8 + 16*(float64(i)+0.5)/steps
			fine += rating(head+s*z) * math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) * 16 / steps
		}
		for range draws {
			drawn += rating(head+s*random.NormFloat64()) / draws
		}
		flow := rating(head)
		got, want := Bias(rating, head, s)/flow, fine/flow-1
		if tolerance := 0.05*want + 1e-9; c.ratio <= 1 && math.Abs(got-want) > tolerance {
			t.Errorf("h^%v, s = %v h: %v of the flow, summed finely %v", c.exponent, c.ratio, got, want)
		}
		if within := 5 * c.exponent * c.ratio / 1000; c.ratio <= 0.3 && math.Abs(drawn/flow-1-want) > within {
			t.Errorf("h^%v, s = %v h: drawn %v, summed finely %v", c.exponent, c.ratio, drawn/flow-1, want)
		}
		half := c.exponent * (c.exponent - 1) * c.ratio * c.ratio / 2
		if math.Abs(half-c.share) > 1e-12 || (math.Abs(half-want) <= 0.05*want) != c.holds {
			t.Errorf("h^%v, s = %v h: half of Q'' s2 is %v, the bias %v", c.exponent, c.ratio, half, want)
		}
	}
}

// TestNoiseIsWorth: what is told of noise that was put in is what it does to the volume in the mean, ½ Q″ s², to 15 %
// (the days at its ends have it in part); what it did by chance lies about that. Noise that a meter averages away is
// not told.
func TestNoiseIsWorth(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 14))
	for _, kind := range []records.Kind{records.Stream, records.Sewage, records.Damped, records.Tide} {
		r := records.Make(random, kind, 2*time.Minute, 0.001, 60*24*time.Hour)
		r.Noisy(random, 240, 0.15)
		f, truth, chance := r.Injected[0], 0.0, 0.0
		for i := f.From; i < f.Until; i++ {
			curvature := 1.38 * 2.5 * 1.5 * math.Sqrt(r.Sound[i])
			truth += curvature / 2 * f.Size * f.Size * r.Interval.Seconds()
			chance += (flow(r.Level[i]) - flow(r.Sound[i])) * r.Interval.Seconds()
		}
		found := look(r)
		if found.Noise == nil || math.Abs(found.Noise.Bias/truth-1) > 0.15 || math.Abs(chance/truth-1) > 0.4 {
			t.Errorf("%v: %+v, want a bias of %v; by chance %v", kind, found.Noise, truth, chance)
		}
		window, shown := 20, make([]float64, len(r.Level))
		for i := range r.Level { // what a meter shows that averages over 40 minutes
			for k := max(0, i-window+1); k <= i; k++ {
				shown[i] += r.Level[k] / float64(i-max(0, i-window+1)+1)
			}
		}
		r.Level = shown
		if found := look(r); found.Noise != nil && found.Noise.Bias > truth/10 {
			t.Errorf("%v, averaged: %+v", kind, found.Noise)
		}
	}
}

// course is a hand-made record every five minutes that rises and falls by 20 mm each half day around a head, with
// readings put in the place of others.
func course(days int, put func(i int, level float64) float64) Result {
	o := New(0.001, 5*time.Minute)
	o.Rating(flow)
	for i := range days * 288 {
		x := 0.3 + 0.02*math.Sin(float64(i)*math.Pi/72) + 0.001*float64(i%2)
		x = math.Round(1000*put(i, x)) / 1000
		o.Add(Reading{At: records.Begin.UnixNano() + int64(i)*int64(5*time.Minute), Level: x, Head: x, Flow: flow(x)})
	}
	return o.Finish()
}

func same(_ int, x float64) float64 { return x }

// TestDropOutEdges: drop-outs a step at and beyond what makes them some.
func TestDropOutEdges(t *testing.T) {
	drops := func(times, rows int, to, back float64) func(int, float64) float64 {
		return func(i int, x float64) float64 {
			k := i - 1000
			switch {
			case k < 0 || k/50 >= times:
				return x
			case k%50 < rows:
				return to
			case k%50 == rows:
				return x + back
			}
			return x
		}
	}
	for _, c := range []struct {
		name string
		put  func(int, float64) float64
		want int
	}{
		{"none", same, 0},
		{"five", drops(5, 2, 0, 0), 0},
		{"six", drops(6, 2, 0, 0), 1},
		{"six up", drops(6, 2, 2, 0), 1},
		{"12 readings", drops(6, 12, 0, 0), 1},
		{"13", drops(6, 13, 0, 0), 0},
		{"back to another level", drops(6, 2, 0, 0.2), 0},
		{"within what the level does", drops(6, 2, 0.275, 0), 0},
	} {
		found := course(20, c.put)
		if len(found.DropOuts) != c.want {
			t.Errorf("%s: %+v", c.name, found)
			continue
		}
		for _, d := range found.DropOuts {
			if d.Times != 6 || d.Readings%6 != 0 || d.High != (d.Head > 1) || (d.Effect > 0) != d.High {
				t.Errorf("%s: %+v", c.name, d)
			}
		}
	}
	// a quarter of the readings: this water does so
	if found := course(20, func(i int, x float64) float64 {
		if i%7 < 2 {
			return 0
		}
		return x
	}); len(found.DropOuts) > 0 {
		t.Errorf("two in seven: %+v", found.DropOuts)
	}
}

// TestFadeEdges: a slide to an end, where the level stays for six hours or longer and leaves by a jump.
func TestFadeEdges(t *testing.T) {
	fade := func(end float64, rows int, outward int) func(int, float64) float64 {
		return func(i int, x float64) float64 {
			switch k := i - 1000; {
			case k < 0 || k >= 100+rows+outward:
				return x
			case k < 100:
				return x + (end-x)*float64(k)/100
			case k < 100+rows:
				return end
			default:
				return end + (x-end)*float64(k-100-rows)/float64(outward)
			}
		}
	}
	for _, c := range []struct {
		name string
		put  func(int, float64) float64
		want int
	}{
		{"6 h", fade(1, 73, 0), 1},
		{"5 min less", fade(1, 72, 0), 0},
		{"down", fade(0, 73, 0), 1},
		{"slides back", fade(1, 73, 50), 0},
		{"a small jump", fade(0.325, 73, 0), 0},
		{"a stay with which the log begins", func(i int, x float64) float64 {
			if i < 100 {
				return 1
			}
			return x
		}, 0},
	} {
		if found := course(20, c.put); len(found.Fades) != c.want {
			t.Errorf("%s: %+v", c.name, found)
		}
	}
}

// TestBounds: what is held as a bound is no fade, no pond and no noise, however it looks.
func TestBounds(t *testing.T) {
	for _, bound := range []bool{false, true} {
		o := New(0.001, 5*time.Minute)
		o.Rating(flow)
		random := rand.New(rand.NewPCG(6, 14))
		for i := range 40 * 288 {
			x, held := 0.2+0.1*math.Sin(float64(i)*math.Pi/72), false
			if i > 3000 && i < 3000+10*288 {
				x, held = 0.4+0.05*random.NormFloat64(), bound
			}
			o.Add(Reading{
				At: records.Begin.UnixNano() + int64(i)*int64(5*time.Minute), Level: x, Head: x, Flow: flow(x),
				Bound: held,
			})
		}
		if found := o.Finish(); found.Any() == bound {
			t.Errorf("bounds %v: %+v", bound, found.told())
		}
	}
}

// TestPondEdges: a level that stands still for 48 hours, longer than it does elsewhere, where it also goes lower.
func TestPondEdges(t *testing.T) {
	stands := func(level float64, pieces int) func(int, float64) float64 {
		return func(i int, x float64) float64 {
			if k := i - 1440; k >= 0 && k < 72*pieces { // from 00:00 on
				return level
			}
			return x + 0.02*math.Sin(float64(i)*math.Pi/1000)
		}
	}
	for _, c := range []struct {
		name string
		put  func(int, float64) float64
		want int
	}{
		{"none", same, 0},
		{"48 h", stands(0.33, 8), 1},
		{"42 h", stands(0.33, 7), 0},
		{"at the lowest", stands(0.26, 8), 0},
		{"at zero", stands(0, 20), 0},
		{"10 days", stands(0.33, 40), 1},
	} {
		if found := course(40, c.put); len(found.Ponds) != c.want {
			t.Errorf("%s: %+v", c.name, found)
		}
	}
}

// TestSeasonsAreNoPonds: a season of melt has one broad crest, on which the lows of the nights stand within a step or
// two for weeks, while the level rises every day.
func TestSeasonsAreNoPonds(t *testing.T) {
	melts := map[string]func(day float64) float64{
		"the half of a sine": func(day float64) float64 { return max(0, math.Sin(2*math.Pi*(day-0.4))) },
		"a sine":             func(day float64) float64 { return (1 + math.Sin(2*math.Pi*day)) / 2 },
		"a quick recession":  func(day float64) float64 { return math.Exp(-10 * (day - math.Floor(day))) },
		"a slow recession":   func(day float64) float64 { return math.Exp(-2 * (day - math.Floor(day))) },
	}
	for name, melt := range melts {
		for _, step := range []float64{0.001, 0.002, 0.005, 0.01} {
			for _, interval := range []time.Duration{5, 15, 60} {
				for _, days := range []int{100, 150, 240} {
					random := rand.New(rand.NewPCG(10, 14))
					o := New(step, interval*time.Minute)
					o.Rating(flow)
					for i := range int(time.Duration(days) * 24 * time.Hour / (interval * time.Minute)) {
						day := float64(i) * (interval * time.Minute).Hours() / 24
						season := math.Sin(math.Pi * day / float64(days))
						x := 0.2 + season*(0.15+0.05*melt(day)) + 0.0005*random.NormFloat64()
						x = math.Round(x/step) * step
						o.Add(Reading{
							At: records.Begin.UnixNano() + int64(i)*int64(interval*time.Minute), Level: x, Head: x,
							Flow: flow(x),
						})
					}
					if found := o.Finish(); len(found.Ponds) > 0 {
						t.Errorf("%s, %v m, %d min, %d days: %+v", name, step, interval, days, found.Ponds)
					}
				}
			}
		}
	}
}

// TestEchoEdges: two surfaces are told where readings cross between them again and again, for two windows or longer, in
// a record that does so seldom or of whose surfaces one stands still.
func TestEchoEdges(t *testing.T) {
	two := func(from, windows int, other func(i int, x float64) float64, every int) func(int, float64) float64 {
		return func(i int, x float64) float64 {
			if k := i - 64*from; k >= 0 && k < 64*windows && i%every == 0 {
				return other(i, x)
			}
			return x
		}
	}
	above := func(_ int, x float64) float64 { return x + 0.3 }
	wall := func(int, float64) float64 { return 0.6 }
	for _, c := range []struct {
		name string
		put  func(int, float64) float64
		want int
	}{
		{"one window", two(20, 1, above, 4), 0},
		{"two", two(20, 2, above, 4), 1},
		{"one in eight", two(20, 4, above, 8), 1},
		{"one in nine: spikes", two(20, 4, above, 9), 0},
		{"in blocks: water that comes and goes", two(20, 4, func(i int, x float64) float64 {
			if i/16%2 == 0 {
				return x + 0.3
			}
			return x
		}, 1), 0},
		{"a pump that runs for four readings and rests for four", two(20, 4, func(i int, x float64) float64 {
			if i/4%2 == 0 {
				return x + 0.3
			}
			return x
		}, 1), 0},
		{"half of the record", two(20, 45, above, 4), 0},
		{"half of the record, from a wall", two(20, 45, wall, 4), 1},
	} {
		found := course(20, c.put)
		if len(found.Echoes) != c.want {
			t.Errorf("%s: %+v", c.name, found.Echoes)
			continue
		}
		for _, e := range found.Echoes {
			if e.ByLower >= e.Volume || e.ByUpper <= e.Volume || e.LowerStill {
				t.Errorf("%s: %+v", c.name, e)
			}
		}
	}
}

// TestUnreadable: what is no number, times that stand still and an interval of none pass without harm.
func TestUnreadable(t *testing.T) {
	o := New(0, 0)
	for _, x := range []float64{math.NaN(), math.Inf(1), 0.1, 0.1, -1e300, 1e300} {
		o.Add(Reading{Level: x, Head: x, Flow: x})
	}
	if found := o.Finish(); found.Any() {
		t.Errorf("%+v", found)
	}
}

// BenchmarkCost tells what a reading costs.
func BenchmarkCost(b *testing.B) {
	r := records.Make(rand.New(rand.NewPCG(7, 14)), records.Stream, time.Minute, 0.0005, year)
	b.ReportAllocs()
	for b.Loop() {
		look(r)
	}
	b.ReportMetric(float64(b.Elapsed())/float64(b.N)/float64(len(r.Level)), "ns/reading")
}

// TestSpikesAreNoNoise: spikes all over a day are no noise when it is known that they are spikes; normal noise is,
// whatever of it was taken for spikes.
func TestSpikesAreNoNoise(t *testing.T) {
	for _, spikes := range []bool{true, false} {
		random := rand.New(rand.NewPCG(9, 14))
		o := New(0.001, time.Minute)
		o.Rating(flow)
		for i := range 20 * 1440 {
			x, known := 0.2+0.001*random.NormFloat64(), false
			if i >= 5*1440 && i < 6*1440 {
				if known = random.Float64() < 0.06; known && spikes {
					x += 0.8*random.Float64() - 0.4
				}
				if !spikes {
					x += 0.02 * random.NormFloat64()
				}
			}
			o.Add(Reading{
				At: records.Begin.UnixNano() + int64(i)*int64(time.Minute), Level: x, Head: x, Flow: flow(x),
				Spike: known,
			})
		}
		if found := o.Finish(); (found.Noise == nil) != spikes || found.Noise != nil && found.Noise.Days != 1 {
			t.Errorf("spikes %v: %+v", spikes, found.Noise)
		}
	}
}
