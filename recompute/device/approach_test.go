package device

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// chord is the width of a circle of diameter d at height y; above half its height that of a U where upright is set.
func chord(d, y float64, upright bool) float64 {
	if upright && y > d/2 {
		return d
	}
	return 2 * math.Sqrt(math.Max(y*(d-y), 0))
}

// areaBySteps sums chords by the midpoint rule.
func areaBySteps(width func(y float64) float64, y float64) (a float64) {
	const n = 4000
	for i := range n {
		a += width(y*(float64(i)+0.5)/n) * y / n
	}
	return a
}

// greatestFlow is critical flow at an energy head without any derivative: the greatest A √(2g (H − y)) over the depth
// (Bélanger).
func greatestFlow(width func(y float64) float64, energy float64) (best float64) {
	const n = 3000
	a := 0.0
	for i := range n {
		a += width(energy*(float64(i)+0.5)/n) * energy / n
		y := energy * float64(i+1) / n
		best = math.Max(best, a*math.Sqrt(2*Gravity*(energy-y)))
	}
	return best
}

// TestApproachSections holds a U throat without losses in approaches of each section to an own integration: H = h +
// Q²/2gA² by plain iteration, Q the greatest flow through the throat. A round approach taken for a rectangular one of
// that width reads 5 to 12 % low at low contraction.
func TestApproachSections(t *testing.T) {
	const h, hump, d = 0.15, 0.05, 0.3
	throat := func(y float64) float64 { return chord(d, y, true) }
	for _, c := range []struct {
		values map[string]any
		width  func(y float64) float64
	}{
		{map[string]any{"channel_width": "0.45 m"}, func(float64) float64 { return 0.45 }},
		{map[string]any{"approach_section": "circular", "approach_diameter": "0.45 m"}, func(y float64) float64 { return chord(0.45, y, false) }},
		{map[string]any{"approach_section": "U", "approach_diameter": "0.4 m"}, func(y float64) float64 { return chord(0.4, y, true) }},
		{map[string]any{"approach_section": "trapezoidal", "channel_width": "0.2 m", "approach_side_slope": 1.0}, func(y float64) float64 { return 0.2 + 2*y }},
	} {
		values := map[string]any{
			"section": "U", "diameter": "0.3 m", "throat_length": "0.6 m", "hump": "0.05 m", "coefficient": 1.0,
		}
		for k, v := range c.values {
			values[k] = v
		}
		a, energy := areaBySteps(c.width, h+hump), h
		for range 30 {
			v := greatestFlow(throat, energy) / a
			energy = h + v*v/(2*Gravity)
		}
		want := greatestFlow(throat, energy)
		if got := build(t, "throated", values).Flow(h); math.Abs(got/want-1) > 1e-4 {
			t.Errorf("%v: %.6f m3/s, by integration %.6f (%+.3f %%)", c.values, got, want, 100*(got/want-1))
		}
	}
}

// TestRoundApproachIsNotItsDiameter: the measure of taking the diameter of a round approach for a width.
func TestRoundApproachIsNotItsDiameter(t *testing.T) {
	values := map[string]any{
		"section":           "U",
		"diameter":          "0.3 m",
		"throat_length":     "0.6 m",
		"approach_section":  "circular",
		"approach_diameter": "0.4 m",
	}
	round := build(t, "throated", values)
	delete(values, "approach_section")
	delete(values, "approach_diameter")
	values["channel_width"] = "0.4 m"
	flat := build(t, "throated", values)
	if off := flat.Flow(0.15)/round.Flow(0.15) - 1; off > -0.05 || off < -0.12 {
		t.Errorf("a width in place of the diameter: %+.1f %%", 100*off)
	}
}

