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
