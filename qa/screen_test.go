package qa

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// limits are those of the logs in testdata/log: one reading a minute, logged to 1 mm.
func limits() Limits {
	return NewLimits(byHand(time.Minute), time.Minute, 3*time.Minute, 0.001)
}

// load reads a log with its expected flags.
func load(t *testing.T, name string) (w *Window, want []string) {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	w = &Window{}
	for _, r := range records[1:] {
		seconds, err1 := strconv.ParseInt(r[0], 10, 64)
		mm, err2 := strconv.ParseFloat(r[1], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(name, r)
		}
		w.Time = append(w.Time, seconds*1e9)
		w.Value = append(w.Value, mm/1000)
		w.Head = append(w.Head, 1.250-mm/1000)
		want = append(want, r[2])
		if len(r) > 4 { // downstream heads, mm; nothing where there is none
			below, err := strconv.ParseFloat(r[4], 64)
			w.DownstreamHead, w.Downstream = append(w.DownstreamHead, below/1000), append(w.Downstream, err == nil)
		}
	}
	w.Flags = make([]Flags, len(w.Time))
	w.Figure = w.Value
	w.Spans = []Span{
		{
			End:      len(w.Time),
			Blanking: 0.300,
			Top:      0.360,
			Valid:    0.360,
			Usual:    0.360,
			Low:      0.060,
			Modular:  0.7,
			Least:    math.Inf(-1),
			Most:     math.Inf(1),
		},
	}
	return w, want
}

// TestLogs runs every check on logs whose flags are known, row by row; on the silent ones none may speak.
func TestLogs(t *testing.T) {
	names, err := filepath.Glob("../testdata/log/*.csv")
	if err != nil || len(names) < 6 {
		t.Fatal(names, err)
	}
	flagged := map[string]bool{}
	for _, name := range names {
		w, want := load(t, name)
		s := Screener{Limits: limits()}
		if ready := s.Flag(w, 0, true); ready != len(w.Time) {
			t.Fatalf("%s: only %d rows decided", name, ready)
		}
		for i := range want {
			if got := w.Flags[i].Text(); got != want[i] {
				t.Errorf("%s:%d: flags %q, want %q", name, i+2, got, want[i])
			}
			flagged[want[i]] = true
		}
	}
	for _, c := range Checks {
		if elsewhere := Conflict | Loop | Unusable | Dead | CutOff | Capped | Blanking | SensorRange | SecondSensor |
			Rate | Step | Attenuated | Noise | Clipped | Zeros | UserRange | OddPeak |
			Still; c.Flag&elsewhere == 0 && !flagged[c.Name] {
			t.Errorf("no log shows check %s", c.Name)
		}
	}
}

// TestLoop: readings that the instrument casts doubt on are flagged, and only those; which currents those are is held
// by package csvlog and the logs of testdata/log/oddity (NE43-03.7 and NE43-20.8 of the reference).
func TestLoop(t *testing.T) {
	w, _ := load(t, "../testdata/log/silent-dry.csv")
	w.Suspect = make([]bool, len(w.Time))
	w.Suspect[3] = true
	s := Screener{Limits: limits()}
	s.Flag(w, 0, true)
	for i, f := range w.Flags {
		if (f == Loop) != (i == 3) {
			t.Errorf("row %d: flags %q", i, f.Text())
		}
	}
}

// TestStops: figures at either end of what the meter shows, by the direction in which its flow goes; a half step of the
// log within an end counts as at it.
func TestStops(t *testing.T) {
	figures := []float64{0, 0.0004, 0.0006, 0.5, 0.9994, 0.9996, 1, 2}
	for falling, want := range map[bool][]Flags{
		false: {CutOff, CutOff, 0, 0, 0, Capped, Capped, Capped},
		true:  {Capped, Capped, 0, 0, 0, CutOff, CutOff, CutOff}} {
		w := &Window{
			Flags:  make([]Flags, len(figures)),
			Figure: figures,
			Spans:  []Span{{End: len(figures), Least: 0, Most: 1, Falling: falling}},
		}
		s := Screener{Limits: Limits{Step: 0.001}}
		s.stops(w, 0, len(figures))
		for i := range figures {
			if w.Flags[i] != want[i] {
				t.Errorf("falling %v, figure %g: %q, want %q", falling, figures[i], w.Flags[i].Text(), want[i].Text())
			}
		}
	}
}

