package device

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// TestEquationsByHand writes the equations of the doc comments out again, in plain arithmetic, and holds the devices to them over a range of heads; where the approach has no width the head is the energy head.
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
		{"v-notch", map[string]any{"angle": "60 deg", "equation": "cone"}, []float64{0.06, 0.2}, func(h float64) float64 {
			s := math.Tan(math.Pi / 6)
			return (0.025 + 2.462*s) * pow(h/0.3048, 2.5-0.0195/pow(s, 0.75)) * cubicFoot
		}},
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
		{"broad-crested", map[string]any{"width": "1 m", "crest_length": "0.6 m", "crest_height": "0.5 m"}, []float64{0.078336}, // H/L of 0.130557 in Bos' table: C 0.848511
			func(h float64) float64 { return unit * 0.848511 * pow(h, 1.5) }},
		{"round-nosed", map[string]any{"width": "1 m", "crest_length": "1 m", "crest_height": "0.5 m", "nose_radius": "0.1 m"}, []float64{0.06, 0.3, 0.5},
			func(h float64) float64 { return unit * (1 - 0.006*0.9) * pow(1-0.003*0.9/h, 1.5) * pow(h, 1.5) }},
		{"triangular-profile", map[string]any{"width": "1 m", "crest_height": "0.3 m"}, []float64{0.06, 0.5, 1}, func(h float64) float64 { return 1.163 * unit * pow(h-0.0003, 1.5) }},
		{"flat-v", map[string]any{"cross_slope": 20.0, "v_height": "0.2 m", "crest_height": "0.3 m"}, []float64{0.05, 0.2, 0.5}, func(h float64) float64 {
			he, z := h-0.0005, 1.0
			if he > 0.2 {
				z = 1 - pow(1-0.2/he, 2.5)
			}
			return 0.8 * 0.620 * math.Sqrt(g) * 20 * z * pow(he, 2.5)
		}},
		{"flat-v", map[string]any{"cross_slope": 10.0, "v_height": "0.2 m", "crest_height": "0.3 m"}, []float64{0.1}, func(h float64) float64 { return 0.8 * 0.615 * math.Sqrt(g) * 10 * pow(h-0.0008, 2.5) }},
		{"flat-v", map[string]any{"cross_slope": 15.0, "v_height": "0.2 m", "crest_height": "0.3 m"}, []float64{0.1}, func(h float64) float64 { return 0.8 * 0.6175 * math.Sqrt(g) * 15 * pow(h-0.00065, 2.5) }},
		{"flat-v", map[string]any{"cross_slope": 30.0, "v_height": "0.2 m", "crest_height": "0.3 m"}, []float64{0.1}, func(h float64) float64 { return 0.8 * 0.6225 * math.Sqrt(g) * 30 * pow(h-0.00045, 2.5) }},
		{"flat-v", map[string]any{"cross_slope": 40.0, "v_height": "0.2 m", "crest_height": "0.3 m"}, []float64{0.1}, func(h float64) float64 { return 0.8 * 0.625 * math.Sqrt(g) * 40 * pow(h-0.0004, 2.5) }},
		{"throated", map[string]any{"width": "0.3 m", "throat_length": "0.6 m"}, []float64{0.05, 0.2, 0.3},
			func(h float64) float64 {
				return unit * (1 - 0.006*0.6/0.3) * pow(1-0.003*0.6/h, 1.5) * 0.3 * pow(h, 1.5)
			}},
		{"trapezoidal", map[string]any{"width": "0 m", "side_slope": 1.5, "throat_length": "0.5 m"}, []float64{0.1, 0.2}, // a V: critical depth 4/5 H, A = m y², T = 2 m y
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
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "full", "crest_height": "0.5 m"}, 0.06, 0.2, inf},                                // h/p 0.4
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "partial", "crest_height": "0.3 m", "channel_width": "1 m"}, 0.06, 0.345, inf},   // h/p 1.15 at p/B 0.3
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "partial", "crest_height": "0.5 m", "channel_width": "1 m"}, 0.06, 0.325, inf},   // the lesser of 1.0 and 0.65 beside p/B 0.5
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "partial", "crest_height": "0.7 m", "channel_width": "1 m"}, 0.06, 0.35, inf},    // 0.65 and 0.5
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "partial", "crest_height": "0.9 m", "channel_width": "1 m"}, 0.06, 0.36, inf},    // 0.5 and 0.4
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "partial", "crest_height": "0.35 m", "channel_width": "1 m"}, 0.06, 0.35, inf},   // 1.15 and 1.0
		{"v-notch", map[string]any{"angle": "90 deg", "contraction": "partial", "crest_height": "0.15 m", "channel_width": "1 m"}, 0.06, 0.1725, inf}, // 1.15
		{"rectangular", map[string]any{"width": "0.4 m", "channel_width": "1 m", "crest_height": "0.5 m"}, 0.03, 1, inf},                              // h/p 2
		{"rectangular", map[string]any{"equation": "rehbock", "width": "1 m", "channel_width": "1 m", "crest_height": "0.5 m"}, 0.03, 0.5, inf},
		{"rectangular", map[string]any{"equation": "rehbock", "width": "1 m", "channel_width": "1 m", "crest_height": "0.9 m"}, 0.03, 0.75, inf},
		{"rectangular", map[string]any{"equation": "francis", "width": "0.9 m", "channel_width": "3 m", "crest_height": "1 m"}, 0.06, 0.3, inf},
		{"cipolletti", map[string]any{"width": "0.6 m"}, 0.06, 0.2, inf},
		{"broad-crested", map[string]any{"width": "1 m", "crest_length": "0.5 m", "crest_height": "2 m"}, 0.06, 0.75, inf},  // H/L 1.5
		{"broad-crested", map[string]any{"width": "1 m", "crest_length": "2 m", "crest_height": "0.65 m"}, 0.16, 0.35, inf}, // H/L 0.08, h/(h+p) 0.35
		{"round-nosed", map[string]any{"width": "1 m", "crest_length": "1 m", "crest_height": "0.5 m", "nose_radius": "0.1 m"}, 0.06, 0.57, inf},
		{"round-nosed", map[string]any{"width": "1 m", "crest_length": "2 m", "crest_height": "0.3 m", "nose_radius": "0.1 m"}, 0.1, 0.45, inf},
		{"triangular-profile", map[string]any{"width": "1 m", "crest_height": "0.3 m"}, 0.06, 1.05, inf},
		{"flat-v", map[string]any{"cross_slope": 20.0, "v_height": "0.2 m", "crest_height": "0.3 m"}, 0.03, 0.75, inf},
		{"throated", map[string]any{"width": "0.3 m", "throat_length": "0.6 m"}, 0.05, 0.3, inf}, // H/L 0.5
		{"throated", map[string]any{"width": "0.3 m", "throat_length": "1.4 m"}, 0.07, 0.7, inf}, // 0.05 L
		{"throated", map[string]any{"width": "0.1 m", "throat_length": "0.8 m"}, 0.05, 0.3, inf}, // h/b 3
		{"throated", map[string]any{"width": "1 m", "throat_length": "6 m"}, 0.3, 2, inf},        // 2 m
		{"palmer-bowlus", map[string]any{"diameter": "0.3 m"}, 0.03, 0.22, 0.25},                 // 0.1 D; 0.9 D less the ramp D/6
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

