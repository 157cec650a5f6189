package qa

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"
)

// Steps in these tests are powers of two, so that a value can stand exactly at an edge.
const (
	mm  = 1.0 / 1024 // near a millimetre
	per = time.Minute
)

// check runs one check on heads and compares the rows that it flags.
func check(
	t *testing.T,
	name string,
	w *Window,
	l Limits,
	run func(*Screener, *Window, int, int),
	flag Flags,
	want ...int,
) {
	t.Helper()
	run(&Screener{Limits: l}, w, 0, len(w.Time))
	if got := w.flagged(flag); !slices.Equal(got, want) {
		t.Errorf("%s: rows %v are flagged, want %v", name, got, want)
	}
}

// TestDefaults: the limits that README and the help page on screening promise, by hand for a log every minute to 1 mm,
// one every quarter of an hour to 2 mm, one every two hours to 0.1 mm, and one that says nothing of itself.
func TestDefaults(t *testing.T) {
	inf := math.Inf(1)
	common := Limits{
		BridgeLimit: 4 * time.Hour,
		SensorLeast: -inf,
		SensorMost:  inf,
		UserLeast:   -inf,
		UserMost:    inf,
		FlatWindow:  24 * time.Hour,
		SecondLimit: 0.02,
		GapLimit:    time.Hour,
	}
	for _, c := range []struct {
		interval                            time.Duration
		resolution                          float64
		spike, stuck, step, ratePer         time.Duration
		spikeFloor, below, flat, noiseLimit float64
	}{
		{time.Minute, 0.001, 7 * time.Minute, time.Hour, 6 * time.Hour, time.Minute, 0.003, 0.0005, 0.001, 0.015},
		{15 * time.Minute, 0.002, 105 * time.Minute, 5 * time.Hour, 6 * time.Hour, 15 * time.Minute, 0.004, 0.001, 0.002, 0.020},
		{2 * time.Hour, 0.0001, 14 * time.Hour, 40 * time.Hour, 48 * time.Hour, 2 * time.Hour, 0.003, 0.00005, 0.001, 0.015},
		{0, 0, 7 * time.Second, time.Hour, 6 * time.Hour, time.Second, 0.003, 1e-9, 0.001, 0.015},
	} {
		want := common
		want.Resolution, want.Step, want.SpikeWindow = c.resolution, c.resolution, c.spike
		want.FlatLimit, want.StepWindow, want.RatePer = c.stuck, c.step, c.ratePer
		want.SpikeFloor, want.BelowZero = c.spikeFloor, c.below
		want.FlatRange, want.NoiseLimit = c.flat, c.noiseLimit
		if got := NewLimits(Stated{}, c.interval, time.Hour, c.resolution); got != want {
			t.Errorf("every %v to %g m:\n%+v, want\n%+v", c.interval, c.resolution, got, want)
		}
	}
}

// TestLimitsInWords: what a report says of a limit is the limit that was used, in millimetres.
func TestLimitsInWords(t *testing.T) {
	l := NewLimits(
		Stated{
			TooLarge:       0.25,
			StuckTolerance: 0.002,
			StuckDuration:  time.Hour,
			SpikeThreshold: 3,
			Sensor:         Range{Least: 0.02, Most: 0.35},
			RateUp:         0.123,
			StepLimit:      0.015,
		},
		time.Minute,
		3*time.Minute,
		0.001,
	)
	words := map[Flags]string{}
	for _, c := range Checks {
		words[c.Flag] = c.Limit(l)
	}
	for flag, want := range map[Flags]string{
		Unusable:     "marked, or corrected by more than 250 mm",
		SensorRange:  "outside 0.02 to 0.35 m",
		UserRange:    "none set",
		Spike:        "more than 3 x max(1.4826 MAD, 3 mm) off the median of 7 min",
		Stuck:        "within 2 mm for 1 h or longer",
		BelowZero:    "head < -0.5 mm (half a step of the log)",
		SecondSensor: "more than 20 mm apart",
		Rate:         "123 mm up, half the highest valid head down in 1 min",
		Step:         "a jump of more than 15 mm between levels that stand still for 6 h",
		Attenuated:   "within 1 mm for 1 d",
		Noise:        "half of the last 30 changes > 15 mm, turning back",
		Gap:          "longer than 3 min",
	} {
		if words[flag] != want {
			t.Errorf("%s: %q, want %q", flag.Text(), words[flag], want)
		}
	}
	told := Limits{ToldUp: 0.03, ToldDown: 0.02, RatePer: time.Minute}
	for _, c := range Checks {
		if want := map[Flags]string{
			Rate: "half the highest valid head, or 30 mm where there is none, up, half the highest valid head, or " +
				"20 mm where there is none, down in 1 min",
			Step: "over 6 times what the level does within a day, and it stays, which the record tells",
		}[c.Flag]; want != "" && c.Limit(told) != want {
			t.Errorf("%s: %q, want %q", c.Name, c.Limit(told), want)
		}
	}
	inf := math.Inf(1)
	for _, c := range []struct {
		least, most float64
		want        string
	}{{-inf, inf, "none set"}, {-inf, 2, "above 2 m"}, {1, inf, "below 1 m"}, {1, 2, "outside 1 to 2 m"}} {
		if got := rangeText(c.least, c.most); got != c.want {
			t.Errorf("%g to %g: %q", c.least, c.most, got)
		}
	}
	counts := l
	counts.GapLimit = 0
	if got := Checks[len(Checks)-1].Limit(counts); got != "none: a counter counts on while nothing is logged" {
		t.Errorf("no gap: %q", got)
	}
	if got := Checks[1].Limit(Limits{}); got != "marked in the site file, or a counter that fell" {
		t.Errorf("no largest correction: %q", got)
	}
}

