package settings

import (
	"math"
	"testing"

	"retotal/qa"
	"retotal/recompute/device"
)

var inf = math.Inf(1)

// TestEndsByHand: where figures stop, at a device of Q = 0.1 m²/s × h: 0.3 m are 30 L/s.
func TestEndsByHand(t *testing.T) {
	empty := "empty_distance = \"1.5 m\"\n"
	for _, c := range []struct {
		name, quantity, settings                    string
		least, most, floor, cap, depth, spill, hold float64
		top, usual                                  float64
	}{
		{"nothing said", "level", empty, -inf, inf, 0, 0, inf, inf, inf, inf, inf},
		{"maximum head, level", "level", empty + "maximum_head = \"0.3 m\"\n", -inf, 0.3, 0, 0.3, inf, inf, inf, inf, 0.3},
		{"maximum head above a zero, level", "level", empty + "level_of_zero_flow = \"0.1 m\"\nmaximum_head = \"0.3 m\"\n", -inf, 0.4, 0, 0.4, inf, inf, inf, inf, 0.3},
		{"maximum head, head", "head", "level_of_zero_flow = \"0.1 m\"\nmaximum_head = \"0.3 m\"\n", -inf, 0.3, 0, 0.3, inf, inf, inf, inf, 0.3},
		{"maximum head, distance", "distance", empty + "maximum_head = \"0.3 m\"\n", -inf, inf, 0, 0, inf, inf, inf, inf, 0.3},
		{"maximum head, flow", "flow", "maximum_head = \"0.3 m\"\n", -inf, 0.03, 0, 0.03, inf, inf, inf, inf, 0.3},
		{"the lower maximum, flow", "flow", "maximum_head = \"0.3 m\"\nmaximum_flow = \"20 L/s\"\n", -inf, 0.02, 0, 0.02, inf, inf, inf, inf, 0.3},
		{"cut-off", "flow", "flow_cut_off = \"2 L/s\"\n", 0, inf, 0.002, inf, inf, inf, inf, inf, inf},
		// a zero that stays a zero is exact
		{"clamped heads", "head", "below_zero = \"clamped\"\n", -inf, inf, 0, 0, inf, inf, inf, inf, inf},
		{"channel depth", "level", empty + "channel_depth = \"0.5 m\"\n", -inf, inf, 0, 0, 0.05, 0.05, 0.05, 0.5, 0.5},
		{"depth and maximum", "level", empty + "channel_depth = \"0.5 m\"\nmaximum_head = \"0.6 m\"\n", -inf, 0.6, 0, 0.6, 0.05, 0.05, 0.05, 0.5, 0.5},
		{"blanking, distance", "distance", empty + "blanking_distance = \"1.1 m\"\nchannel_depth = \"0.5 m\"\n", -inf, inf, 0, 0, 0.05, 0.05, 0.04, 0.5, 0.5},
		{"blanking beyond the depth, distance", "distance", empty + "blanking_distance = \"0.9 m\"\nchannel_depth = \"0.5 m\"\n", -inf, inf, 0, 0, 0.05, 0.05, 0.05, 0.5, 0.5},
		{"blanking, level", "level", empty + "blanking_distance = \"1.1 m\"\n", -inf, 0.4, 0, 0.4, inf, inf, inf, inf, inf},
		{"blanking, flow", "flow", empty + "blanking_distance = \"1.1 m\"\n", -inf, 0.04, 0, 0.04, inf, inf, inf, inf, inf},
		{"blanking above the maximum, flow", "flow", empty + "blanking_distance = \"1.1 m\"\nmaximum_head = \"0.3 m\"\n", -inf, 0.03, 0, 0.03, inf, inf, inf, inf, 0.3},
		{"blanking below the maximum, level", "level", empty + "blanking_distance = \"1.3 m\"\nmaximum_head = \"0.3 m\"\n", -inf, 0.2, 0, 0.2, inf, inf, inf, inf, 0.3},
		{"loop, level", "level", empty + "loop = { low = \"0.05 m\", high = \"0.45 m\" }\n", 0.05, 0.45, 0.05, 0.45, inf, inf, inf, inf, inf},
		{"reversed loop, level", "level", empty + "loop = { low = \"0.45 m\", high = \"0.05 m\" }\n", 0.05, 0.45, 0.05, 0.45, inf, inf, inf, inf, inf},
		{"loop of 0 to 20 mA", "level", empty + "loop = { low = \"0.05 m\", high = \"0.45 m\", from = 0, to = 20 }\n", -inf, inf, 0, 0, inf, inf, inf, inf, inf},
		{"loop of 4 to 16 mA", "level", empty + "loop = { low = \"0.05 m\", high = \"0.45 m\", from = 4, to = 16 }\n", -inf, inf, 0, 0, inf, inf, inf, inf, inf},
		// distances fall as the water rises
		{"loop, distance", "distance", empty + "loop = { low = \"1.1 m\", high = \"1.5 m\" }\n", 1.1, 1.5, 1.5, 1.1, inf, inf, inf, inf, inf},
	} {
		l, _ := lanes(t, column(c.quantity), c.settings, "")
		s := &l.Recorded.Segments[0]
		e := &s.Ends
		got := []float64{e.Least, e.Most, e.Floor, e.cap, e.depth, e.spill, s.Hold, s.Top, s.Usual}
		want := []float64{c.least, c.most, c.floor, c.cap, c.depth, c.spill, c.hold, c.top, c.usual}
		for k, name := range []string{"least", "most", "floor", "cap", "depth", "spill", "hold", "top", "usual"} {
			if got[k] != want[k] && !(math.Abs(got[k]-want[k]) < 1e-12) {
				t.Errorf("%s: %s is %v, want %v", c.name, name, got[k], want[k])
			}
		}
		if e.Falling != (c.quantity == "distance") {
			t.Errorf("%s: falling %v", c.name, e.Falling)
		}
	}
}

