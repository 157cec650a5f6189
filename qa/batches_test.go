package qa

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// TestAttenuatedEdges: 60 min within one step of the log; the row that completes them is flagged. A move of more, or a
// gap, begins anew.
func TestAttenuatedEdges(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Window)
		want   []int
	}{
		{"still", nil, []int{60, 61}}, {"a step", func(w *Window) { w.Value[30] += mm }, []int{60, 61}},
		{"more than a step", func(w *Window) { w.Value[30] += 1.125 * mm }, nil},
		{"more than a step at first", func(w *Window) { w.Value[0] += 2 * mm }, []int{61}},
		{"an interval of the limit", func(w *Window) { delay(w, 30, 2*per) }, []int{58, 59, 60, 61}},
		{"a gap", func(w *Window) { delay(w, 30, 2*per+1) }, nil},
		{"a spike aside", func(w *Window) { w.Value[30] = 1; w.Flags[30] = Spike }, []int{60, 61}},
		{"no flow", func(w *Window) { w.Head[5] = 0 }, nil},
		{"no flow at first", func(w *Window) { w.Head[1] = 0 }, []int{61}},
	} {
		w := window(per, levels(62, 0.25))
		if c.change != nil {
			c.change(w)
		}
		check(
			t,
			c.name,
			w,
			Limits{FlatRange: mm, FlatWindow: time.Hour, GapLimit: 3 * per},
			(*Screener).attenuated,
			Attenuated,
			c.want...)
	}
}