// TestHeadEdges: below zero, validity and surcharge, each a step below, at and above its edge: half a step of the log
// from the limit, which is within it.
func TestHeadEdges(t *testing.T) {
	const half, tiny = mm / 2, mm / 512
	low, valid, top := 64*mm, 384*mm, 512*mm
	for _, c := range []struct {
		head float64
		want Flags
	}{
		{-half + tiny, 0}, {-half, 0}, {-half - tiny, BelowZero}, {0, 0}, {tiny, Validity},
		{low - half - tiny, Validity}, {low - half, 0}, {low, 0}, {valid, 0}, {valid + half, 0},
		{valid + half + tiny, Validity}, {top + half, Validity}, {top + half + tiny, Surcharge},
	} {
		for _, masked := range []Flags{0, Spike, Conflict} {
			w := window(per, []float64{c.head})
			w.Spans = []Span{{End: 1, Low: low, Valid: valid, Top: top}}
			w.Flags[0] = masked
			s := Screener{Limits: NewLimits(Stated{}, per, per, mm)}
			s.heads(w, 0, 1)
			if want := c.want | masked; masked == 0 && w.Flags[0] != want || masked != 0 && w.Flags[0] != masked {
				t.Errorf("head %g steps, flagged before as %q: %q", c.head/mm, masked.Text(), w.Flags[0].Text())
			}
		}
	}
}

// TestRatingBelowChannel: a rating valid to above its end is judged by its end.
func TestRatingBelowChannel(t *testing.T) {
	w := window(per, []float64{100 * mm, 101 * mm})
	w.Spans = []Span{{End: 2, Valid: 200 * mm, Top: 100 * mm}}
	check(t, "above the end", w, NewLimits(Stated{}, per, per, mm), (*Screener).heads, Surcharge, 1)
}

// TestTwofoldEdges: half a step below the flow of a full pipe is full, more below is not; without such a flow nothing
// is.
func TestTwofoldEdges(t *testing.T) {
	l := Limits{Step: mm, Resolution: mm, BelowZero: mm}
	figures := []float64{255 * mm, 255.498 * mm, 255.5 * mm, 255.75 * mm, 256 * mm, 300 * mm}
	span := Span{End: 6, Low: -1, Valid: 9, Top: 9, Least: -1, Most: 9, Twofold: 256 * mm}
	w := window(per, figures)
	w.Spans = []Span{span}
	check(t, "with a full pipe", w, l, (*Screener).heads, Surcharge, 2, 3, 4, 5)
	s := Screener{Limits: l}
	for i := range figures {
		if got := s.hides(w, i); got != (i >= 2) {
			t.Errorf("figure %g steps hides: %v", figures[i]/mm, got)
		}
	}
	span.Twofold = 0
	w = window(per, figures)
	w.Spans = []Span{span}
	check(t, "without", w, l, (*Screener).heads, Surcharge)
	for i := range figures {
		if s.hides(w, i) {
			t.Errorf("figure %g steps hides without a full pipe", figures[i]/mm)
		}
	}
}

