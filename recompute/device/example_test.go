package device

import "fmt"

// show prints the flow of a device at a head, in the given unit.
func show(kind string, values map[string]any, head, perUnit float64, format string) {
	r, issues := Build(kind, values)
	if len(issues) > 0 {
		fmt.Println(issues)
		return
	}
	fmt.Printf(format+"\n", r.Flow(head)/perUnit)
}

const foot = 0.3048

// Each example prints digits that a source prints, or that its equation gives by hand at a round head.

func Example_vNotchCone() { // 2.49 h^2.48 at 1 ft
	show("v-notch", map[string]any{"angle": "90 deg", "equation": "cone"}, foot, cubicFoot, "%.2f ft3/s")
	// Output: 2.49 ft3/s
}

func Example_vNotchPartial() { // Ce 0.5789 of the chart at h/p 0.4, p/B 0.3: (8/15) 0.5789 √(2g) (0.16 + 0.000885)^2.5
	show("v-notch", map[string]any{
		"angle": "90 deg", "contraction": "partial", "crest_height": "0.4 m", "channel_width": "1.3333 m",
	}, 0.16, 1e-3, "%.1f L/s")
	// Output: 14.2 L/s
}

// open library after Blevins (1984): 0.64869 with an offset of 1.25 mm; 0.05 % less with 1.2 mm
func Example_rectangularRehbock() {
	show("rectangular",
		map[string]any{"equation": "rehbock", "width": "2 m", "channel_width": "2 m", "crest_height": "0.4 m"},
		0.3, 1, "%.3f m3/s")
	// Output: 0.648 m3/s
}

func Example_rectangularFrancis() { // 3.33 (10 − 0.2) 1^1.5
	show("rectangular",
		map[string]any{"equation": "francis", "width": "10 ft", "channel_width": "20 ft", "crest_height": "5 ft"},
		foot, cubicFoot, "%.2f ft3/s")
	// Output: 32.63 ft3/s
}

func Example_cipolletti() { // 3.367 L h^1.5 at 1 ft for 1 ft
	show("cipolletti", map[string]any{"width": "1 ft"}, foot, cubicFoot, "%.3f ft3/s")
	// Output: 3.367 ft3/s
}

func Example_compound() { // a published record: 31.3859 cm, 76.1907 L/s (Ochoa-Tocachi et al. 2018)
	show("compound", map[string]any{
		"notch_coefficient": 1.37, "notch_height": "0.3095 m", "shoulder_width": "1.1510 m", "crest_coefficient": 1.77,
	}, 0.313859, 1e-3, "%.2f L/s")
	// Output: 76.19 L/s
}

func Example_sideBySide() { // 1.37 0.4^2.5 + 2.2 0.1^1.5
	show("side-by-side", map[string]any{"parts": []any{
		map[string]any{"kind": "power", "coefficient": 1.37, "exponent": 2.5, "head_unit": "m", "flow_unit": "m3/s"},
		map[string]any{
			"kind":        "power",
			"crest":       "0.3 m",
			"coefficient": 2.2,
			"exponent":    1.5,
			"head_unit":   "m",
			"flow_unit":   "m3/s",
		}}}, 0.4, 1e-3, "%.1f L/s")
	// Output: 208.2 L/s
}

func Example_parshall() { // Utah State University BIE 5300 lecture 2: 0.61 m flume, 0.75 m³/s at 0.66 m
	show("parshall", map[string]any{"throat": "0.61 m"}, 0.66, 1, "%.2f m3/s")
	// Output: 0.75 m3/s
}

func Example_montana() { // 0.1207 h^1.55 in open code, 2 in
	show("montana", map[string]any{"throat": "2 in"}, 1, 1, "%.4f m3/s")
	// Output: 0.1207 m3/s
}

func Example_hFlume() { // Bos (1989), HL 4 ft at 0.2 m: 0.0649083
	show("h-flume", map[string]any{"type": "HL", "depth": "4 ft"}, 0.2, 1, "%.5f m3/s")
	// Output: 0.06491 m3/s
}

func Example_cutthroat() { // 18 by 1 in at 0.3 ft: 0.037114
	show("cutthroat", map[string]any{"length": "18 in", "throat": "1 in"}, 0.3*foot, cubicFoot, "%.6f ft3/s")
	// Output: 0.037114 ft3/s
}