// chained is all logs one after the other, an hour between them, so often that they are far longer than what any check
// looks back or ahead; some rows stand twice, and of some the record as a whole tells something.
func chained(t *testing.T, times int) *Window {
	names, _ := filepath.Glob("../testdata/log/*.csv")
	whole := &Window{}
	for range times {
		for _, name := range names {
			w, _ := load(t, name)
			shift := -w.Time[0]
			if n := len(whole.Time); n > 0 {
				shift += whole.Time[n-1] + time.Hour.Nanoseconds()
			}
			for i, at := range w.Time {
				whole.Time = append(whole.Time, at+shift)
				below, known := 0.0, false
				if w.Downstream != nil {
					below, known = w.DownstreamHead[i], w.Downstream[i]
				}
				whole.DownstreamHead = append(whole.DownstreamHead, below)
				whole.Downstream = append(whole.Downstream, known)
			}
			whole.Value, whole.Head = append(whole.Value, w.Value...), append(whole.Head, w.Head...)
		}
	}
	whole.Figure, whole.Flags = whole.Value, make([]Flags, len(whole.Time))
	w, _ := load(t, names[0])
	whole.Spans = []Span{w.Spans[0]}
	whole.Spans[0].End = len(whole.Time)
	for i := range whole.Time {
		whole.Conflict = append(whole.Conflict, i%97 == 5)
		told := []Flags{0, Spike, OddPeak, OddPeak, Spike, Spike, Stuck, Still}
		whole.Told = append(whole.Told, told[max(0, i%61-53)])
		whole.SecondHead = append(whole.SecondHead, whole.Head[i]*float64(i/61%2)+0.01)
		whole.Second = append(whole.Second, i%89 != 3)
	}
	return whole
}

// TestAnyBatchGivesTheSameFlags hands a log over in random batches that is far longer than what checks look back and
// ahead, so that most of it is forgotten meanwhile. The spike window is the longer of the two windows in some rounds,
// the step window in others, both are shorter than an excursion in one, and the record tells of spikes and stuck
// readings where no limits are stated.
func TestAnyBatchGivesTheSameFlags(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 12))
	told := Stated{StepWindow: 40 * time.Minute, FlatWindow: 30 * time.Minute, SpikeWindow: 5 * time.Minute}
	wide := byHand(time.Minute)
	wide.StepWindow, wide.SpikeWindow = 6*time.Minute, 31*time.Minute
	narrow := told
	narrow.StepWindow, narrow.SpikeWindow = time.Minute, 3*time.Minute
	for _, stated := range []Stated{told, narrow, wide, byHand(time.Minute)} {
		limits := NewLimits(stated, time.Minute, 3*time.Minute, 0.001)
		whole := chained(t, 4)
		(&Screener{Limits: limits}).Flag(whole, 0, true)
		for range 10 {
			got, most := inBatches(whole, limits, random)
			if most > len(whole.Time)/3 {
				t.Fatalf("%d of %d rows are kept: hardly anything is forgotten", most, len(whole.Time))
			}
			for i, want := range whole.Flags {
				if got[i] != want {
					t.Fatalf("row %d: flags %q in batches, %q as a whole", i, got[i].Text(), want.Text())
				}
			}
		}
	}
}

