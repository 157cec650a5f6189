package settings

import (
	"math"
	"strings"
	"testing"
	"time"

	"retotal/recompute/device"
)

// TestMeansByHand: bounds of a mean by Jensen's inequality, both ways, on curves whose hull can be drawn by hand. A
// device of Q = h², corrected heads 0.1 m higher.
//
// Of mean flows x = h²: y = (√x + 0.1)² bends downwards, so the mean lies below it and above the straight line from (0,
// 0), as a zero hides what is below the crest, to the end at 0.5 m, (0.25, 0.36): 1.44 x.
//
// Of mean levels: y = (h + 0.1)² bends upwards, so the mean lies above it and below the straight line from no flow at
// −0.1 m to (0.5, 0.36): 0.6 (h + 0.1). Bounds are the narrowest to 0.01 %, as the help page says.
func TestMeansByHand(t *testing.T) {
	for _, c := range []struct {
		quantity, settings string
		mean               float64
		lower, upper       float64
	}{
		{"flow", "maximum_head = \"0.5 m\"\n", 0.04, 0.0576, 0.09},
		{"flow", "maximum_head = \"0.5 m\"\n", 0.16, 0.2304, 0.25},
		{"flow", "maximum_head = \"0.5 m\"\n", 0, 0, 0.01}, {"flow", "maximum_head = \"0.5 m\"\n", 0.25, 0.36, 0.36},
		{"flow", "maximum_flow = \"250 L/s\"\n", 0.04, 0.0576, 0.09},
		// zero hides up to 0.1 m, which is 0.2 m now
		{"flow", "flow_cut_off = \"10 L/s\"\nmaximum_head = \"0.5 m\"\n", 0, 0, 0.04},
		{"flow", "", 0.04, 0.04, inf},
		// the water may rise to 0.6 m, which the meter shows as 0.5
		{"flow", "channel_depth = \"0.6 m\"\n", 0.04, 0.0576, 0.09},
		{"level", "maximum_head = \"0.5 m\"\n", 0.2, 0.09, 0.18},
		{"level", "maximum_head = \"0.5 m\"\n", 0.4, 0.25, 0.3},
		{"level", "maximum_head = \"0.5 m\"\n", -0.05, 0.0025, 0.03},
		{"level", "channel_depth = \"0.6 m\"\n", 0.2, 0.09, 0.18},
		// at the cap the channel holds 0.64
		{"level", "maximum_head = \"0.5 m\"\nchannel_depth = \"0.8 m\"\n", 0.2, 0.09, 0.64 / 0.6 * 0.3},
		{"level", "", 0.2, 0.09, inf},
		{"level", "maximum_head = \"0.5 m\"\n", -0.2, 0, 0.36}, // part of the interval lay far below
		{"distance", "channel_depth = \"0.6 m\"\n", 1.3, 0.09, 0.18},
		// a distance goes on above the maximum head: to 0.8 m, which the meter has as 0.7, 0.8 (h + 0.1)
		{"distance", "channel_depth = \"0.8 m\"\n", 1.3, 0.09, 0.24},
		{"distance", "maximum_head = \"0.5 m\"\nchannel_depth = \"0.8 m\"\n", 1.3, 0.09, 0.24},
		{"distance", "maximum_head = \"0.5 m\"\n", 1.3, 0.09, 0.18}, // nothing says that the water goes higher
	} {
		l := squaresOfMeans(t, c.quantity, c.settings)
		s := &l.Corrected.Segments[0]
		lower, upper := s.MeanBounds(c.mean, 293.15)
		within := func(got, want float64) bool {
			return got == want || math.Abs(got-want) <= 1.05e-4*math.Abs(want)+1e-9
		}
		if !s.OfMeans() || !within(upper, c.upper) || !within(lower, c.lower) && !math.IsInf(upper, 1) ||
			lower > c.lower*(1+1e-9)+1e-12 && !math.IsInf(upper, 1) ||
			upper < c.upper*(1-1e-9) {
			t.Errorf(
				"%s %q, a mean of %g: %v to %v, want %v to %v",
				c.quantity,
				c.settings,
				c.mean,
				lower,
				upper,
				c.lower,
				c.upper,
			)
		}
	}
}

// squaresOfMeans builds the lanes of TestMeansByHand.
func squaresOfMeans(t *testing.T, quantity, settings string) *Lanes {
	t.Helper()
	l, _ := lanesOf(
		t,
		strings.NewReplacer(
			"time_zone",
			"values = \"means\"\ntime_zone",
			"coefficient = 0.1\nexponent = 1",
			"coefficient = 1.0\nexponent = 2",
		),
		column(
			quantity,
		),
		"empty_distance = \"1.5 m\"\n"+settings,
		"[[correction]]\nreason = \"test\"\nempty_distance = \"1.6 m\"\n",
	)
	return l
}