func Example_throated() { // without losses and approach: (2/3)^1.5 √g Cs b h^1.5, Cs(1) = 1.706 for m H/b = 1
	show("throated", map[string]any{
		"section": "trapezoidal", "width": "1 m", "side_slope": 1.0, "throat_length": "2 m", "coefficient": 1.0,
	}, 1, 1, "%.2f m3/s")
	// Output: 2.91 m3/s
}

func Example_trapezoidal() { // a V without losses: (4/5)^2.5 √(g/2) h^2.5 at slope 1 and 1 m (textbook hydraulics)
	show("trapezoidal", map[string]any{"width": "0 m", "side_slope": 1.0, "throat_length": "2 m", "coefficient": 1.0},
		1, 1, "%.3f m3/s")
	// Output: 1.268 m3/s
}

// critical flow of the throat bottom 0.125 m, sides 2:1, at 0.1 m: about 9 L/s by Cs(0.4) = 1.276 and losses of 5 %
func Example_palmerBowlus() {
	show("palmer-bowlus", map[string]any{"diameter": "0.3 m"}, 0.1, 1e-3, "%.0f L/s")
	// Output: 9 L/s
}

func Example_broadCrested() { // 1.7046 × 0.8486 × 0.3^1.5 at H/L = 0.3, without approach
	show("broad-crested", map[string]any{"width": "1 m", "crest_length": "1 m", "crest_height": "2 m"},
		0.3, 1, "%.3f m3/s")
	// Output: 0.238 m3/s
}

func Example_roundNosed() { // 1.7046 (1 − 0.006 × 0.9) (1 − 0.003 × 0.9/0.3)^1.5 0.3^1.5
	show("round-nosed",
		map[string]any{"width": "1 m", "crest_length": "1 m", "nose_radius": "0.1 m", "crest_height": "1 m"},
		0.3, 1, "%.3f m3/s")
	// Output: 0.275 m3/s
}

func Example_triangularProfile() { // 0.633 √g (0.3 − 0.0003)^1.5
	show("triangular-profile", map[string]any{"width": "1 m", "crest_height": "1 m"}, 0.3, 1, "%.3f m3/s")
	// Output: 0.325 m3/s
}

func Example_flatV() { // 0.8 × 0.620 √g × 20 (0.2 − 0.0005)^2.5
	show("flat-v", map[string]any{"cross_slope": 20.0, "v_height": "0.2 m", "crest_height": "1 m"}, 0.2, 1, "%.3f m3/s")
	// Output: 0.552 m3/s
}

func Example_manning() { // R package hydraulics: b = 3 m, m = 2, n = 0.013, S = 0.0005, 1.83 m: 22.2
	show("manning", map[string]any{
		"section": "trapezoidal", "width": "3 m", "side_slope": 2.0, "roughness": 0.013, "slope": 0.0005,
	}, 1.83, 1, "%.1f m3/s")
	// Output: 22.2 m3/s
}

func Example_segments() { // 1.4 × 0.25^2.5 in the first segment
	show("segments", exampleSegments, 0.25, 1e-3, "%.2f L/s")
	// Output: 43.75 L/s
}

func Example_maximum() { // half the maximum head at exponent 2: a quarter of the maximum flow
	show("maximum", map[string]any{"maximum_head": "0.3 m", "maximum_flow": "80 L/s", "exponent": 2.0}, 0.15,
		1e-3, "%.0f L/s")
	// Output: 20 L/s
}

func Example_table() { // USGS 01541303 at 2.54 ft: 33.54
	show("table", map[string]any{
		"interpolation": "log",
		"offset":        "2.00 ft",
		"points":        []any{[]any{"2.50 ft", "27.9 ft3/s"}, []any{"2.58 ft", "39.8 ft3/s"}},
	}, 2.54*foot, cubicFoot, "%.1f ft3/s")
	// Output: 33.5 ft3/s
}

func Example_power() { // Thomson's rule 1.38 h^2.5 at 0.1 m
	show("power", map[string]any{"coefficient": 1.38, "exponent": 2.5, "head_unit": "m", "flow_unit": "m3/s"}, 0.1,
		1e-3, "%.3f L/s")
	// Output: 4.364 L/s
}