// TestRangesOfDimensions: the least and the greatest value that a key may have are taken, and what lies beyond is refused.
func TestRangesOfDimensions(t *testing.T) {
	for _, c := range []struct {
		kind, key     string
		taken, beyond []any
	}{
		{"v-notch", "angle", []any{"20 deg", "100 deg", "120 deg"}, []any{"19.9 deg", "120.1 deg"}},
		{"rectangular", "crest_height", []any{"0.10 m", "100 m"}, []any{"0.0999 m", "100.1 m"}},
		{"cipolletti", "width", []any{"0.15 m", "100 m"}, []any{"0.1499 m", "100.1 m"}},
		{"flat-v", "cross_slope", []any{10.0, 40.0}, []any{9.99, 40.01}},
		{"manning", "roughness", []any{0.005, 0.3}, []any{0.00499, 0.3001}},
		{"manning", "slope", []any{1e-7, 0.5}, []any{0.9e-7, 0.501}},
		{"power", "exponent", []any{0.1, 5.0}, []any{0.0999, 5.001}},
		{"maximum", "exponent", []any{0.1, 5.0}, []any{0.0999, 5.001}},
		{"power", "modular_limit", []any{0.0, 1.0}, []any{-0.001, 1.001}},
		{"throated", "coefficient", []any{0.5, 1.2}, []any{0.499, 1.201}},
		{"broad-crested", "coefficient", []any{0.3, 2.0}, []any{0.299, 2.001}},
		{"flat-v", "coefficient", []any{0.5, 0.8}, []any{0.499, 0.801}},
		{"throated", "exit_expansion", []any{3.0, 1000.0}, []any{2.99, 1001.0}},
		{"trapezoidal", "side_slope", []any{0.01, 20.0}, []any{0.0099, 20.1}},
		{"compound", "crest_coefficient", []any{0.5, 5.0}, []any{0.499, 5.01}},
		{"compound", "notch_height", []any{"0.01 m", "10 m"}, []any{"0.0099 m", "10.01 m"}},
		{"palmer-bowlus", "throat_length", []any{"0.01 m", "10 m"}, []any{"0.00999 m", "100.1 m"}},
		{"palmer-bowlus", "throat_slope", []any{0.0, 10.0}, []any{-0.01, 10.1}},
	} {
		for i, list := range [][]any{c.taken, c.beyond} {
			for _, v := range list {
				values := map[string]any{}
				for k, x := range kinds[c.kind].example {
					values[k] = x
				}
				if c.kind == "v-notch" {
					values = map[string]any{}
				}
				values[c.key] = v
				refused := false
				_, issues := Build(c.kind, values)
				for _, issue := range issues {
					refused = refused || issue.Key == c.key
				}
				if refused != (i == 1) {
					t.Errorf("%s, %s = %v: refused %v (%+v)", c.kind, c.key, v, refused, issues)
				}
			}
		}
	}
}