// TestNoiseEdges: 30 changes, half of them large and half of the large ones turning back on the one before, are noise;
// one less is none (our own limits).
func TestNoiseEdges(t *testing.T) {
	up, down, small := 17.0, -17.0, 16.0
	pairs := func(n int, a, b float64) (out []float64) {
		for range n {
			out = append(out, a, b)
		}
		return out
	}
	fill := func(moves []float64, n int) []float64 { return slices.Concat(levels(n-len(moves), small), moves) }
	for _, c := range []struct {
		name  string
		moves []float64
		want  bool
	}{
		{"29 changes", pairs(15, up, down)[:29], false}, {"30 changes", pairs(15, up, down), true},
		{"15 large", fill(pairs(8, up, down)[:15], 30), true}, {"14 large", fill(pairs(7, up, down), 30), false},
		// 7 turns: four pairs turn 7 times, then down goes on
		{"16 large, 8 turns", fill(slices.Concat(pairs(4, up, down), levels(8, down), nil)[:16], 30), false},
		{"16 large, 9 changes of direction in all", fill(slices.Concat(pairs(5, up, down), levels(6, down)), 30), true},
		{"16 large, 8 changes of direction", fill(slices.Concat(pairs(4, up, down), []float64{up}, levels(7, up)), 30), true},
		{"small ones between", pairs(15, up, small), false},
		{"a storm", levels(30, up), false},
	} {
		heads := []float64{0}
		for i, m := range c.moves {
			heads = append(heads, heads[i]+m*mm)
		}
		w := window(per, heads)
		s := Screener{Limits: Limits{NoiseLimit: 16 * mm, GapLimit: 3 * per}}
		s.noise(w, 0, len(heads))
		if got := w.Flags[len(heads)-1]&Noise != 0; got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// TestNoiseCounts holds the running counts to counting anew, over random changes, gaps and conflicts.
func TestNoiseCounts(t *testing.T) {
	random := rand.New(rand.NewPCG(51, 52))
	const n = 6000
	heads, flagged := make([]float64, n), 0
	for i := 1; i < n; i++ {
		heads[i] = heads[i-1] + float64(random.IntN(3)-1)*float64(random.IntN(35))*mm*float64(1+i/1000%2)
	}
	w := window(per, heads)
	for i := range n {
		if random.IntN(150) == 0 {
			delay(w, i, []time.Duration{2 * per, 2*per + 1}[random.IntN(2)])
		} else if random.IntN(300) == 0 {
			w.Flags[i] |= Conflict
		}
	}
	s := Screener{Limits: Limits{NoiseLimit: 16 * mm, GapLimit: 3 * per}}
	s.noise(w, 0, n)
	var moves []float64
	for i := 1; i < n; i++ {
		if w.Time[i]-w.Time[i-1] > 3*per.Nanoseconds() || w.Flags[i]&Conflict != 0 {
			moves = nil
			continue
		}
		moves = append(moves, heads[i]-heads[i-1])
		large, turns := 0, 0
		last := moves[max(0, len(moves)-30):]
		for k, m := range last {
			if math.Abs(m) > 16*mm {
				large++
				if k > 0 && math.Abs(last[k-1]) > 16*mm && m*last[k-1] < 0 {
					turns++
				}
			}
		}
		want := len(last) == 30 && large >= 15 && turns >= large/2
		if want {
			flagged++
		}
		if got := w.Flags[i]&Noise != 0; got != want {
			t.Fatalf("row %d: %v, want %v with %d large and %d turns", i, got, want, large, turns)
		}
	}
	if flagged < 50 || flagged > n*9/10 {
		t.Errorf("%d of %d rows are noise: the test shows little", flagged, n)
	}
}

// TestVerdicts: what the whole record says of a reading at an end outranks the spike check.
func TestVerdicts(t *testing.T) {
	w := window(per, make([]float64, 4))
	w.Verdicts, w.Flags = []Verdict{
		NoVerdict,
		Water,
		Glitch,
		DeadEnd,
	}, []Flags{
		Spike,
		Spike | CutOff,
		CutOff,
		Spike | CutOff,
	}
	w.judge(0, 4)
	if want := []Flags{Spike, CutOff, Spike | CutOff, Dead | CutOff}; !slices.Equal(w.Flags, want) {
		t.Errorf("%v, want %v", w.Flags, want)
	}
}

// TestBatchesOfMonths: generated days in random batches have the flags that they have as a whole, while the window
// keeps to what the checks look back and ahead.
func TestBatchesOfMonths(t *testing.T) {
	random := rand.New(rand.NewPCG(61, 62))
	for range 12 {
		g := generate(random, true)
		n := min(len(g.heads), 1500)
		heads := g.heads[:n]
		for i := range heads { // a sensor that moves, zeros, a flat top and noise
			if i > n/2 {
				heads[i] += 0.06
			}
			if i/40%12 == 5 {
				heads[i] = 0
			}
			if i/60%11 == 3 {
				heads[i] += 0.03 * float64(i%2)
			}
			heads[i] = math.Min(heads[i], 0.3)
		}
		screening := Stated{
			StepWindow:    30 * g.interval,
			FlatWindow:    40 * g.interval,
			FlatRange:     0.01,
			StuckDuration: 25 * g.interval,
		}
		limits := NewLimits(screening, g.interval, 3*g.interval, g.resolution)
		whole := window(g.interval, heads)
		(&Screener{Limits: limits}).Flag(whole, 0, true)
		s, w, done := Screener{Limits: limits}, &Window{Spans: []Span{whole.Spans[0]}}, 0
		var got []Flags
		for taken, most := 0, 0; taken < n || done < len(w.Time); {
			k := min(random.IntN(60), n-taken)
			w.Time, w.Value, w.Head = append(
				w.Time,
				whole.Time[taken:taken+k]...), append(
				w.Value,
				heads[taken:taken+k]...), append(
				w.Head,
				heads[taken:taken+k]...)
			w.Flags, w.Figure, w.Spans[0].End = append(w.Flags, make([]Flags, k)...), w.Value, len(w.Value)
			taken += k
			ready := s.Flag(w, done, taken == n)
			got = append(got, w.Flags[done:ready]...)
			drop := s.Forget(w, ready)
			w.Time, w.Value, w.Head, w.Flags = w.Time[drop:], w.Value[drop:], w.Head[drop:], w.Flags[drop:]
			done = ready - drop
			// a batch, the step window twice, and a run that is not decided
			if most = max(most, len(w.Time)); most > 60+30+30+60+2 {
				t.Fatalf("%d rows are kept", most)
			}
		}
		for i := range got {
			if got[i] != whole.Flags[i] {
				t.Fatalf(
					"row %d of a log every %v: %q in batches, %q as a whole",
					i,
					g.interval,
					got[i].Text(),
					whole.Flags[i].Text(),
				)
			}
		}
	}
}

// TestStepInBatches: a step is told however the log is cut, and no sooner than its window is there.
func TestStepInBatches(t *testing.T) {
	heads := slices.Concat(levels(60, 0.25), levels(60, 0.5))
	limits := NewLimits(
		Stated{FlatWindow: 100 * time.Hour, StuckDuration: 100 * time.Hour, StepLimit: 15 * mm},
		15*time.Minute,
		20*time.Minute,
		mm,
	)
	for cut := 1; cut < len(heads); cut++ {
		s, w := Screener{Limits: limits}, window(15*time.Minute, heads[:cut])
		done := s.Flag(w, 0, false)
		if most := max(0, cut-24); done > most { // six hours ahead
			t.Errorf("%d rows: %d are decided, want no more than %d", cut, done, most)
		}
		drop := s.Forget(w, done)
		flags := w.Flags[:done]
		rest := window(15*time.Minute, heads)
		rest.Time, rest.Value, rest.Head = rest.Time[drop:], rest.Value[drop:], rest.Head[drop:]
		rest.Flags = slices.Concat(
			w.Flags[drop:],
			make([]Flags, len(heads)-cut),
		)
		rest.Figure, rest.Spans[0].End = rest.Value, len(rest.Value)
		s.Flag(rest, done-drop, true)
		flags = slices.Concat(flags, rest.Flags[done-drop:])
		for i, f := range flags {
			if (f&Step != 0) != (i == 60) || len(flags) != len(heads) {
				t.Fatalf("cut after %d rows: row %d of %d is %q", cut, i, len(flags), f.Text())
			}
		}
	}
}
