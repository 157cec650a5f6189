package device

import (
	"math"
	"strings"
	"testing"
)

// TestEquationsByHand writes the equations of the doc comments out again, in plain arithmetic, and holds the devices to
// them over a range of heads; where the approach has no width the head is the energy head.
func TestEquationsByHand(t *testing.T) {
	const g = 9.80665
	unit := math.Pow(2.0/3, 1.5) * math.Sqrt(g)
	pow := math.Pow
	for _, c := range []struct {
		kind   string
		values map[string]any
		heads  []float64
		flow   func(h float64) float64
	}{
		{"v-notch", map[string]any{"angle": "90 deg"}, []float64{0.06, 0.2, 0.4}, func(h float64) float64 {
			ce := 0.607165052 - 0.000874466963*90 + 6.10393334e-6*8100
			kh := (0.0144902648 - 0.00033955535*90 + 3.29819003e-6*8100 - 1.06215442e-8*729000) * 0.3048
			return 8.0 / 15 * ce * math.Sqrt(2*g) * pow(h+kh, 2.5)
		}},
		{"v-notch", map[string]any{"angle": "90 deg", "equation": "cone"}, []float64{0.06, 0.2}, func(h float64) float64 { return 2.49 * pow(h/0.3048, 2.48) * cubicFoot }},
		{
			"v-notch", map[string]any{"angle": "60 deg", "equation": "cone"}, []float64{0.06, 0.2},
			func(h float64) float64 {
				s := math.Tan(math.Pi / 6)
				return (0.025 + 2.462*s) * pow(h/0.3048, 2.5-0.0195/pow(s, 0.75)) * cubicFoot
			},
		},
		{"rectangular", map[string]any{"width": "0.4 m", "channel_width": "1 m", "crest_height": "0.5 m"}, []float64{0.05, 0.3, 0.6},
			func(h float64) float64 {
				return 2.0 / 3 * (0.591 + 0.0058*h/0.5) * math.Sqrt(2*g) * 0.4027 * pow(h+0.001, 1.5)
			}},
		{"rectangular", map[string]any{"equation": "rehbock", "width": "1 m", "channel_width": "1 m", "crest_height": "0.5 m"}, []float64{0.05, 0.3},
			func(h float64) float64 { return 2.0 / 3 * (0.602 + 0.083*h/0.5) * math.Sqrt(2*g) * pow(h+0.0012, 1.5) }},
		{"rectangular", map[string]any{"equation": "francis", "width": "1 m", "channel_width": "3 m", "crest_height": "1 m"}, []float64{0.1, 0.3},
			func(h float64) float64 { return 3.33 * math.Sqrt(0.3048) * (1 - 0.2*h) * pow(h, 1.5) }},
		{"rectangular", map[string]any{"equation": "francis", "width": "1 m", "channel_width": "1 m", "crest_height": "1 m"}, []float64{0.1, 0.3},
			func(h float64) float64 { return 3.33 * math.Sqrt(0.3048) * pow(h, 1.5) }},
		{"rectangular", map[string]any{"equation": "francis", "width": "1 m", "channel_width": "3 m", "crest_height": "1 m", "contractions": 1.0}, []float64{0.1, 0.3},
			func(h float64) float64 { return 3.33 * math.Sqrt(0.3048) * (1 - 0.1*h) * pow(h, 1.5) }},
		{"cipolletti", map[string]any{"width": "0.6 m"}, []float64{0.06, 0.2}, func(h float64) float64 { return 3.367 * 0.6 * math.Sqrt(0.3048) * pow(h, 1.5) }},
		{"compound", map[string]any{"notch_coefficient": 1.37, "notch_height": "0.3 m", "shoulder_width": "1.2 m"}, []float64{0.2, 0.3, 0.5},
			func(h float64) float64 {
				over := math.Max(h-0.3, 0)
				return 1.37*(pow(h, 2.5)-pow(over, 2.5)) + 3.33*math.Sqrt(0.3048)*1.2*pow(over, 1.5)
			}},
		// H/L of 0.130557 in Bos' table: C 0.848511
		{"broad-crested", map[string]any{"width": "1 m", "crest_length": "0.6 m", "crest_height": "0.5 m"}, []float64{0.078336},
			func(h float64) float64 { return unit * 0.848511 * pow(h, 1.5) }},
		{"round-nosed", map[string]any{"width": "1 m", "crest_length": "1 m", "crest_height": "0.5 m", "nose_radius": "0.1 m"}, []float64{0.06, 0.3, 0.5},
			func(h float64) float64 { return unit * (1 - 0.006*0.9) * pow(1-0.003*0.9/h, 1.5) * pow(h, 1.5) }},
		{"triangular-profile", map[string]any{"width": "1 m", "crest_height": "0.3 m"}, []float64{0.06, 0.5, 1}, func(h float64) float64 { return 1.163 * unit * pow(h-0.0003, 1.5) }},
		{
			"flat-v", map[string]any{"cross_slope": 20.0, "v_height": "0.2 m", "crest_height": "0.3 m"},
			[]float64{0.05, 0.2, 0.5}, func(h float64) float64 {
				he, z := h-0.0005, 1.0
				if he > 0.2 {
					z = 1 - pow(1-0.2/he, 2.5)
				}
				return 0.8 * 0.620 * math.Sqrt(g) * 20 * z * pow(he, 2.5)
			},
		},
		{"flat-v", map[string]any{"cross_slope": 10.0, "v_height": "0.2 m", "crest_height": "0.3 m"}, []float64{0.1}, func(h float64) float64 { return 0.8 * 0.615 * math.Sqrt(g) * 10 * pow(h-0.0008, 2.5) }},
		{"flat-v", map[string]any{"cross_slope": 15.0, "v_height": "0.2 m", "crest_height": "0.3 m"}, []float64{0.1}, func(h float64) float64 { return 0.8 * 0.6175 * math.Sqrt(g) * 15 * pow(h-0.00065, 2.5) }},
		{"flat-v", map[string]any{"cross_slope": 30.0, "v_height": "0.2 m", "crest_height": "0.3 m"}, []float64{0.1}, func(h float64) float64 { return 0.8 * 0.6225 * math.Sqrt(g) * 30 * pow(h-0.00045, 2.5) }},
		{"flat-v", map[string]any{"cross_slope": 40.0, "v_height": "0.2 m", "crest_height": "0.3 m"}, []float64{0.1}, func(h float64) float64 { return 0.8 * 0.625 * math.Sqrt(g) * 40 * pow(h-0.0004, 2.5) }},
		{"throated", map[string]any{"width": "0.3 m", "throat_length": "0.6 m"}, []float64{0.05, 0.2, 0.3},
			func(h float64) float64 {
				return unit * (1 - 0.006*0.6/0.3) * pow(1-0.003*0.6/h, 1.5) * 0.3 * pow(h, 1.5)
			}},
		// a V: critical depth 4/5 H, A = m y², T = 2 m y
		{"trapezoidal", map[string]any{"width": "0 m", "side_slope": 1.5, "throat_length": "0.5 m"}, []float64{0.1, 0.2},
			func(h float64) float64 {
				return pow(1-0.003*0.5/h, 1.5) * pow(0.8, 2.5) * math.Sqrt(g/2) * 1.5 * pow(h, 2.5)
			}},
		{"manning", map[string]any{"section": "rectangular", "width": "2 m", "roughness": 0.02, "slope": 0.001}, []float64{0.1, 0.5},
			func(h float64) float64 { return math.Sqrt(0.001) / 0.02 * 2 * h * pow(2*h/(2+2*h), 2.0/3) }},
		{"manning", map[string]any{"section": "trapezoidal", "width": "1 m", "side_slope": 1.5, "roughness": 0.03, "slope": 0.002}, []float64{0.1, 0.5},
			func(h float64) float64 {
				a := (1 + 1.5*h) * h
				return math.Sqrt(0.002) / 0.03 * a * pow(a/(1+2*h*math.Sqrt(3.25)), 2.0/3)
			}},
		{"manning", map[string]any{"section": "U", "diameter": "0.4 m", "roughness": 0.015, "slope": 0.003}, []float64{0.2, 0.5},
			func(h float64) float64 {
				a, p := math.Pi*0.02+0.4*(h-0.2), math.Pi*0.2+2*(h-0.2)
				return math.Sqrt(0.003) / 0.015 * a * pow(a/p, 2.0/3)
			}},
		{"manning", map[string]any{"section": "circular", "diameter": "0.4 m", "roughness": 0.013, "slope": 0.002}, []float64{0.2, 0.4},
			func(h float64) float64 {
				return math.Sqrt(0.002) / 0.013 * math.Pi * 0.04 * (h - 0) / 0.4 * pow(0.1, 2.0/3)
			}}, // half full and full have the radius D/4
		{"maximum", map[string]any{"maximum_head": "0.5 m", "maximum_flow": "100 L/s", "exponent": 1.55}, []float64{0.1, 0.4}, func(h float64) float64 { return 0.1 * pow(h/0.5, 1.55) }},
		{"power", map[string]any{"coefficient": 12.5, "exponent": 1.7, "offset": "0.02 m", "head_unit": "ft", "flow_unit": "ft3/s"}, []float64{0.1, 0.4},
			func(h float64) float64 { return 12.5 * pow((h-0.02)/0.3048, 1.7) * cubicFoot }},
		{"table", map[string]any{"points": []any{[]any{"0.1 m", "4 L/s"}, []any{"0.3 m", "20 L/s"}, []any{"0.4 m", "50 L/s"}}}, []float64{0.05, 0.1, 0.2, 0.3, 0.35, 0.4, 0.6},
			func(h float64) float64 {
				switch {
				case h < 0.1:
					return 0.004 * h / 0.1
				case h < 0.3:
					return 0.004 + 0.016*(h-0.1)/0.2
				case h < 0.4:
					return 0.02 + 0.03*(h-0.3)/0.1
				}
				return 0.05
			}},
		{"table", map[string]any{"interpolation": "log", "offset": "0.02 m", "points": []any{[]any{"0.1 m", "4 L/s"}, []any{"0.3 m", "20 L/s"}}}, []float64{0.1, 0.2, 0.3},
			func(h float64) float64 { return 0.004 * pow((h-0.02)/0.08, math.Log(5)/math.Log(3.5)) }},
	} {
		r := build(t, c.kind, c.values)
		for _, h := range c.heads {
			if got, want := r.Flow(h), c.flow(h); math.Abs(got/want-1) > 2e-7 {
				t.Errorf("%s %v at %g m: %.9g, by hand %.9g", c.kind, c.values, h, got, want)
			}
		}
		if r.Flow(0) != 0 || r.Flow(-0.1) != 0 || r.Slope(0) != 0 || r.Slope(-0.1) != 0 {
			t.Errorf("%s: %v flows at no head, slope %v", c.kind, r.Flow(0), r.Slope(0))
		}
	}
}

