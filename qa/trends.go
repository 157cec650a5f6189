package qa

import (
	"math"
	"sort"
	"time"
)

// sensorRange flags figures that the sensor cannot give, and those that its user does not expect; a value at a limit is
// within it.
func (s *Screener) sensorRange(w *Window, from, until int) {
	l := &s.Limits
	if math.IsInf(l.SensorLeast, -1) && math.IsInf(l.SensorMost, 1) &&
		math.IsInf(l.UserLeast, -1) && math.IsInf(l.UserMost, 1) {
		return
	}
	for i := from; i < until; i++ {
		switch v := w.Figure[i]; {
		case v < l.SensorLeast || v > l.SensorMost:
			w.Flags[i] |= SensorRange
		case v < l.UserLeast || v > l.UserMost:
			w.Flags[i] |= UserRange
		}
	}
}

// rates flags readings that differ from the last good one by more than the water can rise or fall in the time between
// them; a change of exactly the limit is within it, whatever the residue of the arithmetic.
func (s *Screener) rates(w *Window, from, until int) {
	if s.Limits.RatePer == 0 {
		return
	}
	gap, per := s.Limits.gap(), float64(s.Limits.RatePer.Nanoseconds())
	w.eachSpan(from, until, func(span *Span, from, until int) {
		up, down := s.Limits.RateUp, s.Limits.RateDown
		if up == 0 {
			up = span.most(s.Limits.ToldUp)
		}
		if down == 0 {
			down = span.most(s.Limits.ToldDown)
		}
		for i := from; i < until; i++ {
			if w.Flags[i]&(Spike|Conflict|SensorRange|Unusable) != 0 {
				continue
			}
			k := i - 1
			for k >= 0 && w.Flags[k]&(Spike|Conflict|SensorRange|Unusable) != 0 {
				k--
			}
			if k < 0 || w.Time[i]-w.Time[k] > gap {
				continue
			}
			change, share := w.Head[i]-w.Head[k], float64(w.Time[i]-w.Time[k])/per
			if tiny := s.Limits.Resolution*1e-3 + 1e-9; change > float64(up*share)+tiny ||
				-change > float64(down*share)+tiny {
				w.Flags[i] |= Rate
			}
		}
	})
}

// most is the most that water rises or falls by where nothing is stated: half the highest head that is expected, or,
// where none is, what the record tells; +Inf where it does not.
func (s *Span) most(told float64) float64 {
	if math.IsInf(s.Usual, 1) && told > 0 {
		return told
	}
	return s.Usual / 2
}

// steps flags, where a limit is stated, the first reading after a jump that does not come back: on either side of it
// the level stands still, to a third of the jump, for the length of the step window. A storm recedes and is none, and
// so is a flow that stops or begins. Where no limit is stated the record tells what is a step.
func (s *Screener) steps(w *Window, from, until int) {
	limit, length := s.Limits.StepLimit, s.Limits.StepWindow.Nanoseconds()
	if limit == 0 {
		return
	}
	gap := s.Limits.gap()
	for i := max(from, 1); i < until; i++ {
		jump := math.Abs(w.Value[i] - w.Value[i-1])
		if jump <= limit || w.Time[i]-w.Time[i-1] > gap ||
			(w.Flags[i]|w.Flags[i-1])&(Spike|Conflict|Stuck) != 0 || w.Head[i] <= 0 || w.Head[i-1] <= 0 {
			continue
		}
		first := sort.Search(i, func(k int) bool { return w.Time[k] >= w.Time[i-1]-length })
		last := i + sort.Search(len(w.Time)-i, func(k int) bool { return w.Time[i+k] > w.Time[i]+length })
		if w.Time[i-1]-w.Time[first] < length*3/4 || w.Time[last-1]-w.Time[i] < length*3/4 {
			continue // too near an end of the log
		}
		if i-first >= fewestReadings && last-i >= fewestReadings &&
			w.still(first, i, jump/3) && w.still(i, last, jump/3) {
			w.Flags[i] |= Step
		}
	}
}

// still reports whether the values of some rows lie within a range, spikes aside.
func (w *Window) still(from, until int, within float64) bool {
	low, high := math.Inf(1), math.Inf(-1)
	for k := from; k < until; k++ {
		if w.Flags[k]&(Spike|Conflict) == 0 {
			low, high = math.Min(low, w.Value[k]), math.Max(high, w.Value[k])
		}
	}
	return high-low <= within
}

