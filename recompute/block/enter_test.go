package block

import (
	"math"
	"slices"
	"testing"
	"time"

	"retotal/ingest/reading"
	"retotal/ingest/site"
	"retotal/qa"
	"retotal/recompute/settings"
)

const minute = int64(time.Minute)

// start is the beginning of the day of the blocks below.
var start = time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()

// of is a block of a site with a device of Q = 0.1 m²/s × h, without rows. column is that of the log's figures, with
// what else its table holds.
func of(t *testing.T, column, keys, more string) *Block {
	t.Helper()
	text := "id = \"hand\"\n[log]\nfiles = [\"log.csv\"]\ntime_zone = \"+00:00\"\n" +
		"[log.columns]\ntime = \"Time\"\n" + column + "\n[settings]\n" + keys +
		"[settings.device]\nkind = \"power\"\ncoefficient = 0.1\nexponent = 1\nhead_unit = \"m\"\n" +
		"flow_unit = \"m3/s\"\n" + more
	s, err := site.Parse("site.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	l, err := settings.NewLanes(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	facts := &reading.Facts{Interval: time.Minute, GapLimit: 10 * time.Minute, Clock: time.UTC}
	return New(facts, s, NewLanes(l, len(s.Corrections) > 0), Record{}, start)
}

// batch is one of figures of the block's quantity at minutes of the day.
func batch(b *Block, minutes []float64, figures ...float64) *reading.Batch {
	x := &reading.Batch{FileNumber: 7}
	for i, m := range minutes {
		x.Time, x.Line = append(x.Time, start+int64(m*float64(minute))), append(x.Line, int32(i+2))
	}
	x.Value[b.primary] = figures
	x.State[b.primary] = make([]reading.State, len(figures))
	return x
}

const (
	distance = `distance = { name = "D", unit = "m" }`
	volume   = `interval_volume = { name = "V", unit = "m3" }`
	counted  = `counter = { name = "C", unit = "m3" }`
	empty    = "empty_distance = \"1 m\"\n"
)

// near reports whether two lists are the same but for rounding.
func near(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(x, y float64) bool { return math.Abs(x-y) <= 1e-12 })
}

// TestVolumesIntoFlows: what passed in an interval over its time: since the reading before where that is one and a half
// intervals ago or less, else over a minute, the log's own interval; also when a batch ends between.
func TestVolumesIntoFlows(t *testing.T) {
	b := of(t, volume, "", "")
	b.Enter(batch(b, []float64{1, 2, 3.5}, 6, 12, 18))
	b.Enter(batch(b, []float64{5.1}, 24))
	if want := []float64{0.1, 0.2, 0.2, 0.4}; !near(b.Figure, want) {
		t.Errorf("%v, want %v", b.Figure, want)
	}
	if want := []float64{1, 2, 2, 4}; !near(b.Head, want) || !near(b.Value, want) {
		t.Errorf("heads %v and %v, want %v", b.Head, b.Value, want)
	}
}

// TestCounterEntered: the rise over the time since the reading before; the first reading has the flow of the second,
// and one after a fall says nothing.
func TestCounterEntered(t *testing.T) {
	b := of(t, counted, "", "")
	b.Enter(batch(b, []float64{0, 1, 2}, 100, 106, 90))
	b.Enter(batch(b, []float64{3}, 93))
	if want := []float64{0.1, 0.1, 0, 0.05}; !near(b.Figure, want) {
		t.Errorf("%v, want %v", b.Figure, want)
	}
	if !slices.Equal(b.Unusable, []bool{false, false, true, false}) {
		t.Errorf("unusable: %v", b.Unusable)
	}
	b = of(t, counted, "", "")
	b.Enter(batch(b, []float64{0}, 100))
	if !near(b.Figure, []float64{0}) || b.Unusable != nil {
		t.Errorf("one reading: %v, %v", b.Figure, b.Unusable)
	}
}

