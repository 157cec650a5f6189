package sample

import (
	"math"
	"testing"
)

// line is a series of n readings, one a minute, of heads and flows that functions give.
func line(n int, head, flow func(i int) float64) *Series {
	at, heads, flows := make([]int64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		at[i], heads[i], flows[i] = int64(i)*60e9, head(i), flow(i)
	}
	return New(at, heads, flows, 60e9, 0, 0, false)
}

// TestDelayedByHand: on a ramp of 1 mm a minute, heads of two and a half minutes ago are 2.5 mm less; those before the
// record and after a gap stay.
func TestDelayedByHand(t *testing.T) {
	s := line(20, func(i int) float64 { return float64(i) / 1000 }, func(int) float64 { return 1 })
	for i, h := range s.delayed(2.5) {
		want := float64(i)/1000 - 0.0025
		if i < 3 {
			want = s.Head[i]
		}
		if math.Abs(h-want) > 1e-12 {
			t.Errorf("%d: %v, want %v", i, h, want)
		}
	}
	s.At[10] += 3600e9 // all from here on an hour later
	for i := 11; i < 20; i++ {
		s.At[i] += 3600e9
	}
	if got := s.delayed(2.5)[10]; got != s.Head[10] {
		t.Errorf("in the gap: %v", got)
	}
}

// TestDampedByHand: a ramp of slope 1 a minute that begins at 0 comes out of a filter with a time constant of T
// minutes as t − T (1 − exp(−t/T)), which steps of any length give exactly.
func TestDampedByHand(t *testing.T) {
	s := line(30, func(i int) float64 { return float64(i) }, func(int) float64 { return 1 })
	for i, u := range s.damped(4, s.Head) {
		x := float64(i)
		if want := x - 4*(1-math.Exp(-x/4)); math.Abs(u-want) > 1e-12 {
			t.Errorf("%d: %v, want %v", i, u, want)
		}
	}
	if back := s.damped(-4, s.Head); back[29] != 29 || back[0] < 3.9 || back[0] > 4 { // ahead by T, at last
		t.Errorf("backwards: %v", back)
	}
}

// wave is heads from 0.1 to 0.3 m and back, no two waves alike.
func wave(i int) float64 { return 0.2 - 0.1*math.Cos(float64(i)*2*math.Pi/397.3) }

// TestEnds: flows that stay at 0.05 m³/s from where h^1.5 passes it on, and are none below 0.04, have these ends; those
// of a datum that is off have none.
func TestEnds(t *testing.T) {
	law := func(h float64) float64 { return math.Pow(math.Max(h, 0), 1.5) }
	s := line(2000, wave, func(i int) float64 {
		if q := law(wave(i)); q >= 0.04 {
			return math.Min(q, 0.1)
		}
		return 0
	})
	s.Measure()
	if dry := math.Pow(0.04, 1/1.5); s.Top != 0.1 || math.Abs(s.Dry-dry) > 0.002 {
		t.Errorf("top %v, dry %v, want 0.1 and %v", s.Top, s.Dry, dry)
	}
	s = line(2000, wave, func(i int) float64 { return law(wave(i) - 0.13) })
	s.Measure()
	if !math.IsInf(s.Top, 1) || !math.IsInf(s.Dry, -1) {
		t.Errorf("top %v, dry %v of a datum that is off", s.Top, s.Dry)
	}
}

// TestEdgesOfSteps: of levels rounded to a centimetre the edges between steps have the flows of their heads, to a
// tenth of a millimetre; flows that were made of the rounded levels have no edges.
func TestEdgesOfSteps(t *testing.T) {
	law := func(h float64) float64 { return math.Pow(h, 2.5) }
	rounded := func(i int) float64 { return math.Round(100*wave(i)) / 100 }
	s := line(6000, rounded, func(i int) float64 { return law(wave(i)) })
	s.Measure()
	if n := len(s.Sample.Index); n != 20 { // from 0.105 to 0.295 m
		t.Fatalf("%d edges, want 20", n)
	}
	for k, h := range s.Sample.Heads {
		if off := math.Pow(s.Sample.Flows[k], 1/2.5) - h; math.Abs(off) > 1e-4 ||
			math.Abs(100*h-math.Floor(100*h)-0.5) > 1e-6 {
			t.Errorf("edge at %.4f m: the flow is off by %.2f mm", h, 1000*off)
		}
	}
	s = line(6000, rounded, func(i int) float64 { return law(rounded(i)) })
	if s.Measure(); len(s.Sample.Index) < fewPairs {
		t.Errorf("%d pairs of flows of rounded levels", len(s.Sample.Index))
	}
}

// TestSteps: values to a centimetre have its step, values to nothing have none.
func TestSteps(t *testing.T) {
	var coarse, fine []float64
	for i := range 400 {
		coarse, fine = append(coarse, math.Round(100*wave(i))/100), append(fine, wave(i)+1e-5*float64(i))
	}
	if got := stepOf(coarse); math.Abs(got-0.01) > 1e-9 {
		t.Errorf("step %v, want 0.01", got)
	}
	if got := stepOf(fine); got != 0 {
		t.Errorf("step %v, want none", got)
	}
}

// TestAlign: a filter of 3 minutes and a delay of 5 are told apart, and from no lag.
func TestAlign(t *testing.T) {
	law := func(h float64) float64 { return math.Pow(h, 1.5) }
	plain := line(2000, wave, func(i int) float64 { return law(wave(i)) })
	if lag := plain.Align(); lag.Name != "" {
		t.Errorf("%v where there is none", lag)
	}
	late := line(2000, wave, func(i int) float64 { return law(wave(i - 5)) })
	if lag := late.Align(); lag.Name != "delay" || math.Abs(lag.Seconds-300) > 10 {
		t.Errorf("%v, want a delay of 300 s", lag)
	}
	jagged := func(i int) float64 { return wave(i) + 0.05*math.Max(0, 1-math.Mod(float64(i), 90)/20) }
	last := law(jagged(0))
	damped := line(2000, jagged, func(i int) float64 {
		last += (law(jagged(i)) - last) * (1 - math.Exp(-1.0/3))
		return last
	})
	if lag := damped.Align(); lag.Name != "damping" || math.Abs(lag.Seconds-180) > 40 {
		t.Errorf("%v, want a damping of about 180 s", lag)
	}
}