// inBatches flags a log in random batches; most is how many rows were at hand at once.
func inBatches(whole *Window, limits Limits, random *rand.Rand) (got []Flags, most int) {
	s, done, first, taken := Screener{Limits: limits}, 0, 0, 0
	var flags []Flags
	for taken < len(whole.Time) || done < taken-first {
		n := min(random.IntN(40), len(whole.Time)-taken)
		taken += n
		if taken == first {
			continue
		}
		flags = append(flags, make([]Flags, n)...)
		w := &Window{
			Time: whole.Time[first:taken], Value: whole.Value[first:taken], Head: whole.Head[first:taken],
			Figure: whole.Figure[first:taken], Conflict: whole.Conflict[first:taken], Told: whole.Told[first:taken],
			DownstreamHead: whole.DownstreamHead[first:taken], Downstream: whole.Downstream[first:taken],
			SecondHead: whole.SecondHead[first:taken], Second: whole.Second[first:taken],
			Flags: flags, Spans: []Span{whole.Spans[0]},
		}
		w.Spans[0].End = taken - first
		ready := s.Flag(w, done, taken == len(whole.Time))
		got = append(got, flags[done:ready]...)
		drop := s.Forget(w, ready)
		flags, first, done = flags[drop:], first+drop, ready-drop
		most = max(most, len(flags))
	}
	return got, most
}

// TestHampelOnQuantisedLevel: HAM-2 of the reference. The median absolute deviation is 0, so the floor decides: 1 mm is
// no spike.
func TestHampelOnQuantisedLevel(t *testing.T) {
	w := &Window{
		Flags: make([]Flags, 7),
		Spans: []Span{{End: 7, Top: 9, Valid: 9, Usual: 9, Least: math.Inf(-1), Most: math.Inf(1)}},
	}
	for i, mm := range []float64{100, 100, 100, 101, 100, 100, 100} {
		w.Time, w.Value, w.Head = append(w.Time, int64(i)*60e9), append(w.Value, mm/1000), append(w.Head, mm/1000)
	}
	w.Figure = w.Value
	s := Screener{Limits: limits()}
	s.Flag(w, 0, true)
	for i, f := range w.Flags {
		if f != 0 {
			t.Errorf("row %d: %q", i, f.Text())
		}
	}
}

// TestHeldAtAnEnd: a meter that stands at its cap, at its cut-off, inside the blanking distance or above the end of the
// rating for hours is not stuck: the water may do what it likes behind it. Just inside of each end it is.
func TestHeldAtAnEnd(t *testing.T) {
	steady := func(v float64) []float64 {
		out := make([]float64, 200)
		for i := range out {
			out[i] = v
		}
		return out
	}
	const step = 0.001
	for name, c := range map[string]struct {
		span  Span
		value float64
		stuck bool
	}{
		"at the cap":            {Span{Least: 0, Most: 0.3, Top: 9}, 0.3, false},
		"half a step below it":  {Span{Least: 0, Most: 0.3, Top: 9}, 0.3 - step/2, false},
		"a step below the cap":  {Span{Least: 0, Most: 0.3, Top: 9}, 0.3 - step, true},
		"at the cut-off":        {Span{Least: 0.1, Most: 9, Top: 9}, 0.1, false},
		"a step above it":       {Span{Least: 0.1, Most: 9, Top: 9}, 0.1 + step, true},
		"at the blanking":       {Span{Least: 0, Most: 9, Top: 9, Blanking: 0.4}, 0.4, false},
		"a step beyond it":      {Span{Least: 0, Most: 9, Top: 9, Blanking: 0.4}, 0.4 + step, true},
		"above the rating":      {Span{Least: 0, Most: 9, Top: 0.3}, 0.301, false},
		"at its end":            {Span{Least: 0, Most: 9, Top: 0.3}, 0.3, true},
		"the whole log in span": {Span{Least: 0, Most: 9, Top: 9}, 0.3, true},
	} {
		w := &Window{Flags: make([]Flags, 200), Value: steady(c.value), Figure: steady(c.value), Head: steady(c.value)}
		for i := range w.Flags {
			w.Time = append(w.Time, int64(i)*60e9)
		}
		c.span.End, c.span.Valid, c.span.Usual = 200, 9, 9
		w.Spans = []Span{c.span}
		s := Screener{Limits: NewLimits(byHand(time.Minute), time.Minute, time.Hour, step)}
		s.Flag(w, 0, true)
		if got := w.Flags[100]&Stuck != 0; got != c.stuck {
			t.Errorf("%s: stuck %v, flags %q", name, got, w.Flags[100].Text())
		}
	}
}
