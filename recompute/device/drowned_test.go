package device

import (
	"math"
	"testing"
)

// TestDrownedOfEveryKind: free up to the modular limit, never above free flow, falling with the downstream head, and
// only a bound where no equation holds and when the water stands higher below the device than above it.
func TestDrownedOfEveryKind(t *testing.T) {
	const h = 0.2
	silent := map[string]bool{
		"power": true, "segments": true, "maximum": true, "table": true, "plain table": true, "log table": true,
	}
	for name, r := range all(t) {
		d := r.(Drownable)
		modular, source := d.ModularLimit()
		if known := !math.IsInf(modular, 1); known == silent[name] ||
			known && (source == "" || modular < 0 || modular > 1) {
			t.Errorf("%s: modular limit %v, source %q", name, modular, source)
		}
		free, last := r.Flow(h), math.Inf(1)
		for s := -0.1; s < 1.3; s += 0.01 {
			q, spread, ok := d.Drowned(h, s*h)
			if !(q >= 0 && q <= free) || q > last*(1+1e-12) || spread < 0 || spread > 1 {
				t.Errorf("%s at S = %.2f: %v (free %v, before %v), spread %v", name, s, q, free, last, spread)
			}
			if s <= math.Min(modular, 1) && s <= 0 && (q != free || !ok || spread != 0) ||
				s > 0 && s <= modular && !silent[name] && (q != free || !ok) {
				t.Errorf("%s at S = %.2f below its modular limit %v: %v of %v, %v", name, s, modular, q, free, ok)
			}
			if s > 1.001 && ok {
				t.Errorf("%s answers at S = %.2f", name, s)
			}
			last = q
		}
		if q, _, _ := d.Drowned(-0.1, 0.3); q != 0 {
			t.Errorf("%s: %v flows at a head below zero", name, q)
		}
	}
}

// TestParshallAboveItsEquation: 1 ft at ha = 0.2 m. Free: 0.6909 × 0.2^1.522 = 59.65 L/s. At S = 0.90 by hand in feet,
// ha = 0.65617: QE = (ha/(2^1.8 − 2.45))^1.744 + 0.0837 = 0.5376 ft³/s, so 44.42 L/s; 3.11 × 0.065617^1.52 /
// 0.041357^1.08 = 1.5455 ft³/s, 43.76 L/s; mean 44.09. Above 0.90 nothing better is known than that the flow lies
// between 0 and that.
func TestParshallAboveItsEquation(t *testing.T) {
	r := build(t, "parshall", map[string]any{"throat": "1 ft"})
	at, spread, ok := r.(Drownable).Drowned(0.2, 0.18)
	if !ok || math.Abs(at-0.04409) > 3e-5 || spread != 0.05 || math.Abs(r.Flow(0.2)-0.05965) > 2e-5 {
		t.Errorf("S = 0.90: %.5f, spread %v, %v; free %.5f", at, spread, ok, r.Flow(0.2))
	}
	for _, s := range []float64{0.901, 0.95, 1, 1.2} {
		if q, _, ok := r.(Drownable).Drowned(0.2, 0.2*s); ok || math.Abs(q/at-1) > 1e-9 {
			t.Errorf("S = %g: %.5f, %v, want at most %.5f", s, q, ok, at)
		}
	}
}

// TestDrownedByHand holds single drowned flows to a computation by hand.
func TestDrownedByHand(t *testing.T) {
	for _, c := range []struct {
		kind   string
		values map[string]any
		h, hd  float64
		want   float64 // of free flow
		ok     bool
	}{
		// Villemonte 1947: (1 − 0.5^1.5)^0.385
		{"rectangular", kinds["rectangular"].example, 0.2, 0.1, 0.845386, true},
		{"v-notch", kinds["v-notch"].example, 0.2, 0.1, 0.927843, true}, // (1 − 0.5^2.5)^0.385
		// left at 0.95: (1 − 0.925945)^0.385
		{"rectangular", kinds["rectangular"].example, 0.2, 0.2, 0.367094, false},
		// read table: halfway from 0.95 at 0.85 to 0.90 at 0.90
		{"broad-crested", kinds["broad-crested"].example, 0.2, 0.175, 0.925, true},
		{"broad-crested", kinds["broad-crested"].example, 0.2, 0.199, 0.80, false}, // left at 0.95
		// S = 0.75, below 0.82 of the table
		{"round-nosed", kinds["round-nosed"].example, 0.2, 0.15, 1, true},
		// 1.035 (0.817 − 0.6561)^0.0647
		{"triangular-profile", kinds["triangular-profile"].example, 0.2, 0.18, 0.91961, true},
		{"triangular-profile", kinds["triangular-profile"].example, 0.2, 0.199, 0.409045, false}, // 8.686 − 8.403 × 0.985
		{"flat-v", kinds["flat-v"].example, 0.2, 0.15, 1, false},
		{"h-flume", kinds["h-flume"].example, 0.2, 0.06, 1, false},
		{"montana", kinds["montana"].example, 0.2, 0.01, 1, false},
		{"cutthroat", kinds["cutthroat"].example, 0.2, 0.15, 1, false},
		{"throated", kinds["throated"].example, 0.2, 0.14, 1, false},
		{"palmer-bowlus", kinds["palmer-bowlus"].example, 0.1, 0.09, 1, false},
		{"manning", kinds["manning"].example, 0.2, 0.21, 1, false},
		{"power", map[string]any{"coefficient": 1.0, "exponent": 2.0, "head_unit": "m", "flow_unit": "m3/s", "modular_limit": 0.6}, 0.2, 0.13, 1, false},
	} {
		r := build(t, c.kind, c.values)
		q, _, ok := r.(Drownable).Drowned(c.h, c.hd)
		if got := q / r.Flow(c.h); ok != c.ok || math.Abs(got-c.want) > 1e-5 {
			t.Errorf("%s at %g and %g m: %.6f of free flow, %v; want %.6f, %v",
				c.kind, c.h, c.hd, got, ok, c.want, c.ok)
		}
	}
}
