package evidence

import (
	"math"
	"testing"

	"retotal/recompute/settings"
)

// TestDead: a run of one value between jumps is that of a dead sensor when it lasts 12 hours, has five readings and
// jumps by more than three times the largest change elsewhere and 20 mm; either edge may be that of the record, not
// both. Heads go up and down by move; a run stands at zero from reading 100 on, reached and left by jump.
func TestDead(t *testing.T) {
	for _, c := range []struct {
		name        string
		move, jump  float64
		rows        int
		minutes     float64 // from reading to reading
		begins, end bool    // the run is at the begin of the record, at its end
		runs        int
		want        int
	}{
		{"12 h", 0.005, 0.1, 145, 5, false, false, 1, 1},
		{"5 min less", 0.005, 0.1, 144, 5, false, false, 1, 0},
		{"20 mm", 0.005, 0.02, 145, 5, false, false, 1, 0},
		{"21 mm", 0.005, 0.021, 145, 5, false, false, 1, 1},
		{"three times the largest change", 0.03, 0.09, 145, 5, false, false, 1, 0},
		{"a millimetre more", 0.03, 0.091, 145, 5, false, false, 1, 1},
		{"four readings in a day", 0.005, 0.1, 4, 480, false, false, 1, 0},
		{"five", 0.005, 0.1, 5, 480, false, false, 1, 1},
		{"to the end", 0.005, 0.1, 145, 5, false, true, 1, 1},
		{"from the beginning", 0.005, 0.1, 145, 5, true, false, 1, 1},
		{"all of it", 0.005, 0.1, 145, 5, true, true, 1, 0},
		{"twice", 0.005, 0.1, 145, 5, false, false, 2, 2},
		{"three times: this water does so", 0.005, 0.1, 145, 5, false, false, 3, 0},
	} {
		var minutes, heads []float64
		add := func(h float64) {
			minutes, heads = append(minutes, float64(len(minutes))*c.minutes), append(heads, h)
		}
		moving := func() {
			for i := range 100 {
				add(c.jump + c.move*float64(i%2)) // ends on the higher one
			}
			add(c.jump)
		}
		if !c.begins {
			moving()
		}
		for k := range c.runs {
			for range c.rows {
				add(0)
			}
			if !c.end || k+1 < c.runs {
				moving()
			}
		}
		b, l := hand(minutes, heads), Levels{}
		for i := range heads {
			l.row(b, i, &settings.Segment{From: math.MinInt64})
		}
		if got := l.Dead(); len(got) != c.want {
			t.Errorf("%s: %+v, want %d", c.name, got, c.want)
		}
	}
}
