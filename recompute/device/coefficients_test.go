package device

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// Every coefficient that the program carries is held to a table of its own in testdata/check, each row with its source
// and whether it was read or recalled: one per cent in a coefficient is one per cent of the flow.

// TestParshallSizes: coefficient, exponent, range and modular limit of every US size, and of the rounded set.
func TestParshallSizes(t *testing.T) {
	for _, row := range published(t, "parshall-us.csv") {
		c, n := number(t, row["C_cfs_ft"]), number(t, row["n"])
		r := build(t, "parshall", map[string]any{"throat": row["label"]})
		sameLaw(t, row["label"], r, c*cubicFoot/math.Pow(0.3048, n), n)
		l := r.Limits()
		if modular, _ := r.(Drownable).ModularLimit(); l.Low != number(t, row["ha_min_m"]) ||
			l.High != number(t, row["ha_max_m"]) ||
			modular != number(t, row["modular_limit"]) {
			t.Errorf("%s: %+v, modular %v, table %v", row["label"], l, modular, row)
		}
		if row["C_rounded"] != "" {
			c, n = number(t, row["C_rounded"]), number(t, row["n_rounded"])
			sameLaw(
				t,
				row["label"]+" rounded",
				build(t, "parshall", map[string]any{"throat": row["label"], "set": "rounded"}),
				c*cubicFoot/math.Pow(0.3048, n),
				n,
			)
		}
	}
	for _, row := range published(t, "parshall-iso9826.csv") {
		if b := number(t, row["b_m"]); b < 3 { // the larger ones are US sizes
			sameLaw(
				t,
				row["b_m"]+" m",
				build(t, "parshall", map[string]any{"throat": row["b_m"] + " m"}),
				number(t, row["C_m3s_m"]),
				number(t, row["n"]),
			)
		}
	}
}

// sameLaw holds a rating to Q = c hⁿ.
func sameLaw(t *testing.T, name string, r Rating, c, n float64) {
	t.Helper()
	for _, h := range []float64{0.05, 0.2, 0.6} {
		if got, want := r.Flow(h), c*math.Pow(h, n); math.Abs(got/want-1) > 1e-9 {
			t.Errorf("%s at %g m: %.9g, by hand %.9g", name, h, got, want)
		}
		if got, want := r.Slope(h), n*c*math.Pow(h, n-1); math.Abs(got/want-1) > 1e-9 {
			t.Errorf("%s at %g m: slope %.9g, by hand %.9g", name, h, got, want)
		}
	}
}

// TestUtahState: the submerged equation of every throat, Q = C1 (ha − hb)^n1 / [−(log10 S + C2)]^n2 in ft and ft³/s.
func TestUtahState(t *testing.T) {
	for _, row := range published(t, "parshall-utah.csv") {
		feet := number(t, row["throat_ft"])
		if feet == 2.5 {
			continue // the program has no equation for it
		}
		u := utahOf(feet)
		if u == nil {
			t.Errorf("%g ft has no equation", feet)
			continue
		}
		for _, s := range []float64{0.75, 0.85} {
			want := number(
				t,
				row["C1_cfs"],
			) * math.Pow(
				1-s,
				number(t, row["n1"]),
			) / math.Pow(
				-(math.Log10(s)+number(t, row["C2"])),
				number(t, row["n2"]),
			) * cubicFoot
			if got := u.flow(1, s); math.Abs(got/want-1) > 1e-9 {
				t.Errorf("%g ft at S = %g: %v, by hand %v", feet, s, got, want)
			}
		}
	}
	for feet, want := range map[float64]bool{1.0099: true, 1.0101: false, 0.9901: true, 0.9899: false} {
		if got := utahOf(feet) != nil; got != want {
			t.Errorf("%g ft has an equation: %v", feet, got)
		}
	}
}

// TestHFlumeSizes: log10 Q = A + B log10 h + C (log10 h)², m³/s and m, of every size; the limits 0.02 ft and 0.05 D, D
// less 0.01 ft, and D.
func TestHFlumeSizes(t *testing.T) {
	for _, row := range published(t, "h-flume-coefficients.csv") {
		r := build(t, "h-flume", map[string]any{"type": row["type"], "depth": row["D_ft"] + " ft"})
		d := number(t, row["D_ft"]) * 0.3048
		for _, h := range []float64{0.01, 0.05, 0.1} {
			l := math.Log10(h)
			want := math.Pow(10, number(t, row["A"])+number(t, row["B"])*l+number(t, row["C"])*l*l)
			if got := r.Flow(h); math.Abs(got/want-1) > 1e-9 {
				t.Errorf("%s %s ft at %g m: %v, by hand %v", row["type"], row["D_ft"], h, got, want)
			}
		}
		if l := r.Limits(); l.End != d || math.Abs(l.High-(d-0.003048)) > 1e-12 ||
			math.Abs(l.Low-math.Max(0.006096, 0.05*d)) > 1e-12 {
			t.Errorf("%s %s ft: %+v", row["type"], row["D_ft"], l)
		}
	}
}

