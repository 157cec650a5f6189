package device

import (
	"math"
	"testing"
)

// pipeRatio is Q/Qfull of a pipe at y/D by Manning, from the angle of the wetted arc: ((θ − sin θ)/2π)^(5/3)
// (2π/θ)^(2/3).
func pipeRatio(y float64) float64 {
	angle := 2 * math.Acos(1-2*y)
	return math.Pow((angle-math.Sin(angle))/(2*math.Pi), 5.0/3) * math.Pow(2*math.Pi/angle, 2.0/3)
}

// TestPipeHasTwoDepths: between full flow and 1.076 of it a pipe carries each flow at two depths; at full flow they are
// 0.8196 D and D, and the greatest flow is at 0.938 D (Chow 1959; computed here from the wetted angle).
func TestPipeHasTwoDepths(t *testing.T) {
	const d = 0.6
	r := build(t, "manning", map[string]any{
		"section": "circular", "diameter": "0.6 m", "roughness": 0.013, "slope": 0.002,
	})
	full := r.Flow(d)
	if l := r.Limits(); l.End != d || l.EndSource == "" ||
		math.Abs(l.High-0.82*d) > 1e-12 || r.Flow(2*d) != full || r.Slope(2*d) != 0 {
		t.Errorf("limits %+v, beyond the crown %v of %v", l, r.Flow(2*d), full)
	}
	for _, y := range []float64{0.3, 0.82, 0.9, 0.95, 0.99} {
		if got := r.Flow(y*d) / full; math.Abs(got/pipeRatio(y)-1) > 1e-6 {
			t.Errorf("y/D %g: %.7f of full flow, want %.7f", y, got, pipeRatio(y))
		}
	}
	if low, high, ok := Heads(r, full); !ok || math.Abs(low/d-0.8196) > 1e-4 || math.Abs(high/d-1) > 1e-6 {
		t.Errorf("full flow at %v and %v of the diameter, %v", low/d, high/d, ok)
	}
	for _, share := range []float64{1.01, 1.05, 1.0756} {
		low, high, ok := Heads(r, share*full)
		if !ok || !(low < 0.9382*d && high > 0.9382*d) ||
			math.Abs(pipeRatio(low/d)-share) > 1e-5 || math.Abs(pipeRatio(high/d)-share) > 1e-5 {
			t.Errorf("%g of full flow: depths %v and %v, %v", share, low/d, high/d, ok)
		}
		if h, ok := Head(r, share*full); !ok || h != low {
			t.Errorf("%g of full flow: least depth %v, %v", share, h, ok)
		}
	}
	if low, high, ok := Heads(r, 0.99*full); !ok || low != high {
		t.Errorf("below full flow: %v and %v, %v", low, high, ok)
	}
	if _, _, ok := Heads(r, 1.0765*full); ok {
		t.Error("a flow above the greatest has a depth")
	}
}

// TestHeadsOfOthers: one head where the flow rises, both ends of a level stretch of a table, and twin pipes at the sum
// of their flows.
func TestHeadsOfOthers(t *testing.T) {
	for name, r := range all(t) {
		if r.Limits().End < 1 {
			continue
		}
		q := r.Flow(0.1)
		if low, high, ok := Heads(r, q); !ok || low != high || math.Abs(low-0.1) > 1e-9 {
			t.Errorf("%s: %v and %v, %v", name, low, high, ok)
		}
	}
	level := build(t, "table", map[string]any{
		"points": []any{
			[]any{"0.1 m", "1 L/s"},
			[]any{"0.2 m", "5 L/s"},
			[]any{"0.3 m", "5 L/s"},
			[]any{"0.4 m", "9 L/s"},
		},
	})
	if low, high, ok := Heads(level, level.Flow(0.25)); !ok || math.Abs(low-0.2) > 1e-9 || high != 0.3 {
		t.Errorf("level stretch: %v to %v, %v", low, high, ok)
	}
	pipe := map[string]any{
		"kind": "manning", "section": "circular", "diameter": "0.6 m", "roughness": 0.013, "slope": 0.002,
	}
	twin := build(t, "side-by-side", map[string]any{"parts": []any{pipe, pipe}})
	if low, high, ok := Heads(twin, twin.Flow(0.6)*1.05); !ok ||
		math.Abs(pipeRatio(low/0.6)-1.05) > 1e-5 || math.Abs(pipeRatio(high/0.6)-1.05) > 1e-5 {
		t.Errorf("twin pipes: %v and %v, %v", low, high, ok)
	}
}

// TestBeyond: the uncertainty of the coefficient doubles at one and a half times the limit of validity.
func TestBeyond(t *testing.T) {
	r := build(t, "v-notch", map[string]any{"angle": "90 deg", "contraction": "full"})
	for _, c := range []struct{ head, want float64 }{{0.01, 1}, {0.38, 1}, {0.456, 1.4}, {0.57, 2}} {
		if got := Beyond(r, c.head); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("head %g: %v, want %v", c.head, got, c.want)
		}
	}
	if got := Beyond(build(t, "compound", kinds["compound"].example), 5); got != 1 {
		t.Errorf("a rating without a limit: %v", got)
	}
}