// TestSaturation: of 4 to 20 mA for 0.05 to 0.45 m, 25 mm a mA, a log that shows more than the ends, by more than half
// its step of 1 mm, saturates at 3.8 and 20.5 mA: 45 mm and 462.5 mm (NAMUR NE 43, figures read second hand).
func TestSaturation(t *testing.T) {
	for _, c := range []struct {
		name         string
		shown        Extremes
		least, most  float64
		low, high    string
		quantity     string
		floor, upper float64
	}{
		{"within", Extremes{0.06, 0.44, 0.0005}, 0.05, 0.45, "0.05 m", "0.45 m", "level", 0.05, 0.45},
		{"at half a step", Extremes{0.0495, 0.4505, 0.0005}, 0.05, 0.45, "0.05 m", "0.45 m", "level", 0.05, 0.45},
		{"below", Extremes{0.0494, 0.44, 0.0005}, 0.045, 0.45, "0.05 m", "0.45 m", "level", 0.045, 0.45},
		{"above", Extremes{0.06, 0.4506, 0.0005}, 0.05, 0.4625, "0.05 m", "0.45 m", "level", 0.05, 0.4625},
		// 3.8 mA is 0.455, 20.5 mA 0.0375
		{"reversed, beyond both", Extremes{0.04, 0.46, 0.0005}, 0.0375, 0.455, "0.45 m", "0.05 m", "level", 0.0375, 0.455},
		{"of distances, beyond both", Extremes{1.0, 1.6, 0.0005}, 1.095, 1.5125, "1.1 m", "1.5 m", "distance", 1.5125, 1.095},
	} {
		l, s := lanes(
			t,
			column(c.quantity),
			"empty_distance = \"1.5 m\"\nloop = { low = \""+c.low+"\", high = \""+c.high+"\" }\n",
			"",
		)
		news := Learn(s, l.Recorded, []Extremes{c.shown}, []*Lane{l.Recorded})
		e := &l.Recorded.Segments[0].Ends
		if math.Abs(e.Least-c.least) > 1e-12 || math.Abs(e.Most-c.most) > 1e-12 || math.Abs(e.Floor-c.floor) > 1e-12 ||
			math.Abs(e.cap-c.upper) > 1e-12 ||
			news != (c.name != "within" && c.name != "at half a step") {
			t.Errorf("%s: %v to %v, floor %v, cap %v, news %v", c.name, e.Least, e.Most, e.Floor, e.cap, news)
		}
	}
}

