package device

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// all is one device of every kind.
func all(t testing.TB) map[string]Rating {
	return map[string]Rating{
		"v-notch 90":  build(t, "v-notch", map[string]any{"angle": "90 deg"}),
		"v-notch 25":  build(t, "v-notch", map[string]any{"angle": "25 deg"}),
		"suppressed":  build(t, "rectangular", map[string]any{"width": "1 m", "channel_width": "1 m", "crest_height": "0.5 m"}),
		"contracted":  build(t, "rectangular", map[string]any{"width": "0.5 m", "channel_width": "1.2 m", "crest_height": "40 cm"}),
		"cipolletti":  build(t, "cipolletti", map[string]any{"width": "2 ft"}),
		"parshall":    build(t, "parshall", map[string]any{"throat": "9 in"}),
		"power":       build(t, "power", map[string]any{"coefficient": 1.9, "exponent": 1.8, "offset": "5 mm", "head_unit": "m", "flow_unit": "m3/s"}),
		"maximum":     build(t, "maximum", map[string]any{"maximum_head": "0.3 m", "maximum_flow": "80 L/s", "exponent": 2.5}),
		"compound":    build(t, "compound", map[string]any{"angle": "90 deg", "notch_height": "0.3 m", "shoulder_width": "1.2 m"}),
		"log table":   build(t, "table", map[string]any{"interpolation": "log", "points": []any{[]any{"0.05 m", "1 L/s"}, []any{"0.2 m", "18 L/s"}, []any{"1.2 m", "900 L/s"}}}),
		"plain table": build(t, "table", map[string]any{"points": []any{[]any{"0 m", "0 L/s"}, []any{"0.2 m", "18 L/s"}, []any{"1.2 m", "900 L/s"}}}),
	}
}

// TestProperties holds every device to what a rating must be: no flow at or below zero, rising, the batch equal to the
// single call, the inverse and the derivative true to the flow.
func TestProperties(t *testing.T) {
	for name, r := range all(t) {
		var heads []float64
		for h := -0.05; h < 0.9; h += 0.0037 {
			heads = append(heads, h)
		}
		flows := make([]float64, len(heads))
		r.Flows(flows, heads)
		for i, h := range heads {
			q := r.Flow(h)
			if q != flows[i] {
				t.Errorf("%s: Flows(%v) = %v, Flow = %v", name, h, flows[i], q)
			}
			if h <= 0 && q != 0 || q < 0 || i > 0 && flows[i] < flows[i-1] {
				t.Errorf("%s: flow %v at head %v does not rise from zero", name, q, h)
			}
			if h < 0.02 {
				continue
			}
			back, ok := Head(r, q)
			if !ok || math.Abs(back-h) > 1e-9 {
				t.Errorf("%s: Head(Flow(%v)) = %v, %v", name, h, back, ok)
			}
			const step = 1e-6
			if numeric := (r.Flow(h+step) - r.Flow(h-step)) / (2 * step); math.Abs(numeric/r.Slope(h)-1) > 1e-4 && !atNode(name, h) {
				t.Errorf("%s: slope %v at %v, by difference %v", name, r.Slope(h), h, numeric)
			}
		}
		if d := r.Describe(); d.Kind == "" || d.Name == "" || d.Equation == "" || d.Source == "" {
			t.Errorf("%s describes itself without a kind, a name, an equation or a source: %+v", name, d)
		}
		if _, ok := Head(r, 1e9); ok {
			t.Errorf("%s reaches a flow of 1e9 m3/s", name)
		}
	}
}

// atNode tells the heads where a rating has a kink and no single derivative.
func atNode(name string, h float64) bool {
	return strings.Contains(name, "table") && (math.Abs(h-0.05) < 2e-6 || math.Abs(h-0.2) < 2e-6)
}

func TestAssess(t *testing.T) {
	r := build(t, "v-notch", map[string]any{"angle": "90 deg", "crest_height": "0.9 m", "channel_width": "1.8 m"})
	for _, c := range []struct {
		head float64
		want Status
	}{{-0.01, ZeroFlow}, {0, ZeroFlow}, {0.05, BelowLimit}, {0.06, Within}, {0.36, Within}, {0.37, AboveLimit}} {
		if got := Assess(r, c.head); got != c.want {
			t.Errorf("head %v: %v, want %v", c.head, got, c.want)
		}
	}
}

func TestBuildRefuses(t *testing.T) {
	for _, c := range []struct {
		kind   string
		values map[string]any
		want   string
	}{
		{"vnotch", nil, "is not a device kind"},
		{"v-notch", map[string]any{"angle": "120 deg"}, "outside its range"},
		{"v-notch", map[string]any{"angle": 90.0}, "has no unit"},
		{"v-notch", map[string]any{"angle": "90 m"}, "not an angle"},
		{"v-notch", map[string]any{}, "has no angle"},
		{"v-notch", map[string]any{"angle": "90 deg", "crest_height": "0 m"}, "not above 0"},
		{"v-notch", map[string]any{"angel": "90 deg"}, "has no key"},
		{"rectangular", map[string]any{"width": "2 m", "channel_width": "1 m", "crest_height": "1 m"}, "outside its range"},
		{"parshall", map[string]any{"throat": "0.35 m"}, "not a standard throat"},
		{"power", map[string]any{"coefficient": "2 m", "exponent": 2.5, "head_unit": "m", "flow_unit": "m3/s"}, "not a bare number"},
		{"power", map[string]any{"coefficient": 2.0, "exponent": math.NaN(), "head_unit": "m", "flow_unit": "m3/s"}, "not a finite number"},
		{"power", map[string]any{"coefficient": 2.0, "exponent": 2.5, "head_unit": "L/s", "flow_unit": "m3/s"}, "not a unit of a length"},
		{"table", map[string]any{"points": []any{[]any{"0.2 m", "1 L/s"}, []any{"0.1 m", "2 L/s"}}}, "does not rise"},
		{"table", map[string]any{}, "no points"},
	} {
		_, issues := Build(c.kind, c.values)
		found := false
		for _, i := range issues {
			found = found || strings.Contains(i.Found, c.want)
		}
		if !found {
			t.Errorf("%s %v: %+v, want %q", c.kind, c.values, issues, c.want)
		}
	}
}

// Example prints a flow of the demo notch. Kindsvater-Shen at 90°: Ce 0.578, kh 0.9 mm, h = 0.150 m gives 12.07 L/s
// (worked budget of this project's reference, computed independently).
func Example() {
	notch, _ := Build("v-notch", map[string]any{"angle": "90 deg"})
	fmt.Printf("%.2f L/s\n", notch.Flow(0.150)*1000)
	// Output: 12.07 L/s
}

func BenchmarkVNotchFlows(b *testing.B) { benchmarkFlows(b, "v-notch 90") }

func BenchmarkParshallFlows(b *testing.B) { benchmarkFlows(b, "parshall") }

func benchmarkFlows(b *testing.B, name string) {
	r := all(b)[name]
	heads, flows := make([]float64, 16384), make([]float64, 16384)
	for i := range heads {
		heads[i] = 0.05 + float64(i)/65536
	}
	for b.Loop() {
		r.Flows(flows, heads)
	}
	b.ReportMetric(float64(len(heads))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mheads/s")
}
