package qa

import (
	"slices"
	"testing"
	"time"
)

// levels returns n heads of each value in turn.
func levels(n int, values ...float64) (out []float64) {
	for _, v := range values {
		for range n {
			out = append(out, v)
		}
	}
	return out
}

// TestStepEdges: readings every 15 min, a window of 6 h, a jump of 48 steps of the log, so the level on either side may
// move by 16. Three quarters of the window, 18 intervals, must be there on either side (our own limits).
func TestStepEdges(t *testing.T) {
	limits := Limits{StepLimit: 24 * mm, StepWindow: 6 * time.Hour, GapLimit: 20 * time.Minute}
	set := func(row int, v float64) func(*Window) { return func(w *Window) { w.Value[row], w.Head[row] = v, v } }
	for _, c := range []struct {
		name          string
		before, after int // readings
		jump          float64
		change        func(*Window)
		want          bool
	}{
		{"plain", 40, 40, 48, nil, true},
		{"a jump below the limit", 40, 40, 23.875, nil, false}, {"at it", 40, 40, 24, nil, false},
		{"above it", 40, 40, 24.125, nil, true}, {"down", 40, 40, -48, nil, true},
		{"17 intervals before", 18, 40, 48, nil, false}, {"18 intervals before", 19, 40, 48, nil, true},
		{"17 intervals after", 40, 18, 48, nil, false}, {"18 intervals after", 40, 19, 48, nil, true},
		{"moves by a third before", 40, 40, 48, set(30, 184*mm), true},
		{"moves by more before", 40, 40, 48, set(30, 183.875*mm), false},
		{"moves by a third after", 40, 40, 48, set(50, 264*mm), true},
		{"moves by more after", 40, 40, 48, set(50, 264.125*mm), false},
		{"moves 24 intervals before", 40, 40, 48, set(39-24, 1), false},
		{"moves 25 intervals before", 40, 40, 48, set(39-25, 1), true},
		{"moves 24 intervals after", 40, 40, 48, set(40+24, 1), false},
		{"moves 25 intervals after", 40, 40, 48, set(40+25, 1), true},
		{"a spike aside", 40, 40, 48, func(w *Window) { set(30, 1)(w); w.Flags[30] = Spike }, true},
		{"a conflict aside", 40, 40, 48, func(w *Window) { set(50, 1)(w); w.Flags[50] = Conflict }, true},
		{"onto a spike", 40, 40, 48, func(w *Window) { w.Flags[40] = Spike }, false},
		{"from a stuck reading", 40, 40, 48, func(w *Window) { w.Flags[39] = Stuck }, false},
		{"from a dry channel", 40, 40, 48, func(w *Window) { w.Head[39] = 0 }, false},
		{"to a dry channel", 40, 40, 48, func(w *Window) { w.Head[40] = 0 }, false},
		{"over an interval of the limit", 40, 40, 48, func(w *Window) { delay(w, 40, 5*time.Minute) }, true},
		{"over a gap", 40, 40, 48, func(w *Window) { delay(w, 40, 5*time.Minute+1) }, false},
	} {
		w := window(15*time.Minute, slices.Concat(levels(c.before, 200*mm), levels(c.after, (200+c.jump)*mm)))
		if c.change != nil {
			c.change(w)
		}
		s := Screener{Limits: limits}
		s.steps(w, c.before, c.before+1)
		if got := w.Flags[c.before]&Step != 0; got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// delay moves the rows from one on by a time.
func delay(w *Window, from int, by time.Duration) {
	for i := from; i < len(w.Time); i++ {
		w.Time[i] += by.Nanoseconds()
	}
}

// TestStepNeedsReadings: four readings may fill three quarters of the window, but five are needed on either side.
func TestStepNeedsReadings(t *testing.T) {
	for _, c := range []struct {
		before, after int
		want          bool
	}{{5, 5, true}, {4, 5, false}, {5, 4, false}} {
		w := window(
			90*time.Minute,
			slices.Concat(levels(10, 0.1), levels(c.before, 0.25), levels(c.after, 0.5), levels(10, 0.1)),
		)
		c.before += 10 // what lies beyond the window on either side is not looked at
		delay(w, 10, 20*time.Hour)
		delay(w, c.before+c.after, 20*time.Hour)
		s := Screener{Limits: Limits{StepLimit: 24 * mm, StepWindow: 6 * time.Hour, GapLimit: 2 * time.Hour}}
		s.steps(w, 0, len(w.Time))
		if got := w.Flags[c.before]&Step != 0; got != c.want {
			t.Errorf("%d and %d readings: %v", c.before, c.after, got)
		}
	}
}

// TestSpikeEdges: the fourth of seven readings in a window of exactly three intervals to either side. On a quiet level
// the floor decides: 3 × 4 steps. Between three readings of −m and three of m the median is m and the median absolute
// deviation 2m, so the edge is 3 × 1.4826 × 2m = 8.8956 m off it (Hampel 1974).
func TestSpikeEdges(t *testing.T) {
	limits := Limits{SpikeThreshold: 3, SpikeFloor: 4 * mm, SpikeWindow: 6 * per}
	m := 16 * mm
	for _, c := range []struct {
		name   string
		values []float64
		want   bool
	}{
		{"floor, below", []float64{0, 0, 0, 11.875 * mm, 0, 0, 0}, false},
		{"floor, at", []float64{0, 0, 0, 12 * mm, 0, 0, 0}, false},
		{"floor, above", []float64{0, 0, 0, 12.125 * mm, 0, 0, 0}, true},
		{"floor, down", []float64{0, 0, 0, -12.125 * mm, 0, 0, 0}, true},
		{"scatter, below", []float64{-m, m, -m, m + 8.88*m, m, -m, m}, false},
		{"scatter, above", []float64{-m, m, -m, m + 8.91*m, m, -m, m}, true},
		{"two of seven", []float64{0, 0, 1, 1, 0, 0, 0}, true},
		{"four of seven", []float64{0, 1, 1, 1, 1, 0, 0}, false},
		// of all seven three: the rows at the ends of the window count
		{"an interval less each side, three of five", []float64{0, 0, 1, 1, 1, 0, 0}, true},
	} {
		w := window(per, c.values)
		s := Screener{Limits: limits}
		s.spikes(w, 3, 4)
		if got := w.Flags[3]&Spike != 0; got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
	// with fewer than five readings there is no median to speak of
	for n, want := range map[int]bool{4: false, 5: true} {
		values := make([]float64, n)
		values[1] = 1
		w := window(per, values)
		s := Screener{Limits: limits}
		s.spikes(w, 1, 2)
		if got := w.Flags[1]&Spike != 0; got != want {
			t.Errorf("%d readings: %v", n, got)
		}
	}
}

// TestStuckEdges: an hour of one value is stuck, a minute less is not; a value within the tolerance of the first goes
// on with it; no run goes over a gap or at zero flow.
func TestStuckEdges(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Window)
		rows   int // of the run
		want   int
	}{
		{"59 min", nil, 60, 0}, {"60 min", nil, 61, 61}, {"61 min", nil, 62, 62},
		{"within the tolerance", func(w *Window) { w.Value[30] += 2 * mm }, 61, 61},
		{"beyond it", func(w *Window) { w.Value[30] += 2.125 * mm }, 61, 0},
		{"below within it", func(w *Window) { w.Value[30] -= 2 * mm }, 61, 61},
		{"an interval of the limit", func(w *Window) { delay(w, 30, 2*per) }, 61, 61},
		{"a gap", func(w *Window) { delay(w, 30, 2*per+1) }, 61, 0},
		{"dry on the way", func(w *Window) { w.Head[30] = 0 }, 61, 0},
	} {
		w := window(per, slices.Concat([]float64{0.9}, levels(c.rows, 0.25), []float64{0.9}))
		if c.change != nil {
			c.change(w)
		}
		s := Screener{
			Limits: Limits{
				StuckDuration:  time.Hour,
				StuckTolerance: 2 * mm,
				GapLimit:       3 * per,
				Resolution:     mm,
				Step:           mm,
			},
		}
		s.scanStuck(w)
		if got := len(w.flagged(Stuck)); got != c.want {
			t.Errorf("%s: %d rows, want %d", c.name, got, c.want)
		}
	}
}

// TestPeakEdges: a flat top is four equal readings after a rise of more than five steps or 5 mm at once, with a fall
// after them (our own limits).
func TestPeakEdges(t *testing.T) {
	for _, c := range []struct {
		name       string
		resolution float64
		rise       float64
		rows       int
		after      float64 // less the top
		delay      time.Duration
		want       int
	}{
		{"three readings", mm, 20 * mm, 3, -mm, 0, 0}, {"four", mm, 20 * mm, 4, -mm, 0, 4},
		{"five", mm, 20 * mm, 5, -mm, 0, 5},
		{"a rise of five steps", 2 * mm, 10 * mm, 4, -mm, 0, 0}, {"of more", 2 * mm, 10.125 * mm, 4, -mm, 0, 4},
		{"of less", 2 * mm, 9.875 * mm, 4, -mm, 0, 0},
		{"fine steps, 4.98 mm", mm / 16, 0.00498, 4, -mm, 0, 0},
		{"fine steps, 5.02 mm", mm / 16, 0.00502, 4, -mm, 0, 4},
		{"a rise after it", mm, 20 * mm, 4, mm, 0, 0}, {"an interval of the limit", mm, 20 * mm, 4, -mm, 2 * per, 4},
		{"a gap", mm, 20 * mm, 4, -mm, 2*per + 1, 0},
	} {
		for place, row := range map[string]int{"before": 1, "after": c.rows + 1} {
			w := window(
				per,
				slices.Concat([]float64{0.25}, levels(c.rows, 0.25+c.rise), []float64{0.25 + c.rise + c.after}),
			)
			delay(w, row, c.delay)
			s := Screener{
				Limits: Limits{
					StuckDuration: time.Hour,
					GapLimit:      3 * per,
					Resolution:    c.resolution,
					Step:          c.resolution,
				},
			}
			s.scanStuck(w)
			if got := len(w.flagged(Clipped)); got != c.want {
				t.Errorf("%s, %s: %d rows, want %d", c.name, place, got, c.want)
			}
		}
	}
	w := window(per, levels(4, 0.5, 0.25))
	s := Screener{Limits: Limits{StuckDuration: time.Hour, GapLimit: 3 * per, Resolution: mm}}
	if s.scanStuck(w); len(w.flagged(Clipped)) > 0 {
		t.Error("the log begins on a top: nobody saw the rise")
	}
}

// TestZeroEdges: three zeros or more with more than ten steps of water on either side are a cut-off, for up to twelve
// hours; then the channel is taken to be dry (our own limits).
func TestZeroEdges(t *testing.T) {
	for _, c := range []struct {
		name          string
		interval      time.Duration
		zeros         int
		before, after float64
		delay         time.Duration
		want          int
	}{
		{"two", per, 2, 64, 64, 0, 0}, {"three", per, 3, 64, 64, 0, 3}, {"four", per, 4, 64, 64, 0, 4},
		{"ten steps before", per, 3, 20, 64, 0, 0}, {"more than ten steps before", per, 3, 20.125, 64, 0, 3},
		{"ten steps after", per, 3, 64, 20, 0, 0}, {"more than ten steps after", per, 3, 64, 20.125, 0, 3},
		{"12 h", time.Hour, 13, 64, 64, 0, 13}, {"13 h", time.Hour, 14, 64, 64, 0, 0},
		{"an interval of the limit", per, 3, 64, 64, 119 * per, 3}, {"a gap", per, 3, 64, 64, 119*per + 1, 0},
	} {
		for place, row := range map[string]int{"before": 1, "after": c.zeros + 1} {
			w := window(
				c.interval,
				slices.Concat([]float64{c.before * mm}, levels(c.zeros, 0), []float64{c.after * mm}),
			)
			delay(w, row, c.delay)
			s := Screener{
				Limits: Limits{StuckDuration: 100 * time.Hour, GapLimit: 120 * per, Resolution: 2 * mm, Step: 2 * mm},
			}
			s.scanStuck(w)
			if got := len(w.flagged(Zeros)); got != c.want {
				t.Errorf("%s, %s: %d rows, want %d", c.name, place, got, c.want)
			}
		}
	}
	w := window(per, slices.Concat(levels(3, 0), levels(3, 0.25)))
	s := Screener{Limits: Limits{StuckDuration: time.Hour, GapLimit: 120 * per, Resolution: mm}}
	if s.scanStuck(w); len(w.flagged(Zeros)) > 0 {
		t.Error("the log begins at zero: nobody saw the fall")
	}
}
