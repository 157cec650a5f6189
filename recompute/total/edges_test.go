package total

import (
	"math"
	"testing"
	"time"
)

// TestRolloverEdges: a fall is a rollover when what it stands for is possible, to two steps of the register (common
// practice: either reading may be a step off). By hand: a meter of 1/64 m³/s counts 56.25 m³ an hour at the most, so
// with steps of 1 m³ the edge is 58.25. Without a greatest flow the edge is half the modulus, which belongs to the
// falls.
func TestRolloverEdges(t *testing.T) {
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name                         string
		rollover, greatest           float64
		from, to                     float64
		want                         float64
		rollovers, falls, resolution int
	}{
		{"a quarter below the edge", 1e6, 1.0 / 64, 999990, 48, 58, 1, 0, 1},
		{"at the edge", 1e6, 1.0 / 64, 999990, 48.25, 58.25, 1, 0, 1},
		{"a quarter above the edge", 1e6, 1.0 / 64, 999990, 48.5, 0, 0, 1, 1},
		{"finer steps, at the edge", 1e6, 1.0 / 64, 999990, 46.25, 56.25, 1, 0, 0},
		{"finer steps, above the edge", 1e6, 1.0 / 64, 999990, 46.5, 0, 0, 1, 0},
		{"a step below half", 1e6, 0, 600000, 99999, 499999, 1, 0, 1},
		{"half", 1e6, 0, 600000, 100000, 0, 0, 1, 1},
		{"a step above half", 1e6, 0, 600000, 100001, 0, 0, 1, 1},
		{"to the modulus itself", 1e6, 0, 1e6, 0, 0, 1, 0, 1},
		{"from beyond the modulus", 1e6, 0, 1e6 + 1, 0, 0, 0, 1, 1},
		{"no modulus known", 0, 1, 999990, 48, 0, 0, 1, 1},
		{"the same again", 1e6, 1.0 / 64, 999990, 999990, 0, 0, 0, 1},
	} {
		counter := NewCounter(
			calendar(t, "UTC", 0, first),
			math.MinInt64,
			math.MaxInt64,
			c.rollover,
			c.greatest,
			float64(c.resolution),
		)
		counter.Add(first.UnixNano(), c.from)
		counter.Add(first.Add(time.Hour).UnixNano(), c.to)
		sum := counter.Volume(0).Sum
		if sum.Value() != c.want || counter.Rollovers != c.rollovers || len(counter.Falls) != c.falls {
			t.Errorf(
				"%s: %v m3, %d rollovers, %d falls; want %+v",
				c.name,
				sum.Value(),
				counter.Rollovers,
				len(counter.Falls),
				c,
			)
		}
	}
}

// TestFallSaysWhatItSaw: the fall holds both readings and the time of the later one.
func TestFallSaysWhatItSaw(t *testing.T) {
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	counter := NewCounter(calendar(t, "UTC", 0, first), math.MinInt64, math.MaxInt64, 0, 0, 1)
	later := first.Add(time.Hour).UnixNano()
	counter.Run([]int64{first.UnixNano(), later}, []float64{523400, 12.5})
	if len(counter.Falls) != 1 || counter.Falls[0] != (Fall{later, 523400, 12.5}) ||
		counter.Falls[0].String() != "from 523400.000 to 12.500 m3" {
		t.Errorf("%v", counter.Falls)
	}
}