// TestMeanAcrossTwoSettings: a mean of levels written half under settings whose correction is 0.1 m and half under
// others of 0.2 m lies in the hull of both curves: above (h + 0.1)² and below the straight line from no flow at −0.2 m
// to 0.49 at 0.5 m.
func TestMeanAcrossTwoSettings(t *testing.T) {
	l, _ := lanesOf(
		t,
		strings.NewReplacer(
			"time_zone",
			"values = \"means\"\ntime_zone",
			"coefficient = 0.1\nexponent = 1",
			"coefficient = 1.0\nexponent = 2",
		),
		column("level"),
		"empty_distance = \"1.5 m\"\nmaximum_head = \"0.5 m\"\n",
		"[[settings.change]]\nat = 2031-03-01T00:00:00\nempty_distance = \"1.4 m\"\n[[correction]]\n"+
			"reason = \"test\"\nempty_distance = \"1.6 m\"\n",
	)
	lower, upper := l.Corrected.Segments[0].MeanBoundsWith(&l.Corrected.Segments[1], 0.2, 293.15)
	if math.Abs(lower-0.09) > 1e-5 || math.Abs(upper-0.49/0.7*0.4) > 1e-4 {
		t.Errorf("%v to %v, want 0.09 to %v", lower, upper, 0.49/0.7*0.4)
	}
}

// TestMeansWithShift: 10 mm are added below 0.2 m and 30 mm above 0.3 m, evenly between: the curve of Q = h² over
// levels bends upwards up to 0.3 m, where its slope falls from 2 · 0.33 · 1.2 to 2 · 0.33. At 0.05 m the mean lies
// above (0.06)² and below the straight line from no flow at −0.01 m to 0.33² at 0.3 m, the highest of all such lines:
// 0.1089/0.31 a metre, and to 0.53² at 0.5 m: 0.2809/0.51.
func TestMeansWithShift(t *testing.T) {
	l, _ := lanesOf(
		t,
		strings.NewReplacer(
			"time_zone",
			"values = \"means\"\ntime_zone",
			"coefficient = 0.1\nexponent = 1",
			"coefficient = 1.0\nexponent = 2",
		),
		column("level"),
		"maximum_head = \"0.5 m\"\n",
		"[[correction]]\nreason = \"test\"\nhead_shift = [[\"0.2 m\", \"10 mm\"], [\"0.3 m\", \"30 mm\"]]\n",
	)
	lower, upper := l.Corrected.Segments[0].MeanBounds(0.05, 293.15)
	if want := math.Max(0.1089/0.31, 0.2809/0.51) * 0.06; math.Abs(lower-0.0036) > 1e-6 ||
		math.Abs(upper-want) > 1e-4*want {
		t.Errorf("%v to %v, want 0.0036 to %v", lower, upper, want)
	}
}

// TestMeansWithAir: where the air's temperature is that of each reading, bounds hold for half a kelvin: a mean distance
// of 1.3 m at 20 degC by a meter that took 20 degC is a level of 0.2 m, and at 20.5 degC of 1.5 − 1.3 √(293.65/293.15).
func TestMeansWithAir(t *testing.T) {
	l, _ := lanesOf(
		t,
		strings.NewReplacer(
			"time_zone",
			"values = \"means\"\ntime_zone",
			"coefficient = 0.1\nexponent = 1",
			"coefficient = 1.0\nexponent = 2",
		),
		column("distance")+column("temperature"),
		"empty_distance = \"1.5 m\"\nair_temperature = \"20 degC\"\nchannel_depth = \"0.6 m\"\n",
		"[[correction]]\nreason = \"test\"\nair_temperature = \"logged\"\n",
	)
	for _, kelvin := range []float64{273.15, 293.15, 303.15} {
		low := math.Floor(kelvin/0.5) * 0.5
		lower, upper := l.Corrected.Segments[0].MeanBounds(1.3, kelvin)
		want := math.Pow(1.5-1.3*math.Sqrt((low+0.5)/293.15), 2)
		cold, warm := math.Sqrt(low/293.15), math.Sqrt((low+0.5)/293.15)
		zero, top := math.Max(
			1.5,
			1.5/cold,
		), 0.9/warm // distances: the lower of both zeros of flow, and the channel's depth
		most := math.Pow(1.5-top*cold, 2) * (zero - 1.3) / (zero - top) // the straight line between them
		if math.Abs(lower-want) > 2e-4*want || math.Abs(upper-most) > 5e-4*most {
			t.Errorf("%g K: %v to %v, want %v to %v", kelvin, lower, upper, want, most)
		}
	}
}