// TestShownBeyondMaximum: a log of levels that shows more than its maximum head, by more than half a step, was not
// stopped there; one of flows was.
func TestShownBeyondMaximum(t *testing.T) {
	for _, c := range []struct {
		quantity string
		most     float64 // that the log shows
		want     float64
	}{
		{"level", 0.3, 0.3},
		{"level", 0.3005, 0.3},
		{"level", 0.3006, inf},
		{"flow", 0.0305, 0.03},
		{"flow", 0.05, 0.03},
	} {
		l, s := lanes(t, column(c.quantity), "maximum_head = \"0.3 m\"\nempty_distance = \"1.5 m\"\n", "")
		Learn(s, l.Recorded, []Extremes{{0, c.most, 0.0005}}, []*Lane{l.Recorded})
		if got := l.Recorded.Segments[0].Ends.Most; got != c.want && !(math.Abs(got-c.want) < 1e-12) {
			t.Errorf("%s up to %g: %v, want %v", c.quantity, c.most, got, c.want)
		}
	}
}

// TestMeterFlowEdges: a cut-off of 2 L/s (0.02 m), a maximum head of 0.3 m or a maximum flow of 25 L/s (0.25 m): at
// each the meter still shows the flow, and Limit, Shows and MeterFlow say the same.
func TestMeterFlowEdges(t *testing.T) {
	for settings, cases := range map[string]map[float64]float64{
		"flow_cut_off = \"2 L/s\"\nmaximum_head = \"0.3 m\"\n": {
			0.0199: 0, 0.0201: 0.00201, 0.2999: 0.02999, 0.3: 0.03, 0.3001: 0.03, 0.9: 0.03, -0.1: 0, 0: 0,
		},
		"flow_cut_off = \"2 L/s\"\nmaximum_flow = \"25 L/s\"\n": {
			0.0199: 0, 0.0201: 0.00201, 0.2499: 0.02499, 0.2501: 0.025, 0.9: 0.025, -0.1: 0,
		},
		"flow_cut_off = \"2 L/s\"\nmaximum_flow = \"25 L/s\"\nmaximum_head = \"0.2 m\"\n": {
			0.1999: 0.01999, 0.2001: 0.02, 0.26: 0.02,
		},
		"maximum_flow = \"25 L/s\"\nmaximum_head = \"0.3 m\"\n": {
			0.001: 0.0001, 0.2499: 0.02499, 0.2501: 0.025, 0.31: 0.025,
		},
		"flow_cut_off = \"2 L/s\"\n": {0.0199: 0, 0.0201: 0.00201, 0.9: 0.09},
		"":                           {0.001: 0.0001, 0.9: 0.09},
	} {
		l, _ := lanes(t, column("level"), settings, "")
		s := &l.Recorded.Segments[0]
		for head, want := range cases {
			heads, flows, shown := []float64{head}, []float64{s.Rating.Flow(head)}, make([]float64, 1)
			s.Limit(flows, heads)
			s.Shows(shown, []int64{0}, heads, false)
			for name, got := range map[string]float64{
				"meter":       s.MeterFlow(head),
				"limited":     flows[0],
				"shown":       shown[0],
				"by the rate": MeterRate(s, 0, head),
			} {
				if math.Abs(got-want) > 1e-12 {
					t.Errorf("%q at %g m, %s: %v, want %v", settings, head, name, got, want)
				}
			}
		}
	}
}

// TestBoundsByHand: what is known of a flow behind each kind of end, at Q = 0.1 h.
func TestBoundsByHand(t *testing.T) {
	correction := "[[correction]]\nreason = \"test\"\nempty_distance = \"1.52 m\"\n" // heads are 20 mm higher
	for _, c := range []struct {
		name, quantity, settings string
		figure                   float64
		flags                    qa.Flags
		lower, upper             float64
	}{
		// 0.02 m and 20 mm
		{"cut off", "flow", "empty_distance = \"1.5 m\"\nflow_cut_off = \"2 L/s\"\n", 0, qa.CutOff, 0, 0.004},
		// 0.32 m to the depth
		{"capped", "level", "empty_distance = \"1.5 m\"\nmaximum_head = \"0.3 m\"\nchannel_depth = \"0.5 m\"\n", 0.3, qa.Capped, 0.032, 0.05},
		{"capped, no depth", "level", "empty_distance = \"1.5 m\"\nmaximum_head = \"0.3 m\"\n", 0.3, qa.Capped, 0.032, inf}, //
		// held at 1.1 m
		{"too near", "distance", "empty_distance = \"1.5 m\"\nblanking_distance = \"1.1 m\"\nchannel_depth = \"0.5 m\"\n", 1.05, qa.Blanking, 0.042, 0.05},
		// its own flow is less
		{"too near, below", "distance", "empty_distance = \"1.5 m\"\nblanking_distance = \"1.1 m\"\nchannel_depth = \"0.5 m\"\n", 1.2, qa.Blanking, 0.032, 0.05},
		// held at the depth, up to its own flow
		{"surcharged", "level", "empty_distance = \"1.5 m\"\nchannel_depth = \"0.5 m\"\n", 0.6, qa.Surcharge, 0.05, 0.062},
		{"surcharged a little", "level", "empty_distance = \"1.5 m\"\nchannel_depth = \"0.5 m\"\n", 0.47, qa.Surcharge, 0.049, 0.05},
	} {
		l, _ := lanes(t, column(c.quantity), c.settings, correction)
		s := &l.Corrected.Segments[0]
		b := s.Bounds(0, c.figure, 293.15, s.Flow(0, c.figure, 293.15), c.flags)
		if !b.Held || math.Abs(b.Lower-c.lower) > 1e-12 || b.Upper != c.upper && !(math.Abs(b.Upper-c.upper) < 1e-12) {
			t.Errorf("%s: %+v, want %v to %v", c.name, b, c.lower, c.upper)
		}
	}
	if b := Exactly(0.3); b.Held || b.Lower != 0.3 || b.Upper != 0.3 {
		t.Errorf("%+v", b)
	}
}