// TestAirEntered: a reading without a temperature has that of the reading before it, across batches, the first that of
// a standard day; where the speed of sound is taken from it, nothing can be made of the first.
func TestAirEntered(t *testing.T) {
	for _, logged := range []bool{false, true} {
		more := ""
		if logged {
			more = "[[correction]]\nreason = \"x\"\nair_temperature = \"logged\"\n"
		}
		keys := empty + "air_temperature = \"20 degC\"\n"
		b := of(t, distance+"\ntemperature = { name = \"T\", unit = \"degC\" }", keys, more)
		for _, kelvin := range [][]float64{{0, 280, 0}, {0, 282, 0}} { // 0 where none is logged
			n := float64(len(b.Time))
			x := batch(b, []float64{n, n + 1, n + 2}, 0.9, 0.9, 0.9)
			for _, k := range kelvin {
				state := reading.Present
				if k == 0 {
					state = reading.Empty
				}
				x.State[reading.Temperature] = append(x.State[reading.Temperature], state)
			}
			x.Value[reading.Temperature] = kelvin
			b.Enter(x)
		}
		if want := []float64{293.15, 280, 280, 280, 282, 282}; !near(b.Air, want) {
			t.Errorf("%v, want %v", b.Air, want)
		}
		if want := []bool{logged, false, false, false, false, false}; logged && !slices.Equal(b.Unusable, want) ||
			!logged && b.Unusable != nil {
			t.Errorf("logged %v: unusable %v", logged, b.Unusable)
		}
		if b.AirAt(4) != 282 || !near(b.AirOf(2, 5), []float64{280, 280, 282}) {
			t.Error(b.AirAt(4), b.AirOf(2, 5))
		}
	}
	if b := of(t, distance, empty, ""); b.AirAt(0) != 293.15 || b.AirOf(0, 0) != nil {
		t.Error("a log without temperatures")
	}
}

// TestTooLarge: a correction of 100 mm is no more than 100 mm, and more than 99.9.
func TestTooLarge(t *testing.T) {
	for limit, want := range map[float64][]bool{0.1: nil, 0.0999: {false, true, true}, 0: nil} {
		b := of(t, distance, empty,
			"[[correction]]\nreason = \"x\"\nfrom = 2031-03-01T00:01:00\nempty_distance = \"1.1 m\"\n")
		b.Limits.TooLarge = limit
		b.Enter(batch(b, []float64{0, 1, 2}, 0.9, 0.9, 0.9))
		if !slices.Equal(b.Unusable, want) {
			t.Errorf("limit %g: %v, want %v", limit, b.Unusable, want)
		}
		if want := []float64{0.1, 0.2, 0.2}; !near(b.Head, want) || !near(b.Value, b.Figure) {
			t.Errorf("heads %v, want %v", b.Head, want)
		}
	}
}

// TestToldEntered: a verdict holds from its first reading to its last.
func TestToldEntered(t *testing.T) {
	b := of(t, distance, empty, "")
	b.told[0] = []Told{
		{From: start + minute, Until: start + 2*minute, Verdict: qa.Glitch},
		{From: start + 4*minute, Until: start + 4*minute, Verdict: qa.DeadEnd},
	}
	b.told[1] = []Told{{From: start + minute, Until: start + minute, Flags: qa.Spike}}
	b.told[2] = []Told{{From: start + minute, Until: start + 3*minute, Flags: qa.Still}}
	b.Enter(batch(b, []float64{0, 1, 2}, 0.9, 0.9, 0.9))
	b.Enter(batch(b, []float64{3, 4, 5}, 0.9, 0.9, 0.9))
	want := []qa.Verdict{qa.NoVerdict, qa.Glitch, qa.Glitch, qa.NoVerdict, qa.DeadEnd, qa.NoVerdict}
	if !slices.Equal(b.Verdicts, want) {
		t.Errorf("%v, want %v", b.Verdicts, want)
	}
	flags := []qa.Flags{0, qa.Spike | qa.Still, qa.Still, qa.Still, 0, 0}
	if !slices.Equal(b.Told, flags) {
		t.Errorf("%v, want %v", b.Told, flags)
	}
}