// TestTwofoldBounds: a closed pipe of 0.3 m carries every flow from full to 1.076 of full at two depths. A logged flow
// above full, by more than a thousandth, lies between what both give; one that is full may stand under pressure, which
// nothing bounds.
func TestTwofoldBounds(t *testing.T) {
	pipe := func(n string) string {
		return "kind = \"manning\"\nsection = \"circular\"\ndiameter = \"0.3 m\"\nroughness = " + n +
			"\nslope = 0.002\n"
	}
	change := strings.NewReplacer(
		"kind = \"power\"\ncoefficient = 0.1\nexponent = 1\nhead_unit = \"m\"\nflow_unit = \"m3/s\"\n",
		pipe("0.013"),
	)
	l, _ := lanesOf(
		t,
		change,
		column("flow"),
		"",
		"[[correction]]\nreason = \"test\"\nhead_shift = [[\"0 m\", \"-10 mm\"]]\n",
	)
	s, r := &l.Corrected.Segments[0], l.Recorded.Segments[0].Rating
	full := r.Flow(0.3)
	for share, held := range map[float64]bool{
		1.0011: true, 1.05: true, 0.9991: true, 1: true, 1.0009: true, 0.99: false,
	} {
		figure := share * full
		b := s.Bounds(0, figure, 293.15, s.Flow(0, figure, 293.15), 0)
		low, high, _ := device.Heads(r, figure)
		want := [2]float64{math.Min(r.Flow(low-0.01), r.Flow(high-0.01)), math.Max(r.Flow(low-0.01), r.Flow(high-0.01))}
		if share < 1.001 && held {
			low, high, _ = device.Heads(r, full)
			want = [2]float64{math.Min(r.Flow(low-0.01), r.Flow(high-0.01)), inf}
		}
		if held && (math.Abs(b.Lower-want[0]) > 1e-9 || b.Upper != want[1] && !(math.Abs(b.Upper-want[1]) < 1e-9)) {
			t.Errorf("%g of full: %+v, want %v", share, b, want)
		}
		if !held && b.Upper != inf { // nothing says that it has two heads: what stands above the depth
			t.Errorf("%g of full: %+v", share, b)
		}
	}
}

// TestLoopChanges: a loop that is entered anew as it was is no change, one of other ends or currents is.
func TestLoopChanges(t *testing.T) {
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()
	for keys, want := range map[string]int{
		"low = \"0 m\", high = \"0.4 m\"": 0, "low = \"0 m\", high = \"40 cm\", from = 4, to = 20": 0,
		"low = \"0.01 m\", high = \"0.4 m\"": 1, "low = \"0 m\", high = \"0.41 m\"": 1,
		"low = \"0 m\", high = \"0.4 m\", from = 0": 1, "low = \"0 m\", high = \"0.4 m\", to = 16": 1,
	} {
		l, _ := lanes(
			t,
			column("level"),
			"loop = { low = \"0 m\", high = \"0.4 m\" }\n",
			"[[settings.change]]\nat = 2031-03-01T00:00:00\nloop = { "+keys+" }\n",
		)
		if got := len(l.Recorded.ChangesIn(at-1, at)); got != want {
			t.Errorf("%s: %d changes, want %d", keys, got, want)
		}
	}
}

// TestAirAndShiftChanges: of the recorded settings the temperature of the air, of the corrected ones what is added by
// head.
func TestAirAndShiftChanges(t *testing.T) {
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()
	for keys, want := range map[string]int{
		"\"20 degC\"": 0, "\"21 degC\"": 1, "\"logged\"": 1, "{ logged_plus = \"1 K\" }": 1,
	} {
		l, _ := lanes(
			t,
			column("distance")+column("temperature"),
			"empty_distance = \"1.5 m\"\nair_temperature = \"20 degC\"\n",
			"[[settings.change]]\nat = 2031-03-01T00:00:00\nair_temperature = "+keys+"\n",
		)
		if got := len(l.Recorded.ChangesIn(at-1, at)); got != want {
			t.Errorf("air %s: %d changes, want %d", keys, got, want)
		}
	}
	for second, want := range map[string]int{
		"[[\"0.05 m\", \"2 mm\"]]": 0, "[[\"0.05 m\", \"3 mm\"]]": 1, "[[\"0.06 m\", \"2 mm\"]]": 1,
	} {
		correction := func(bound, shift string) string {
			return "[[correction]]\n" + bound + " = 2031-03-01T00:00:00\nreason = \"test\"\n" +
				"head_shift = " + shift + "\n"
		}
		l, _ := lanes(
			t,
			column("level"),
			"",
			correction("until", "[[\"0.05 m\", \"2 mm\"]]")+correction("from", second),
		)
		if got := len(l.Corrected.ChangesIn(at-1, at)); got != want {
			t.Errorf("shift %s: %d changes, want %d", second, got, want)
		}
	}
}

