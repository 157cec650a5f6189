package evidence

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"retotal/qa"
	"retotal/recompute/total"
)

// TestCoursesByHand: hourly means of the head of readings that no check doubts; the night minimum is the lowest of a
// day, with the air of its hour.
func TestCoursesByHand(t *testing.T) {
	b := hand([]float64{0, 30, 60, 90, 119, 1440, 1441}, []float64{0.2, 0.4, 0.1, 0.3, 9, 0.5, 0.7})
	b.Flags = []qa.Flags{0, qa.Gap, qa.Validity, 0, qa.Spike, 0, 0}
	b.Air = []float64{280, 282, 290, 294, 999, 300, 302}
	c := &Courses{}
	b.High = 3
	c.Add(b)
	b.Low, b.High = 3, 7
	c.Add(b)
	c.close()
	c.close()
	if len(c.days) != 2 {
		t.Fatalf("%d days", len(c.days))
	}
	for i, want := range []struct{ lowest, air, first, second float64 }{{0.2, 292, 0.3, 0.2}, {0.6, 301, 0.6, 0}} {
		d := c.days[i]
		if !near(d.lowest, want.lowest) || !near(d.air, want.air) || !near(d.hours[0], want.first) ||
			!near(d.hours[1], want.second) || !d.seen[0] || d.seen[1] != (i == 0) || d.seen[2] || d.whole() {
			t.Errorf("day %d: %+v", i, d)
		}
	}
}

// wave is a day of one course: hourly means that rise and fall once, times a sign.
func wave(sign float64) (d course) {
	d.lowest = 0.1
	for h := range d.hours {
		d.hours[h], d.seen[h] = 0.3+sign*0.1*math.Sin(float64(h)*math.Pi/12), true
	}
	return d
}

// TestBrokenCourse: after seven days of one course, a day of the opposite one is broken; one of the same is not; nor is
// one that lacks an hour, or one after days that lack an hour or do not resemble each other.
func TestBrokenCourse(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(days []course)
		want   []string
	}{
		{"opposite", func([]course) {}, []string{"7"}},
		{"the same", func(d []course) { d[7] = wave(1) }, nil},
		{"an hour is missing", func(d []course) { d[7].seen[5] = false }, nil},
		{"an hour before is missing", func(d []course) { d[0].seen[23] = false }, nil},
		{"by turns", func(d []course) { d[1], d[3], d[5] = wave(-1), wave(-1), wave(-1) }, nil},
		{"as little alike as it may be", func(d []course) { d[7] = leaning(0.19) }, []string{"7"}},
		{"more alike", func(d []course) { d[7] = leaning(0.21) }, nil},
		{"another course that stays", func(d []course) { d[8] = wave(-1) }, nil},
		{"one that goes much further, as a storm does", func(d []course) { d[7] = wave(-1.5) }, nil},
		{"one that goes a little further", func(d []course) { d[7] = wave(-1.2) }, []string{"7"}},
		{"like the day before, as a tide that comes later", func(d []course) {
			d[6], d[7] = leaning(0.25), leaning(0.1)
		}, nil},
		{"lines, as of a recession", func(d []course) {
			for k := range d {
				for h := range d[k].hours {
					d[k].hours[h] = -float64(h)
				}
			}
			for h := range d[7].hours {
				d[7].hours[h] = float64(h)
			}
		}, nil},
	} {
		var x Courses
		for range 7 {
			x.days = append(x.days, wave(1))
		}
		x.days = append(x.days, wave(-1), wave(1))
		c.change(x.days)
		var days []Day
		for i := range x.days {
			days = append(days, Day{Label: fmt.Sprint(i)})
		}
		if got := x.Pattern(days, 0).Broken; !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
		if got := x.Pattern(days[:7], 0).Broken; got != nil {
			t.Errorf("%s: %v of seven days", c.name, got)
		}
	}
}

// leaning is a day whose course correlates by r with that of wave(1): sine and cosine are not correlated.
func leaning(r float64) course {
	d := wave(1)
	for h := range d.hours {
		a := float64(h) * math.Pi / 12
		d.hours[h] = 0.3 + 0.1*(r*math.Sin(a)+math.Sqrt(1-r*r)*math.Cos(a))
	}
	return d
}