// TestMarksAndPlaces: marks come where a batch has them, and every row keeps its place; rows that are forgotten go from
// all columns alike.
func TestMarksAndPlaces(t *testing.T) {
	b := of(t, distance, empty, "[[what_if]]\nname = \"x\"\nempty_distance = \"1.2 m\"\n")
	b.Enter(batch(b, []float64{0, 1}, 0.9, 0.8))
	if b.Conflict != nil || b.Suspect != nil || b.Unusable != nil {
		t.Error("marks without any")
	}
	x := batch(b, []float64{2, 3}, 0.7, 0.6)
	x.Conflict, x.Suspect, x.File = []bool{false, true}, []bool{true, false}, []int32{8, 9}
	b.Enter(x)
	b.High = len(b.Time)
	b.Rate()
	if !slices.Equal(b.Conflict, []bool{false, false, false, true}) ||
		!slices.Equal(b.Suspect, []bool{false, false, true, false}) {
		t.Errorf("%v, %v", b.Conflict, b.Suspect)
	}
	if !slices.Equal(b.File, []int32{7, 7, 8, 9}) || !slices.Equal(b.Line, []int32{2, 3, 2, 3}) {
		t.Errorf("%v, %v", b.File, b.Line)
	}
	if len(b.Flags) != 4 || len(b.Used) != 4 || !near(b.WhatIfs[0].Flow, []float64{0.03, 0.04, 0.05, 0.06}) {
		t.Errorf("%v, %v, %v", b.Flags, b.Used, b.WhatIfs[0].Flow)
	}
	b.Forget(0)
	b.Forget(1)
	b.Forget(2)
	if !slices.Equal(b.Time, []int64{start + 3*minute}) || !slices.Equal(b.Shown, b.Time) ||
		!near(b.Value, []float64{0.6}) || !near(b.WhatIfs[0].Flow, []float64{0.06}) ||
		!near(b.Corrected.Flow, []float64{0.04}) || !b.Conflict[0] || b.File[0] != 9 {
		t.Errorf("%v %v %v %v %v", b.Time, b.Value, b.WhatIfs[0].Flow, b.Corrected.Flow, b.Conflict)
	}
	for _, n := range []int{0, 1, 2} {
		if got := Grow([]int{1, 2}[:1], n); len(got) != max(n, 1) || got[0] != 1 || n > 1 && got[1] != 0 {
			t.Errorf("grown to %d: %v", n, got)
		}
	}
}

// TestStepsOfFigures: a logged level has a resolution; a logged flow or volume has none as a head, a volume's step is
// spread over the interval, and a counter knows no gap.
func TestStepsOfFigures(t *testing.T) {
	for _, c := range []struct {
		q          reading.Quantity
		interval   time.Duration
		resolution float64
		step       float64
		gap        time.Duration
	}{
		{reading.Distance, time.Minute, 0.6, 0.6, time.Hour},
		{reading.Head, time.Minute, 0.6, 0.6, time.Hour},
		{reading.Flow, time.Minute, 0, 0.6, time.Hour},
		{reading.Counter, time.Minute, 0, 0.01, 0},
		{reading.IntervalVolume, time.Minute, 0, 0.01, time.Hour},
		{reading.IntervalVolume, 0, 0, 0.6, time.Hour},
	} {
		l, s := &reading.Facts{Interval: c.interval, GapLimit: time.Hour}, &site.Site{}
		s.Log.Primary, s.Log.Means = c.q, true
		l.Resolution[c.q] = 0.6
		got := limits(l, s)
		if got.Resolution != c.resolution || math.Abs(got.Step-c.step) > 1e-12 || got.GapLimit != c.gap || !got.Means {
			t.Errorf("quantity %d: resolution %g, step %g, gap %s", c.q, got.Resolution, got.Step, got.GapLimit)
		}
	}
}

// TestFrame: where the first day begins or goes on, with means an interval before the first stamp; what the period
// bounds; heads come out of a rating where flows or volumes are logged.
func TestFrame(t *testing.T) {
	at := func(ns int64) *site.Instant { return &site.Instant{UTC: ns} }
	for _, c := range []struct {
		name    string
		q       reading.Quantity
		means   bool
		volumes bool
		from    *site.Instant
		first   int64
		ofFlow  bool
	}{
		{"heads", reading.Head, false, false, nil, start, false},
		{"means of heads", reading.Head, true, false, nil, start - minute, false},
		{"flows", reading.Flow, false, false, nil, start, true},
		{"a counter", reading.Counter, true, false, nil, start, true},
		{"interval volumes", reading.IntervalVolume, true, true, nil, start - minute, true},
		{"heads beside volumes", reading.Head, false, true, nil, start - minute, false},
		{"a period that begins later", reading.Head, false, false, at(start + 5), start + 5, false},
		{"a period that began before", reading.Head, false, false, at(start - 5), start, false},
	} {
		s, l := &site.Site{}, &reading.Facts{Interval: time.Minute, Clock: time.UTC}
		s.Report.Clock.Location, s.Log.Primary, s.Log.Means = time.UTC, c.q, c.means
		s.Report.From, s.Report.Until = c.from, c.from
		l.Has[reading.IntervalVolume] = c.volumes
		f := newFrame(l, s, &settings.Lane{}, start)
		from, until, lag := int64(math.MinInt64), int64(math.MaxInt64), int64(0)
		if c.from != nil {
			from, until = c.from.UTC, c.from.UTC
		}
		if c.means {
			lag = 1
		}
		if f.First != c.first || f.OfFlow != c.ofFlow || f.From != from || f.Until != until || f.lag != lag {
			t.Errorf("%s: first %d, of flow %v, %d to %d", c.name, f.First-start, f.OfFlow, f.From, f.Until)
		}
		if s := f.Series(); s.Hold != c.means {
			t.Errorf("%s: hold %v", c.name, s.Hold)
		}
	}
}