// TestNearSizes: a throat within half a per cent of a standard size is that size.
func TestNearSizes(t *testing.T) {
	for _, c := range []struct {
		kind, key, within, beyond string
		values                    map[string]any
	}{
		{"parshall", "throat", "1.00499 ft", "1.00501 ft", nil}, {"parshall", "throat", "0.99501 ft", "0.99499 ft", nil}, {"parshall", "throat", "1.80899 m", "1.80901 m", nil},
		{"h-flume", "depth", "1.50749 ft", "1.50751 ft", map[string]any{"type": "H"}}, {"cutthroat", "throat", "2.00999 in", "2.01001 in", map[string]any{"length": "18 in"}},
		{"cutthroat", "length", "18.0899 in", "18.0901 in", map[string]any{"throat": "2 in"}},
	} {
		for text, taken := range map[string]bool{c.within: true, c.beyond: false} {
			values := map[string]any{c.key: text}
			for k, v := range c.values {
				values[k] = v
			}
			if _, issues := Build(c.kind, values); (len(issues) == 0) != taken {
				t.Errorf("%s %s: %+v", c.kind, text, issues)
			}
		}
	}
	for feet, want := range map[string]string{"9.9 ft": `kind = "power" with`, "10.2 ft": "coefficient = 40.11, exponent = 1.6,", "49 ft": "coefficient = 183.2, exponent = 1.6,", "51 ft": `kind = "power" with`,
		"7.5 ft": "coefficient = 30, exponent = 1.604,", "8.1 ft": `kind = "power" with`, "1.1 ft": "coefficient = 4.4, exponent = 1.526,", "0.9 ft": `kind = "power" with`} {
		if _, issues := Build("parshall", map[string]any{"throat": feet}); len(issues) != 1 || !strings.Contains(issues[0].Remedy, want) {
			t.Errorf("%s: %+v, want %q", feet, issues, want)
		}
	}
}