// TestNightMinimumAndAir: 20 days are enough, 19 are not, and days without readings do not count. A night minimum that
// rises by 0.5 mm a kelvin; of 2 m of air a meter without correction shows 2,000 / 566.3 mm a kelvin too much.
func TestNightMinimumAndAir(t *testing.T) {
	for _, n := range []int{19, 20} {
		x := Courses{warmth: true}
		for i := range n {
			night := course{lowest: 0.1 + 0.0005*float64(i), air: 280 + float64(i)}
			x.days = append(x.days, night, course{lowest: math.Inf(1)})
		}
		p := x.Pattern(nil, 2)
		switch {
		case p.Days != n:
			t.Errorf("%d of %d days", p.Days, n)
		case n == 19 && (p.Correlation != 0 || p.PerKelvin != 0 || p.Expected != 0):
			t.Errorf("19 days: %+v", p)
		case n == 20 && (!near(p.Correlation, 1) || !near(p.PerKelvin, 0.5) || !near(p.Expected, 2000/566.3)):
			t.Errorf("20 days: %+v", p)
		}
		if x.warmth = false; x.Pattern(nil, 2).Days != 0 {
			t.Error("a log without temperatures")
		}
	}
}

// TestRatio: per cent, to a tenth, of volumes over the same time.
func TestRatio(t *testing.T) {
	v := func(m3 float64, covered int64) (v total.Volume) {
		v.Sum.Add(m3)
		v.Covered = covered
		return v
	}
	for _, c := range []struct {
		a, b    total.Volume
		percent float64
		ok      bool
	}{
		{v(102.04, 5), v(100, 5), 2.0, true}, {v(102.06, 5), v(100, 5), 2.1, true}, {v(95, 5), v(100, 5), -5, true},
		{v(100, 5), v(100, 6), 0, false}, {v(100, 0), v(100, 0), 0, false}, {v(100, 5), v(0, 5), 0, false},
		{v(100, 5), v(-1, 5), 0, false},
	} {
		if percent, ok := ratio(c.a, c.b); ok != c.ok || !near(percent, c.percent) {
			t.Errorf("%g of %g: %g, %v", c.a.M3(), c.b.M3(), percent, ok)
		}
	}
}

// TestChangePointsByHand: thirty days of a counter that is right and thirty of one that counts 5 % more. A night
// minimum that rises by 1 mm a day is a drift of 59 mm; one that steps is left to moves, and one that falls quickly and
// then slowly, as a recession does, is none.
func TestChangePointsByHand(t *testing.T) {
	volume := func(m3 float64) (v total.Volume) {
		v.Sum.Add(m3)
		v.Covered = 1
		return v
	}
	for name, night := range map[string]func(i int) float64{
		"step":      func(i int) float64 { return 0.1 + 0.02*float64(i/30) },
		"drift":     func(i int) float64 { return 0.1 + 0.001*float64(i) },
		"recession": func(i int) float64 { return 0.1 + 0.2*math.Exp(-float64(i)/15) },
	} {
		var x Courses
		var days []Day
		for i := range 60 {
			counted := 100.0
			if i >= 30 {
				counted = 105
			}
			x.days = append(x.days, course{lowest: night(i)})
			days = append(days, Day{Label: fmt.Sprint(i), Start: int64(i), Logged: volume(100), Recorded: volume(100),
				Counted: volume(counted)})
		}
		list := x.ChangePoints(days, false)
		if drifts := name == "drift"; len(list) != 1 && !drifts || len(list) != 2 && drifts {
			t.Fatalf("%s: %+v", name, list)
		}
		counter := list[len(list)-1]
		if counter.Day != "30" || counter.At != 30 || !near(counter.Size, 5) || counter.Drift {
			t.Errorf("%+v", counter)
		}
		if d := list[0]; name == "drift" && (!d.Drift || !near(d.Size, 59) || d.Day != "0" || d.At != 0) {
			t.Errorf("%+v", d)
		}
	}
}

// TestChangeThatRoundsToZero: a night minimum that creeps by 4e-10 mm in all, as sums of rounded readings do, is no
// drift, and a step of 0.04 mm is none; 0.06 mm of either is told, as 0.1.
func TestChangeThatRoundsToZero(t *testing.T) {
	for _, c := range []struct {
		name string
		of   func(i int) float64
		want int
	}{
		{"a creep of nothing", func(i int) float64 { return 100 + 4e-10*float64(i)/59 }, 0},
		{"a drift of 0.04 mm", func(i int) float64 { return 100 + 0.04*float64(i)/59 }, 0},
		{"a drift of 0.06 mm", func(i int) float64 { return 100 + 0.06*float64(i)/59 }, 1},
		{"a step of 0.04 mm", func(i int) float64 { return 100 + 0.04*float64(i/30) }, 0},
		{"a step of 0.06 mm", func(i int) float64 { return 100 + 0.06*float64(i/30) }, 1},
	} {
		list := changes(make([]Day, 60), "night minimum", "mm", func(i int) (float64, bool) { return c.of(i), true })
		if len(list) != c.want {
			t.Errorf("%s: %+v", c.name, list)
		}
	}
}
