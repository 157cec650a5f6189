package settings

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"retotal/ingest/site"
)

// lanes reads a site file made of the columns of its log, of settings at a device of Q = 0.1 m²/s × h (times factor),
// and of further tables.
func lanes(t *testing.T, columns, settings, more string, found ...Step) (*Lanes, *site.Site) {
	t.Helper()
	return lanesOf(t, strings.NewReplacer(), columns, settings, more, found...)
}

// lanesOf is lanes with texts of the site file replaced.
func lanesOf(
	t *testing.T,
	change *strings.Replacer,
	columns, settings, more string,
	found ...Step,
) (*Lanes, *site.Site) {
	t.Helper()
	text := "id = \"signal\"\n[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\n[log.columns]\ntime = \"Time\"\n" +
		columns + "[settings]\n" + settings +
		"[settings.device]\nkind = \"power\"\ncoefficient = 0.1\nexponent = 1\nhead_unit = \"m\"\n" +
		"flow_unit = \"m3/s\"\n" + more
	text = change.Replace(text)
	s, err := site.Parse("site.toml", []byte(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	l, err := NewLanes(s, nil, found...)
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return l, s
}

// column names a column of a quantity in its SI unit.
func column(quantity string) string {
	units := map[string]string{"distance": "m", "level": "m", "head": "m", "flow": "m3/s", "temperature": "degC"}
	return fmt.Sprintf("%s = { name = %q, unit = %q }\n", quantity, quantity, units[quantity])
}

// meter is a meter as the trade describes it, in plain arithmetic and with nothing of the program: an echo of so many
// metres at 20 degC is a distance by the speed of sound that the meter assumes, c = 331.3 √(T/273.15) (any such law;
// only ratios of it count), a level by the empty distance, a head by the level of zero flow, a flow by Q = 0.1 h.
type meter struct {
	empty, emptyLater, zero, distanceFactor, headFactor float64
	air                                                 float64 // K; 0 for 20 degC
	logged                                              bool    // air follows the thermometer, and this is added to it
	loggedFactor                                        float64
}

func (m *meter) signal(echo, share, thermometer float64) (distance, level, head, flow float64) {
	kelvin := 293.15
	if m.logged {
		kelvin = thermometer + m.air
	} else if m.air != 0 {
		kelvin = m.air
	}
	distance = m.distanceFactor * echo * math.Sqrt(kelvin/293.15)
	level = m.empty + (m.emptyLater-m.empty)*share - distance
	head = m.headFactor * (level - m.zero)
	return distance, level, head, 0.1 * head
}

// keys writes the meter as a site file has it.
func (m *meter) keys() string {
	text := fmt.Sprintf(
		"level_of_zero_flow = \"%.6f m\"\ndistance_factor = %.6f\nhead_factor = %.6f\n",
		m.zero,
		m.distanceFactor,
		m.headFactor,
	)
	if m.empty == m.emptyLater {
		text += fmt.Sprintf("empty_distance = \"%.6f m\"\n", m.empty)
	} else {
		text += fmt.Sprintf("empty_distance = { from = \"%.6f m\", to = \"%.6f m\" }\n", m.empty, m.emptyLater)
	}
	switch {
	case m.logged && m.air != 0:
		text += fmt.Sprintf("air_temperature = { logged_plus = \"%.3f K\" }\n", m.air)
	case m.logged:
		text += "air_temperature = \"logged\"\n"
	case m.air != 0:
		text += fmt.Sprintf("air_temperature = \"%.2f degC\"\n", m.air-273.15)
	}
	return text
}

// TestSignalChain draws pairs of meters, as set and as they should have been set, lets the first one log what it makes
// of an echo, and compares the corrected head with what the second makes of it: for every quantity that can be logged,
// with drifts of the empty distance, with fixed and logged temperatures of the air.
func TestSignalChain(t *testing.T) {
	random := rand.New(rand.NewPCG(71, 72))
	round := func(v float64) float64 { return math.Round(1e6*v) / 1e6 }
	draw := func() meter {
		m := meter{
			empty:          round(1.5 + 0.2*random.Float64()),
			zero:           round(0.1 * random.Float64()),
			distanceFactor: 1,
			headFactor:     1,
			loggedFactor:   1,
		}
		if random.IntN(2) == 0 {
			m.distanceFactor = round(0.95 + 0.1*random.Float64())
		}
		if random.IntN(2) == 0 {
			m.headFactor = round(0.9 + 0.2*random.Float64())
		}
		m.emptyLater = m.empty
		return m
	}
	from := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for n := range 120 {
		was, is := draw(), draw()
		if random.IntN(3) == 0 {
			is.emptyLater = round(is.empty - 0.05)
		}
		switch random.IntN(4) {
		case 0:
			was.air, is.air = 288.15, 278.15+float64(random.IntN(20))
		case 1:
			was.air, is.logged = 293.15, true
			is.air = float64(random.IntN(3) - 1)
		case 2:
			was.logged, is.logged, is.air = true, true, 2
		}
		quantity := []string{"distance", "level", "head", "flow"}[n%4]
		l, _ := lanes(
			t,
			column(quantity)+column("temperature"),
			was.keys(),
			"[[correction]]\nfrom = 2031-03-01T00:00:00\nuntil = 2031-03-11T00:00:00\nreason = \"test\"\n"+
				"sure = true\n"+is.keys(),
		)
		for _, share := range []float64{0, 0.25, 0.9} {
			at := from.Add(time.Duration(share * float64(240*time.Hour))).UnixNano()
			s, r := &l.Corrected.Segments[l.Corrected.At(at)], &l.Recorded.Segments[0]
			echo, thermometer := 0.6+0.5*random.Float64(), 275+20*random.Float64()
			distance, level, head, flow := was.signal(echo, 0, thermometer)
			figure := map[string]float64{"distance": distance, "level": level, "head": head, "flow": flow}[quantity]
			_, _, want, _ := is.signal(echo, share, thermometer)
			_, _, then, _ := was.signal(echo, 0, thermometer)
			many := make([]float64, 1)
			s.Heads(many, []int64{at}, []float64{figure}, []float64{thermometer})
			for name, got := range map[string]float64{
				"head":        s.Head(at, figure, thermometer),
				"of many":     many[0],
				"by the echo": s.HeadOfEcho(at, r.Echo(at, figure, thermometer), thermometer),
			} {
				if name == "by the echo" && was.logged != is.logged && was.air == 0 && is.air == 0 {
					continue
				}
				if math.Abs(got-want) > 1e-9 {
					t.Fatalf("%s logged, %s: %.12f, want %.12f\nwas %+v\nis  %+v", quantity, name, got, want, was, is)
				}
			}
			if got := r.Head(at, figure, thermometer); math.Abs(got-then) > 1e-9 {
				t.Fatalf("%s logged, recorded: %.12f, want %.12f by %+v", quantity, got, then, was)
			}
			if got := r.Echo(at, figure, thermometer); math.Abs(got-echo) > 1e-9 {
				t.Fatalf("%s logged: echo %.12f, want %.12f by %+v", quantity, got, echo, was)
			}
		}
	}
}

// TestLoggedFactor: a flow that was logged in US gallons as if they were imperial ones is to be multiplied by their
// ratio, exactly, and a level by 1.01.
func TestLoggedFactor(t *testing.T) {
	more := func(f float64) string {
		return fmt.Sprintf("[[correction]]\nreason = \"test\"\nlogged_factor = %.12g\n", f)
	}
	l, _ := lanes(t, column("flow"), "", more(0.832674))
	if s := &l.Corrected.Segments[0]; math.Abs(s.Flow(0, 0.02, 293.15)-0.832674*0.02) > 1e-17 ||
		s.Flow(0, -0.02, 293.15) != 0 ||
		s.OfMeans() {
		t.Errorf("flow %v", s.Flow(0, 0.02, 293.15))
	}
	l, _ = lanes(t, column("level"), "empty_distance = \"1.5 m\"\n", more(1.01))
	if got := l.Corrected.Segments[0].Head(0, 0.2, 293.15); math.Abs(got-0.202) > 1e-12 {
		t.Errorf("level %v", got)
	}
}

// TestEchoSetDistance: an empty distance of 1.500 m that an echo set at 5 degC while the meter took 20 degC was 1.500
// √(278.15/293.15) = 1.461120 m in truth.
func TestEchoSetDistance(t *testing.T) {
	l, _ := lanes(
		t,
		column("distance"),
		"empty_distance = \"1.5 m\"\n",
		"[[correction]]\nreason = \"test\"\nempty_distance_set_at = \"5 degC\"\n",
	)
	if got := l.Corrected.Segments[0].Head(0, 1.2, 293.15); math.Abs(got-(1.5*math.Sqrt(278.15/293.15)-1.2)) > 1e-12 {
		t.Errorf("head %v", got)
	}
}

// TestHeadShift: by hand between (0.05, 2 mm) and (0.30, 8 mm): at 0.175 m 5 mm; level outside.
func TestHeadShift(t *testing.T) {
	l, _ := lanes(
		t,
		column("level"),
		"",
		"[[correction]]\nreason = \"test\"\nhead_shift = [[\"0.05 m\", \"2 mm\"], [\"0.30 m\", \"8 mm\"]]\n",
	)
	for h, mm := range map[float64]float64{0: 2, 0.049: 2, 0.05: 2, 0.175: 5, 0.2375: 6.5, 0.3: 8, 0.301: 8, 0.5: 8} {
		if got := l.Corrected.Segments[0].Head(0, h, 293.15); math.Abs(got-h-mm/1000) > 1e-12 {
			t.Errorf("at %g m: %+.6f m", h, got-h)
		}
	}
}

// TestDriftOfFactor: a distance factor that drifts from 1 to 1.1 over ten days is 1.05 after five: of 1.2 m measured by
// the sensor the meter made 1.2, so the head is 1.5 − 1.05 · 1.2 = 0.24 m. A ramp is cut into parts within which heads
// go over in a straight line, so every instant is right to rounding, the cuts and the ends too.
func TestDriftOfFactor(t *testing.T) {
	l, _ := lanes(
		t,
		column("distance"),
		"empty_distance = \"1.5 m\"\n",
		"[[correction]]\nfrom = 2031-03-01T00:00:00\nuntil = 2031-03-11T00:00:00\nreason = \"test\"\n"+
			"distance_factor = { from = 1, to = 1.1 }\n",
	)
	from := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()
	whole := int64(240 * time.Hour)
	for _, at := range []int64{
		0, 1, whole / 256, whole/256 - 1, whole / 3, whole / 2, whole * 3 / 4, whole - 1, whole, -1,
	} {
		want := 1.5 - (1+0.1*float64(at)/float64(whole))*1.2
		if at < 0 || at >= whole {
			want = 0.3
		}
		s := &l.Corrected.Segments[l.Corrected.At(from+at)]
		flows := make([]float64, 1)
		s.Flows(flows, []float64{want}, []float64{1.2}, []int64{from + at})
		if got := s.Head(from+at, 1.2, 293.15); math.Abs(got-want) > 1e-9 ||
			math.Abs(s.Flow(from+at, 1.2, 293.15)-0.1*want) > 1e-9 ||
			math.Abs(flows[0]-0.1*want) > 1e-9 ||
			math.Abs(s.Rated(from+at, want)-0.1*want) > 1e-12 {
			t.Errorf("%v into it: head %v, want %v", time.Duration(at), got, want)
		}
	}
	if n := len(l.Corrected.Segments); n != 256+2 {
		t.Errorf("%d segments, want 256 and those before and after", n)
	}
	// A ramp is cut where nothing changes: only its begin and end may be changes of the settings.
	if got := l.Corrected.ChangesIn(from, from+whole-1); len(got) != 0 {
		t.Errorf("%d changes within the drift", len(got))
	}
}

// TestDriftOfFlows: the same drift under a log of flows, and under heads that the meter holds at zero. Of 30 L/s by Q =
// 0.1 m²/s × h, or 0.3 m, half way 0.24 m are left.
func TestDriftOfFlows(t *testing.T) {
	for quantity, figure := range map[string]float64{"flow": 0.03, "level": 0.3, "head": 0.3} {
		l, _ := lanes(t, column(quantity), "empty_distance = \"1.5 m\"\nbelow_zero = \"clamped\"\n",
			"[[correction]]\nfrom = 2031-03-01T00:00:00\nuntil = 2031-03-11T00:00:00\nreason = \"test\"\n"+
				"distance_factor = { from = 1, to = 1.1 }\n")
		at := time.Date(2031, 3, 6, 0, 0, 0, 0, time.UTC).UnixNano()
		s := &l.Corrected.Segments[l.Corrected.At(at)]
		if got := s.Flow(at, figure, 293.15); math.Abs(got-0.024) > 1e-12 {
			t.Errorf("%s: %v, want 0.024", quantity, got)
		}
	}
}

// TestDriftOfDevice: a coefficient that drifts from 0.1 to 0.2 is 0.15 half way, and 0.175 after three quarters.
func TestDriftOfDevice(t *testing.T) {
	l, _ := lanes(
		t,
		column("level"),
		"",
		"[[correction]]\nfrom = 2031-03-01T00:00:00\nuntil = 2031-03-11T00:00:00\nreason = \"test\"\n"+
			"device = { coefficient = { from = 0.1, to = 0.2 } }\n",
	)
	from := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for hours, want := range map[int]float64{0: 0.1, 120: 0.15, 180: 0.175, 239: 0.1 + 0.1*239.0/240, 240: 0.1} {
		at := from.Add(time.Duration(hours) * time.Hour).UnixNano()
		if got := l.Corrected.Segments[l.Corrected.At(at)].Flow(at, 0.5, 293.15); math.Abs(got-want*0.5) > 1e-9 {
			t.Errorf("after %d h: %v, want %v", hours, got, want*0.5)
		}
	}
}

// TestDriftOfExponent: an exponent that drifts from 1 to 2 is 1.5 half way: 0.1 · 0.25^1.5 = 12.5 L/s. The flow bends
// over the drift, so the parts into which it is cut tell.
func TestDriftOfExponent(t *testing.T) {
	l, _ := lanes(
		t,
		column("level"),
		"",
		"[[correction]]\nfrom = 2031-03-01T00:00:00\nuntil = 2031-03-11T00:00:00\nreason = \"test\"\n"+
			"device = { exponent = { from = 1.0, to = 2.0 } }\n",
	)
	from := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for hours, n := range map[int]float64{0: 1, 60: 1.25, 120: 1.5, 200: 1 + 200.0/240} {
		at := from.Add(time.Duration(hours) * time.Hour).UnixNano()
		want := 0.1 * math.Pow(0.25, n)
		if got := l.Corrected.Segments[l.Corrected.At(at)].Flow(at, 0.25, 293.15); math.Abs(got/want-1) > 1e-5 {
			t.Errorf("after %d h: %v, want %v", hours, got, want)
		}
	}
}

// TestRaiseAndWarm: what a nudge of the datum and of the air does: 1 mm of head, and of 1.2 m at 20 degC what
// √(294.15/293.15) makes of it.
func TestRaiseAndWarm(t *testing.T) {
	l, s := lanes(
		t,
		column("distance")+column("temperature"),
		"empty_distance = \"1.5 m\"\nair_temperature = \"20 degC\"\n",
		"[[correction]]\nreason = \"test\"\nair_temperature = \"logged\"\n",
	)
	b := Builder{Site: s, Recorded: l.Recorded.Segments}
	x := l.Corrected.Segments[0]
	y := x
	y.Raise(0.001)
	if got := y.Head(0, 1.2, 283.15) - x.Head(0, 1.2, 283.15); math.Abs(got-0.001) > 1e-12 || !y.Raised(&x) ||
		x.Raised(&x) {
		t.Errorf("raised by %v", got)
	}
	y = x
	b.Warm(&y, 1)
	want := 1.5 - 1.2*math.Sqrt(284.15/293.15)
	if got := y.Head(0, 1.2, 283.15); math.Abs(got-want) > 1e-12 || !y.TakesSound() {
		t.Errorf("warmed: %v, want %v", got, want)
	}
	fixed := l.Recorded.Segments[0]
	b.Warm(&fixed, 1)
	want = 1.5 - 1.2*math.Sqrt(294.15/293.15)
	if got := fixed.Head(0, 1.2, 0); math.Abs(got-want) > 1e-12 {
		t.Errorf("a fixed temperature warmed: %v, want %v", got, want)
	}
}

// TestRaiseEveryWay: a nudge of 1 mm is 1 mm of head whatever was logged, and by the echo too.
func TestRaiseEveryWay(t *testing.T) {
	for _, quantity := range []string{"distance", "level", "head", "flow"} {
		l, _ := lanes(
			t,
			column(quantity),
			"empty_distance = \"1.5 m\"\n",
			"[[correction]]\nreason = \"test\"\nlogged_factor = 1.1\n",
		)
		x := l.Corrected.Segments[0]
		y := x
		y.Raise(0.001)
		if got := y.Head(0, 0.02, 293.15) - x.Head(0, 0.02, 293.15); math.Abs(got-0.001) > 1e-12 {
			t.Errorf("%s: %v", quantity, got)
		}
		if got := y.HeadOfEcho(0, 1.2, 293.15) - x.HeadOfEcho(0, 1.2, 293.15); math.Abs(got-0.001) > 1e-12 {
			t.Errorf("%s, by the echo: %v", quantity, got)
		}
		// a factor is not all any more
		if got, want := y.Flow(0, 0.02, 293.15), 0.1*y.Head(0, 0.02, 293.15); math.Abs(got-math.Max(want, 0)) > 1e-12 {
			t.Errorf("%s: a flow of %v, want %v", quantity, got, want)
		}
	}
}

// TestInverse: 12 Newton steps from any guess, else bisection: the head that gives the flow, none for none, the end for
// what is beyond it.
func TestInverse(t *testing.T) {
	l, _ := lanes(t, column("flow"), "", "")
	r := l.Recorded.Segments[0].Rating
	for _, guess := range []float64{0, 1e-6, 0.1, 0.2, 5, 100} {
		for q, want := range map[float64]float64{0.02: 0.2, 1e-6: 1e-5, 0: 0, -1: 0} {
			if got := Inverse(r, q, guess); math.Abs(got-want) > 1e-12 {
				t.Errorf("flow %g from %g: %v", q, guess, got)
			}
		}
	}
	table, _ := lanes(
		t,
		column("flow"),
		"",
		"[[correction]]\nreason = \"test\"\nsure = true\ndevice = { kind = \"table\", "+
			"points = [[\"0 m\", \"0 L/s\"], [\"0.1 m\", \"10 L/s\"], [\"0.2 m\", \"40 L/s\"]] }\n",
	)
	if got := Inverse(table.Corrected.Segments[0].Rating, 1, 0.1); got != 0.2 {
		t.Errorf("beyond the table's end: %v", got)
	}
}

// TestBelowZero takes a level of zero flow of 0.1 m, which rises to 0.2 m in ten days, off levels of 0.5 m.
func TestBelowZero(t *testing.T) {
	l, _ := lanes(
		t,
		column("level"),
		"level_of_zero_flow = \"0.1 m\"\n",
		"[[correction]]\nfrom = 2031-03-01T00:00:00\nuntil = 2031-03-11T00:00:00\nreason = \"test\"\n"+
			"level_of_zero_flow = { from = \"0.1 m\", to = \"0.2 m\" }\n",
	)
	from := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	levels, times := []float64{0.5, 0.5, 0.5, 0.5}, make([]int64, 4)
	for i := range times {
		times[i] = from.Add(time.Duration(i) * 60 * time.Hour).UnixNano()
	}
	l.Corrected.Segments[l.Corrected.At(times[0])].BelowZero(levels, times, 1, 4)
	for i, want := range []float64{0.5, 0.375, 0.35, 0.325} {
		if math.Abs(levels[i]-want) > 1e-12 {
			t.Errorf("row %d: %v, want %v", i, levels[i], want)
		}
	}
	l.Recorded.Segments[0].BelowZero(nil, times, 0, 4)
}