// extremes follows the least and the greatest value of a window that trails the newest row.
type extremes struct{ low, high []sample }

type sample struct {
	at int64
	v  float64
}

func (e *extremes) add(at int64, v float64, oldest int64) {
	for len(e.low) > 0 && e.low[len(e.low)-1].v >= v {
		e.low = e.low[:len(e.low)-1]
	}
	for len(e.high) > 0 && e.high[len(e.high)-1].v <= v {
		e.high = e.high[:len(e.high)-1]
	}
	e.low, e.high = append(e.low, sample{at, v}), append(e.high, sample{at, v})
	for e.low[0].at < oldest {
		e.low = e.low[1:]
	}
	for e.high[0].at < oldest {
		e.high = e.high[1:]
	}
}

// flat follows the attenuation of the signal: how little it moved over the last window.
//
// A window in which the signal moved by more than the limit is not flat, whatever else is in it. As long as the window
// holds such a move the rows only wait; extremes, which cost ten times as much, are taken when it does not.
type flat struct {
	extremes
	waiting   []sample // rows since the extremes were followed last
	first     int      // of them, where the search for the next move begins
	low, high float64  // of the rows from first on
	moved     int64    // the older end of the last move; the window holds it until it begins later
	exact     bool     // no move is known: the extremes are followed row by row
	since     int64    // begin of the stretch without a gap
	limit     float64  // under which it is followed
	last      int64
}

// begin starts a stretch.
func (f *flat) begin(at int64) {
	f.extremes.low, f.extremes.high = f.extremes.low[:0], f.extremes.high[:0]
	f.waiting, f.first, f.since, f.exact, f.moved = f.waiting[:0], 0, at, false, at-1
}

// still takes in a row and reports whether the signal moved by no more than the limit in the window that begins at
// oldest.
func (f *flat) still(at int64, v float64, oldest int64, limit float64) bool {
	if f.exact {
		f.add(at, v, oldest)
	} else {
		f.wait(at, v, limit)
		if f.moved >= oldest {
			return false
		}
		for _, x := range f.waiting {
			if x.at >= oldest {
				f.add(x.at, x.v, oldest)
			}
		}
		f.waiting, f.exact = f.waiting[:0], true
	}
	low, high := f.extremes.low[0], f.extremes.high[0]
	if high.v-low.v <= limit {
		return true
	}
	f.exact, f.moved, f.first = false, min(low.at, high.at), 0
	return false
}

// wait keeps a row, and what came before the last move no longer.
func (f *flat) wait(at int64, v float64, limit float64) {
	if f.first == len(f.waiting) {
		f.low, f.high = v, v
	}
	f.waiting = append(f.waiting, sample{at, v})
	if f.low, f.high = min(f.low, v), max(f.high, v); f.high-f.low <= limit {
		return
	}
	f.extremes.low, f.extremes.high = f.extremes.low[:0], f.extremes.high[:0]
	f.moved = f.waiting[f.first].at
	f.waiting = f.waiting[:copy(f.waiting, f.waiting[f.first:])]
	f.first, f.low, f.high = len(f.waiting)-1, v, v
}

// attenuated flags readings at whose end the signal has moved by no more than a step of the log for the whole window,
// with water over the crest: what a sensor does that sees a wall, or whose damping is far too strong. The window
// trails, so the first of it are not flagged.
func (s *Screener) attenuated(w *Window, from, until int) {
	if s.Limits.Rests {
		return
	}
	length, gap := s.Limits.FlatWindow.Nanoseconds(), s.Limits.gap()
	f := &s.flat
	for i := from; i < until; i++ {
		at := w.Time[i]
		if w.Flags[i]&(Spike|Conflict) != 0 {
			continue
		}
		if f.last == 0 || at-f.last > gap || w.Head[i] <= 0 || f.limit != s.Limits.FlatRange {
			f.begin(at)
		}
		f.last, f.limit = at, s.Limits.FlatRange
		if still := f.still(at, w.Value[i], at-length, s.Limits.FlatRange+1e-12); still && at-f.since >= length {
			w.Flags[i] |= Attenuated
		}
	}
}

// restless follows how many of the last changes from reading to reading are large, and how many turn back on the one
// before.
type restless struct {
	moves [noiseReadings]float64 // large ones; 0 for small ones
	n     int
	large int
	turns int
	last  sample
}

