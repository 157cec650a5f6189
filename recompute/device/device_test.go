package device

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// all is a device of every kind, and variants of some.
func all(t testing.TB) map[string]Rating {
	out := map[string]Rating{}
	for _, k := range All() {
		if _, issues := Build(k.Name, k.Example); len(issues) > 0 || k.Sentence == "" {
			t.Fatalf("the example of %s does not build: %+v", k.Name, issues)
		}
		out[k.Name] = k.Rating
	}
	for name, v := range map[string]map[string]any{
		"v-notch claimed": {"kind": "v-notch", "angle": "90 deg", "contraction": "full"},
		"v-notch 120":     {"kind": "v-notch", "angle": "120 deg", "notch_height": "0.35 m"},
		"parshall 1 ft":   {"kind": "parshall", "throat": "1 ft"},
		"parshall 2.5 ft": {"kind": "parshall", "throat": "2.5 ft"},
		"parshall 0.30 m": {"kind": "parshall", "throat": "0.30 m"},
		"parshall 20 ft":  {"kind": "parshall", "throat": "20 ft"},
		"throated in a pipe": {
			"kind":              "throated",
			"section":           "U",
			"diameter":          "0.3 m",
			"throat_length":     "0.6 m",
			"approach_section":  "circular",
			"approach_diameter": "0.45 m",
			"hump":              "5 cm",
			"exit_expansion":    6.0,
		},
		"profile gauged": {
			"kind":          "triangular-profile",
			"equation":      "gauged",
			"width":         "1 m",
			"channel_width": "1 m",
			"crest_height":  "0.3 m",
		},
		"power modular": {
			"kind":          "power",
			"coefficient":   2.0,
			"exponent":      1.5,
			"head_unit":     "m",
			"flow_unit":     "m3/s",
			"modular_limit": 0.6,
		},
		"cutthroat drowned": {
			"kind":                "cutthroat",
			"length":              "36 in",
			"throat":              "8 in",
			"drowned_coefficient": 2.03,
			"drowned_exponent":    1.38,
		},
		"v-notch 25": {"kind": "v-notch", "angle": "25 deg"},
		"v-notch partial": {
			"kind":          "v-notch",
			"angle":         "90 deg",
			"contraction":   "partial",
			"crest_height":  "0.4 m",
			"channel_width": "0.8 m",
		},
		"v-notch cone": {"kind": "v-notch", "angle": "90 deg", "equation": "cone"},
		"suppressed":   {"kind": "rectangular", "width": "1 m", "channel_width": "1 m", "crest_height": "0.5 m"},
		"rehbock": {
			"kind":          "rectangular",
			"equation":      "rehbock",
			"width":         "1 m",
			"channel_width": "1 m",
			"crest_height":  "0.5 m",
		},
		"francis": {
			"kind": "rectangular", "equation": "francis", "width": "1 m", "channel_width": "3 m", "crest_height": "1 m",
		},
		"parshall rounded": {"kind": "parshall", "throat": "1 ft", "set": "rounded"},
		"parshall metric":  {"kind": "parshall", "throat": "0.75 m"},
		"throated trapezoid": {
			"kind":          "throated",
			"section":       "trapezoidal",
			"width":         "0.2 m",
			"side_slope":    1.0,
			"throat_length": "0.8 m",
			"channel_width": "1.5 m",
		},
		"throated U": {
			"kind":          "throated",
			"section":       "U",
			"diameter":      "0.3 m",
			"throat_length": "0.6 m",
			"channel_width": "0.5 m",
			"hump":          "5 cm",
		},
		"manning trapezoid": {
			"kind":       "manning",
			"section":    "trapezoidal",
			"width":      "1 m",
			"side_slope": 1.5,
			"roughness":  0.03,
			"slope":      0.001,
		},
		"manning U": {"kind": "manning", "section": "U", "diameter": "0.5 m", "roughness": 0.015, "slope": 0.003},
		"flat-v 1:40": {
			"kind": "flat-v", "cross_slope": 40.0, "v_height": "0.1 m", "crest_height": "0.3 m", "channel_width": "8 m",
		},
		"plain table": {
			"kind":   "table",
			"points": []any{[]any{"0 m", "0 L/s"}, []any{"0.2 m", "18 L/s"}, []any{"1.2 m", "900 L/s"}},
		},
		"log table": {
			"kind":          "table",
			"interpolation": "log",
			"points":        []any{[]any{"0.05 m", "1 L/s"}, []any{"0.2 m", "18 L/s"}, []any{"1.2 m", "900 L/s"}},
		},
	} {
		kind := v["kind"].(string)
		delete(v, "kind")
		out[name] = build(t, kind, v)
	}
	return out
}

