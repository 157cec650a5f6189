package device

import (
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// relative is another way to the flow of a device: a second device, edition, formula or own integral that covers the
// same geometry.
type relative struct {
	kinds     string // the kinds it is a check of
	what      string
	low, high float64 // m, the heads compared
	flow      func(h float64) float64
	other     func(h float64) float64
	band      float64 // relative deviation that is accepted
	by        string  // where the band comes from
}

// values reads pairs of key and value.
func values(pairs ...any) map[string]any {
	out := map[string]any{}
	for i := 0; i < len(pairs); i += 2 {
		out[pairs[i].(string)] = pairs[i+1]
	}
	return out
}

// stated is the combined uncertainty (95 %) of coefficients.
func stated(ratings ...Rating) float64 {
	square := 0.0
	for _, r := range ratings {
		u := r.Describe().Uncertainty
		square += u * u
	}
	return math.Sqrt(square)
}

const (
	byStated = "their stated uncertainties"
	bySame   = "the same equation"
)

// pairOf compares two devices over the heads at which both are valid, within their stated uncertainties, or to the last
// digits where they are the same equation.
func pairOf(what string, low, high float64, a, b Rating, same bool) relative {
	out := relative{
		a.Describe().Kind + " " + b.Describe().Kind, what, low, high, a.Flow, b.Flow, stated(a, b), byStated,
	}
	if same {
		out.band, out.by = 3*tableError, bySame
	}
	return out
}

// power law of the trade in ft and ft³/s.
func lawOf(t *testing.T, coefficient, exponent float64) Rating {
	return build(t, "power",
		values("coefficient", coefficient, "exponent", exponent, "head_unit", "ft", "flow_unit", "ft3/s"))
}

func notchRelatives(t *testing.T) (out []relative) {
	notch := func(angle string, more ...any) Rating {
		return build(t, "v-notch", values(append(more, "angle", angle)...))
	}
	ninety := notch("90 deg", "contraction", "full")
	thomson := build(t, "power", values("coefficient", 1.38, "exponent", 2.5, "head_unit", "m", "flow_unit", "m3/s"))
	wide := notch("120 deg")
	out = []relative{
		pairOf("V-notch 90 deg: Kindsvater-Shen, Cone", 0.061, 0.38, ninety,
			notch("90 deg", "equation", "cone"), false),
		pairOf("V-notch 90 deg: full and partial contraction, p 1 m, B 2 m", 0.06, 0.3, ninety,
			notch("90 deg", "contraction", "partial", "crest_height", "1 m", "channel_width", "2 m"), false),
		pairOf("V-notch 120 deg: Cone 1916, 2.5 tan(a/2) h^2.5 (ft)", 0.061, 0.38, wide,
			lawOf(t, 2.5*math.Tan(math.Pi/3), 2.5), false),
		{"v-notch power", "V-notch 90 deg: Kindsvater-Shen, Thomson's 1.38 h^2.5", 0.1, 0.38, ninety.Flow, thomson.Flow, 0.015, "a rule of thumb, 1.1 % low at 0.1 m (computed)"},
	}
	for _, angle := range []string{"30 deg", "45 deg", "60 deg", "100 deg"} {
		out = append(out, pairOf("V-notch "+angle+": Kindsvater-Shen, Cone 1916", 0.08, 0.38, notch(angle),
			notch(angle, "equation", "cone"), false))
	}
	return out
}

func plateRelatives(t *testing.T) []relative {
	rect := func(more ...any) Rating { return build(t, "rectangular", values(more...)) }
	contracted := []any{"width", "0.6 m", "channel_width", "3 m", "crest_height", "0.6 m"}
	full := []any{"width", "1 m", "channel_width", "1 m", "crest_height", "0.6 m"}
	kc, francisOf := rect(contracted...), rect(append(contracted, "equation", "francis")...)
	cipolletti := build(t, "cipolletti", values("width", "0.6 m"))
	side := build(t, "v-notch", values("angle", fmt.Sprintf("%.10f rad", 2*math.Atan(0.25))))
	compound := build(t, "compound", values("angle", "90 deg", "notch_height", "0.3 m", "shoulder_width", "1.2 m"))
	half := map[string]any{
		"kind":          "rectangular",
		"equation":      "francis",
		"contractions":  0.0,
		"width":         "0.5 m",
		"channel_width": "0.5 m",
		"crest_height":  "0.6 m",
	}
	// Cd √(2g) ∫ width √(h − z) dz, with 0.60 between the 0.578 of the notch and the 0.623 of Francis
	plate := func(h float64) float64 {
		q := 0.0
		const n = 20000
		for i := range n {
			z := h * (float64(i) + 0.5) / n
			w := 2 * math.Min(z, 0.3)
			if z > 0.3 {
				w += 1.2
			}
			q += 0.60 * math.Sqrt(2*Gravity*(h-z)) * w * h / n
		}
		return q
	}
	return []relative{
		pairOf("rectangular contracted: Kindsvater-Carter, Francis", 0.06, 0.2, kc, francisOf, false),
		pairOf("rectangular full width: Kindsvater-Carter, Rehbock", 0.06, 0.6, rect(full...),
			rect(append(full, "equation", "rehbock")...), false),
		pairOf("rectangular full width: Kindsvater-Carter, Francis", 0.06, 0.3, rect(full...),
			rect(append(full, "equation", "francis")...), false),
		{"cipolletti rectangular v-notch", "Cipolletti: Francis contracted and two sides of 1:4", 0.06,
			0.2, cipolletti.Flow,
			func(h float64) float64 { return francisOf.Flow(h) + side.Flow(h) }, stated(cipolletti),
			"its stated uncertainty"},
		pairOf("Cipolletti: Francis without contraction, what it is built to give", 0.06, 0.2, cipolletti,
			build(t, "power",
				values("coefficient", francis*0.6, "exponent", 1.5, "head_unit", "m", "flow_unit", "m3/s")), false),
		pairOf("compound: within its notch a V-notch", 0.06, 0.3, compound,
			build(t, "v-notch", values("angle", "90 deg")), true),
		{"compound", "compound: integral of the velocity over the opening, Cd 0.60", 0.06, 0.6, compound.Flow, plate, 0.045, "Cd of notch and crest, 0.578 and 0.623"},
		pairOf("two half weirs side by side: one whole", 0.06, 0.3,
			build(t, "side-by-side", values("parts", []any{half, half})),
			rect(append(full, "equation", "francis")...), true),
	}
}

func flumeRelatives(t *testing.T) []relative {
	parshall := func(throat string, more ...any) Rating {
		return build(t, "parshall", values(append(more, "throat", throat)...))
	}
	scaled := func(r Rating, by float64) func(float64) float64 { // of a similar flume by times as large
		return func(h float64) float64 { return r.Flow(h*by) / math.Pow(by, 2.5) }
	}
	h := func(kind, depth string) Rating { return build(t, "h-flume", values("type", kind, "depth", depth)) }
	two, three, between := parshall("2 ft"), parshall("3 ft"), parshall("2.5 ft")
	metric, us := parshall("2.40 m"), parshall("8 ft")
	cut := build(t, "cutthroat", values("length", "36 in", "throat", "8 in"))
	similar := "their stated uncertainties; the flumes are similar"
	return []relative{
		{"parshall", "Parshall: 2.40 m (ISO 9826) and 8 ft, by width", 0.08, 0.75, metric.Flow, func(h float64) float64 { return us.Flow(h) * 2.4 / 2.4384 }, stated(metric, us), byStated},
		{"parshall", "Parshall: 2.5 ft and the mean of 2 and 3 ft", 0.046, 0.76, between.Flow, func(h float64) float64 { return (two.Flow(h) + three.Flow(h)) / 2 }, stated(between, two), byStated},
		{"parshall", "Parshall 1 ft: rounded set and set of 1950", 0.0305, 0.76, parshall("1 ft", "set", "rounded").Flow, parshall("1 ft").Flow, 0.075, "two published sets, 7.4 % apart at 0.1 ft (computed)"},
		pairOf("Montana 6 in: Parshall 6 in", 0.03, 0.45, build(t, "montana", values("throat", "6 in")),
			parshall("6 in"), true),
		{"h-flume", "H 1.5 ft and H 3 ft, from 0.2 D", 0.09, 0.45, h("H", "1.5 ft").Flow, scaled(h("H", "3 ft"), 2), stated(us, us), similar},
		{"h-flume", "HS 0.6 ft and HS 1 ft, from 0.2 D", 0.037, 0.18, h("HS", "0.6 ft").Flow, scaled(h("HS", "1 ft"), 1/0.6), stated(us, us), similar},
		{"h-flume", "HL 3.5 ft and HL 4 ft, from 0.2 D", 0.21, 1.05, h("HL", "3.5 ft").Flow, scaled(h("HL", "4 ft"), 4/3.5), stated(us, us), similar},
		{"cutthroat power", "cutthroat 36 x 8 in: K W^1.025 of its length", 0.03, 0.3, cut.Flow, lawOf(t, 4.5*math.Pow(8.0/12, 1.025), 1.84).Flow, 0.003, "read: within 0.3 %"},
	}
}

func throatRelatives(t *testing.T) []relative {
	throated := func(more ...any) Rating { return build(t, "throated", values(more...)) }
	crested := func(kind string, more ...any) Rating { return build(t, kind, values(more...)) }
	round := crested("round-nosed", "width", "1 m", "crest_length", "0.9 m", "nose_radius", "0.1 m",
		"crest_height", "1 m")
	square := crested("broad-crested", "width", "1 m", "crest_length", "0.9 m", "crest_height", "1 m")
	profile := []any{"width", "1 m", "channel_width", "1 m", "crest_height", "0.3 m"}
	pipe := crested("palmer-bowlus", "diameter", "0.3 m", "throat_width", "0.125 m", "throat_ramp", "0.05 m",
		"throat_slope", 0.5, "throat_length", "0.3 m")
	flat := crested("flat-v", "cross_slope", 20.0, "v_height", "0.2 m", "crest_height", "0.3 m")
	across := func(h float64) float64 { // the law of the triangular profile across the V
		q := 0.0
		const n = 20000
		top := math.Min(h, 0.2)
		for i := range n {
			y := top * (float64(i) + 0.5) / n
			q += 0.633 * math.Sqrt(Gravity) * math.Pow(math.Max(h-y-0.0003, 0), 1.5) * 2 * 20 * top / n
		}
		return q
	}
	edge := "a square edge loses up to 15 % (read: 0.848 of Bos 1989 against 1)"
	return []relative{
		pairOf("throated rectangular: trapezoidal of side slope 0", 0.05, 0.3,
			throated("width", "0.3 m", "throat_length", "0.6 m", "channel_width", "0.6 m"),
			throated("section", "trapezoidal", "width", "0.3 m", "side_slope", 0.0, "throat_length", "0.6 m",
				"channel_width", "0.6 m"), true),
		pairOf("trapezoidal flume: throated of that section", 0.05, 0.2,
			crested("trapezoidal", "width", "5 cm", "side_slope", 0.5, "throat_length", "0.4 m"),
			throated("section", "trapezoidal", "width", "5 cm", "side_slope", 0.5, "throat_length", "0.4 m"), true),
		pairOf("Palmer-Bowlus: throated trapezoid in a round approach", 0.05, 0.15, pipe,
			throated("section", "trapezoidal", "width", "0.125 m", "side_slope", 0.5, "throat_length", "0.3 m", "hump",
				"0.05 m", "approach_section", "circular", "approach_diameter", "0.3 m"), true),
		pairOf("round-nosed: throated of the level length L - r", 0.06, 0.4, round,
			throated("width", "1 m", "throat_length", "0.8 m"), true),
		{"broad-crested round-nosed", "broad-crested, square edge: round-nosed", 0.08, 0.4, square.Flow, round.Flow, 0.15, edge},
		{"broad-crested throated", "broad-crested, square edge: throated", 0.08, 0.4, square.Flow, throated("width", "1 m", "throat_length", "0.9 m").Flow, 0.15, edge},
		pairOf("triangular profile: by total head and by gauged head", 0.06, 0.6,
			crested("triangular-profile", profile...),
			crested("triangular-profile", append(profile, "equation", "gauged")...), false),
		{"flat-v triangular-profile", "flat-V 1:20: law of the triangular profile across the V", 0.05, 0.5, flat.Flow, across, stated(flat), "its stated uncertainty"},
	}
}

func otherRelatives(t *testing.T) []relative {
	manning := func(more ...any) Rating {
		return build(t, "manning", values(append(more, "roughness", 0.013, "slope", 0.002)...))
	}
	law := build(t, "power", values("coefficient", 2.0, "exponent", 1.8, "head_unit", "m", "flow_unit", "m3/s"))
	point := func(h float64) []any {
		return []any{fmt.Sprintf("%g m", h), fmt.Sprintf("%.15g m3/s", law.Flow(h))}
	}
	return []relative{
		pairOf("Manning U: circular below half full", 0.05, 0.25, manning("section", "U", "diameter", "0.5 m"),
			manning("section", "circular", "diameter", "0.5 m"), true),
		pairOf("Manning rectangular: trapezoidal of side slope 0", 0.05, 0.5,
			manning("section", "rectangular", "width", "0.5 m"),
			manning("section", "trapezoidal", "width", "0.5 m", "side_slope", 0.0), true),
		pairOf("power law: maximum form", 0.05, 0.3, law, build(t, "maximum", values("maximum_head", "0.3 m",
			"maximum_flow", fmt.Sprintf("%.15g m3/s", law.Flow(0.3)), "exponent", 1.8)), true),
		pairOf("power law: two segments of it", 0.05, 0.6, law,
			build(t, "segments", values("head_unit", "m", "flow_unit", "m3/s", "segments", []any{
				values("from", "0 m", "coefficient", 2.0, "exponent", 1.8),
				values("from", "0.3 m", "coefficient", 2.0, "exponent", 1.8),
			})), true),
		pairOf("power law: table of it by arcs", 0.05, 0.6, law,
			build(t, "table", values("interpolation", "log", "points", []any{point(0.05), point(0.2), point(0.6)})),
			true),
	}
}

// drownedRelatives compare the methods of drowned flow with each other, as shares of free flow over the ratio of the
// heads.
func drownedRelatives() (out []relative) {
	for _, feet := range []float64{1, 2, 4, 8} {
		free := func(ha float64) float64 { return 4 * feet * math.Pow(ha, 1.522*math.Pow(feet, 0.026)) * cubicFoot }
		u, band := utahOf(feet), 0.05
		if feet == 8 {
			band = 0.10
		}
		out = append(out, relative{
			"", fmt.Sprintf("Parshall %g ft, 1 ft deep, S to 0.90: deduction, Utah State", feet), 0.75, 0.90,
			func(s float64) float64 { return free(1) - parshallDeduction(feet, 1, s)*cubicFoot },
			func(s float64) float64 { return u.flow(1, s) }, band, "reference: within 5 %, 8 ft 10 %",
		})
	}
	return append(out, relative{"", "thin plate of full width, S to 0.90: recalled ISO factor, Villemonte", 0.05, 0.90,
		fullWidthFactor, func(s float64) float64 { return villemonteFactor(s, 1.5) }, 0.25,
		"Villemonte reads up to 14 % low (TWRI 3-A5); the mean is taken, with half the difference"})
}

// TestRelativesAndModularLimits holds every device to its relatives and writes what is known of each: limits of
// validity, physical end, modular limit, and where drowned flow is known.
func TestRelativesAndModularLimits(t *testing.T) {
	var table strings.Builder
	table.WriteString("Limits (m): validity from and to, physical end; drowned above a ratio of heads, known to, " +
		"step of the flow there at 0.2 m\n")
	fmt.Fprintf(&table, "%-20s %7s %7s %7s %8s %9s %8s\n",
		"device", "from", "to", "ends", "drowned", "known to", "step")
	ratings := all(t)
	for _, name := range slices.Sorted(maps.Keys(ratings)) {
		table.WriteString(limitsRow(name, ratings[name]))
	}
	table.WriteString(
		"\nRelatives: worst deviation over the heads (m; drowned: ratio of heads) against what is accepted\n",
	)
	fmt.Fprintf(&table, "%-72s %13s %9s %9s  %s\n", "devices", "heads", "worst", "band", "accepted by")
	covered := map[string]bool{}
	for _, list := range [][]relative{
		notchRelatives(t), plateRelatives(t), flumeRelatives(t), throatRelatives(t), otherRelatives(t),
		drownedRelatives(),
	} {
		for _, r := range list {
			worst := r.worst()
			if !(math.Abs(worst) <= r.band) {
				t.Errorf("%s: %+.3f %%, accepted %.3g %% by %s", r.what, 100*worst, 100*r.band, r.by)
			}
			for _, kind := range strings.Fields(r.kinds) {
				covered[kind] = true
			}
			shown := fmt.Sprintf("%+.3f%%", 100*worst)
			if r.by == bySame {
				shown = "same"
			}
			fmt.Fprintf(&table, "%-72s %5.3g to %5.3g %9s %8.3g%%  %s\n",
				r.what, r.low, r.high, shown, 100*r.band, r.by)
		}
	}
	for _, kind := range Kinds() {
		if !covered[kind] {
			t.Errorf("%s has no relative", kind)
		}
	}
	golden(t, "devices.txt", table.String())
}

func (r relative) worst() (worst float64) {
	for i := range 101 {
		h := r.low + (r.high-r.low)*float64(i)/100
		if off := r.flow(h)/r.other(h) - 1; math.Abs(off) > math.Abs(worst) || math.IsNaN(off) {
			worst = off
		}
	}
	return worst
}

// limitsRow writes the limits of one device and their sources.
func limitsRow(name string, r Rating) string {
	l, known := r.Limits(), 0.0
	d := r.(Drownable)
	modular, source := d.ModularLimit()
	for s := 0.0; s <= 1.2; s += 0.001 {
		if _, _, ok := d.Drowned(0.2, s*0.2); !ok {
			break
		}
		known = s
	}
	step, drowned, to := "-", "-", "-"
	if !math.IsInf(modular, 1) {
		q, _, _ := d.Drowned(0.2, (math.Max(modular, 0)+1e-6)*0.2)
		step = fmt.Sprintf("%+.1f%%", 100*(q/r.Flow(0.2)-1))
		drowned = fmt.Sprintf("%.2f", modular)
		to = fmt.Sprintf("%.2f", known)
	} else {
		source = "nothing is known of drowned flow"
	}
	limit := func(v float64) string {
		if v == 0 || math.IsInf(v, 1) {
			return "-"
		}
		return fmt.Sprintf("%.3g", v)
	}
	row := fmt.Sprintf("%-20s %7s %7s %7s %8s %9s %8s\n",
		name, limit(l.Low), limit(l.High), limit(l.End), drowned, to, step)
	for _, line := range [][2]string{
		{"from", l.LowSource},
		{"to", l.HighSource},
		{"ends", l.EndSource},
		{"drowned", source},
	} {
		if line[1] != "" {
			row += fmt.Sprintf("    %-8s %s\n", line[0], line[1])
		}
	}
	return row
}

// golden holds a text to a file of testdata/golden, which -update renews.
func golden(t *testing.T, name, text string) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "golden", name)
	if *update {
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if want, err := os.ReadFile(path); err != nil || string(want) != text {
		t.Errorf("%s has changed; look at it and renew it with -update:\n%s", name, text)
	}
}