// TestBlankingEdges: within half a step of the blanking distance, by the settings in force on the row; a sensor without
// one sees everything.
func TestBlankingEdges(t *testing.T) {
	values := []float64{299 * mm, 300 * mm, 300.5 * mm, 300.502 * mm, 301 * mm}
	w := window(per, slices.Concat(values, values, []float64{0}))
	w.Spans = []Span{{End: 5, Blanking: 300 * mm}, {End: 10, Blanking: 299.5 * mm}, {End: 11}}
	check(t, "blanking", w, Limits{Resolution: mm}, (*Screener).blanking, Blanking, 0, 1, 2, 5, 6)
}

// TestNothingToHideBehind: a sensor whose blanking distance is not known is too near to nothing, and hides nothing at a
// figure of zero.
func TestNothingToHideBehind(t *testing.T) {
	w := window(per, []float64{0, 0.25 * mm})
	w.Spans = []Span{{End: 2, Least: -1, Most: 9, Top: 9}}
	s := Screener{Limits: Limits{Resolution: mm, Step: mm}}
	if s.hides(w, 0) || s.hides(w, 1) {
		t.Error("hidden")
	}
}

// TestStopEdges: exactly half a step from an end is at it; one end alone is enough to look.
func TestStopEdges(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		name         string
		least, most  float64
		cut, capped  []int
		falling      bool
		cutOrCapped  Flags
		otherwiseCap Flags
	}{
		{"both ends", 8 * mm, 16 * mm, []int{0, 1}, []int{4, 5}, false, CutOff, Capped},
		{"the low end", 8 * mm, inf, []int{0, 1}, nil, false, CutOff, Capped},
		{"the high end", -inf, 16 * mm, nil, []int{4, 5}, false, CutOff, Capped},
		{"no end", -inf, inf, nil, nil, false, CutOff, Capped},
		{"falling", 8 * mm, 16 * mm, []int{0, 1}, []int{4, 5}, true, Capped, CutOff},
	} {
		w := window(per, []float64{8 * mm, 8.5 * mm, 8.502 * mm, 15.498 * mm, 15.5 * mm, 16 * mm})
		w.Spans = []Span{{End: 6, Least: c.least, Most: c.most, Falling: c.falling}}
		check(t, c.name, w, Limits{Step: mm}, (*Screener).stops, c.cutOrCapped, c.cut...)
		if got := w.flagged(c.otherwiseCap); !slices.Equal(got, c.capped) {
			t.Errorf("%s: rows %v at the other end", c.name, got)
		}
	}
}

// TestDrownedEdges: drowned from above the modular limit by more than half a step on: 0.75 of 256 steps is 192. A dry
// device and one whose limit is not known are not drowned.
func TestDrownedEdges(t *testing.T) {
	for _, c := range []struct {
		name    string
		modular float64
		head    float64
		want    []int
	}{
		{"limit 0.75", 0.75, 256 * mm, []int{2}},
		{"no limit known", 0, 256 * mm, nil},
		{"dry", 0.75, 0, nil},
		{"below zero", 0.75, -mm, nil},
	} {
		w := window(per, []float64{c.head, c.head, c.head, c.head})
		w.DownstreamHead, w.Downstream = []float64{
			192.498 * mm,
			192.5 * mm,
			192.502 * mm,
			250 * mm,
		}, []bool{
			true,
			true,
			true,
			false,
		}
		w.Spans = []Span{{End: 4, Modular: c.modular}}
		check(t, c.name, w, Limits{Resolution: mm}, (*Screener).drowned, Drowned, c.want...)
	}
}

// TestGapAndSecondSensorEdges: an interval of exactly the limit is no gap; two sensors exactly the limit and half a
// step apart agree.
func TestGapAndSecondSensorEdges(t *testing.T) {
	w := window(per, []float64{0, 0, 0, 0})
	w.Time = []int64{0, 180e9, 360e9 + 1, 540e9}
	check(t, "gap", w, Limits{GapLimit: 3 * time.Minute}, (*Screener).gaps, Gap, 2)
	w = window(per, []float64{64 * mm, 64 * mm, 64 * mm, 64 * mm, 64 * mm})
	w.SecondHead, w.Second = []float64{
		84 * mm,
		84.5 * mm,
		84.502 * mm,
		43.5 * mm,
		43.498 * mm,
	}, []bool{
		true,
		true,
		true,
		true,
		true,
	}
	check(
		t,
		"second sensor",
		w,
		Limits{SecondLimit: 20 * mm, Resolution: mm},
		(*Screener).secondSensor,
		SecondSensor,
		2,
		4,
	)
}

