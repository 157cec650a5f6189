package evidence

import (
	"math"
	"slices"
	"testing"
	"time"

	"retotal/ingest/reading"
	"retotal/qa"
	"retotal/recompute/settings"
)

// TestAtEnd: what the flags say of an end, and zero to half a step of the log, which is little flow unless distances
// are logged.
func TestAtEnd(t *testing.T) {
	for _, c := range []struct {
		flags    qa.Flags
		figure   float64
		primary  reading.Quantity
		end, low bool
	}{
		{qa.CutOff, 1, reading.Level, true, true}, {qa.Capped, 1, reading.Level, true, false},
		{qa.Blanking, 1, reading.Level, true, false}, {qa.CutOff | qa.Capped, 1, reading.Level, true, true},
		{qa.Spike, 1, reading.Level, false, false}, {0, 0.005, reading.Level, true, true},
		{0, -0.005, reading.Level, true, true}, {0, 0.0051, reading.Level, false, false},
		{0, -0.0051, reading.Level, false, false}, {0, 0, reading.Distance, true, false},
	} {
		b := hand([]float64{0}, []float64{c.figure})
		b.Flags[0], b.Site.Log.Primary, b.Limits.Step = c.flags, c.primary, 0.01
		if end, low := atEnd(b, 0); end != c.end || low != c.low {
			t.Errorf("%+v: %v, %v", c, end, low)
		}
	}
}

// TestStaysByHand: a stay at the top of three readings, entered by 0.36 m and left by 0.31. The change before it and
// the one after may be half of a jump: of the others the largest is 0.02 m and, at the end, 0.03.
func TestStaysByHand(t *testing.T) {
	heads := []float64{0.10, 0.11, 0.13, 0.14, 0.5, 0.52, 0.51, 0.20, 0.25, 0.26, 0.29}
	var minutes []float64
	for i := range heads {
		minutes = append(minutes, float64(i))
	}
	b := hand(minutes, heads)
	for i := 4; i <= 6; i++ {
		b.Flags[i] = qa.Capped | qa.Spike
	}
	b.Flags[6] = qa.Capped
	s := NewStays(b)
	b.High = 5
	s.Add(b)
	b.Low, b.High = 5, len(heads)
	s.Add(b)
	if len(s.list) != 1 || s.open != nil {
		t.Fatalf("%+v", s.list)
	}
	x := s.list[0]
	if x.from != at(4) || x.until != at(6) || !near(x.entered, 0.36) || !near(x.left, 0.31) || x.low || x.spiked ||
		!x.hidden || x.lowest != 0.5 || x.highest != 0.52 || x.segment != 0 {
		t.Errorf("%+v", x)
	}
	if !near(s.largest, 0.02) || !near(s.latest, 0.03) || !s.ordinary || s.left {
		t.Errorf("largest %g, latest %g", s.largest, s.latest)
	}
	if e := s.Shown[0]; e.Least != 0.10 || e.Most != 0.29 {
		t.Errorf("shown %+v", e)
	}
}

// TestStaysWithoutJumps: a stay that was entered and left by 20 mm or less is none to judge, and shows where the log
// goes; 21 mm on either side are. A doubted reading or a gap beside it tells nothing.
func TestStaysWithoutJumps(t *testing.T) {
	for _, c := range []struct {
		name          string
		in, out       float64
		before, after qa.Flags
		kept          bool
		entered, left float64
	}{
		{"still", 0.02, 0.02, 0, 0, false, 0, 0},
		{"in", 0.021, 0.02, 0, 0, true, 0.021, 0.02},
		{"out", 0.02, 0.021, 0, 0, true, 0.02, 0.021},
		{"in, doubted", 0.3, 0.021, qa.Stuck, 0, true, math.NaN(), 0.021},
		{"out, doubted", 0.021, 0.3, 0, qa.Conflict, true, 0.021, math.NaN()},
		{"out over a gap", 0.021, 0.3, 0, qa.Gap, true, 0.021, math.NaN()},
		{"both doubted", 0.3, 0.3, qa.Stuck, qa.Stuck, false, 0, 0},
	} {
		const top = 0.02 // less 20 mm it is 0 exactly
		heads := []float64{top - c.in, top - c.in, top, top - c.out, top - c.out}
		b := hand([]float64{0, 1, 2, 3, 4}, heads)
		b.Figure = []float64{1, 2, 9, 2, 1}
		b.Flags[1], b.Flags[2], b.Flags[3] = c.before, qa.Capped, c.after
		s := NewStays(b)
		s.Add(b)
		if (len(s.list) == 1) != c.kept {
			t.Errorf("%s: %+v", c.name, s.list)
			continue
		}
		if !c.kept {
			if s.Shown[0].Most != 9 {
				t.Errorf("%s: shown %+v", c.name, s.Shown[0])
			}
			continue
		}
		if x := s.list[0]; !near(x.entered, c.entered) || !near(x.left, c.left) {
			t.Errorf("%s: %+v", c.name, x)
		}
	}
}