// TestBeyondEdges: half a step beyond an end is at it, either way; of a log of which nothing is known yet nothing is
// beyond.
func TestBeyondEdges(t *testing.T) {
	var unknown *Extremes
	if unknown.beyond(0, true) || unknown.beyond(0, false) {
		t.Error("unknown")
	}
	for _, c := range []struct {
		least, most float64
		low, high   bool
	}{{1, 2, false, false}, {0.75, 2.25, false, false}, {0.7499, 2.25, true, false}, {0.75, 2.2501, false, true}} {
		x := Extremes{c.least, c.most, 0.25}
		if x.beyond(1, false) != c.low || x.beyond(2, true) != c.high {
			t.Errorf("%+v", c)
		}
	}
}

// TestGreatestOfPipe: the most of a full pipe of 0.3 m is that at 0.938 of its diameter, 1.0757 of its full flow (Chow
// 1959, Open-Channel Hydraulics, at n constant), within the 512 steps that are looked at.
func TestGreatestOfPipe(t *testing.T) {
	l, _ := lanes(
		t,
		column("flow"),
		"",
		"[[correction]]\nreason = \"test\"\nsure = true\ndevice = { kind = \"manning\", section = \"circular\", "+
			"diameter = \"0.3 m\", slope = 0.002, roughness = 0.013 }\n",
	)
	r := l.Corrected.Segments[0].Rating
	full := r.Flow(0.3)
	if got := Greatest(r, 0.3) / full; math.Abs(got-1.0757) > 0.0003 {
		t.Errorf("%v of the full flow", got)
	}
	if got := Greatest(r, 0.15) / r.Flow(0.15); math.Abs(got-1) > 1e-12 {
		t.Errorf("up to half: %v", got)
	}
	if Greatest(r, inf) != inf {
		t.Error("without an end")
	}
}

// TestWarnOfLimit: a maximum head above the rating's highest head is told, to a micrometre.
func TestWarnOfLimit(t *testing.T) {
	for text, want := range map[string]int{"0.5 m": 0, "0.5000005 m": 0, "0.500002 m": 1} {
		l, s := lanes(t, column("level"), "maximum_head = \""+text+"\"\n", "")
		b := Builder{Site: s, Recorded: l.Recorded.Segments}
		b.warnOfLimit(
			&Segment{Settings: l.Recorded.Segments[0].Settings, Rating: limited{l.Recorded.Segments[0].Rating}},
		)
		if len(b.Problems) != want {
			t.Errorf("%s: %v", text, b.Problems)
		}
	}
}

// TestSegmentEdges: an instant belongs to the segment that begins with it.
func TestSegmentEdges(t *testing.T) {
	l := Lane{Segments: []Segment{{From: Always, Until: 10}, {From: 10, Until: 20}, {From: 20, Until: Never}}}
	for at, want := range map[int64]int{Always: 0, 9: 0, 10: 1, 19: 1, 20: 2, Never: 2} {
		if got := l.At(at); got != want {
			t.Errorf("%d: %d, want %d", at, got, want)
		}
	}
}

// limited is a rating that is valid up to 0.5 m.
type limited struct{ device.Rating }

func (r limited) Limits() device.Limits {
	l := r.Rating.Limits()
	l.High = 0.5
	return l
}
