package device

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// TestParshallISOSizes: every size of the metric table has the table's coefficient, exponent, range and modular limit;
// the large ones are the US sizes, whose coefficient agrees within its rounding to four digits.
func TestParshallISOSizes(t *testing.T) {
	for _, row := range published(t, "parshall-iso9826.csv") {
		r := build(t, "parshall", map[string]any{"throat": row["b_m"] + " m"})
		c, n := number(t, row["C_m3s_m"]), number(t, row["n"])
		for _, h := range []float64{0.1, 0.5} {
			if got, want := r.Flow(h), c*math.Pow(h, n); math.Abs(got/want-1) > 7e-4 {
				t.Errorf("%s m at %g m: %.5f, table %.5f", row["b_m"], h, got, want)
			}
		}
		l := r.Limits()
		modular, _ := r.(Drownable).ModularLimit()
		if l.Low != number(t, row["ha_min_m"]) || l.High != number(t, row["ha_max_m"]) ||
			modular != number(t, row["submergence_limit"]) || !math.IsInf(l.End, 1) {
			t.Errorf("%s m: %+v, modular %v, table %v", row["b_m"], l, modular, row)
		}
	}
}

// TestParshallTwoAndAHalfFeet: 4 × 2.5 × 1^(…) = 10 ft³/s at 1 ft, and between its neighbours of 2 and 3 ft at 0.5 ft:
// 10 × 0.5^(1.522 × 2.5^0.026) = 3.39458 (by hand: 2.5^0.026 = 1.024109, exponent 1.558695, 0.5^1.558695 = 0.339458).
func TestParshallTwoAndAHalfFeet(t *testing.T) {
	r := build(t, "parshall", map[string]any{"throat": "2.5 ft"})
	if q := r.Flow(0.3048) / cubicFoot; math.Abs(q-10) > 1e-9 {
		t.Errorf("at 1 ft: %v ft3/s", q)
	}
	if q := r.Flow(0.1524) / cubicFoot; math.Abs(q-3.39458) > 2e-5 {
		t.Errorf("at 0.5 ft: %v ft3/s", q)
	}
}

// TestHints: a size that is not there is told the power law that general formulas give: 4 W ha^(1.522 W^0.026) at W =
// 3.5 ft is 14 ha^1.572; K W^1.025 at 36 in and 6 in is 4.5 × 0.5^1.025 = 2.211.
func TestHints(t *testing.T) {
	for _, c := range []struct {
		kind   string
		values map[string]any
		want   string
	}{
		{"parshall", map[string]any{"throat": "3.5 ft"}, `coefficient = 14, exponent = 1.572, head_unit = "ft"`},
		{"parshall", map[string]any{"throat": "11 ft"}, "coefficient = 43.06, exponent = 1.6"}, // 3.6875 × 11 + 2.5
		{"parshall", map[string]any{"throat": "4 in"}, `kind = "power"`},
		{"cutthroat", map[string]any{"length": "36 in", "throat": "6 in"}, "coefficient = 2.211 and exponent = 1.84"},
		{"h-flume", map[string]any{"type": "H", "depth": "4 ft"}, `kind = "table"`},
	} {
		_, issues := Build(c.kind, c.values)
		if len(issues) != 1 || !strings.Contains(issues[0].Remedy, c.want) {
			t.Errorf("%s %v: %+v, want %q", c.kind, c.values, issues, c.want)
		}
	}
}

