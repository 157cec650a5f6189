package profile

import (
	"math"
	"slices"
	"testing"
	"time"
)

// steps are levels in millimetres, the step of the log.
func profiled(interval time.Duration, steps []int) Result {
	p := New(Settings{Resolution: 0.001, Interval: interval})
	for i, n := range steps {
		p.Add(int64(i)*int64(interval), float64(n)/1000, true)
	}
	return p.Finish()
}

// calm is water that goes up by one step and down again every ten readings: the noise of the record is its step.
func calm(n int) []int {
	steps := make([]int, n)
	for i := range steps {
		steps[i] = i / 10 % 2
	}
	return steps
}

// TestSpikeEdges: below, at and above every limit of a spike. Nothing but these readings is flagged.
func TestSpikeEdges(t *testing.T) {
	const flagged, removed = 1, 2
	for _, c := range []struct {
		minutes  time.Duration
		readings int
		steps    int
		want     int
	}{
		{5, 1, 4, 0}, {5, 1, 5, flagged}, {5, 1, -4, 0}, {5, 1, -5, flagged}, // 4.3 N
		{5, 1, 8, flagged}, {5, 1, 9, removed}, {5, 1, -8, flagged}, {5, 1, -9, removed}, // 8 N
		{5, 2, 7, 0}, {5, 2, 8, flagged}, {5, 2, 10, flagged}, {5, 2, 11, removed}, // 7 N, 10 N
		{5, 4, 7, 0}, {5, 4, 8, flagged}, {5, 4, 10, flagged}, {5, 4, 11, removed},
		{5, 5, 9, 0}, {5, 5, 10, flagged}, {5, 5, 15, flagged}, {5, 5, 16, removed}, // 9 N, 15 N
		{5, 12, 9, 0}, {5, 12, 10, flagged}, {5, 12, -15, flagged}, {5, 12, -16, removed},
		{5, 13, 10, 0}, {5, 13, 1000, 0}, // too long
		{14, 1, 9, removed}, {14, 12, 16, removed},
		{15, 1, 5, flagged}, {15, 1, 1000, flagged}, {15, 2, 1000, flagged}, {15, 3, 1000, 0}, // a peak can be sound
		{15, 1, -10, flagged}, {15, 1, -11, removed}, {15, 2, -11, removed}, // ten falls
		{15, 3, -10, 0}, {15, 3, -11, flagged}, {15, 12, -1000, flagged}, {15, 13, -1000, 0}, // out of the water
	} {
		steps := calm(4000)
		const from = 2001
		after := steps[from-1]
		for i := from - 3; i < from+c.readings+3; i++ {
			steps[i] = after
		}
		for i := from; i < from+c.readings; i++ {
			steps[i] += c.steps
		}
		interval := c.minutes * time.Minute
		found := profiled(interval, steps)
		got := 0
		for _, v := range found.Verdicts {
			if v.From != from*int64(interval) || v.Readings != c.readings || v.Kind != Spike ||
				v.Until != (from+int64(c.readings)-1)*int64(interval) || math.Abs(v.Size-float64(c.steps)/1000) > 1e-9 {
				t.Errorf("%+v: %+v", c, v)
			}
			if got = flagged; v.Remove {
				got = removed
			}
		}
		if got != c.want || len(found.Verdicts) > 1 {
			t.Errorf("%d readings %d min apart, %d steps off: %d, wanted %d", c.readings, c.minutes, c.steps,
				got, c.want)
		}
	}
}