// TestCutthroatSizes: Q = C hu^n in ft and ft³/s of every size, to a third of its length, modular limits by length
// (from memory), and the hint K W^1.025.
func TestCutthroatSizes(t *testing.T) {
	modular := map[string]float64{"18": 0.60, "36": 0.65, "54": 0.70, "108": 0.80}
	for _, row := range published(t, "cutthroat-sizes.csv") {
		r := build(
			t,
			"cutthroat",
			map[string]any{"length": row["length_in"] + " in", "throat": row["throat_in"] + " in"},
		)
		c, n := number(t, row["C_cfs"]), number(t, row["n"])
		sameLaw(t, row["length_in"]+" by "+row["throat_in"], r, c*cubicFoot/math.Pow(0.3048, n), n)
		length := number(t, row["length_in"]) * 0.0254
		if m, _ := r.(Drownable).ModularLimit(); m != modular[row["length_in"]] ||
			math.Abs(r.Limits().High-0.33*length) > 1e-12 {
			t.Errorf("%s in: modular limit %v, %+v", row["length_in"], m, r.Limits())
		}
		feet := 1.1 * number(t, row["throat_in"]) / 12
		_, issues := Build(
			"cutthroat",
			map[string]any{"length": row["length_in"] + " in", "throat": fmt.Sprintf("%.6f ft", feet)},
		)
		ofWidth := number(t, row["K_length"]) * math.Pow(feet, 1.025)
		want := fmt.Sprintf("coefficient = %.4g and exponent = %.4g", ofWidth, n)
		if len(issues) != 1 || !strings.Contains(issues[0].Remedy, want) {
			t.Errorf("%s in, %g ft: %+v, want %q", row["length_in"], feet, issues, want)
		}
	}
}

// TestKindsvaterCarter: a, a1 and kb of every line of the table, and half way between two.
func TestKindsvaterCarter(t *testing.T) {
	type line struct{ ratio, a, a1, kb float64 }
	var lines []line
	for _, row := range published(t, "kindsvater_carter.csv") {
		if row["b_over_B"] == "0.5" {
			continue // the program goes straight from 0.4 to 0.6
		}
		l := line{
			ratio: number(t, row["b_over_B"]),
			a:     number(t, row["a_MEMORY"]),
			a1:    number(t, row["a1_MEMORY"]),
			kb:    math.NaN(),
		}
		if row["kb_mm_MEMORY"] != "" {
			l.kb = number(t, row["kb_mm_MEMORY"]) / 1000
		}
		lines = append(lines, l)
	}
	hold := func(want line) {
		a, a1, kb := contraction(want.ratio)
		if math.Abs(a-want.a) > 1e-12 || math.Abs(a1-want.a1) > 1e-12 || math.Abs(kb-want.kb) > 1e-12 {
			t.Errorf("b/B %g: %v, %v, %v; want %+v", want.ratio, a, a1, kb, want)
		}
	}
	for i, l := range lines {
		hold(l)
		if i > 0 {
			m := lines[i-1]
			hold(line{(l.ratio + m.ratio) / 2, (l.a + m.a) / 2, (l.a1 + m.a1) / 2, (l.kb + m.kb) / 2})
		}
	}
	// the first lies between its neighbours, 3.6 and 4.2; the second is read off the curve (from memory)
	for ratio, want := range map[float64]float64{0.7: 0.0039, 0.9: 0.0034} {
		if _, _, kb := contraction(ratio); math.Abs(kb-want) > 1e-12 {
			t.Errorf("b/B %g: kb %v", ratio, kb)
		}
	}
}

// TestBosCrest: C of the square-edged broad-crested weir at every digitised point; outside them the nearest one holds.
func TestBosCrest(t *testing.T) {
	var least, most [2]float64
	for _, row := range published(t, "bos-C-and-Cv-digitised.csv") {
		if row["quantity"] != "C" {
			continue
		}
		x, c := number(t, row["head"]), number(t, row["flow"])
		if got := bosC(x); math.Abs(got-c) > 1e-12 {
			t.Errorf("H/L %g: %v, table %v", x, got, c)
		}
		if most = [2]float64{x, c}; least[0] == 0 {
			least = most
		}
	}
	if bosC(least[0]/2) != least[1] || bosC(2*most[0]) != most[1] {
		t.Errorf("outside the points: %v and %v", bosC(least[0]/2), bosC(2*most[0]))
	}
}

