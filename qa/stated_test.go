package qa

import (
	"math"
	"slices"
	"testing"
	"time"
)

// byHand are limits of a user's own on spikes and stuck readings: three deviations; an hour or 20 intervals.
func byHand(interval time.Duration) Stated {
	return Stated{SpikeThreshold: 3, StuckDuration: max(time.Hour, 20*interval)}
}

// TestTold: what the record tells of spikes and stuck readings becomes their flags, unless limits of the user's own
// stand in its place; nothing at an end of what the meter shows is stuck.
func TestTold(t *testing.T) {
	all := []Flags{Spike, OddPeak, Stuck, Still, Stuck, Still, Spike}
	for _, c := range []struct {
		name   string
		stated Stated
		want   []Flags
	}{
		{"the record", Stated{}, []Flags{Spike, OddPeak, Stuck, Still, 0, 0, Spike}},
		{"a threshold of one's own", Stated{SpikeThreshold: 3}, []Flags{0, 0, Stuck, Still, 0, 0, 0}},
		{"a duration of one's own", Stated{StuckDuration: time.Hour}, []Flags{Spike, OddPeak, 0, 0, 0, 0, Spike}},
	} {
		w := window(time.Minute, []float64{0.1, 0.101, 0.1, 0.101, 0.5, 0.5, 0.5})
		w.Spans[0].Most, w.Told = 0.5, all
		s := Screener{Limits: NewLimits(c.stated, time.Minute, time.Hour, 0.001)}
		s.told(w, 0, len(all))
		if !slices.Equal(w.Flags, c.want) {
			t.Errorf("%s: %v, want %v", c.name, w.Flags, c.want)
		}
	}
}

// TestGapAtAChange: the step to the first reading under other limits may be as long as either allow; the next one only
// as its own do. Limits of 3 hours up to minute 0, of 30 minutes after it.
func TestGapAtAChange(t *testing.T) {
	for _, c := range []struct {
		first, second int64 // minutes from reading to reading
		want          []int
	}{
		{30, 30, nil}, {180, 30, nil}, {181, 30, []int{2}}, {30, 31, []int{3}}, {180, 31, []int{3}},
	} {
		w := window(time.Minute, []float64{0.1, 0.1, 0.1, 0.1})
		for i, m := range []int64{-60, 0, c.first, c.first + c.second} {
			w.Time[i] = m * int64(time.Minute)
		}
		long, short := Limits{GapLimit: 3 * time.Hour}, Limits{GapLimit: 30 * time.Minute}
		s := Screener{Timeline: []Timed{{math.MinInt64, long}, {0, short}}}
		s.eachLimits(w, 0, 4, func(from, until int) { s.gaps(w, from, until) })
		if got := w.flagged(Gap); !slices.Equal(got, c.want) {
			t.Errorf("%d and %d minutes: gaps before %v, want %v", c.first, c.second, got, c.want)
		}
	}
}