// TestSpikeAgreement: a rise that does not go back is none, and what lies between its neighbours is none, whatever they
// are worth.
func TestSpikeAgreement(t *testing.T) {
	for _, c := range []struct {
		name  string
		put   []int
		flags int
	}{
		{"returns", []int{0, 0, 0, 30, 0, 0, 0}, 1},
		{"returns to 0.3 of its jump and two steps", []int{0, 0, 0, 30, 8, 8, 8}, 1},
		{"returns to more than that", []int{0, 0, 0, 30, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10}, 0},
		{"does not return", []int{0, 0, 0, 30, 30, 30, 30, 30, 30, 30, 30, 30, 30, 30, 30, 30, 30, 30, 20, 15, 10, 5}, 0},
		{"storm", []int{0, 0, 0, 30, 60, 90, 80, 70, 62, 55, 48, 42, 37, 32, 28, 24, 21, 18, 15, 12, 10, 8, 6, 4, 3, 2}, 0},
		{"sudden storm", []int{0, 0, 0, 90, 80, 70, 62, 55, 48, 42, 37, 32, 28, 24, 21, 18, 15, 12, 10, 8, 6, 4, 3, 2}, 0},
		{"between its neighbours", []int{0, 0, 0, 30, 60, 60, 60, 60, 60, 60, 60, 60, 60, 60, 60, 60, 40, 20}, 0},
		{"on a rise", []int{0, 10, 20, 30, 140, 50, 60, 70, 80, 70, 60, 50, 40, 30, 20, 10}, 1},
		{"among others", []int{0, 30, 0, 30, 0, 0, 30, 0, 30, 0}, 0},
	} {
		steps := calm(4000)
		for i := range 60 {
			steps[1990+i] = 0
		}
		copy(steps[2000:], c.put)
		if found := profiled(5*time.Minute, steps); len(found.Verdicts) != c.flags {
			t.Errorf("%s: %+v", c.name, found.Verdicts)
		}
	}
}

// restless is water that never stands: up and down by a step, and once a day 50 steps down and up again.
func restless(n int) []int {
	steps := make([]int, n)
	for i := range steps {
		switch hour := i % 288; {
		case hour < 50:
			steps[i] = -hour
		case hour < 100:
			steps[i] = hour - 100
		default:
			steps[i] = hour % 2
		}
	}
	return steps
}

// TestStuckEdges: below, at and above every limit of a stuck run.
func TestStuckEdges(t *testing.T) {
	const flagged, removed = 1, 2
	for _, c := range []struct {
		name          string
		readings      int
		start, end    int // jumps in steps
		length, other int // other runs beside it, of so many readings; how often
		want          int
	}{
		{"25 minutes", 6, 0, -20, 0, 0, 0},
		{"30 minutes, falls", 7, 0, -20, 0, 0, removed},
		{"a small jump", 7, 0, -5, 0, 0, 0},
		{"a jump", 7, 0, -6, 0, 0, removed},
		{"begins with a small jump", 7, 5, 0, 0, 0, 0},
		{"begins with a jump", 7, 6, 0, 0, 0, flagged},
		{"begins and ends with a jump", 7, 6, -6, 0, 0, removed},
		{"no jump", 11, 0, 0, 0, 0, 0},
		{"never stands, no jump", 12, 0, 0, 0, 0, flagged},
		{"rises", 9, 0, 20, 0, 0, flagged},
		{"rises, ten times its neighbours", 10, 0, 20, 0, 0, removed},
		{"not three times its neighbours", 8, 0, -20, 3, 1, 0},
		{"three times its neighbours", 9, 0, -20, 3, 1, removed},
		{"others stand a third as long", 9, 0, -20, 3, 60, 0},
		{"others stand less", 10, 0, -20, 3, 60, removed},
		{"few others stand as long", 200, 0, -20, 81, 4, removed},
		{"others stand as long", 200, 0, -20, 81, 5, 0},
	} {
		const interval = 5 * time.Minute
		steps := restless(288 * 60)
		const from = 288*30 + 150
		for k := range c.other {
			at := 288*(2+k/2) + 110 + 100*(k%2)
			if c.other == 1 {
				at = from - 10
			}
			for i := range c.length {
				steps[at+i] = steps[at]
			}
		}
		for i := range c.readings {
			steps[from+i] = steps[from]
		}
		for i := from - 30; i < from; i++ {
			steps[i] -= max(c.start, 1) - 1 + 2*(i%2)*min(c.start, 1)
		}
		for i := range 30 {
			steps[from+c.readings+i] = i%2 + c.end
			if c.end == 0 {
				steps[from+c.readings+i] = 1 - i%2
			}
		}
		got := 0
		found := profiled(interval, steps)
		for _, v := range found.Verdicts {
			if v.Kind != Stuck || v.Until < from*int64(interval) || v.From > from*int64(interval) {
				continue
			}
			if got = flagged; v.Remove {
				got = removed
			}
			if v.Readings != c.readings {
				t.Errorf("%s: %+v", c.name, v)
			}
		}
		if got != c.want {
			t.Errorf("%s: %d, wanted %d: %+v", c.name, got, c.want, found.Verdicts)
		}
	}
}

