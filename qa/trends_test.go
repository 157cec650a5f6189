package qa

import (
	"math"
	"testing"
	"time"
)

// window makes a log of heads every so often, all of it usable.
func window(step time.Duration, heads []float64) *Window {
	w := &Window{
		Flags: make([]Flags, len(heads)),
		Spans: []Span{
			{End: len(heads), Top: math.Inf(1), Valid: 0.4, Usual: 0.4, Least: math.Inf(-1), Most: math.Inf(1)},
		},
	}
	for i, h := range heads {
		w.Time, w.Value, w.Head = append(w.Time, int64(i+1)*int64(step)), append(w.Value, h), append(w.Head, h)
	}
	w.Figure = w.Value
	return w
}

// flagged returns the rows that have a flag.
func (w *Window) flagged(f Flags) (rows []int) {
	for i, x := range w.Flags {
		if x&f != 0 {
			rows = append(rows, i)
		}
	}
	return rows
}

// wave is a day of one-minute heads in whole millimetres that no check has anything to say of: a diurnal wave and a
// storm with a steep rise.
func wave(minutes int) (heads []float64) {
	storm := 0.0
	for i := range minutes {
		if i > 700 && i < 715 {
			storm += 0.008
		}
		storm *= 0.985
		h := 0.12 + 0.03*math.Sin(float64(i)/229) + storm + float64(i*7919%5-2)*0.0005
		heads = append(heads, math.Round(h*1000)/1000)
	}
	return heads
}

// TestTrends: each check of a trend on a log that has it, and its silence on the same log without.
func TestTrends(t *testing.T) {
	at := func(heads []float64, change func(h []float64)) []float64 {
		out := append([]float64(nil), heads...)
		change(out)
		return out
	}
	quiet := wave(1440)
	still := make([]float64, 1200)
	for i := range still {
		still[i] = 0.100 + float64(i%3)/1000
	}
	screening := Stated{
		Sensor: Range{Least: 0.02, Most: 0.35}, User: Range{Least: 0.05, Most: 0.30}, StepLimit: 0.015,
	}
	for _, c := range []struct {
		name  string
		flag  Flags
		heads []float64
		first int // first and last row flagged; −1 for none
		last  int
	}{
		{"quiet", SensorRange | UserRange | Rate | Step | Attenuated | Noise | Clipped | Zeros | Spike | Stuck, quiet, -1, -1},
		{"outside the sensor", SensorRange, at(quiet, func(h []float64) { h[100] = 0.351 }), 100, 100},
		{"at its limit", SensorRange, at(quiet, func(h []float64) { h[100] = 0.350 }), -1, -1},
		{"outside the user's range", UserRange, at(quiet, func(h []float64) { h[100] = 0.049 }), 100, 100},
		{"faster than water", Rate, at(quiet, func(h []float64) {
			for i := 200; i < 260; i++ { // a step up of more than half of 0.4 m, too long for a spike
				h[i] = 0.349
			}
		}), 200, 260},
		{"a level that stays elsewhere", Step, at(still, func(h []float64) {
			for i := 600; i < 1200; i++ {
				h[i] += 0.030
			}
		}), 600, 600},
		{"a jump that comes back by itself", Step, at(still, func(h []float64) {
			for i := 600; i < 1200; i++ {
				h[i] += 0.030 * math.Exp(-float64(i-600)/180)
			}
		}), -1, -1},
		{"up and down", Noise, at(still, func(h []float64) {
			for i := 300; i < 400; i++ {
				h[i] += 0.025 * float64(i%2)
			}
		}), 300, 440},
		{"flat top", Clipped, at(quiet, func(h []float64) {
			for i := range h {
				h[i] = math.Min(h[i], 0.180) // until the water is below it
			}
		}), 700, 750},
		{"zeros with abrupt ends", Zeros, at(quiet, func(h []float64) {
			for i := 300; i < 330; i++ {
				h[i] = 0
			}
		}), 300, 329},
	} {
		w := window(time.Minute, c.heads)
		s := Screener{Limits: NewLimits(screening, time.Minute, 3*time.Minute, 0.001)}
		s.Flag(w, 0, true)
		rows := w.flagged(c.flag)
		switch {
		case c.first < 0 && len(rows) > 0:
			t.Errorf("%s: row %d is flagged %q", c.name, rows[0], w.Flags[rows[0]].Text())
		case c.first >= 0 && (len(rows) == 0 || rows[0] < c.first || rows[len(rows)-1] > c.last):
			t.Errorf("%s: rows %v, want some of %d to %d", c.name, rows, c.first, c.last)
		}
	}
}