// TestVerdicts: what a stay is judged by, a step below, at and above each limit.
func TestVerdicts(t *testing.T) {
	none := math.NaN()
	const half = 3 * time.Minute
	long := half + 1
	hours := time.Hour
	for _, c := range []struct {
		name              string
		largest, latest   float64
		resolution        float64
		interval          time.Duration
		entered, left     float64
		lasts             time.Duration
		low, spike, hides bool
		want              qa.Verdict
		moves             float64
	}{
		{"three times the largest", 0.01, 0, 0, time.Hour, 0.03, none, long, false, false, false, qa.NoVerdict, 0},
		{"over it", 0.01, 0, 0, time.Hour, 0.031, none, long, false, false, false, qa.DeadEnd, 0},
		{"three times the latest", 0, 0.01, 0, time.Hour, none, 0.03, long, false, false, false, qa.NoVerdict, 0},
		{"over the latest", 0, 0.01, 0, time.Hour, none, 0.031, long, false, false, false, qa.DeadEnd, 0},
		{"20 mm", 0, 0, 0, time.Hour, 0.02, none, long, false, false, false, qa.NoVerdict, 0},
		{"over 20 mm", 0, 0, 0, time.Hour, 0.021, none, long, false, false, false, qa.DeadEnd, 0},
		{"ten steps", 0, 0, 0.01, time.Hour, 0.1, none, long, false, false, false, qa.NoVerdict, 0},
		{"over ten steps", 0, 0, 0.01, time.Hour, 0.101, none, long, false, false, false, qa.DeadEnd, 0},
		{"no side known", 0, 0, 0, time.Hour, none, none, long, false, false, false, qa.NoVerdict, 0},
		{"one of two sides", 0, 0, 0, 5*time.Minute + 1, 0.03, 0.01, long, false, false, false, qa.NoVerdict, 0},
		{"one of two sides, five minutes", 0, 0, 0, 5 * time.Minute, 0.03, 0.01, long, false, false, false, qa.DeadEnd, 0},
		{"the other side", 0, 0, 0, 5 * time.Minute, 0.01, 0.03, long, false, false, false, qa.DeadEnd, 0},
		{"both sides", 0, 0, 0, 5*time.Minute + 1, 0.03, 0.03, long, false, false, false, qa.DeadEnd, 0},
		{"short", 0, 0, 0, time.Minute, 0.03, 0.03, half, false, false, false, qa.Glitch, 0},
		{"a spike that hides", 0, 0, 0, time.Minute, 0.01, 0.01, half, false, true, true, qa.Water, 0},
		{"a spike that does not hide", 0, 0, 0, time.Minute, 0.01, 0.01, half, false, true, false, qa.Glitch, 0},
		{"no spike", 0, 0, 0, time.Minute, 0.01, 0.01, half, false, false, true, qa.NoVerdict, 0},
		{"low, one side", 0, 0, 0, time.Minute, 0.03, 0.01, 2 * hours, true, false, false, qa.NoVerdict, 0},
		{"low, both sides", 0, 0, 0, time.Minute, 0.03, 0.03, hours, true, false, false, qa.DeadEnd, 0},
		{"low, under an hour", 0, 0, 0, time.Minute, 0.03, 0.03, hours - 1, true, false, false, qa.NoVerdict, 0},
		{"low and a spike, under an hour", 0, 0, 0, time.Minute, 0.03, 0.03, hours - 1, true, true, false, qa.DeadEnd, 0},
		{"both sides, and moves by 5 mm", 0, 0, 0, time.Hour, 0.03, 0.03, long, false, false, false, qa.DeadEnd, 0.005},
		{"by more", 0, 0, 0, time.Hour, 0.03, 0.03, long, false, false, false, qa.NoVerdict, 0.0052},
		{"by ten steps", 0, 0, 0.001, time.Hour, 0.03, 0.03, long, false, false, false, qa.DeadEnd, 0.01},
		{"by more than that", 0, 0, 0.001, time.Hour, 0.03, 0.03, long, false, false, false, qa.NoVerdict, 0.0111},
	} {
		x := stay{
			from: start, until: start + int64(c.lasts), entered: c.entered, left: c.left, low: c.low, spiked: c.spike,
			hidden: c.hides, lowest: 7, highest: 7 + c.moves,
		}
		s := &Stays{largest: c.largest, latest: c.latest, list: []stay{x}, Shown: make([]settings.Extremes, 1)}
		again := s.Verdicts(&qa.Limits{SpikeWindow: 2 * half, Resolution: c.resolution, Step: c.resolution}, c.interval)
		if got := s.list[0].verdict; got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
		usual := qa.NoVerdict
		if c.spike {
			usual = qa.Glitch
		}
		if (len(again) == 1) != (c.want != usual) ||
			len(again) == 1 && (again[0].From != x.from || again[0].Until != x.until || again[0].Verdict != c.want) {
			t.Errorf("%s: again %+v", c.name, again)
		}
		if shown := s.Shown[0].Most >= 7; shown != (c.want == qa.NoVerdict || c.want == qa.Water) {
			t.Errorf("%s: shown %v", c.name, shown)
		}
	}
}