// TestWideNotch: 120° by Cone's general equation (from memory): s = tan 60° = 1.732051, 0.025 + 2.462 s =
// 4.289309 ft³/s at 1 ft, exponent 2.5 − 0.0195/1.509807 = 2.487084. Against 2.5 s h^2.5 = 4.330 h^2.5 of the trade it
// must lie within its 3 %; at 90° within 0.2 % of the equation that was read.
func TestWideNotch(t *testing.T) {
	r := build(t, "v-notch", map[string]any{"angle": "120 deg"})
	if q := r.Flow(0.3048) / cubicFoot; math.Abs(q-4.289309) > 2e-6 {
		t.Errorf("at 1 ft: %v ft3/s", q)
	}
	if q, want := r.Flow(0.1524)/cubicFoot, 4.289309*math.Pow(0.5, 2.487084); math.Abs(q/want-1) > 2e-6 {
		t.Errorf("at 0.5 ft: %v, want %v", q, want)
	}
	d := r.Describe()
	if d.Uncertainty != 0.03 || !strings.Contains(d.Source, "from memory") {
		t.Errorf("%+v", d)
	}
	for _, feet := range []float64{0.25, 0.5, 1, 1.25} {
		if off := r.Flow(feet*0.3048)/cubicFoot/(4.330*math.Pow(feet, 2.5)) - 1; math.Abs(off) > d.Uncertainty {
			t.Errorf("%g ft: %+.2f %% of 4.330 h^2.5", feet, 100*off)
		}
		general := (0.025 + 2.462) * math.Pow(feet, 2.4805)
		if read := build(t, "v-notch", map[string]any{
			"angle": "90 deg", "equation": "cone",
		}).Flow(feet*0.3048) / cubicFoot; math.Abs(read/general-1) > 0.002 {
			t.Errorf("%g ft at 90 deg: %v and %v", feet, read, general)
		}
	}
}

// TestAssumedThroat: a Palmer-Bowlus throat that is not given is told dimension by dimension, and the uncertainty
// covers throats that are built otherwise; measured dimensions take their part away.
func TestAssumedThroat(t *testing.T) {
	assumed := build(t, "palmer-bowlus", map[string]any{"diameter": "0.3 m"})
	given := map[string]any{
		"diameter":      "0.3 m",
		"throat_width":  "0.125 m",
		"throat_ramp":   "0.05 m",
		"throat_slope":  0.5,
		"throat_length": "0.3 m",
	}
	measured := build(t, "palmer-bowlus", given)
	a, m := assumed.Describe(), measured.Describe()
	if len(a.Assumed) != 4 || len(m.Assumed) != 0 || m.Uncertainty != 0.05 || assumed.Flow(0.1) != measured.Flow(0.1) {
		t.Errorf("assumed %v (%.3f), measured %v (%.3f)", a.Assumed, a.Uncertainty, m.Assumed, m.Uncertainty)
	}
	l := assumed.Limits()
	for key, values := range map[string][]any{
		"throat_width":  {"0.1 m", "0.15 m"},
		"throat_slope":  {1.0 / 3, 2.0 / 3},
		"throat_length": {"0.15 m", "0.6 m"},
		"throat_ramp":   {"0.025 m", "0.075 m"},
	} {
		for _, v := range values {
			other := map[string]any{}
			for k, x := range given {
				other[k] = x
			}
			other[key] = v
			r := build(t, "palmer-bowlus", other)
			for i := 2; i <= 10; i++ {
				h := l.Low + (l.High-l.Low)*float64(i)/10
				if off := r.Flow(h)/assumed.Flow(h) - 1; math.Abs(off) > a.Uncertainty {
					t.Errorf("%s = %v at %.3f m: %+.1f %%, beyond %.1f %%", key, v, h, 100*off, 100*a.Uncertainty)
				}
			}
		}
	}
	if half := build(t, "palmer-bowlus", map[string]any{
		"diameter": "0.3 m", "throat_width": "0.125 m",
	}).Describe(); len(half.Assumed) != 3 || !(half.Uncertainty < a.Uncertainty && half.Uncertainty > 0.05) {
		t.Errorf("throat width measured: %v, %.3f", half.Assumed, half.Uncertainty)
	}
}