// TestKindsvaterShenFits: Ce and kh of the notch by angle, as the table of the fits prints them.
func TestKindsvaterShenFits(t *testing.T) {
	for _, row := range published(t, "vnotch_ce_kh_by_angle.csv") {
		ce, kh := kindsvaterShen(number(t, row["notch_deg"]))
		if math.Abs(ce-number(t, row["Ce_polynomial"])) > 5.1e-6 ||
			math.Abs(1000*kh-number(t, row["kh_polynomial_mm"])) > 5.1e-4 {
			t.Errorf(
				"%s deg: Ce %.6f, kh %.4f mm; table %s and %s",
				row["notch_deg"],
				ce,
				1000*kh,
				row["Ce_polynomial"],
				row["kh_polynomial_mm"],
			)
		}
	}
}

// TestDrownedTables: the factors of the broad-crested weir at every point and half way between (read:
// openearth/matlab-tools, Q_weir_SRE.m), up to 0.95 where they are left; the modular limits of throats by the slope of
// the expansion (from memory of ISO 4359).
func TestDrownedTables(t *testing.T) {
	points := [][2]float64{
		{0.82, 1},
		{0.85, 0.95},
		{0.90, 0.90},
		{0.95, 0.80},
		{0.96, 0.60},
		{0.97, 0.40},
		{0.99, 0.20},
		{1, 0},
	}
	d := broadDrowned()
	for i, p := range points {
		hold := func(s, want float64) {
			if q, _, _ := d.flow(1, s, 1); math.Abs(q-want) > 1e-12 {
				t.Errorf("broad-crested at S = %g: %v, want %v", s, q, want)
			}
		}
		if hold(p[0], p[1]); i > 0 {
			hold((p[0]+points[i-1][0])/2, (p[1]+points[i-1][1])/2)
		}
	}
	for x, want := range map[float64]float64{
		3: 0.74, 4.5: 0.77, 6: 0.80, 8: 0.815, 10: 0.83, 15: 0.865, 20: 0.90, 100: 0.90,
	} {
		r := build(
			t,
			"throated",
			map[string]any{"width": "0.3 m", "throat_length": "0.6 m", "channel_width": "0.6 m", "exit_expansion": x},
		)
		if got, _ := r.(Drownable).ModularLimit(); math.Abs(got-want) > 1e-12 {
			t.Errorf("expansion 1:%g: %v, want %v", x, got, want)
		}
	}
}

// TestModularLimits: by kind, with what is known of where it is from (see the doc comments of the kinds).
func TestModularLimits(t *testing.T) {
	for kind, want := range map[string][2]float64{
		"broad-crested":      {0.66, 0.95},
		"round-nosed":        {0.66, 0.95},
		"triangular-profile": {0.75, 0.985},
		"flat-v":             {0.70, 0},
		"h-flume":            {0.25, 0},
		"montana":            {0, 0},
		"palmer-bowlus":      {0.85, 0},
		"throated":           {0.66, 0},
		"v-notch":            {0, 0.95},
		"rectangular":        {0, 0.95},
		"cipolletti":         {0, 0.95},
		"manning":            {1, 0},
	} {
		r := build(t, kind, kinds[kind].example)
		d := r.(Drownable)
		if got, _ := d.ModularLimit(); got != want[0] {
			t.Errorf("%s: modular limit %v, want %v", kind, got, want[0])
		}
		const h = 0.2
		for s, known := range map[float64]bool{
			want[0]: true, want[0] + 1e-6: want[1] > 0, want[1]: true, want[1] + 1e-6: false,
		} {
			if s < want[0] {
				continue
			}
			if _, _, ok := d.Drowned(h, s*h); ok != known && s != 1e-6 {
				t.Errorf("%s at S = %.7g: known %v", kind, s, ok)
			}
		}
	}
}

// TestProfileDrowned: 1.035 (0.817 − S⁴)^0.0647 up to 0.93, 8.686 − 8.403 S above it (recalled from ISO 4360).
func TestProfileDrowned(t *testing.T) {
	d := profileDrowned()
	for s, want := range map[float64]float64{
		0.80:   1.035 * math.Pow(0.817-0.4096, 0.0647),
		0.93:   1.035 * math.Pow(0.817-math.Pow(0.93, 4), 0.0647),
		0.9301: 8.686 - 8.403*0.9301,
		0.98:   8.686 - 8.403*0.98,
	} {
		if q, spread, ok := d.flow(1, s, 1); math.Abs(q-math.Min(want, 1)) > 1e-12 || spread != 0.05 || !ok {
			t.Errorf("S = %g: %v, want %v", s, q, want)
		}
	}
}
