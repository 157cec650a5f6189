package device

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// TestRangesOfDimensions: the least and the greatest value that a key may have are taken, and what lies beyond is
// refused.
func TestRangesOfDimensions(t *testing.T) {
	for _, c := range []struct {
		kind, key     string
		taken, beyond []any
	}{
		{"v-notch", "angle", []any{"20 deg", "100 deg", "120 deg"}, []any{"19.9 deg", "120.1 deg"}},
		{"rectangular", "crest_height", []any{"0.10 m", "100 m"}, []any{"0.0999 m", "100.1 m"}},
		{"rectangular", "width", []any{"0.15 m"}, []any{"0.1499 m"}},
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
		{"parshall", "throat", "1.00499 ft", "1.00501 ft", nil},
		{"parshall", "throat", "0.99501 ft", "0.99499 ft", nil},
		{"parshall", "throat", "1.80899 m", "1.80901 m", nil},
		{"h-flume", "depth", "1.50749 ft", "1.50751 ft", map[string]any{"type": "H"}},
		{"cutthroat", "throat", "2.00999 in", "2.01001 in", map[string]any{"length": "18 in"}},
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
	for feet, want := range map[string]string{
		"9.9 ft":  `kind = "power" with`,
		"10.2 ft": "coefficient = 40.11, exponent = 1.6,",
		"49 ft":   "coefficient = 183.2, exponent = 1.6,",
		"51 ft":   `kind = "power" with`,
		"7.5 ft":  "coefficient = 30, exponent = 1.604,",
		"8.1 ft":  `kind = "power" with`,
		"1.1 ft":  "coefficient = 4.4, exponent = 1.526,",
		"0.9 ft":  `kind = "power" with`,
	} {
		if _, issues := Build("parshall", map[string]any{"throat": feet}); len(issues) != 1 ||
			!strings.Contains(issues[0].Remedy, want) {
			t.Errorf("%s: %+v, want %q", feet, issues, want)
		}
	}
}

// TestAssessEdges: a head at a limit is within it, as far as the residue of arithmetic goes.
func TestAssessEdges(t *testing.T) {
	r := build(
		t,
		"manning",
		map[string]any{"section": "circular", "diameter": "0.5 m", "roughness": 0.013, "slope": 0.002},
	) // valid to 0.41 m, full at 0.5
	for h, want := range map[float64]Status{
		0:                   ZeroFlow,
		1e-6:                Within,
		0.41:                Within,
		0.41 * (1 + 0.9e-9): Within,
		0.41 * (1 + 1.1e-9): AboveLimit,
		0.5:                 AboveLimit,
		0.5 * (1 + 1.1e-9):  NotComputable,
	} {
		if got := Assess(r, h); got != want {
			t.Errorf("head %.12g: %v, want %v", h, got, want)
		}
	}
	v := build(t, "v-notch", map[string]any{"angle": "90 deg"})
	for h, want := range map[float64]Status{
		0.06: Within, 0.06 * (1 - 0.9e-9): Within, 0.06 * (1 - 1.1e-9): BelowLimit, -1: ZeroFlow,
	} {
		if got := Assess(v, h); got != want {
			t.Errorf("notch, head %.12g: %v, want %v", h, got, want)
		}
	}
}

// TestJoins: two segments that step by 5 % where they meet are refused beyond that, and from 0.5 % on are told.
func TestJoins(t *testing.T) {
	for factor, want := range map[float64]string{
		1.0049: "", 1.0051: "told", 0.9949: "told", 1.0499: "told", 1.0501: "refused",
		0.9499: "refused", 0.9501: "told",
	} {
		segments := []any{
			map[string]any{"from": "0 m", "coefficient": 2.0, "exponent": 1.5},
			map[string]any{"from": "0.5 m", "coefficient": 2.0 * factor, "exponent": 1.5},
		}
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
	// full width from 0.1 % less on (common practice)
	for width, ends := range map[string]float64{"0.998 m": 2, "0.999 m": 2, "0.9991 m": 0, "1 m": 0} {
		b, _ := strconv.ParseFloat(strings.Fields(width)[0], 64)
		r := build(
			t,
			"rectangular",
			map[string]any{"equation": "francis", "width": width, "channel_width": "1 m", "crest_height": "1 m"},
		)
		if got, want := r.Flow(0.3), k*(b-0.1*ends*0.3); math.Abs(got/want-1) > 1e-12 {
			t.Errorf("%s of 1 m: %v, by hand with %g contractions %v", width, got, ends, want)
		}
	}
	// p/B of the chart from 0.1 to 1
	for height, taken := range map[string]bool{"0.0999 m": false, "0.1 m": true, "1 m": true, "1.001 m": false} {
		if _, issues := Build("v-notch", map[string]any{
			"angle": "90 deg", "contraction": "partial", "crest_height": height, "channel_width": "1 m",
		}); (len(issues) == 0) != taken {
			t.Errorf("p/B %s: %+v", height, issues)
		}
	}
	// the chart is for 90 deg
	for angle, taken := range map[string]bool{
		"89.49 deg": false, "89.51 deg": true, "90.49 deg": true, "90.51 deg": false,
	} {
		if _, issues := Build("v-notch", map[string]any{
			"angle": angle, "contraction": "partial", "crest_height": "0.4 m", "channel_width": "1 m",
		}); (len(issues) == 0) != taken {
			t.Errorf("%s: %+v", angle, issues)
		}
	}
	// a throat of 0.3 m over a hump
	for width, taken := range map[string]bool{"0.2999 m": false, "0.3 m": true, "0.31 m": true} {
		if _, issues := Build("throated", map[string]any{
			"width": "0.3 m", "throat_length": "0.6 m", "hump": "0.2 m", "channel_width": width,
		}); (len(issues) == 0) != taken {
			t.Errorf("an approach of %s: %+v", width, issues)
		}
	}
}

// TestCutthroatDrowned: Cs (hu − hd)^n / (−log10 S)^ns in ft and ft³/s with the user's Cs and ns, to S = 0.95; by hand
// at hu 1 ft, hd 0.8 ft: 2.03 × 0.2^1.84 / 0.09691^1.38.
func TestCutthroatDrowned(t *testing.T) {
	r := build(
		t,
		"cutthroat",
		map[string]any{"length": "36 in", "throat": "8 in", "drowned_coefficient": 2.03, "drowned_exponent": 1.38},
	)
	q, spread, ok := r.(Drownable).Drowned(0.3048, 0.8*0.3048)
	if want := 2.03 * math.Pow(0.2, 1.84) / math.Pow(0.09691001, 1.38) * cubicFoot; !ok || math.Abs(q/want-1) > 1e-6 ||
		spread != 0.10 {
		t.Errorf("%v, %v, %v; want %v", q, spread, ok, want)
	}
	if _, _, ok := r.(Drownable).Drowned(0.3048, 0.9501*0.3048); ok {
		t.Error("known above 0.95")
	}
}

// TestCutthroatModular: the limit goes by the nearest of the lengths 18, 36, 54 and 108 in: from 27, 45 and 81 in on by
// the next.
func TestCutthroatModular(t *testing.T) {
	for length, want := range map[string]float64{
		"26.95 in": 0.60, "27.05 in": 0.65, "44.95 in": 0.65, "45.05 in": 0.70, "80.95 in": 0.70, "81.05 in": 0.80,
	} {
		r := build(
			t,
			"cutthroat",
			map[string]any{"length": length, "throat": "8 in", "coefficient": 3.0, "exponent": 1.8},
		)
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

// TestToldDimensions: an assumed dimension is told in its unit, an approach by what it has, and a segment by its
// number.
func TestToldDimensions(t *testing.T) {
	assumed := strings.Join(build(t, "palmer-bowlus", map[string]any{"diameter": "0.3 m"}).Describe().Assumed, "; ")
	for _, want := range []string{
		"throat_width = 0.125 m is", "throat_ramp = 0.05 m is", "throat_slope = 0.5 is", "throat_length = 0.3 m is",
	} {
		if !strings.Contains(assumed, want) {
			t.Errorf("%q lacks %q", assumed, want)
		}
	}
	for shape, want := range map[string]string{
		"rectangular": "channel_width",
		"trapezoidal": "channel_width approach_side_slope",
		"U":           "approach_diameter",
		"circular":    "approach_diameter",
	} {
		values := map[string]any{
			"width":            "0.2 m",
			"throat_length":    "0.6 m",
			"approach_section": shape,
			"hump":             "0.05 m",
		}
		for key, v := range map[string]any{
			"channel_width": "0.5 m", "approach_side_slope": 1.0, "approach_diameter": "0.6 m",
		} {
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
	for bad, rows := range map[string][]any{
		"segment 1 ": {segment("0 m", -1), segment("0.5 m", 2)},
		"segment 2 ": {segment("0.5 m", 2), segment("0.5 m", 2)},
	} {
		_, issues := Build("segments", map[string]any{"head_unit": "m", "flow_unit": "m3/s", "segments": rows})
		if len(issues) == 0 || !strings.Contains(issues[0].Found, bad) {
			t.Errorf("%+v, want %q", issues, bad)
		}
	}
}