// TestLookThrough: what leaves an end for no longer than half a spike window is no way out of it, nor in.
func TestLookThrough(t *testing.T) {
	const half = 3 * time.Minute
	for apart, want := range map[time.Duration]qa.Verdict{half: qa.NoVerdict, half + 1: qa.DeadEnd} {
		a := stay{from: start, until: start + int64(time.Hour), entered: math.NaN(), left: 0.5}
		b := stay{from: a.until + int64(apart), until: a.until + int64(2*time.Hour), entered: 0.5, left: math.NaN()}
		s := &Stays{list: []stay{a, b}, Shown: make([]settings.Extremes, 1)}
		s.Verdicts(&qa.Limits{SpikeWindow: 2 * half}, time.Minute)
		if s.list[0].verdict != want || s.list[1].verdict != want {
			t.Errorf("%v apart: %v and %v, want %v", apart, s.list[0].verdict, s.list[1].verdict, want)
		}
	}
}

// TestEndsMetAgain: two long stays at one end can be faults, three are how this water comes and goes; those at the
// other end, short ones, and those not reached by jumps on all sides do not count with them.
func TestEndsMetAgain(t *testing.T) {
	const half = 3 * time.Minute
	one := func(low bool, lasts time.Duration, left float64) stay {
		return stay{from: start, until: start + int64(lasts), entered: 0.5, left: left, low: low}
	}
	high := one(false, half+1, 0.5)
	for _, c := range []struct {
		name string
		list []stay
		want qa.Verdict // of the first
	}{
		{"two", []stay{high, high}, qa.DeadEnd},
		{"three", []stay{high, high, high}, qa.NoVerdict},
		{"two and a short one", []stay{high, high, one(false, half, 0.5)}, qa.DeadEnd},
		{"two and one at the other end", []stay{high, high, one(true, time.Hour+1, 0.5)}, qa.DeadEnd},
		{"two and one that is left slowly", []stay{high, high, one(false, half+1, 0.01)}, qa.DeadEnd},
		{"three, low", []stay{one(true, time.Hour+1, 0.5), one(true, time.Hour+1, 0.5), one(true, time.Hour+1, 0.5)}, qa.NoVerdict},
		{"low, one of an hour", []stay{one(true, time.Hour+1, 0.5), one(true, time.Hour+1, 0.5), one(true, time.Hour, 0.5)}, qa.DeadEnd},
	} {
		s := &Stays{list: slices.Clone(c.list), Shown: make([]settings.Extremes, 1)}
		for i := range s.list { // a day apart
			by := int64(i) * 24 * int64(time.Hour)
			s.list[i].from, s.list[i].until = s.list[i].from+by, s.list[i].until+by
		}
		s.Verdicts(&qa.Limits{SpikeWindow: 2 * half}, time.Minute)
		if got := s.list[0].verdict; got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
}