// TestTolerance: a run may jitter by the tolerance that is stated, and not by more.
func TestTolerance(t *testing.T) {
	for _, c := range []struct {
		jitter    int
		tolerance float64
		want      bool
	}{{0, 0, true}, {1, 0, false}, {1, 0.001, true}, {2, 0.001, false}, {2, 0.002, true}} {
		steps := restless(288 * 60)
		for i := range steps {
			steps[i] *= 10
		}
		const from, length = 288*30 + 150, 40
		for i := range length {
			steps[from+i] = steps[from] + i%2*c.jitter
		}
		for i := range 30 {
			steps[from+length+i] -= 200
		}
		p := New(Settings{Resolution: 0.001, Interval: 5 * time.Minute, Tolerance: c.tolerance})
		for i, n := range steps {
			p.Add(int64(i)*int64(5*time.Minute), float64(n)/1000, true)
		}
		found := slices.ContainsFunc(p.Finish().Verdicts, func(v Verdict) bool {
			return v.Kind == Stuck && v.Remove && v.Readings == length
		})
		if found != c.want {
			t.Errorf("jitter %d mm, tolerance %v m: found is %v", c.jitter, c.tolerance, found)
		}
	}
}

// TestSet: a sensor that is taken out of the water and set anew lower is flagged and kept, however many readings it is
// out, up to twelve; one that falls by less than ten times what the water falls is not.
func TestSet(t *testing.T) {
	for _, c := range []struct {
		readings, out, anew int
		want                bool
	}{
		{1, -700, -500, true}, {4, -700, -500, true}, {12, -700, -500, true}, {13, -700, -500, false},
		{4, -700, -650, true}, {4, -700, 500, true}, {4, -700, -697, false}, {4, -8, -2, false},
	} {
		for _, interval := range []time.Duration{5 * time.Minute, 15 * time.Minute} {
			steps := calm(8000)
			for i := 4001; i < len(steps); i++ {
				if steps[i] += c.anew; i < 4001+c.readings {
					steps[i] += c.out - c.anew
				}
			}
			found := profiled(interval, steps)
			got := len(found.Verdicts) == 1 && found.Verdicts[0].Readings == c.readings && !found.Verdicts[0].Remove
			if got != c.want || len(found.Verdicts) > 1 {
				t.Errorf("%+v, %v: %+v", c, interval, found.Verdicts)
			}
		}
	}
}

// TestExcursionOfStanding: a run that ends or begins with an excursion to which the level returns within a dozen
// readings has no jump there, even if that is too small for a spike.
func TestExcursionOfStanding(t *testing.T) {
	for _, c := range []struct {
		readings int
		after    bool
		jump     bool
	}{{6, true, false}, {12, true, false}, {13, true, true}, {6, false, false}, {12, false, false}, {13, false, true}} {
		const from, length = 288*30 + 150, 11 // too short to be flagged without a jump
		steps := restless(288 * 60)
		for i := range length {
			steps[from+i] = steps[from]
		}
		for i := range c.readings {
			at := from - 1 - i
			if c.after {
				at = from + length + i
			}
			steps[at] = -8 - i%2
		}
		found := slices.ContainsFunc(profiled(5*time.Minute, steps).Verdicts, func(v Verdict) bool {
			return v.Kind == Stuck && v.From <= from*int64(5*time.Minute) && v.Until >= from*int64(5*time.Minute)
		})
		if found != c.jump {
			t.Errorf("%+v: found is %v", c, found)
		}
	}
}