// noiseReadings is how many changes from reading to reading the noise check looks at.
const noiseReadings = 30

// noise flags readings at the end of a stretch in which half of the changes from one to the next are large and most of
// those turn back: waves, foam, a loose sensor. A storm rises and falls, and does not turn. The stretch trails.
func (s *Screener) noise(w *Window, from, until int) {
	r, gap, limit := &s.restless, s.Limits.gap(), s.Limits.NoiseLimit
	for i := from; i < until; i++ {
		at, v := w.Time[i], w.Value[i]
		if r.last.at == 0 || at-r.last.at > gap || w.Flags[i]&Conflict != 0 {
			*r = restless{last: sample{at, v}}
			continue
		}
		move := v - r.last.v
		if math.Abs(move) <= limit {
			move = 0
		}
		r.take(move)
		r.last = sample{at, v}
		if r.n >= noiseReadings && r.large >= noiseReadings/2 && r.turns >= r.large/2 {
			w.Flags[i] |= Noise
		}
	}
}

// take puts one change in the place of the oldest.
func (r *restless) take(move float64) {
	at := func(k int) float64 { return r.moves[(k+noiseReadings)%noiseReadings] }
	k := r.n % noiseReadings
	if r.n >= noiseReadings {
		if at(k) != 0 {
			r.large--
		}
		if at(k)*at(k+1) < 0 {
			r.turns--
		}
	}
	if move != 0 {
		r.large++
	}
	if r.n > 0 && move*at(k-1) < 0 {
		r.turns++
	}
	r.moves[k] = move
	r.n++
}

// secondSensor flags readings that differ from a second sensor by more than the limit.
func (s *Screener) secondSensor(w *Window, from, until int) {
	for i := from; w.SecondHead != nil && i < until; i++ {
		if w.Second[i] && math.Abs(w.Head[i]-w.SecondHead[i]) > s.Limits.SecondLimit+s.Limits.Resolution/2 {
			w.Flags[i] |= SecondSensor
		}
	}
}

// edges returns how far the heads on both sides of a run, rows start to end−1, are above it at the least; false where
// the log has no rows or a gap there.
func (s *Screener) edges(w *Window, start, end int) (above float64, ok bool) {
	gap := s.Limits.gap()
	if start == 0 || w.Time[start]-w.Time[start-1] > gap || w.Time[end]-w.Time[end-1] > gap {
		return 0, false
	}
	return math.Min(w.Head[start-1]-w.Head[start], w.Head[end]-w.Head[start]), true
}

// edge is a difference of head from one reading to the next that is abrupt.
func (s *Screener) edge() float64 { return math.Max(5*s.Limits.Resolution, 0.005) }

// peak judges a run of one value above zero that has ended. A flat top that the water came up to in more than a few
// steps at once is one that something cut off: real crests round off.
func (s *Screener) peak(w *Window, start, end int) {
	if end-start < 4 || start == 0 {
		return
	}
	gap := s.Limits.gap()
	if w.Head[start]-w.Head[start-1] > s.edge() && w.Head[end] < w.Head[start] &&
		w.Time[start]-w.Time[start-1] <= gap && w.Time[end]-w.Time[end-1] <= gap {
		mark(w, start, end, Clipped)
	}
}

// longZeros is how long a channel may show exactly zero before that is taken for a dry channel.
const longZeros = 12 * time.Hour

// zeroRun follows a run of exact zeros.
type zeroRun struct {
	any   bool
	start int
	long  bool
}

// scanZeros follows runs of exact zeros up to row i; a run that ends abruptly on both sides is no dry channel.
func (s *Screener) scanZeros(w *Window, i int) {
	z := &s.zero
	if is := math.Abs(w.Head[i]) <= 1e-9; !is {
		if z.any && !z.long && i-z.start >= 3 {
			if above, ok := s.edges(w, z.start, i); ok && above > 2*s.edge() {
				mark(w, z.start, i, Zeros)
			}
		}
		z.any = false
		return
	}
	if !z.any {
		*z = zeroRun{any: true, start: i}
	}
	z.long = z.long || w.Time[i]-w.Time[z.start] > longZeros.Nanoseconds()
}

func mark(w *Window, start, end int, flag Flags) {
	for k := start; k < end; k++ {
		w.Flags[k] |= flag
	}
}
