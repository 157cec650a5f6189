package qa

import "math"

// run is the current run of one value: its first row and whether it has lasted long enough to be flagged. Rows of a run
// that has not are kept undecided.
type run struct {
	start   int
	value   float64 // its first reading
	long    bool
	scanned int // rows looked at
}

// scanStuck follows runs of one value over the rows that are new in the window and flags the rows of long ones. A run
// goes on within the tolerance of its first value, above zero flow (a dry channel rightly repeats itself), and not over
// a gap.
func (s *Screener) scanStuck(w *Window) {
	if s.Limits.Means || !s.wants(Stuck) { // the check is not run
		s.run = run{start: len(w.Time), scanned: len(w.Time)}
		return
	}
	s.eachLimits(w, s.run.scanned, len(w.Time), func(from, until int) { s.scanRows(w, from, until) })
}

// scanRows does so for some rows.
func (s *Screener) scanRows(w *Window, from, until int) {
	stated := s.Limits.StuckDuration > 0
	limit := or(s.Limits.StuckDuration, s.Limits.FlatLimit).Nanoseconds()
	gap := s.Limits.gap()
	tolerance := s.Limits.StuckTolerance + 1e-12
	r, times, values, heads := s.run, w.Time, w.Value[:len(w.Time)], w.Head[:len(w.Time)]
	for i := from; i < until; i++ {
		s.scanZeros(w, i)
		if i == 0 || math.Abs(values[i]-r.value) > tolerance || heads[i] <= 0 || times[i]-times[i-1] > gap {
			if i > 0 && !r.long {
				s.peak(w, r.start, i)
			}
			r.start, r.value, r.long = i, values[i], false
			continue
		}
		first := i
		if !r.long && times[i]-times[r.start] >= limit {
			r.long, first = true, r.start
		}
		for k := first; k <= i && r.long && stated; k++ {
			s.stick(w, k)
		}
	}
	r.scanned = until
	s.run = r
}

// stick flags a row of a long run, unless the meter shows no more, or no less, than it: then the water may stand behind
// it for as long as it likes.
func (s *Screener) stick(w *Window, i int) {
	if !s.hides(w, i) {
		w.Flags[i] |= Stuck
	}
}

// undecided returns the first row whose run may still become long enough.
func (s *Screener) undecided(w *Window) int {
	first := len(w.Time)
	if !s.run.long {
		first = s.run.start
	}
	if s.zero.any && !s.zero.long {
		first = min(first, s.zero.start)
	}
	return first
}