// TestSpikeOnSlope: the slope of the water is taken out: on a steep one the limits are those of still water.
func TestSpikeOnSlope(t *testing.T) {
	const flagged, removed = 1, 2
	for _, slope := range []int{1, 5, 40} {
		for _, c := range []struct{ readings, steps, want int }{
			{1, 4, 0}, {1, 5, flagged}, {1, 8, flagged}, {1, 9, removed}, {1, -4, 0}, {1, -5, flagged}, {1, -9, removed},
			{3, 50, removed}, {12, 50, removed}, {3, -50, removed}, {12, -50, removed},
		} {
			for _, from := range []int{1500, 2500} { // up and down
				steps := calm(6000)
				for i := from - side; i < from+c.readings+side; i++ {
					steps[i] = 0
				}
				for i := range steps {
					steps[i] += slope * (1000 - max(i%2000-1000, 1000-i%2000))
				}
				for i := range c.readings {
					steps[from+i] += c.steps
				}
				found, got := profiled(5*time.Minute, steps), 0
				for _, v := range found.Verdicts {
					if got = flagged; v.Remove {
						got = removed
					}
					if v.Readings != c.readings || math.Abs(v.Size-float64(c.steps)/1000) > 1e-9 {
						t.Errorf("slope %d, %+v: %+v", slope, c, v)
					}
				}
				if got != c.want || len(found.Verdicts) > 1 {
					t.Errorf("slope %d at %d, %+v: %+v", slope, from, c, found.Verdicts)
				}
			}
		}
	}
}

// TestSpikeInStanding: a strong spike in a stuck spell does not end it; a weak one does, since a sensor that shows it
// does not stand, and of two spells side by side none stands alone.
func TestSpikeInStanding(t *testing.T) {
	for _, c := range []struct{ off, readings int }{{300, 299}, {-300, 299}, {6, 0}} {
		const from, length = 288*30 + 150, 300
		steps := restless(288 * 60)
		for i := range length {
			steps[from+i] = steps[from]
		}
		for i := range 30 {
			steps[from+length+i] -= 30
		}
		steps[from+length/2-1] += c.off
		longest := 0
		for _, v := range profiled(5*time.Minute, steps).Verdicts {
			if v.Kind == Stuck {
				longest = max(longest, v.Readings)
			}
		}
		if longest != c.readings {
			t.Errorf("%d steps off: %d readings, wanted %d", c.off, longest, c.readings)
		}
	}
}

// TestFewNeighbours: a run of which fewer than six others are known before or after a gap is not judged, and told.
func TestFewNeighbours(t *testing.T) {
	for _, c := range []struct {
		before, after int
		want          bool
	}{{6, 20, true}, {5, 20, false}, {20, 6, true}, {20, 5, false}} {
		const from, length = 288*30 + 150, 40
		const interval = 5 * time.Minute
		steps := restless(288 * 60)
		for i := range length {
			steps[from+i] = steps[from]
		}
		for i := range 30 {
			steps[from+length+i] = i%2 - 30
		}
		p := New(Settings{Resolution: 0.001, Interval: interval})
		for i, n := range steps {
			// the last run is closed by the gap
			if i != from-c.before-1 && i != from+length+c.after {
				p.Add(int64(i)*int64(interval), float64(n)/1000, true)
			}
		}
		found := p.Finish()
		stuck := slices.ContainsFunc(found.Verdicts, func(v Verdict) bool { return v.Kind == Stuck })
		told := slices.ContainsFunc(found.Notes, func(n Note) bool { return n.Kind == CannotTell && n.Count == 1 })
		if stuck != c.want || told == c.want {
			t.Errorf("%+v: found is %v, %+v", c, stuck, found.Notes)
		}
	}
}