// TestLimitsByHand: between which heads each device is valid, by hand from the limits in its doc comment.
func TestLimitsByHand(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		kind           string
		values         map[string]any
		low, high, end float64
	}{
		{"v-notch", map[string]any{"angle": "90 deg", "equation": "cone"}, 0.06096, 0.381, inf},
		// h/p 0.4
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "full", "crest_height": "0.5 m"}, 0.06, 0.2, inf},
		// h/p 1.15 at p/B 0.3
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "partial", "crest_height": "0.3 m", "channel_width": "1 m"}, 0.06, 0.345, inf},
		// the lesser of 1.0 and 0.65 beside p/B 0.5
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "partial", "crest_height": "0.5 m", "channel_width": "1 m"}, 0.06, 0.325, inf},
		// 0.65 and 0.5
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "partial", "crest_height": "0.7 m", "channel_width": "1 m"}, 0.06, 0.35, inf},
		// 0.5 and 0.4
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "partial", "crest_height": "0.9 m", "channel_width": "1 m"}, 0.06, 0.36, inf},
		// 1.15 and 1.0
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "partial", "crest_height": "0.35 m", "channel_width": "1 m"}, 0.06, 0.35, inf},
		// 1.15
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "partial", "crest_height": "0.15 m", "channel_width": "1 m"}, 0.06, 0.1725, inf},
		// h/p 2
		{"rectangular", map[string]any{"width": "0.4 m", "channel_width": "1 m", "crest_height": "0.5 m"}, 0.03, 1, inf},
		{"rectangular", map[string]any{"equation": "rehbock", "width": "1 m", "channel_width": "1 m", "crest_height": "0.5 m"}, 0.03, 0.5, inf},
		{"rectangular", map[string]any{"equation": "rehbock", "width": "1 m", "channel_width": "1 m", "crest_height": "0.9 m"}, 0.03, 0.75, inf},
		{"rectangular", map[string]any{"equation": "francis", "width": "0.9 m", "channel_width": "3 m", "crest_height": "1 m"}, 0.06, 0.3, inf},
		{"cipolletti", map[string]any{"width": "0.6 m"}, 0.06, 0.2, inf},
		// H/L 1.5
		{"broad-crested", map[string]any{"width": "1 m", "crest_length": "0.5 m", "crest_height": "2 m"}, 0.06, 0.75, inf},
		// H/L 0.08, h/(h+p) 0.35
		{"broad-crested", map[string]any{"width": "1 m", "crest_length": "2 m", "crest_height": "0.65 m"}, 0.16, 0.35, inf},
		{"round-nosed", map[string]any{"width": "1 m", "crest_length": "1 m", "crest_height": "0.5 m", "nose_radius": "0.1 m"}, 0.06, 0.57, inf},
		{"round-nosed", map[string]any{"width": "1 m", "crest_length": "2 m", "crest_height": "0.3 m", "nose_radius": "0.1 m"}, 0.1, 0.45, inf},
		{"triangular-profile", map[string]any{"width": "1 m", "crest_height": "0.3 m"}, 0.06, 1.05, inf},
		{"flat-v", map[string]any{"cross_slope": 20.0, "v_height": "0.2 m", "crest_height": "0.3 m"}, 0.03, 0.75, inf},
		{"throated", map[string]any{"width": "0.3 m", "throat_length": "0.6 m"}, 0.05, 0.3, inf}, // H/L 0.5
		{"throated", map[string]any{"width": "0.3 m", "throat_length": "1.4 m"}, 0.07, 0.7, inf}, // 0.05 L
		{"throated", map[string]any{"width": "0.1 m", "throat_length": "0.8 m"}, 0.05, 0.3, inf}, // h/b 3
		{"throated", map[string]any{"width": "1 m", "throat_length": "6 m"}, 0.3, 2, inf},        // 2 m
		// 0.1 D; 0.9 D less the ramp D/6
		{"palmer-bowlus", map[string]any{"diameter": "0.3 m"}, 0.03, 0.22, 0.25},
		{"manning", map[string]any{"section": "circular", "diameter": "0.4 m", "roughness": 0.013, "slope": 0.002}, 0, 0.328, 0.4},
		{"maximum", map[string]any{"maximum_head": "0.5 m", "maximum_flow": "100 L/s", "exponent": 1.5}, 0, 0.5, inf},
	} {
		l := build(t, c.kind, c.values).Limits()
		for k, x := range [][2]float64{{l.Low, c.low}, {l.High, c.high}, {l.End, c.end}} {
			if x[0] != x[1] && !(math.Abs(x[0]-x[1]) < 1e-9) {
				t.Errorf("%s %v: limit %d is %v, by hand %v", c.kind, c.values, k, x[0], x[1])
			}
		}
	}
}

// TestNothingIsNoCoefficient: what must be above 0 is refused at 0; a side contraction of just 0.10 m meets its limit
// whatever the residue of 1.0 - 0.8.
func TestNothingIsNoCoefficient(t *testing.T) {
	for _, c := range []float64{0, -1e-10} {
		if _, issues := Build("power", map[string]any{
			"coefficient": c, "exponent": 1.5, "head_unit": "m", "flow_unit": "m3/s",
		}); len(issues) == 0 {
			t.Errorf("a coefficient of %g was taken", c)
		}
	}
	if r, issues := Build("rectangular", map[string]any{
		"width": "0.8 m", "channel_width": "1 m", "crest_height": "0.4 m",
	}); len(issues) > 0 {
		t.Error(issues)
	} else {
		for _, text := range r.Describe().Advice {
			if strings.Contains(text, "side contraction") {
				t.Error(text)
			}
		}
	}
}