// TestProperties holds every device to what a rating must be within its limits: no flow at or below zero, rising
// without a step, the batch equal to the single call, the inverse and the derivative true to the flow.
func TestProperties(t *testing.T) {
	for name, r := range all(t) {
		var heads []float64
		limits := r.Limits()
		top := math.Min(math.Min(limits.High, limits.End), 0.9)
		for i := -20; i <= 400; i++ {
			heads = append(heads, float64(i)*top/400)
		}
		flows := make([]float64, len(heads))
		r.Flows(flows, heads)
		for i, h := range heads {
			q := r.Flow(h)
			if q != flows[i] {
				t.Errorf("%s: Flows(%v) = %v, Flow = %v", name, h, flows[i], q)
			}
			if h <= 0 && q != 0 || !(q >= 0) || i > 0 && flows[i] < flows[i-1] {
				t.Errorf("%s: flow %v at head %v does not rise from zero", name, q, h)
			}
			if h < math.Max(0.02, limits.Low) || h > 0.999*top {
				continue
			}
			back, ok := Head(r, q)
			if !ok || math.Abs(back-h) > 1e-9 {
				t.Errorf("%s: Head(Flow(%v)) = %v, %v", name, h, back, ok)
			}
			step := 1e-6
			if numeric := (r.Flow(h+step) - r.Flow(h-step)) / (2 * step); math.Abs(numeric/r.Slope(h)-1) > 2e-4 &&
				!atNode(name, h) {
				t.Errorf("%s: slope %v at %v, by difference %v", name, r.Slope(h), h, numeric)
			}
			if jump := (r.Flow(h+1e-7) - q) / q; jump > 1e-4 && name != "segments" {
				t.Errorf("%s: the flow steps by %v at %v", name, jump, h)
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

// TestTabulated compares the devices behind a table with their own equation, at heads between the nodes.
func TestTabulated(t *testing.T) {
	for _, k := range []struct{ kind, key, value string }{
		{"throated", "throat_length", "0.6 m"},
		{"palmer-bowlus", "diameter", "12 in"},
		{"broad-crested", "crest_length", "0.6 m"},
		{"round-nosed", "nose_radius", "0.1 m"},
		{"triangular-profile", "width", "1 m"},
		{"manning", "diameter", "0.6 m"},
	} {
		r := build(t, k.kind, kinds[k.kind].example).(*Formula)
		low, high := r.limits.Low, math.Min(r.limits.High, 1)
		worst := 0.0
		for i := range 4000 {
			h := low + (high-low)*(float64(i)+0.37)/4000
			worst = math.Max(worst, math.Abs(r.flow(h)/r.exact(h)-1))
		}
		if worst > tableError || worst == 0 {
			t.Errorf("%s: %v of the flow off its equation", k.kind, worst)
		}
	}
}

// TestUnits: the same device in other units is the same.
func TestUnits(t *testing.T) {
	for _, c := range []struct {
		kind string
		a, b map[string]any
	}{
		{"rectangular", map[string]any{"width": "0.5 m", "channel_width": "1.2 m", "crest_height": "0.4 m"}, map[string]any{"width": "500 mm", "channel_width": "120 cm", "crest_height": "400 mm"}},
		{"throated", map[string]any{"width": "1 ft", "throat_length": "2 ft", "channel_width": "2 ft"}, map[string]any{"width": "12 in", "throat_length": "0.6096 m", "channel_width": "60.96 cm"}},
		{"v-notch", map[string]any{"angle": "90 deg"}, map[string]any{"angle": "1.5707963267948966 rad"}},
		{"power", map[string]any{"coefficient": 1.0, "exponent": 2.5, "head_unit": "m", "flow_unit": "m3/s"}, map[string]any{"coefficient": 1000 * math.Pow(0.3048, 2.5), "exponent": 2.5, "head_unit": "ft", "flow_unit": "L/s"}},
	} {
		a, b := build(t, c.kind, c.a), build(t, c.kind, c.b)
		for _, h := range []float64{0.07, 0.15, 0.3} {
			if x, y := a.Flow(h), b.Flow(h); math.Abs(x/y-1) > 1e-7 {
				t.Errorf("%s at %v m: %v and %v", c.kind, h, x, y)
			}
		}
	}
}

// atNode tells the heads where a rating has a kink and no single derivative.
func atNode(name string, h float64) bool {
	return strings.Contains(name, "table") && (math.Abs(h-0.05) < 2e-6 || math.Abs(h-0.2) < 2e-6) ||
		strings.HasPrefix(name, "v-notch partial") ||
		name == "segments" && math.Abs(h-0.3) < 2e-6 ||
		(name == "compound" || name == "side-by-side") && math.Abs(h-0.3) < 2e-6
}

func TestAssess(t *testing.T) {
	r := build(t, "v-notch", map[string]any{
		"angle": "90 deg", "crest_height": "0.9 m", "channel_width": "1.8 m", "contraction": "full",
	})
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
		{"v-notch", map[string]any{"angle": "121 deg"}, "outside its range"},
		{"v-notch", map[string]any{"angle": "120 deg", "equation": "kindsvater-shen"}, "outside its range"},
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

func BenchmarkVNotchFlows(b *testing.B) { benchmarkFlows(b, "v-notch") }

func BenchmarkParshallFlows(b *testing.B) { benchmarkFlows(b, "parshall") }

func BenchmarkThroatedFlows(b *testing.B) { benchmarkFlows(b, "throated") }

func BenchmarkManningFlows(b *testing.B) { benchmarkFlows(b, "manning") }

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