// TestCounterByDay: a rise is spread evenly over the time between two readings. By hand: 100 m³ from 18:00 to 04:00 are
// 60 before midnight and 40 after it; of a period from 20:00 to 02:00 they are 40 and 20. The readings handed over one
// by one and in runs give the same.
func TestCounterByDay(t *testing.T) {
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	at := func(h int) int64 { return first.Add(time.Duration(h) * time.Hour).UnixNano() }
	for _, c := range []struct {
		name        string
		from, until int64
		times       []int64
		register    []float64
		want        [3]float64
		hours       [3]float64
	}{
		{"over midnight", math.MinInt64, math.MaxInt64, []int64{at(18), at(28)}, []float64{5, 105}, [3]float64{60, 40, 0}, [3]float64{6, 4, 0}},
		{"within a period", at(20), at(26), []int64{at(18), at(28)}, []float64{5, 105}, [3]float64{40, 20, 0}, [3]float64{4, 2, 0}},
		{"a period of the readings", at(18), at(28), []int64{at(18), at(28)}, []float64{5, 105}, [3]float64{60, 40, 0}, [3]float64{6, 4, 0}},
		{"before the period", at(28), at(30), []int64{at(18), at(28)}, []float64{5, 105}, [3]float64{0, 0, 0}, [3]float64{0, 0, 0}},
		{"up to midnight and on", math.MinInt64, math.MaxInt64, []int64{at(18), at(24), at(28)}, []float64{5, 35, 105}, [3]float64{30, 70, 0}, [3]float64{6, 4, 0}},
		{"over a day and a half", math.MinInt64, math.MaxInt64, []int64{at(12), at(18), at(50)}, []float64{0, 6, 326}, [3]float64{66, 240, 20}, [3]float64{12, 24, 2}},
		{"standing still, then rising", math.MinInt64, math.MaxInt64, []int64{at(1), at(2), at(3), at(4)}, []float64{7, 7, 7, 8}, [3]float64{1, 0, 0}, [3]float64{3, 0, 0}},
		{"a fall in the middle", math.MinInt64, math.MaxInt64, []int64{at(1), at(2), at(3), at(4)}, []float64{7, 9, 1, 4}, [3]float64{5, 0, 0}, [3]float64{2, 0, 0}},
	} {
		whole := NewCounter(calendar(t, "UTC", 0, first), c.from, c.until, 0, 0, 1)
		whole.Run(c.times, c.register)
		single := NewCounter(calendar(t, "UTC", 0, first), c.from, c.until, 0, 0, 1)
		for i := range c.times {
			single.Add(c.times[i], c.register[i])
		}
		for day := range 3 {
			for how, counter := range map[string]*Counter{"in a run": whole, "one by one": single} {
				sum, covered := parts(counter.Volume(day))
				if math.Abs(sum.Value()-c.want[day]) > 1e-9 || float64(covered)/3.6e12 != c.hours[day] {
					t.Errorf("%s, %s, day %d: %v m3 over %v h", c.name, how, day, sum.Value(), float64(covered)/3.6e12)
				}
			}
		}
	}
}

// TestCounterChangeEdges: a change at the very time of a reading comes before it: that reading is the new register's.
// By hand, the old one going from 100 to 130 and the new one from 5 to 8 are 30 and 3; a new one from 200 to 208 makes
// 30 and 8, and nothing of the step up.
func TestCounterChangeEdges(t *testing.T) {
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	at := func(minutes int) int64 { return first.Add(time.Duration(minutes) * time.Minute).UnixNano() }
	for _, c := range []struct {
		name     string
		change   int64
		first    float64
		times    []int64
		register []float64
		want     float64
		changed  int
	}{
		{"just after a reading", at(30) + 1, 5, []int64{at(0), at(30), at(60)}, []float64{100, 130, 8}, 33, 1},
		{"at a reading", at(30), 5, []int64{at(0), at(30), at(60)}, []float64{100, 5, 8}, 33, 1},
		{"just before a reading", at(30) - 1, 5, []int64{at(0), at(30), at(60)}, []float64{100, 6, 8}, 33, 1},
		{"before the log", at(0) - 1, 5, []int64{at(0), at(30), at(60)}, []float64{5, 6, 8}, 3, 0},
		{"after the log", at(60) + 1, 5, []int64{at(0), at(30), at(60)}, []float64{100, 110, 130}, 30, 0},
		{"at the first reading", at(0), 5, []int64{at(0), at(30), at(60)}, []float64{5, 6, 8}, 3, 0},
		{"the new register stands higher", at(30), 200, []int64{at(0), at(30), at(60)}, []float64{100, 200, 208}, 38, 1},
	} {
		counter := NewCounter(calendar(t, "UTC", 0, first), math.MinInt64, math.MaxInt64, 0, 0, 1)
		counter.Changes = []CounterChange{{At: c.change, Last: 130, First: c.first}}
		counter.Run(c.times, c.register)
		if sum := counter.Volume(0).Sum; math.Abs(sum.Value()-c.want) > 1e-9 || counter.Changed != c.changed ||
			len(counter.Falls) != 0 {
			t.Errorf(
				"%s: %v m3, %d changes, falls %v; want %v and %d",
				c.name,
				sum.Value(),
				counter.Changed,
				counter.Falls,
				c.want,
				c.changed,
			)
		}
	}
}

