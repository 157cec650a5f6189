package records

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// TestTruth: levels are whole steps; a reading differs from the sound one only within a fault that was put in, by about
// its size; and every kind of fault is put in as often as asked, each away from the others.
func TestTruth(t *testing.T) {
	random := rand.New(rand.NewPCG(41, 14))
	for _, kind := range Kinds() {
		r := Make(random, kind, 5*time.Minute, 0.002, 60*24*time.Hour)
		r.Spikes(random, 20, 10)
		r.Stick(random, 3)
		count := map[Cause]int{}
		inside := make([]bool, len(r.Level))
		for i, f := range r.Injected {
			count[f.Cause]++
			for k := f.From; k < f.Until; k++ {
				off := math.Abs(r.Level[k] - r.Sound[k])
				if f.Cause != Stuck && math.Abs(off-f.Size) > 0.5*f.Size+r.Resolution {
					t.Errorf("%v, %+v: %v off", kind, f, off)
				}
				if f.Cause == Stuck && r.Level[k] != r.Sound[f.From-1] {
					t.Errorf("%v, %+v: %v is not %v", kind, f, r.Level[k], r.Sound[f.From-1])
				}
				inside[k] = true
			}
			for _, other := range r.Injected[:i] {
				if f.From < other.Until+margin && other.From < f.Until+margin {
					t.Errorf("%v: %+v beside %+v", kind, f, other)
				}
			}
		}
		if count[LoneSpike] != 20 || count[SpikeRun] != 10 || count[Stuck] != 3 {
			t.Errorf("%v: %v", kind, count)
		}
		for k, x := range r.Level {
			if x != r.Sound[k] && !inside[k] {
				t.Errorf("%v: reading %d is off without a fault", kind, k)
			}
			if steps := x / r.Resolution; math.Abs(steps-math.Round(steps)) > 1e-6 {
				t.Errorf("%v: %v m is no whole step", kind, x)
			}
		}
	}
}

// TestMoves: a step stays, a drift grows.
func TestMoves(t *testing.T) {
	random := rand.New(rand.NewPCG(42, 14))
	for _, put := range []func(*Record){
		func(r *Record) { r.Move(random, 0.1) }, func(r *Record) { r.Creep(random, 0.1) },
	} {
		r := Make(random, Stream, 15*time.Minute, 0.001, 90*24*time.Hour)
		put(r)
		f := r.Injected[0]
		last := len(r.Level) - 1
		if f.Until != len(r.Level) || math.Abs(f.Size-0.1) > 1e-9 || math.Abs(r.Level[last]-r.Sound[last]-0.1) > 0.002 {
			t.Errorf("%+v: %v", f, r.Level[last]-r.Sound[last])
		}
		if r.Level[f.From-1] != r.Sound[f.From-1] {
			t.Errorf("%+v: off before it", f)
		}
		first := r.Level[f.From] - r.Sound[f.From]
		if f.Cause == Step && first < 0.098 || f.Cause == Drift && first > 0.002 {
			t.Errorf("%+v: begins with %v", f, first)
		}
	}
}

// TestSpells: faults of a spell change readings within it alone, in whole steps, and are of the size they say.
func TestSpells(t *testing.T) {
	random := rand.New(rand.NewPCG(43, 14))
	for _, c := range []struct {
		cause Cause
		put   func(*Record)
		least float64 // share of the readings of the spell that differ
		most  float64
	}{
		{Flickering, func(r *Record) { r.Flicker(random, 48, 20, true) }, 0.05, 0.2},
		{Flickering, func(r *Record) { r.Flicker(random, 48, 20, false) }, 0.05, 0.2},
		{Fading, func(r *Record) { r.Fade(random, 48, true) }, 0.95, 1},
		{Fading, func(r *Record) { r.Fade(random, 48, false) }, 0.95, 1},
		{Ponded, func(r *Record) { r.Pond(random, 240, 0.9) }, 0.1, 1},
		{TwoSurfaces, func(r *Record) { r.TwoEchoes(random, 48, 0.3, 0.4, true) }, 0.3, 0.5},
		{TwoSurfaces, func(r *Record) { r.TwoEchoes(random, 48, 0.3, 0.4, false) }, 0.3, 0.5},
		{Noisier, func(r *Record) { r.Noisy(random, 48, 0.1) }, 0.9, 1},
	} {
		r := Make(random, Stream, 5*time.Minute, 0.001, 60*24*time.Hour)
		c.put(r)
		if len(r.Injected) != 1 || r.Injected[0].Cause != c.cause || r.Injected[0].Size < 0 {
			t.Errorf("%v: %+v", c.cause, r.Injected)
			continue
		}
		f, differ := r.Injected[0], 0
		for i, x := range r.Level {
			inside := i >= f.From && i < f.Until
			if x != r.Sound[i] && !inside {
				t.Errorf("%+v: reading %d is off outside it", f, i)
			}
			if steps := x / r.Resolution; math.Abs(steps-math.Round(steps)) > 1e-6 {
				t.Errorf("%+v: %v m is no whole step", f, x)
			}
			if x != r.Sound[i] {
				differ++
			}
		}
		if share := float64(differ) / float64(f.Until-f.From); share < c.least || share > c.most {
			t.Errorf("%+v: %v of its readings differ", f, share)
		}
	}
}