// TestAssessEdges: a head at a limit is within it, as far as the residue of arithmetic goes.
func TestAssessEdges(t *testing.T) {
	r := build(t, "manning", map[string]any{"section": "circular", "diameter": "0.5 m", "roughness": 0.013, "slope": 0.002}) // valid to 0.41 m, full at 0.5
	for h, want := range map[float64]Status{0: ZeroFlow, 1e-6: Within, 0.41: Within, 0.41 * (1 + 0.9e-9): Within, 0.41 * (1 + 1.1e-9): AboveLimit, 0.5: AboveLimit, 0.5 * (1 + 1.1e-9): NotComputable} {
		if got := Assess(r, h); got != want {
			t.Errorf("head %.12g: %v, want %v", h, got, want)
		}
	}
	v := build(t, "v-notch", map[string]any{"angle": "90 deg"})
	for h, want := range map[float64]Status{0.06: Within, 0.06 * (1 - 0.9e-9): Within, 0.06 * (1 - 1.1e-9): BelowLimit, -1: ZeroFlow} {
		if got := Assess(v, h); got != want {
			t.Errorf("notch, head %.12g: %v, want %v", h, got, want)
		}
	}
}

// TestJoins: two segments that step by 5 % where they meet are refused beyond that, and from 0.5 % on are told.
func TestJoins(t *testing.T) {
	for factor, want := range map[float64]string{1.0049: "", 1.0051: "told", 0.9949: "told", 1.0499: "told", 1.0501: "refused", 0.9499: "refused", 0.9501: "told"} {
		segments := []any{map[string]any{"from": "0 m", "coefficient": 2.0, "exponent": 1.5}, map[string]any{"from": "0.5 m", "coefficient": 2.0 * factor, "exponent": 1.5}}
		r, issues := Build("segments", map[string]any{"head_unit": "m", "flow_unit": "m3/s", "segments": segments})
		got := ""
		if len(issues) > 0 {
			got = "refused"
		} else if len(r.Describe().Advice) > 0 {
			got = "told"
			if q := r.Flow(0.5) / r.Flow(0.5-1e-12); math.Abs(q/factor-1) > 1e-9 {
				t.Errorf("the join steps by %v, not %v", q, factor)
			}
		}
		if got != want {
			t.Errorf("a step of %g: %q, want %q", factor, got, want)
		}
	}
}

// TestNarrowEdges: what makes a weir suppressed, a chart usable, or an approach too narrow, a step below, at and above.
func TestNarrowEdges(t *testing.T) {
	k := 3.33 * math.Sqrt(0.3048) * math.Pow(0.3, 1.5)
	for width, ends := range map[string]float64{"0.998 m": 2, "0.999 m": 2, "0.9991 m": 0, "1 m": 0} { // full width from 0.1 % less on (common practice)
		b, _ := strconv.ParseFloat(strings.Fields(width)[0], 64)
		r := build(t, "rectangular", map[string]any{"equation": "francis", "width": width, "channel_width": "1 m", "crest_height": "1 m"})
		if got, want := r.Flow(0.3), k*(b-0.1*ends*0.3); math.Abs(got/want-1) > 1e-12 {
			t.Errorf("%s of 1 m: %v, by hand with %g contractions %v", width, got, ends, want)
		}
	}
	for height, taken := range map[string]bool{"0.0999 m": false, "0.1 m": true, "1 m": true, "1.001 m": false} { // p/B of the chart from 0.1 to 1
		if _, issues := Build("v-notch", map[string]any{"angle": "90 deg", "contraction": "partial", "crest_height": height, "channel_width": "1 m"}); (len(issues) == 0) != taken {
			t.Errorf("p/B %s: %+v", height, issues)
		}
	}
	for angle, taken := range map[string]bool{"89.49 deg": false, "89.51 deg": true, "90.49 deg": true, "90.51 deg": false} { // the chart is for 90 deg
		if _, issues := Build("v-notch", map[string]any{"angle": angle, "contraction": "partial", "crest_height": "0.4 m", "channel_width": "1 m"}); (len(issues) == 0) != taken {
			t.Errorf("%s: %+v", angle, issues)
		}
	}
	for width, taken := range map[string]bool{"0.2999 m": false, "0.3 m": true, "0.31 m": true} { // a throat of 0.3 m over a hump
		if _, issues := Build("throated", map[string]any{"width": "0.3 m", "throat_length": "0.6 m", "hump": "0.2 m", "channel_width": width}); (len(issues) == 0) != taken {
			t.Errorf("an approach of %s: %+v", width, issues)
		}
	}
}