// TestNarrowApproach: refused, with the key.
func TestNarrowApproach(t *testing.T) {
	for _, c := range []struct {
		kind   string
		change map[string]any
	}{
		{"throated", map[string]any{"channel_width": "0.25 m"}},
		{"throated", map[string]any{"channel_width": "0.3 m"}}, // no contraction at all
		{"broad-crested", map[string]any{"channel_width": "0.9 m"}},
		{"round-nosed", map[string]any{"channel_width": "0.5 m"}},
		{"triangular-profile", map[string]any{"channel_width": "0.99 m"}},
		{"flat-v", map[string]any{"channel_width": "6 m"}}, // the V is 8 m wide
		{"palmer-bowlus", map[string]any{"approach_section": "rectangular", "channel_width": "0.1 m"}},
		{"rectangular", map[string]any{"channel_width": "0.4 m"}},
		{"cipolletti", map[string]any{"channel_width": "0.5 m"}},
		{"throated", map[string]any{"approach_diameter": "0.6 m"}}, // approach_section is forgotten
	} {
		values := map[string]any{}
		for k, v := range kinds[c.kind].example {
			values[k] = v
		}
		for k, v := range c.change {
			values[k] = v
		}
		if _, issues := Build(c.kind, values); len(issues) != 1 || issues[0].Key != "channel_width" &&
			c.kind != "palmer-bowlus" && !strings.HasPrefix(issues[0].Key, "approach_") {
			t.Errorf("%s %v: %+v", c.kind, c.change, issues)
		}
	}
}

// TestChangedApproach: a correction that makes the approach round leaves the width of the rectangular one behind; it is
// told and has no effect.
func TestChangedApproach(t *testing.T) {
	clean := map[string]any{
		"width":             "0.3 m",
		"throat_length":     "0.6 m",
		"approach_section":  "circular",
		"approach_diameter": "0.9 m",
		"hump":              "0.1 m",
	}
	stray := map[string]any{"channel_width": "0.6 m"}
	for k, v := range clean {
		stray[k] = v
	}
	a, b := build(t, "throated", clean), build(t, "throated", stray)
	if advice := b.Describe().Advice; a.Flow(0.2) != b.Flow(0.2) ||
		len(advice) != 1 || !strings.Contains(advice[0], "channel_width is not used") {
		t.Errorf("%v and %v, %v", a.Flow(0.2), b.Flow(0.2), advice)
	}
}

// TestFroudeLimit: a triangular profile of the channel's width, p = 0.1 m: above the head where v/√(g (h + p)) passes
// 0.5 readings are told; by hand with 0.633 √g H^1.5 = v (h + p), solved here by small steps.
func TestFroudeLimit(t *testing.T) {
	r := build(t, "triangular-profile", map[string]any{"width": "1 m", "channel_width": "1 m", "crest_height": "0.1 m"})
	want := 0.0
	for h := 0.06; want == 0; h += 1e-4 {
		energy := h
		for range 200 {
			v := 0.633 * math.Sqrt(Gravity) * math.Pow(energy-0.0003, 1.5) / (h + 0.1)
			energy = h + v*v/(2*Gravity)
		}
		v := 0.633 * math.Sqrt(Gravity) * math.Pow(energy-0.0003, 1.5) / (h + 0.1)
		if v/math.Sqrt(Gravity*(h+0.1)) > 0.5 {
			want = h
		}
	}
	l := r.Limits()
	if math.Abs(l.High-want) > 3e-4 || !strings.Contains(l.HighSource, "Froude") {
		t.Errorf("limit %.4f m (%s), want %.4f m", l.High, l.HighSource, want)
	}
	throat := build(t, "throated", map[string]any{
		"width": "0.42 m", "channel_width": "0.5 m", "throat_length": "2 m", "hump": "0.05 m",
	}).Limits()
	// b h = 0.7 B (h + p)
	if want := 0.05 / (0.42/0.5/0.7 - 1); math.Abs(throat.High-want) > 1e-6 ||
		!strings.Contains(throat.HighSource, "0.7") {
		t.Errorf("contraction: %+v, want %.4f m", throat, want)
	}
}