// TestAttenuated: a signal that hardly moves for a day, with water over the crest; a dry channel may.
func TestAttenuated(t *testing.T) {
	for _, c := range []struct {
		level float64
		want  int
	}{{0.1, 2000 - 1441 + 1}, {-0.005, 0}} {
		heads := make([]float64, 2000)
		for i := range heads {
			heads[i] = c.level + float64(i/7%2)/1000
		}
		w := window(time.Minute, heads)
		s := Screener{Limits: NewLimits(Stated{}, time.Minute, 3*time.Minute, 0.001)}
		s.Flag(w, 0, true)
		if n := len(w.flagged(Attenuated)); n != c.want {
			t.Errorf("level %g: %d rows, want %d", c.level, n, c.want)
		}
	}
}

// TestSecondSensor: a difference of exactly the limit is within it.
func TestSecondSensor(t *testing.T) {
	w := window(time.Minute, []float64{0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1})
	w.SecondHead = []float64{0.12, 0.121, 0.08, 0.079, 0.5, 0.1, 0.1}
	w.Second = []bool{true, true, true, true, false, true, true}
	s := Screener{Limits: NewLimits(Stated{}, time.Minute, 3*time.Minute, 0.001)}
	s.Flag(w, 0, true)
	if rows := w.flagged(SecondSensor); len(rows) != 2 || rows[0] != 1 || rows[1] != 3 {
		t.Errorf("rows %v, want 1 and 3", rows)
	}
}