// TestOpens: the interval of a mean begins at the reading before, up to one and a half intervals ago; else one interval
// before. Of a counter it begins at the reading before, whenever that was.
func TestOpens(t *testing.T) {
	b := &Block{Frame: Frame{Log: &reading.Facts{Interval: 60, Clock: time.UTC}}}
	for _, c := range []struct {
		q       reading.Quantity
		before  int64
		i       int
		between int64
	}{
		{reading.Flow, 910, 1, 90}, {reading.Flow, 909, 1, 60}, {reading.Flow, 900, 1, 60}, {reading.Flow, 0, 0, 60},
		{reading.Flow, 970, 1, 30}, {reading.Counter, 909, 1, 91}, {reading.Counter, 1000, 0, 0},
	} {
		b.primary, b.Time = c.q, []int64{c.before, 1000}
		if c.i == 0 {
			b.Time = []int64{1000}
		}
		if got := b.Time[c.i] - b.Opens(c.i); got != c.between {
			t.Errorf("quantity %d after %d: %d, want %d", c.q, 1000-c.before, got, c.between)
		}
	}
	// m³ under a line, and of a mean
	f := &Frame{From: -10e9, Until: 10e9}
	if got := f.Trapezoid(0, 1, 2e9, 3); math.Abs(got-4) > 1e-12 {
		t.Errorf("%g", got)
	}
	for _, c := range []struct {
		t0, t1        int64
		from1, within float64 // from 1 m³/s to 3
	}{{-12e9, -8e9, 2.5 * 2, 2}, {8e9, 12e9, 1.5 * 2, 2}, {-14e9, -10e9, 0, 0}, {10e9, 11e9, 0, 0}, {10e9, 10e9, 0, 0},
		{-20e9, 20e9, 2 * 20, 20}} {
		if got := f.Trapezoid(c.t0, 1, c.t1, 3); math.Abs(got-c.from1) > 1e-12 {
			t.Errorf("%d to %d ns: %g m3 within the period, want %g", c.t0, c.t1, got, c.from1)
		}
		if got := float64(f.Within(c.t0, c.t1)) / 1e9; got != c.within {
			t.Errorf("%d to %d ns: %g s within the period, want %g", c.t0, c.t1, got, c.within)
		}
	}
	if f.Means = true; math.Abs(f.Trapezoid(0, 1, 2e9, 3)-6) > 1e-12 {
		t.Errorf("%g", f.Trapezoid(0, 1, 2e9, 3))
	}
	f.movedAt = []int64{10, 20}
	for _, c := range []struct {
		t0, t1 int64
		want   bool
	}{{5, 9, false}, {5, 10, true}, {9, 11, true}, {10, 11, false}, {10, 20, true}, {20, 30, false}} {
		if got := f.moved(c.t0, c.t1); got != c.want {
			t.Errorf("moved from %d to %d: %v", c.t0, c.t1, got)
		}
	}
}

// TestSegmentsOfRows: a row at a change belongs to the segment after it; a mean with such a stamp to the one before.
func TestSegmentsOfRows(t *testing.T) {
	l := &settings.Lane{Segments: []settings.Segment{
		{From: settings.Always, Until: 10, CutOff: 1}, {From: 10, Until: 20, CutOff: 2},
		{From: 20, Until: settings.Never, CutOff: 3},
	}}
	for lag, want := range map[int64][]float64{0: {1, 2, 2, 3, 3, 3}, 1: {1, 1, 2, 2, 3, 3}} {
		b := &Block{Frame: Frame{lag: lag}}
		b.Time = []int64{9, 10, 11, 20, 21, 22}
		var got []float64
		b.EachSegment(l, 0, 6, func(s *settings.Segment, low, high int) {
			for i := low; i < high; i++ {
				got = append(got, s.CutOff)
				if one := b.SegmentOf(l, i); one != s || s != &l.Segments[b.NumberOf(l, i)] {
					t.Errorf("row %d: %g", i, one.CutOff)
				}
			}
		})
		if !near(got, want) {
			t.Errorf("lag %d: %v, want %v", lag, got, want)
		}
	}
}