// TestVelocityOfApproach: no head is capped in silence. Without losses H solves H = h + Q²/2gA² wherever a subcritical
// state exists, to a part in 10⁹.
func TestVelocityOfApproach(t *testing.T) {
	unit := func(energy float64) float64 { return criticalUnit * power(energy, 1.5) }
	for _, x := range []float64{0.1, 0.5, 0.8, 0.95, 0.99, 0.9999} { // b h/A1; a state exists to 1
		const h = 0.3
		c := wide(h, x)
		energy := c.energy(h, unit)
		v := unit(energy) / c.area(h)
		if off := energy - h - v*v/(2*Gravity); math.Abs(off) > 1e-9*h || energy > 1.5*h {
			t.Errorf("x = %g: H = %v, off by %g", x, energy, off)
		}
	}
	// greatest excess: 3 x² (4/27) H²/h² = 1, H = 1.5 h/x
	if energy := wide(0.3, 1.2).energy(0.3, unit); math.Abs(energy-0.375) > 1e-6 {
		t.Errorf("no subcritical state: %v", energy)
	}
}

// TestNoStepAtTheCriticalState: where the approach comes to carry no more below the critical state the flow goes on
// without a step, for each throat. The steps of head are small; the flow bends like a square root there, so 3 % of it
// is far below a step from 1.25 h to 1.5 h in H, which is a third.
func TestNoStepAtTheCriticalState(t *testing.T) {
	for name, v := range map[string]map[string]any{
		"rectangle": {"width": "0.4 m", "throat_length": "0.6 m", "channel_width": "0.41 m", "hump": "5 mm"},
		"V": {
			"section":       "trapezoidal",
			"width":         "0 m",
			"side_slope":    1.0,
			"throat_length": "0.4 m",
			"channel_width": "0.4 m",
		},
		"U": {
			"section":           "U",
			"diameter":          "0.3 m",
			"throat_length":     "0.6 m",
			"approach_section":  "U",
			"approach_diameter": "0.32 m",
			"hump":              "5 mm",
		},
	} {
		r := build(t, "throated", v)
		last := r.Flow(0.06)
		for h := 0.06005; h < 0.6; h += 5e-5 {
			q := r.Flow(h)
			if !(q > last) || q/last-1 > 0.03 {
				t.Errorf("%s at %.5f m: from %v to %v", name, h, last, q)
				break
			}
			last = q
		}
	}
}

// awkward are devices whose dimensions once made their tables run for minutes, and others at the edge of what is
// accepted.
func awkward() map[string]map[string]any {
	return map[string]map[string]any{
		"throat nearly as wide as its channel": {
			"kind": "throated", "width": "0.5 m", "throat_length": "1 m", "channel_width": "0.501 m",
		},
		"throat as wide as its channel, humped": {
			"kind": "throated", "width": "0.5 m", "throat_length": "1 m", "channel_width": "0.5 m", "hump": "2 mm",
		},
		"long throat": {
			"kind": "throated", "width": "0.1 m", "throat_length": "10 m", "channel_width": "1 m",
		},
		"short throat": {
			"kind": "throated", "width": "3 m", "throat_length": "5 cm", "channel_width": "6 m",
		},
		"tiny U": {
			"kind": "throated", "section": "U", "diameter": "1 cm", "throat_length": "5 cm", "channel_width": "2 cm",
		},
		"U in a pipe": {
			"kind":              "throated",
			"section":           "U",
			"diameter":          "0.3 m",
			"throat_length":     "0.6 m",
			"approach_section":  "circular",
			"approach_diameter": "0.305 m",
			"hump":              "1 cm",
		},
		"V throat": {
			"kind":          "trapezoidal",
			"width":         "0 m",
			"side_slope":    0.01,
			"throat_length": "0.4 m",
			"channel_width": "0.3 m",
		},
		"flat V throat": {
			"kind":          "trapezoidal",
			"width":         "0 m",
			"side_slope":    20.0,
			"throat_length": "0.4 m",
			"channel_width": "30 m",
		},
		"large pipe flume": {"kind": "palmer-bowlus", "diameter": "5 m"},
		"small pipe flume": {"kind": "palmer-bowlus", "diameter": "4 in"},
		"pipe flume without ramp": {
			"kind":         "palmer-bowlus",
			"diameter":     "0.3 m",
			"throat_ramp":  "0 m",
			"throat_slope": 0.0,
			"throat_width": "0.08 m",
		},
		"low crest": {
			"kind":          "broad-crested",
			"width":         "1 m",
			"crest_length":  "0.3 m",
			"crest_height":  "1 cm",
			"channel_width": "1 m",
		},
		"knife crest": {
			"kind":          "broad-crested",
			"width":         "1 m",
			"crest_length":  "2 cm",
			"crest_height":  "2 m",
			"channel_width": "1 m",
		},
		"long crest": {"kind": "broad-crested", "width": "1 m", "crest_length": "20 m", "crest_height": "2 m"},
		"low round nose": {
			"kind":          "round-nosed",
			"width":         "0.5 m",
			"crest_length":  "10 m",
			"nose_radius":   "0 m",
			"crest_height":  "0.5 m",
			"channel_width": "0.5 m",
		},
		"low profile": {"kind": "triangular-profile", "width": "1 m", "crest_height": "1 cm", "channel_width": "1 m"},
		"low flat V": {
			"kind": "flat-v", "cross_slope": 10.0, "v_height": "1 cm", "crest_height": "1 cm", "channel_width": "0.2 m",
		},
		"pipe": {"kind": "manning", "section": "circular", "diameter": "20 m", "roughness": 0.3, "slope": 1e-7},
		"small pipe": {
			"kind": "manning", "section": "circular", "diameter": "1 cm", "roughness": 0.005, "slope": 0.5,
		},
		"V channel": {
			"kind":       "manning",
			"section":    "trapezoidal",
			"width":      "0 m",
			"side_slope": 20.0,
			"roughness":  0.03,
			"slope":      0.001,
		},
		"deep channel": {
			"kind": "manning", "section": "rectangular", "width": "1 cm", "roughness": 0.03, "slope": 0.001,
		},
	}
}