// TestEnds: where a structure or rating stops the flow stays; elsewhere the equation goes on above its validity.
func TestEnds(t *testing.T) {
	for _, c := range []struct {
		kind   string
		values map[string]any
		end    float64
	}{
		{"v-notch", map[string]any{"angle": "90 deg", "notch_height": "0.3 m"}, 0.3},
		{"v-notch", map[string]any{"angle": "90 deg", "notch_height": "0.3 m", "equation": "cone"}, 0.3},
		{"v-notch", map[string]any{"angle": "90 deg", "notch_height": "4 cm"}, 0.04}, // below the lowest head of validity
		{"h-flume", map[string]any{"type": "H", "depth": "1.5 ft"}, 0.4572},
		{"palmer-bowlus", map[string]any{"diameter": "0.3 m"}, 0.25}, // D less the ramp D/6
		{"table", kinds["table"].example, 0.6},
		{"throated", map[string]any{"section": "U", "diameter": "0.3 m", "throat_length": "0.6 m", "approach_section": "circular", "approach_diameter": "0.5 m", "hump": "0.1 m"}, 0.4},
	} {
		r := build(t, c.kind, c.values)
		l := r.Limits()
		if math.Abs(l.End-c.end) > 1e-9 || l.EndSource == "" ||
			l.High > l.End || l.Low > l.High || r.Flow(l.End*1.5) != r.Flow(l.End) {
			t.Errorf("%s: limits %+v, want the end at %g; %v and %v",
				c.kind, l, c.end, r.Flow(l.End), r.Flow(1.5*l.End))
		}
		q := make([]float64, 1)
		if r.Flows(q, []float64{1.5 * l.End}); q[0] != r.Flow(l.End) {
			t.Errorf("%s: the column does not end: %v", c.kind, q[0])
		}
	}
	for name, r := range all(t) {
		if l := r.Limits(); !(l.Low <= l.High && l.High <= l.End) {
			t.Errorf("%s: limits out of order: %+v", name, l)
		}
		if l := r.Limits(); math.IsInf(l.End, 1) &&
			!math.IsInf(l.High, 1) && !(r.Flow(1.2*l.High) > r.Flow(l.High)*1.1) {
			t.Errorf("%s: the equation stops at its limit of validity", name)
		}
	}
}

// TestContractionLimitsAreClaimed: the limits of full contraction bind only a notch that claims it.
func TestContractionLimitsAreClaimed(t *testing.T) {
	for _, c := range []struct {
		values map[string]any
		want   float64
	}{
		{map[string]any{"angle": "90 deg", "contraction": "full"}, 0.38},
		{map[string]any{"angle": "90 deg", "contraction": "full", "crest_height": "0.9 m", "channel_width": "1.5 m"}, 0.30}, // h/B 0.2
		{map[string]any{"angle": "90 deg"}, 0.60},
		{map[string]any{"angle": "90 deg", "crest_height": "0.4 m"}, 0.48},                           // h/p 1.2
		{map[string]any{"angle": "90 deg", "crest_height": "0.6 m", "channel_width": "1.1 m"}, 0.44}, // h/B 0.4
		{map[string]any{"angle": "60 deg", "crest_height": "0.6 m"}, 0.21},                           // h/p 0.35
		{map[string]any{"angle": "60 deg"}, 0.60},
	} {
		l := build(t, "v-notch", c.values).Limits()
		if math.Abs(l.High-c.want) > 1e-9 || l.HighSource == "" || !math.IsInf(l.End, 1) {
			t.Errorf("%v: %+v, want %g", c.values, l, c.want)
		}
	}
}

// TestHeadNear: whatever the guess, the head found is that of Head; flows out of reach give the end of the rating, and
// none or less gives zero.
func TestHeadNear(t *testing.T) {
	for name, r := range all(t) {
		top := math.Min(r.Limits().End, 1.5)
		for i := 1; i < 20; i++ {
			q := r.Flow(top * float64(i) / 20)
			want, ok := Head(r, q)
			for _, guess := range []float64{0, 1e-6, top / 3, top, 50} {
				got := HeadNear(r, q, guess)
				if ok && math.Abs(r.Flow(got)-r.Flow(want)) > 1e-9*q && math.Abs(got-want) > 1e-9 { // at a jump, either
					t.Errorf("%s: %v from %v is at %v, Head says %v", name, q, guess, got, want)
				}
			}
		}
		if end := r.Limits().End; !math.IsInf(end, 1) && HeadNear(r, 1e9, 0.1) != end {
			t.Errorf("%s: a flow out of reach is not at %v", name, end)
		}
		if HeadNear(r, 0, 0.2) != 0 || HeadNear(r, -1, 0.2) != 0 {
			t.Errorf("%s: no flow has a head", name)
		}
	}
}