// TestPublishedVectors runs the checks on test vectors of a reference implementation of the QARTOD manual (ioos/ioos_qc
// at 9c1853a4, tests/test_qartod.py). Where the two differ on purpose, the difference is said.
func TestPublishedVectors(t *testing.T) {
	grades := func(w *Window, fail, suspect Flags) (out []Grade) {
		for _, f := range w.Flags {
			switch {
			case f&fail != 0:
				out = append(out, Fail)
			case f&suspect != 0:
				out = append(out, Suspect)
			default:
				out = append(out, Pass)
			}
		}
		return out
	}
	check := func(id string, got, want []Grade) {
		t.Helper()
		for i := range want {
			if got[i] != want[i] {
				t.Errorf("%s: %v, want %v", id, got, want)
				return
			}
		}
	}
	// QC-GR01 to QC-GR10, gross range: fail span 10 to 50, suspect span 20 to 40, limits inclusive.
	w := window(time.Minute, []float64{5, 10, 15, 20, 25, 30, 35, 40, 45, 50, 51})
	s := Screener{Limits: NewLimits(Stated{
		Sensor: Range{Least: 10, Most: 50}, User: Range{Least: 20, Most: 40},
	}, time.Minute, time.Hour, 1)}
	s.sensorRange(w, 0, len(w.Time))
	check("QC-GR", grades(w, SensorRange, UserRange), []Grade{4, 3, 3, 1, 1, 1, 1, 1, 3, 3, 4})

	// QC-RC1, rate of change in 15-minute steps: suspect above 5, fail above 10 in 15 minutes. The fall from 10 to 0 is
	// exactly 10, so here it is suspect; the reference fails it by the residue of 10/900 > 10/15/60 in binary.
	series := []float64{2, 10, 2.1, 3, 4, 5, 7, 10, 0, 2, 2.2, 2, 1, 2, 3, 90, 91, 92, 93, 1, 2, 3, 4, 5}
	suspect, fail := window(15*time.Minute, series), window(15*time.Minute, series)
	for _, x := range []struct {
		w     *Window
		limit float64
	}{{suspect, 5}, {fail, 10}} {
		s := Screener{
			Limits: NewLimits(Stated{RateUp: x.limit, RateDown: x.limit}, 15*time.Minute, time.Hour, 0.1),
		}
		s.rates(x.w, 0, len(series))
	}
	for i := range series {
		if fail.Flags[i]&Rate != 0 {
			suspect.Flags[i] = SensorRange // stands for fail
		}
	}
	check("QC-RC1", grades(suspect, SensorRange, Rate), []Grade{
		1, 3, 3, 1, 1, 1, 1, 1, 3, 1, 1, 1, 1, 1, 1, 4, 1, 1, 1, 4, 1, 1, 1, 1,
	})

	// QC-FL1, flat line in 15-minute steps with tolerance 0.01: fail 4800 s. The reference flags the readings from the
	// moment on at which the time is reached; here the whole run is flagged, because its first readings are as stuck as
	// its last. The run is the six or seven values of 2.
	w = window(15*time.Minute, []float64{1, 2, 2.0001, 2, 2.0001, 2, 2.0001, 2, 4, 5, 3, 3.0001, 3.0005, 3.00001})
	s = Screener{Limits: NewLimits(Stated{StuckDuration: 4800 * time.Second, StuckTolerance: 0.01},
		15*time.Minute, time.Hour, 0.0001)}
	s.scanStuck(w)
	check("QC-FL1", grades(w, Stuck, 0), []Grade{1, 4, 4, 4, 4, 4, 4, 4, 1, 1, 1, 1, 1, 1})

	// QC-AS2, attenuated signal: four equal values fail. Here the window of three intervals trails, so the first three
	// are not judged.
	w = window(15*time.Minute, []float64{1, 1, 1, 1})
	s = Screener{Limits: NewLimits(Stated{FlatWindow: 45 * time.Minute}, 15*time.Minute, time.Hour, 0.1)}
	s.attenuated(w, 0, 4)
	check("QC-AS2", grades(w, Attenuated, 0), []Grade{1, 1, 1, 4})

	// QC-SP1, spike by the mean of both neighbours. The reference fails the two good neighbours of the big spike as
	// well, and leaves the first and the last value unjudged; the median of the readings around does neither.
	series = []float64{10, 12, 999.99, 13, 15, 40, 9, 9}
	w = window(time.Minute, series)
	s = Screener{Limits: NewLimits(Stated{SpikeThreshold: 3, SpikeFloor: 25.0 / 3}, time.Minute, time.Hour, 0.01)}
	s.spikes(w, 0, len(series))
	check("QC-SP1", grades(w, Spike, 0), []Grade{1, 1, 4, 1, 1, 4, 1, 1})
}

// TestGrades: a reading is rolled up to the worst of its checks.
func TestGrades(t *testing.T) {
	for f, want := range map[Flags]Grade{
		0: Pass, Validity: Suspect, Spike: Fail, Spike | Validity: Fail, Gap: Pass, Gap | Rate: Suspect,
	} {
		if got := f.Grade(); got != want {
			t.Errorf("%q: %d, want %d", f.Text(), got, want)
		}
	}
}

// BenchmarkScreen runs every check on a month of one-minute readings.
func BenchmarkScreen(b *testing.B) {
	heads := wave(30 * 1440)
	w := window(time.Minute, heads)
	w.SecondHead, w.Second = heads, make([]bool, len(heads))
	limits := NewLimits(Stated{
		Sensor: Range{Least: 0, Most: 1}, User: Range{Least: 0, Most: 1},
	},
		time.Minute, 3*time.Minute, 0.001)
	for b.Loop() {
		s := Screener{Limits: limits}
		clear(w.Flags)
		s.Flag(w, 0, true)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(heads)), "ns/reading")
}