// TestTablesAreBounded: every table stands after a bounded number of calls of its equation (a few microseconds each),
// follows it, and ends.
func TestTablesAreBounded(t *testing.T) {
	for name, v := range awkward() {
		values := map[string]any{}
		for k, x := range v {
			values[k] = x
		}
		r, issues := Build(fmt.Sprint(v["kind"]), values)
		f, ok := r.(*Formula)
		if len(issues) > 0 || !ok {
			t.Errorf("%s: %+v", name, issues)
			continue
		}
		if f.cells == 0 || f.cells > 1500 || f.evaluations > mostEvaluations {
			t.Errorf("%s: %d cells after %d evaluations", name, f.cells, f.evaluations)
		}
		if f.exact == nil {
			continue
		}
		top := math.Min(f.limits.High*1.4, f.limits.End)
		if math.IsInf(top, 1) {
			top = 1
		}
		for i := range 3000 {
			h := f.limits.Low + (top-f.limits.Low)*(float64(i)+0.37)/3000
			if q, want := f.Flow(h), f.exact(h); h > 0 && math.Abs(q-want) > tableError*want {
				t.Errorf("%s at %v m: %v, by its equation %v", name, h, q, want)
				break
			}
		}
	}
}

// TestTableSplitsAtKinks: a step in the slope costs a few dozen intervals, not minutes, and is followed to the limit of
// the table.
func TestTableSplitsAtKinks(t *testing.T) {
	kinked := func(h float64) float64 {
		return power(h, 1.5) * (1 + math.Max(0, h-0.31415926) + 3*math.Max(0, h-0.77))
	}
	f := tabulate(&Formula{flow: kinked, limits: Limits{High: 1, End: math.Inf(1)}}, 0.02, 1).(*Formula)
	if f.cells == 0 || f.cells > 300 || f.evaluations > 2500 {
		t.Errorf("%d cells after %d evaluations", f.cells, f.evaluations)
	}
	for i := range 100000 {
		h := 0.02 + 0.98*(float64(i)+0.5)/100000
		if want := kinked(h); math.Abs(f.Flow(h)/want-1) > tableError {
			t.Fatalf("%v m: %v, want %v", h, f.Flow(h), want)
		}
	}
	restless := &Formula{flow: func(h float64) float64 { return h * (2 + math.Sin(1e7*h)) }}
	if broken := tabulate(restless, 0.1, 1).(*Formula); broken.cells != 0 {
		t.Error("a flow that no table follows has one")
	}
}