// TestChangeThatNobodyRead: by hand, the old register counts 10 up to the reading before the change, and nobody knows
// what it counted after that; the new one counts 8 from 112 on. It stands higher than the old one did, so nothing else
// tells that it is another.
func TestChangeThatNobodyRead(t *testing.T) {
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	at := func(minutes int) int64 { return first.Add(time.Duration(minutes) * time.Minute).UnixNano() }
	for _, late := range []int64{-1, 0, 1} {
		counter := NewCounter(calendar(t, "UTC", 0, first), math.MinInt64, math.MaxInt64, 0, 0, 1)
		counter.Changes = []CounterChange{{At: at(60), Last: math.NaN(), First: 112}}
		counter.Run([]int64{at(0), at(30), at(60) + late, at(90)}, []float64{100, 110, 112, 120})
		want, covered := 18.0, 60*time.Minute
		if late < 0 { // that reading is still the old register's
			want, covered = 12+8, 90*time.Minute-1
		}
		if sum, got := parts(counter.Volume(0)); math.Abs(sum.Value()-want) > 1e-9 || got != int64(covered) {
			t.Errorf(
				"reading %+d ns from the change: %v m3 over %v, want %v over %v",
				late,
				sum.Value(),
				time.Duration(got),
				want,
				covered,
			)
		}
	}
}

// TestSpanOfEveryDay: a month is the same whichever of its days is asked: March 2031 in Dublin from 1 March, 00:00 UTC,
// to 31 March, 23:00 UTC, as summer time has begun.
func TestSpanOfEveryDay(t *testing.T) {
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	for d := range 31 {
		cal := calendar(t, "Europe/Dublin", 0, first.AddDate(0, 0, d))
		from, until := cal.Span(0, func(label string) string { return label[:7] })
		if from != first.UnixNano() || until != first.AddDate(0, 0, 31).Add(-time.Hour).UnixNano() {
			t.Errorf("%d March: from %v to %v", d+1, time.Unix(0, from).UTC(), time.Unix(0, until).UTC())
		}
	}
}

// TestClipEdges: flows of 1, 3 and 5 m³/s at 0, 100 and 200 s are a line of 1 m³/s in 50 s. The volume between a and b
// by hand: the mean of the flows at both, times b − a. Bounds of the period lie a second before, at and after a
// reading, and of runs of one reading nothing is made.
func TestClipEdges(t *testing.T) {
	first := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC).UnixNano()
	at := func(s int64) int64 { return first + s*1e9 }
	for _, c := range []struct{ from, until, low, high int64 }{
		{-1, 201, 0, 200}, {0, 200, 0, 200}, {1, 199, 1, 199}, {99, 101, 99, 101}, {100, 200, 100, 200},
		{0, 100, 0, 100}, {101, 150, 101, 150}, {200, 300, 0, 0}, {-50, 0, 0, 0},
	} {
		s := NewSeries(calendar(t, "UTC", 0, time.Unix(0, first)), at(c.from), at(c.until))
		s.Run([]int64{at(0), at(100), at(200)}, []float64{1, 3, 5})
		s.Run([]int64{at(150)}, []float64{9})
		s.Run(nil, nil)
		flow := func(sec int64) float64 { return 1 + float64(sec)/50 }
		want := (flow(c.low) + flow(c.high)) / 2 * float64(c.high-c.low)
		if sum, covered := parts(s.Volume(0)); math.Abs(sum.Value()-want) > 1e-9 || covered != (c.high-c.low)*1e9 {
			t.Errorf("from %d to %d s: %v m3 over %d ns, want %v", c.from, c.until, sum.Value(), covered, want)
		}
	}
}