// TestGaugedProfile: b = B = 1 m, p = 0.3 m, h = 0.2 m by hand. (2/3)^1.5 × 1.163 = 0.633057. Gauged: 0.633057 √g
// (0.1997)^1.5 Cv with Cv from the total head; by plain iteration of Q.
func TestGaugedProfile(t *testing.T) {
	values := map[string]any{"width": "1 m", "channel_width": "1 m", "crest_height": "0.3 m"}
	const h = 0.2
	for _, gauged := range []bool{false, true} {
		energy := h
		q := 0.0
		for range 60 {
			if gauged {
				q = 0.633057 * math.Sqrt(Gravity) * math.Pow(energy/h, 1.5) * math.Pow(h-0.0003, 1.5)
			} else {
				q = 0.633057 * math.Sqrt(Gravity) * math.Pow(energy-0.0003, 1.5)
			}
			energy = h + q*q/0.25/(2*Gravity)
		}
		if gauged {
			values["equation"] = "gauged"
		}
		if got := build(t, "triangular-profile", values).Flow(h); math.Abs(got/q-1) > 5e-5 {
			t.Errorf("gauged %v: %.6f, by hand %.6f", gauged, got, q)
		}
	}
}

// TestFullWidthDrowned: the factor recalled from ISO 1438 is 1 without submergence (1.007 × 0.975^0.265 = 1.0003), and
// at 0.5: 1.007 (0.975 − 0.366021)^0.265 = 0.88297; the general one is 0.845386; the weir takes the mean, 0.86418, with
// 5 %.
func TestFullWidthDrowned(t *testing.T) {
	if f := fullWidthFactor(0); f != 1 {
		t.Errorf("without submergence %v", f)
	}
	for _, equation := range []string{"kindsvater-carter", "rehbock", "francis"} {
		r := build(t, "rectangular", map[string]any{
			"equation": equation, "width": "1 m", "channel_width": "1 m", "crest_height": "0.5 m",
		})
		q, spread, ok := r.(Drownable).Drowned(0.2, 0.1)
		if got := q / r.Flow(0.2); !ok || math.Abs(got-0.86418) > 3e-5 || spread != 0.05 {
			t.Errorf("%s: %.6f, spread %v, %v", equation, got, spread, ok)
		}
	}
}

// TestCompoundDrowned: at h = 0.4 m over a notch of 0.3 m, with hd = 0.35 m, each part by its own crest: Qv(0.4) at S =
// 0.875, Qv(0.1) and the crest at S = 0.5.
func TestCompoundDrowned(t *testing.T) {
	r := build(t, "compound", map[string]any{
		"notch_coefficient": 1.37, "notch_height": "0.3 m", "shoulder_width": "1.2 m", "crest_coefficient": 1.8,
	})
	deep := 1.37 * math.Pow(0.4, 2.5) * math.Pow(1-math.Pow(0.875, 2.5), 0.385)
	over := 1.37 * math.Pow(0.1, 2.5) * math.Pow(1-math.Pow(0.5, 2.5), 0.385)
	sides := 1.8 * 1.2 * math.Pow(0.1, 1.5) * math.Pow(1-math.Pow(0.5, 1.5), 0.385)
	q, spread, ok := r.(Drownable).Drowned(0.4, 0.35)
	if want := deep - over + sides; !ok || math.Abs(q/want-1) > 1e-9 || spread < 0.1 || spread > 0.11 {
		t.Errorf("%v, want %v; spread %v, %v", q, want, spread, ok)
	}
	pair := build(t, "side-by-side", map[string]any{"parts": []any{map[string]any{"kind": "v-notch", "angle": "90 deg"},
		map[string]any{
			"kind": "rectangular", "width": "1 m", "channel_width": "3 m", "crest_height": "0.5 m", "crest": "0.3 m",
		}}})
	v := build(t, "v-notch", map[string]any{"angle": "90 deg"})
	w := build(t, "rectangular", map[string]any{"width": "1 m", "channel_width": "3 m", "crest_height": "0.5 m"})
	want := v.Flow(0.4)*math.Pow(1-math.Pow(0.5, 2.5), 0.385) + w.Flow(0.4-0.3) // 0.2 m drowns the notch alone
	if q, _, ok := pair.(Drownable).Drowned(0.4, 0.2); !ok || math.Abs(q/want-1) > 1e-9 {
		t.Errorf("side by side: %v, want %v, %v", q, want, fmt.Sprint(ok))
	}
}