// TestJoins: 0.9 m at minute 0 and 0.7 at minute 4; the empty distance is 1 m, entered as 1.1 from minute 1 on and as
// 1.3 from minute 3. The distance is a straight line: 0.85 at minute 1, 0.75 at 3. Where something moved, a straight
// line of flow.
func TestJoins(t *testing.T) {
	change := func(at, d string) string {
		return "[[settings.change]]\nat = 2031-03-01T" + at + "\nempty_distance = \"" + d + "\"\nmoved = false\n"
	}
	b := of(t, distance, empty, change("00:01:00", "1.1 m")+change("00:03:00", "1.3 m"))
	b.Enter(batch(b, []float64{0, 4}, 0.9, 0.7))
	var got [][]float64
	put := func(t0 int64, q0 float64, t1 int64, q1 float64) {
		got = append(got, []float64{float64(t0-start) / 60e9, q0, float64(t1-start) / 60e9, q1})
	}
	is := func(name string, want ...[]float64) {
		if !slices.EqualFunc(got, want, near) {
			t.Errorf("%s: %v, want %v", name, got, want)
		}
		got = nil
	}
	from, to := b.EndAt(0, 0.01), b.EndAt(1, 0.06)
	b.Connect(b.Recorded.Lane, from, to, settings.MeterRate, put)
	is("changes", []float64{0, 0.01, 1, 0.015}, []float64{1, 0.025, 3, 0.035}, []float64{3, 0.055, 4, 0.06})
	b.movedAt = []int64{start + minute}
	b.Connect(b.Recorded.Lane, from, to, settings.MeterRate, put)
	is("moved", []float64{0, 0.01, 4, 0.06})
	b.movedAt = nil
	to.At = start + minute/2
	b.Connect(b.Recorded.Lane, from, to, settings.MeterRate, put)
	is("before the changes", []float64{0, 0.01, 0.5, 0.06})

	if got := b.Changes(start, start+3*minute); !slices.Equal(got, []int64{start + minute}) {
		t.Errorf("%v", got)
	}
	if got := b.Changes(start+minute, start+3*minute+1); !slices.Equal(got, []int64{start + 3*minute}) {
		t.Errorf("%v", got)
	}
}

// TestHeldAtTheTop: a head above the channel's depth flows no more than at the depth where such readings are held.
func TestHeldAtTheTop(t *testing.T) {
	b := of(t, distance, empty+"channel_depth = \"0.7 m\"\n", "")
	s := &b.Corrected.Segments[0]
	for action, above := range map[site.Action]float64{site.Hold: 0.07, site.Keep: 0.08} {
		b.Actions[qa.Surcharge] = action
		for head, want := range map[float64]float64{0.6: 0.06, 0.7: 0.07, 0.8: above} {
			if got := b.LaneRate(s, start, head); math.Abs(got-want) > 1e-12 {
				t.Errorf("%s, %g m: %g, want %g", action, head, got, want)
			}
		}
	}
}

// TestAirAtAChange: the temperature goes over in a straight line too: 283.15 K at minute 0 and 303.15 at 4 are 288.15
// at minute 1, from where on it is taken for the speed of sound: 0.9 m at 20 degC are 0.9 √(288.15/293.15) m of this
// air.
func TestAirAtAChange(t *testing.T) {
	b := of(t, distance+"\ntemperature = { name = \"T\", unit = \"degC\" }", empty+"air_temperature = \"20 degC\"\n",
		"[[correction]]\nreason = \"x\"\nfrom = 2031-03-01T00:01:00\nair_temperature = \"logged\"\n")
	from := End{At: start, Figure: 0.9, Air: 283.15}
	to := End{At: start + 4*minute, Figure: 0.9, Air: 303.15}
	var got []float64
	rate := (*settings.Segment).Rated
	Split(b.Corrected.Lane, []int64{start + minute}, from, to, rate, func(_ int64, q0 float64, _ int64, q1 float64) {
		got = append(got, q0, q1)
	})
	if want := []float64{0, 0.01, 0.1 * (1 - 0.9*math.Sqrt(288.15/293.15)), 0}; !near(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}