// TestWithoutCorrection: a lane that lacks one correction of two; there is no third.
func TestWithoutCorrection(t *testing.T) {
	_, s := lanes(
		t,
		column("level"),
		"empty_distance = \"1.5 m\"\n",
		"[[correction]]\nuntil = 2031-03-01T00:00:00\nreason = \"test\"\nempty_distance = \"1.51 m\"\n"+
			"[[correction]]\nfrom = 2031-03-01T00:00:00\nreason = \"test\"\nempty_distance = \"1.52 m\"\n",
	)
	at := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()
	for i, want := range [][2]float64{{0.2, 0.22}, {0.21, 0.2}} {
		l, err := NewLanes(s, []int{i + 1})
		if err != nil || len(l.WhatIfs) != 1 {
			t.Fatal(err)
		}
		for k, instant := range []int64{at - 1, at} {
			w := l.WhatIfs[0]
			if got := w.Segments[w.At(instant)].Head(instant, 0.2, 293.15); math.Abs(got-want[k]) > 1e-12 {
				t.Errorf("without %d, %d: %v, want %v", i, k, got, want[k])
			}
		}
	}
	for _, i := range []int{-1, 0, 3} {
		if _, err := NewLanes(s, []int{i}); err == nil || !strings.Contains(err.Error(), "a number from 1 to 2") {
			t.Errorf("without %d: %v", i, err)
		}
	}
}

// TestMeansOfProportionalRatings: where a power law's coefficient alone was wrong, every flow within an interval is off
// by one factor, and so is their mean: it is exact, whatever the meter can show. Flows by hand at heads of 0.1 and
// 0.3 m.
func TestMeansOfProportionalRatings(t *testing.T) {
	power := "kind = \"power\"\ncoefficient = 0.1\nexponent = 1\nhead_unit = \"m\"\nflow_unit = \"m3/s\"\n"
	law := func(c, e, n float64) (mean float64) {
		for _, h := range []float64{0.1, 0.3} {
			mean += c * math.Pow(h-e, n) / 2
		}
		return mean
	}
	for _, c := range []struct {
		name, device, correction string
		logged, want             float64 // m³/s; 0 where only bounds are known
	}{
		{"a coefficient", strings.Replace(power, "exponent = 1", "exponent = 2.5\noffset = \"5 mm\"", 1),
			"coefficient = 0.12", law(0.1, 0.005, 2.5), law(0.12, 0.005, 2.5)},
		{"a maximum flow", "kind = \"maximum\"\nmaximum_head = \"0.4 m\"\nmaximum_flow = \"80 L/s\"\nexponent = 2.5\n",
			"maximum_flow = \"100 L/s\"", law(0.08/math.Pow(0.4, 2.5), 0, 2.5), law(0.1/math.Pow(0.4, 2.5), 0, 2.5)},
		{"a maximum head", "kind = \"maximum\"\nmaximum_head = \"0.4 m\"\nmaximum_flow = \"80 L/s\"\nexponent = 2.5\n",
			"maximum_head = \"0.5 m\"", law(0.08/math.Pow(0.4, 2.5), 0, 2.5), law(0.08/math.Pow(0.5, 2.5), 0, 2.5)},
		{"an exponent", power, "exponent = 1.1", 0.02, 0},
		{"an offset", power, "offset = \"5 mm\"", 0.02, 0},
		{"another kind", power,
			"kind = \"maximum\"\nmaximum_head = \"0.4 m\"\nmaximum_flow = \"80 L/s\"\nexponent = 2.5", 0.02, 0},
	} {
		l, _ := lanesOf(t, strings.NewReplacer("time_zone", "values = \"means\"\ntime_zone", power, c.device),
			column("flow"), "", "[[correction]]\nreason = \"test\"\n[correction.device]\n"+c.correction+"\n")
		s := &l.Corrected.Segments[0]
		if s.OfMeans() != (c.want == 0) {
			t.Errorf("%s: only bounds are known: %v", c.name, s.OfMeans())
		}
		if got := s.Flow(0, c.logged, 293.15); c.want != 0 && math.Abs(got/c.want-1) > 1e-12 {
			t.Errorf("%s: a mean of %g m3/s is %g, want %g", c.name, c.logged, got, c.want)
		}
	}
}