// TestRangeEdges: a figure at a limit is within it; one limit of the four is enough to look.
func TestRangeEdges(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		limits Limits
		sensor []int
		user   []int
	}{
		{Limits{SensorLeast: 2, SensorMost: inf, UserLeast: -inf, UserMost: inf}, []int{0}, nil},
		{Limits{SensorLeast: -inf, SensorMost: 2, UserLeast: -inf, UserMost: inf}, []int{2}, nil},
		{Limits{SensorLeast: -inf, SensorMost: inf, UserLeast: 2, UserMost: inf}, nil, []int{0}},
		{Limits{SensorLeast: -inf, SensorMost: inf, UserLeast: -inf, UserMost: 2}, nil, []int{2}},
		{Limits{SensorLeast: 2, SensorMost: 2, UserLeast: 3, UserMost: 4}, []int{0, 2}, []int{1}},
	} {
		w := window(per, []float64{1.99, 2, 2.01})
		check(t, "sensor", w, c.limits, (*Screener).sensorRange, SensorRange, c.sensor...)
		if got := w.flagged(UserRange); !slices.Equal(got, c.user) {
			t.Errorf("%+v: user's range %v", c.limits, got)
		}
	}
}

// TestRateEdges: a change of exactly the limit is within it, up and down; half the highest usual head where none is
// set; over a reading that is passed over the water has twice the time, over a gap it is not judged.
func TestRateEdges(t *testing.T) {
	set := Limits{RateUp: 20 * mm, RateDown: 10 * mm, RatePer: per, GapLimit: 2 * per, Resolution: mm}
	open := Limits{RatePer: per, GapLimit: 2 * per, Resolution: mm}
	told, stated := open, set
	told.ToldUp, told.ToldDown = 32*mm, 16*mm
	stated.ToldUp, stated.ToldDown = 32*mm, 16*mm
	for _, c := range []struct {
		name   string
		limits Limits
		heads  []float64
		before Flags // of row 1
		want   []int
	}{
		{"up, below", set, []float64{100, 119.875}, 0, nil}, {"up, at", set, []float64{100, 120}, 0, nil},
		{"up, above", set, []float64{100, 120.125}, 0, []int{1}},
		{"down, below", set, []float64{100, 90.125}, 0, nil}, {"down, at", set, []float64{100, 90}, 0, nil},
		{"down, above", set, []float64{100, 89.875}, 0, []int{1}},
		{"half of 64, at", open, []float64{100, 132}, 0, nil},
		{"half of 64, above", open, []float64{100, 132.125}, 0, []int{1}},
		{"half of 64, down, at", open, []float64{100, 68}, 0, nil},
		{"half of 64, down, above", open, []float64{100, 67.875}, 0, []int{1}},
		{"over a spike, at", set, []float64{100, 900, 140}, Spike, nil},
		{"over a spike, above", set, []float64{100, 900, 140.125}, Spike, []int{2}},
		{"over a conflict, above", set, []float64{100, 900, 140.125}, Conflict, []int{2}},
		{"over what the sensor cannot give", set, []float64{100, 900, 140}, SensorRange, nil},
		{"over what is unusable", set, []float64{100, 900, 140}, Unusable, nil},
		{"no highest head, told, at", told, []float64{100, 132}, 0, nil},
		{"no highest head, told, above", told, []float64{100, 132.125}, 0, []int{1}},
		{"no highest head, told, down, at", told, []float64{100, 84}, 0, nil},
		{"no highest head, told, down, above", told, []float64{100, 83.875}, 0, []int{1}},
		{"no highest head, told, up stated", stated, []float64{100, 120.125}, 0, []int{1}},
		{"no highest head, nothing told", open, []float64{100, 9000}, 0, nil},
		{"a highest head outranks what is told", told, []float64{100, 132}, 0, nil},
		{"the check is not run", Limits{RateUp: mm, GapLimit: 2 * per}, []float64{100, 300}, 0, nil},
	} {
		heads := make([]float64, len(c.heads))
		for i, h := range c.heads {
			heads[i] = h * mm
		}
		w := window(per, heads)
		if w.Spans[0].Usual = 64 * mm; strings.HasPrefix(c.name, "no highest head") {
			w.Spans[0].Usual = math.Inf(1)
		}
		w.Flags[1] = c.before
		check(t, c.name, w, c.limits, (*Screener).rates, Rate, c.want...)
	}
	for past, want := range map[int64][]int{0: {1}, 1: nil} {
		w := window(per, []float64{0, 1})
		w.Time[1] = w.Time[0] + 2*per.Nanoseconds() + past
		check(t, "over a gap", w, set, (*Screener).rates, Rate, want...)
	}
}