// TestDayEdges: readings a second before, at and after midnight at a steady 2 m³/s: every second counts once, on its
// own day.
func TestDayEdges(t *testing.T) {
	midnight := time.Date(2031, 3, 2, 0, 0, 0, 0, time.UTC).UnixNano()
	for _, shift := range []int64{-1, 0, 1} {
		s := NewSeries(calendar(t, "UTC", 0, time.Unix(0, midnight-3600e9)), math.MinInt64, math.MaxInt64)
		middle := midnight + shift*1e9
		s.Run([]int64{midnight - 60e9, middle, midnight + 30e9, midnight + 60e9}, []float64{2, 2, 2, 2})
		for day := range 3 {
			want := []float64{120, 120, 0}[day]
			if sum, covered := parts(s.Volume(day)); math.Abs(sum.Value()-want) > 1e-9 || covered != int64(want*0.5e9) {
				t.Errorf(
					"middle reading at %+d s, day %d: %v m3 over %d ns, want %v",
					shift,
					day,
					sum.Value(),
					covered,
					want,
				)
			}
		}
	}
}

// TestHold: means over the interval that they end: 4 for the first 60 s, 10 for the next 30 s, whatever the first
// figure says.
func TestHold(t *testing.T) {
	first := time.Date(2031, 3, 1, 23, 59, 0, 0, time.UTC).UnixNano()
	s := NewSeries(calendar(t, "UTC", 0, time.Unix(0, first)), first, math.MaxInt64)
	s.Hold = true
	s.Run([]int64{first, first + 60e9, first + 90e9}, []float64{99, 4, 10})
	for day, want := range []float64{240, 300} {
		if sum := s.Volume(day).Sum; math.Abs(sum.Value()-want) > 1e-9 {
			t.Errorf("day %d: %v m3, want %v", day, sum.Value(), want)
		}
	}
}

// TestSumKeepsWhatRoundingLoses: 2⁵³ + 1 has no double of its own, so a plain sum of 2⁵³, 1 and −2⁵³ is 0; this one is
// 1, from either side and when merged.
func TestSumKeepsWhatRoundingLoses(t *testing.T) {
	const big = 1 << 53
	for _, terms := range [][]float64{
		{big, 1, -big}, {1, big, -big}, {-big, 1, big}, {-big, big, 1}, {big, -big, 1}, {big, 1, 1, 1, -big, -2},
	} {
		var s, a, b Sum
		for i, v := range terms {
			s.Add(v)
			if i < 1 {
				a.Add(v)
			} else {
				b.Add(v)
			}
		}
		a.Merge(b)
		if s.Value() != 1 || a.Value() != 1 {
			t.Errorf("%v: %v, merged %v, want 1", terms, s.Value(), a.Value())
		}
	}
}

// TestCalendarAsksBack: days asked for out of order, at their edges, are the same days; at noon of 1 to 5 March and a
// nanosecond beside midnight.
func TestCalendarAsksBack(t *testing.T) {
	first := time.Date(2031, 3, 1, 12, 0, 0, 0, time.UTC)
	cal := NewCalendar(time.UTC, 0, false, first.UnixNano())
	midnight := func(d int) int64 { return time.Date(2031, 3, d, 0, 0, 0, 0, time.UTC).UnixNano() }
	for _, c := range []struct {
		at   int64
		want int
	}{
		{midnight(5), 4},
		{midnight(5) - 1, 3},
		{midnight(1), 0},
		{midnight(2) - 1, 0},
		{midnight(2), 1},
		{midnight(3), 2},
		{midnight(3) - 1, 1},
		{midnight(6) - 1, 4},
		{midnight(6), 5},
		{midnight(4), 3},
	} {
		if got := cal.Day(c.at); got != c.want {
			t.Errorf("%v: day %d, want %d", time.Unix(0, c.at).UTC(), got, c.want)
		}
	}
	if cal.Days() != 6 || cal.Label(5) != "2031-03-06" {
		t.Errorf("%d days, the last %s", cal.Days(), cal.Label(cal.Days()-1))
	}
}