// TestCutthroatDrowned: Cs (hu − hd)^n / (−log10 S)^ns in ft and ft³/s with the user's Cs and ns, to S = 0.95; by hand at hu 1 ft, hd 0.8 ft: 2.03 × 0.2^1.84 / 0.09691^1.38.
func TestCutthroatDrowned(t *testing.T) {
	r := build(t, "cutthroat", map[string]any{"length": "36 in", "throat": "8 in", "drowned_coefficient": 2.03, "drowned_exponent": 1.38})
	q, spread, ok := r.(Drownable).Drowned(0.3048, 0.8*0.3048)
	if want := 2.03 * math.Pow(0.2, 1.84) / math.Pow(0.09691001, 1.38) * cubicFoot; !ok || math.Abs(q/want-1) > 1e-6 || spread != 0.10 {
		t.Errorf("%v, %v, %v; want %v", q, spread, ok, want)
	}
	if _, _, ok := r.(Drownable).Drowned(0.3048, 0.9501*0.3048); ok {
		t.Error("known above 0.95")
	}
}

// TestCutthroatModular: the limit goes by the nearest of the lengths 18, 36, 54 and 108 in: from 27, 45 and 81 in on by the next.
func TestCutthroatModular(t *testing.T) {
	for length, want := range map[string]float64{"26.95 in": 0.60, "27.05 in": 0.65, "44.95 in": 0.65, "45.05 in": 0.70, "80.95 in": 0.70, "81.05 in": 0.80} {
		r := build(t, "cutthroat", map[string]any{"length": length, "throat": "8 in", "coefficient": 3.0, "exponent": 1.8})
		if got, _ := r.(Drownable).ModularLimit(); got != want {
			t.Errorf("%s: %v, want %v", length, got, want)
		}
	}
}

// TestNames: what a report calls a device is in the units that it says.
func TestNames(t *testing.T) {
	for kind, want := range map[string]string{"maximum": "0.4 m at 65 L/s"} {
		r := build(t, kind, map[string]any{"maximum_head": "0.4 m", "maximum_flow": "65 L/s", "exponent": 1.5})
		if name := r.Describe().Name; !strings.Contains(name, want) {
			t.Errorf("%s: %q", kind, name)
		}
	}
}

// TestToldDimensions: an assumed dimension is told in its unit, an approach by what it has, and a segment by its number.
func TestToldDimensions(t *testing.T) {
	assumed := strings.Join(build(t, "palmer-bowlus", map[string]any{"diameter": "0.3 m"}).Describe().Assumed, "; ")
	for _, want := range []string{"throat_width = 0.125 m is", "throat_ramp = 0.05 m is", "throat_slope = 0.5 is", "throat_length = 0.3 m is"} {
		if !strings.Contains(assumed, want) {
			t.Errorf("%q lacks %q", assumed, want)
		}
	}
	for shape, want := range map[string]string{"rectangular": "channel_width", "trapezoidal": "channel_width approach_side_slope", "U": "approach_diameter", "circular": "approach_diameter"} {
		values := map[string]any{"width": "0.2 m", "throat_length": "0.6 m", "approach_section": shape, "hump": "0.05 m"}
		for key, v := range map[string]any{"channel_width": "0.5 m", "approach_side_slope": 1.0, "approach_diameter": "0.6 m"} {
			if strings.Contains(want, key) {
				values[key] = v
			}
		}
		var got []string
		for _, c := range build(t, "throated", values).Describe().Dimensions {
			if strings.HasPrefix(c.Name, "approach_") && c.Name != "approach_section" || c.Name == "channel_width" {
				got = append(got, c.Name)
			}
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s: %v, want %s", shape, got, want)
		}
	}
	segment := func(from string, c float64) any {
		return map[string]any{"from": from, "coefficient": c, "exponent": 1.5}
	}
	for bad, rows := range map[string][]any{"segment 1 ": {segment("0 m", -1), segment("0.5 m", 2)}, "segment 2 ": {segment("0.5 m", 2), segment("0.5 m", 2)}} {
		_, issues := Build("segments", map[string]any{"head_unit": "m", "flow_unit": "m3/s", "segments": rows})
		if len(issues) == 0 || !strings.Contains(issues[0].Found, bad) {
			t.Errorf("%+v, want %q", issues, bad)
		}
	}
}
