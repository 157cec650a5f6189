package qa

import (
	"math"
	"sort"
)

// Window is the readings at hand in columns of one length. Value is the logged distance, level or head, Head the
// head under the corrected settings; both in metres.
type Window struct {
	Time     []int64
	Value    []float64
	Head     []float64
	Conflict []bool
	Figure   []float64 // as logged: Value itself where the log holds a level, else a flow
	Unusable []bool    // nothing can be made of the reading; nil when all can be used
	Suspect  []bool    // the instrument itself casts doubt; nil when it never did
	// DownstreamHead is the head of the water below the device, under the corrected settings; Downstream says where it
	// is known. Nil when the log has no such column.
	DownstreamHead []float64
	Downstream     []bool
	// SecondHead is the head by a second sensor, under the corrected settings; Second says where it is known. Nil when
	// there is none.
	SecondHead []float64
	Second     []bool
	// what the whole record says of readings at an end; nil before it was read once, or when it says nothing
	Verdicts []Verdict
	// Told are the flags by which the record as a whole tells of spikes, of stuck readings and of steps; nil when it
	// tells of none.
	Told  []Flags
	Flags []Flags // set by the screener; 0 for rows that it has not seen
	Spans []Span  // the settings in force, covering all rows
}

// Span is a stretch of rows under one set of limits.
type Span struct {
	End      int     // row after the last
	Blanking float64 // nearest distance the sensor sees; 0 when unknown or the log holds no distance
	Top      float64 // head at which the channel or the rating ends; +Inf for none
	Valid    float64 // highest head for which the rating is valid; +Inf for none
	Usual    float64 // highest head that is expected: the least of maximum head, Valid and Top
	Low      float64 // lowest valid head
	// Least and Most are the figures at which the meter stops, ∓Inf for none; Falling says that the flow falls as the
	// figure rises.
	Least, Most float64
	Falling     bool
	Twofold     float64 // logged flow from which on two heads give the same flow, that of a full pipe; 0 for none
	Modular     float64 // downstream head over head up to which flow is free; 0 or +Inf when it is not known
}

// Verdict is what the whole record says of a reading at an end of what the meter shows.
type Verdict uint8

// The verdicts.
const (
	NoVerdict Verdict = iota
	Water             // reached and left as the water of this record does: no spike
	Glitch            // a short stay after a jump: a spike
	DeadEnd           // a long stay after a jump: dirt, or a dead sensor
)

// Hiding are the flags of readings at an end of what meter or structure show, behind which the truth is only bounded.
const Hiding = CutOff | Capped | Surcharge | Blanking

// Screener flags readings as they come. It looks ahead by half a spike window and by the length of a stuck run, so rows
// become ready somewhat later than they arrive.
type Screener struct {
	Limits   Limits    // those of the rows in work, where a timeline is given
	Timeline []Timed   // in the order of time; nil when Limits hold throughout
	Only     Flags     // which checks are run, all that set one of these; 0 for all
	sorted   []float64 // memory of the median
	seen     int       // rows that were looked at for conflicts and spikes
	run      run
	zero     zeroRun
	flat     flat
	restless restless
}

// Flag sets w.Flags for the rows from done on that can be decided and returns the first row that cannot. Rows before
// done are context; final says that no more rows will come.
func (s *Screener) Flag(w *Window, done int, final bool) (ready int) {
	n := len(w.Time)
	ready = n
	s.scanStuck(w)
	if !final && n > 0 {
		horizon := w.Time[n-1] - s.ahead()
		ready = done + sort.Search(n-done, func(i int) bool { return w.Time[done+i] > horizon })
		ready = max(done, w.notWithin(min(ready, s.undecided(w))))
	}
	s.lookAhead(w, final)
	s.eachLimits(w, done, ready, func(from, until int) {
		for _, c := range Checks {
			if c.run != nil && c.Flag&(Conflict|Spike) == 0 && s.wants(c.Flag) {
				c.run(s, w, from, until)
			}
		}
	})
	w.judge(done, ready)
	return ready
}

// wants says that a check is to be run.
func (s *Screener) wants(f Flags) bool { return s.Only == 0 || s.Only&f != 0 }

// lookAhead runs the two checks that others look for ahead of the rows that they decide, as far as they can be run, so
// that nothing depends on how rows come in.
func (s *Screener) lookAhead(w *Window, final bool) {
	until := len(w.Time)
	if !final && until > 0 {
		horizon := w.Time[until-1] - s.longest((*Limits).half)
		until = w.notWithin(sort.Search(until, func(i int) bool { return w.Time[i] > horizon }))
	}
	if until > s.seen {
		s.conflicts(w, s.seen, until)
		s.eachLimits(w, s.seen, until, func(from, until int) {
			if s.wants(Spike) {
				s.spikes(w, from, until)
			}
			s.told(w, from, until)
		})
		s.seen = until
	}
}

// Forget drops rows from the front of the window that no check needs any more: all but those before ready that one may
// look back to, and the one before it. It returns how many; the caller moves its columns up by that many rows.
func (s *Screener) Forget(w *Window, ready int) (dropped int) {
	if ready == 0 {
		return 0
	}
	back := w.Time[ready-1] - s.longest(func(l *Limits) int64 {
		return max(l.half(), l.StepWindow.Nanoseconds(), l.GapLimit.Nanoseconds()) // rates look back over spikes
	})
	dropped = min(sort.Search(ready, func(i int) bool { return w.Time[i] >= back }), ready-1)
	if !s.run.long {
		dropped = min(dropped, s.run.start)
	}
	if s.zero.any && !s.zero.long {
		dropped = min(dropped, s.zero.start)
	}
	s.zero.start = max(s.zero.start-dropped, 0)
	s.run.start = max(s.run.start-dropped, 0)
	s.run.scanned -= dropped
	s.seen -= dropped
	return dropped
}

// ahead is how far a check looks ahead of the row that it decides.
func (s *Screener) ahead() int64 {
	return s.longest(func(l *Limits) int64 { return max(l.half(), l.StepWindow.Nanoseconds()) })
}

// longest is the longest of a time under any limits.
func (s *Screener) longest(of func(*Limits) int64) int64 {
	if s.Timeline == nil {
		return of(&s.Limits)
	}
	most := int64(0)
	for k := range s.Timeline {
		most = max(most, of(&s.Timeline[k].Limits))
	}
	return most
}

// eachLimits calls f for the parts of rows from to until−1 under one set of limits, which it makes those of the rows in
// work.
func (s *Screener) eachLimits(w *Window, from, until int, f func(from, until int)) {
	if s.Timeline == nil {
		f(from, until)
		return
	}
	for k := range s.Timeline {
		end := until
		if k+1 < len(s.Timeline) {
			next := s.Timeline[k+1].From
			end = from + sort.Search(until-from, func(i int) bool { return w.Time[from+i] > next })
		}
		if from < end {
			s.Limits = s.Timeline[k].Limits
			f(from, end)
			from = end
		}
	}
}

func (s *Screener) conflicts(w *Window, from, until int) {
	if w.Conflict == nil {
		return
	}
	for i := from; i < until; i++ {
		if w.Conflict[i] {
			w.Flags[i] |= Conflict
		}
	}
}

func (s *Screener) unusable(w *Window, from, until int) {
	if w.Unusable == nil {
		return
	}
	for i := from; i < until; i++ {
		if w.Unusable[i] {
			w.Flags[i] |= Unusable
		}
	}
}

// stops flags readings at either end of what the meter can show.
func (s *Screener) stops(w *Window, from, until int) {
	w.eachSpan(from, until, func(span *Span, from, until int) {
		least, most := s.ends(span)
		if math.IsInf(least, -1) && math.IsInf(most, 1) {
			return
		}
		atLeast, atMost := CutOff, Capped
		if span.Falling {
			atLeast, atMost = Capped, CutOff
		}
		for i := from; i < until; i++ {
			if v := w.Figure[i]; v <= least {
				w.Flags[i] |= atLeast
			} else if v >= most {
				w.Flags[i] |= atMost
			}
		}
	})
}

func (s *Screener) loop(w *Window, from, until int) {
	if w.Suspect == nil {
		return
	}
	for i := from; i < until; i++ {
		if w.Suspect[i] {
			w.Flags[i] |= Loop
		}
	}
}

// eachSpan calls f for the parts of from to until−1 under one set of limits.
func (w *Window) eachSpan(from, until int, f func(span *Span, from, until int)) {
	start := 0
	for i := range w.Spans {
		span := &w.Spans[i]
		if low, high := max(from, start), min(until, span.End); low < high {
			f(span, low, high)
		}
		start = span.End
	}
}

func (s *Screener) blanking(w *Window, from, until int) {
	w.eachSpan(from, until, func(span *Span, from, until int) {
		if limit := s.nearest(span); span.Blanking > 0 {
			for i, v := range w.Value[from:until] {
				if v <= limit {
					w.Flags[from+i] |= Blanking
				}
			}
		}
	})
}

// nearest is the distance up to which a reading is too near: the blanking distance to half a step of the log.
func (s *Screener) nearest(span *Span) float64 { return span.Blanking + s.Limits.Resolution/2 + 1e-9 }

// ends are the figures at and beyond which a reading stands at an end: within half a step of the log, and never by a
// rounding of the arithmetic alone.
func (s *Screener) ends(span *Span) (least, most float64) {
	within := func(end float64) float64 {
		if math.IsInf(end, 0) {
			return 0
		}
		return s.Limits.Step/2 + 1e-9*math.Abs(end)
	}
	return span.Least + within(span.Least), span.Most - within(span.Most)
}

// full is the logged flow from which on two heads give the same flow, or a pipe runs full: to half a step of the log.
func (s *Screener) full(span *Span) float64 {
	return span.Twofold - s.Limits.Step/2 - 1e-9*span.Twofold
}

// told takes over what the record tells of spikes, stuck readings and steps, where no limits of the user's own are
// stated. What stands at an end of what the meter shows is not stuck; what a second sensor shows too is no spike.
func (s *Screener) told(w *Window, from, until int) {
	if w.Told == nil {
		return
	}
	for i := from; i < until; i++ {
		f := w.Told[i]
		if f&peaks != 0 && (s.Limits.SpikeThreshold > 0 || w.confirmed(i)) {
			f &^= peaks
		}
		if s.Limits.StepLimit > 0 {
			f &^= Step
		}
		if f&(Stuck|Still) != 0 && (s.Limits.StuckDuration > 0 || s.hides(w, i)) {
			f &^= Stuck | Still
		}
		w.Flags[i] |= f
	}
}

// judge sets the flags of readings of which the whole record has told what they are.
func (w *Window) judge(from, until int) {
	if w.Verdicts == nil {
		return
	}
	for i := from; i < until; i++ {
		switch w.Verdicts[i] {
		case Water:
			w.Flags[i] &^= Spike
		case Glitch:
			w.Flags[i] |= Spike
		case DeadEnd:
			w.Flags[i] = w.Flags[i]&^Spike | Dead
		}
	}
}

// hides reports whether row i stands at an end of what the meter shows: it may stay there as long as the water does.
func (s *Screener) hides(w *Window, i int) bool {
	for k := range w.Spans {
		span := &w.Spans[k]
		if i >= span.End {
			continue
		}
		least, most := s.ends(span)
		return w.Figure[i] <= least || w.Figure[i] >= most || w.Head[i] > span.Top ||
			span.Twofold > 0 && w.Figure[i] >= s.full(span) || span.Blanking > 0 && w.Value[i] <= s.nearest(span)
	}
	return false
}

// heads runs the checks of the head in one pass: below zero, surcharge and validity. A reading that is a spike or a
// conflict says nothing of the head and is passed over.
func (s *Screener) heads(w *Window, from, until int) {
	half := math.Max(s.Limits.Resolution/2, 1e-9)
	w.eachSpan(from, until, func(span *Span, from, until int) {
		low, top, valid := span.Low-half, span.Top+half, math.Min(span.Valid, span.Top)+half
		for i, h := range w.Head[from:until] {
			if h >= low && h <= valid || w.Flags[from+i]&(Spike|Conflict) != 0 {
				continue
			}
			switch {
			case h > top:
				w.Flags[from+i] |= Surcharge
			case h > valid:
				w.Flags[from+i] |= Validity
			case h < -s.Limits.BelowZero:
				w.Flags[from+i] |= BelowZero
			case h > 0:
				w.Flags[from+i] |= Validity
			}
		}
		for i := from; span.Twofold > 0 && i < until; i++ {
			if w.Figure[i] >= s.full(span) {
				w.Flags[i] |= Surcharge
			}
		}
	})
}

func (s *Screener) drowned(w *Window, from, until int) {
	if w.DownstreamHead == nil {
		return
	}
	w.eachSpan(from, until, func(span *Span, from, until int) {
		for i := from; i < until && span.Modular > 0; i++ {
			if w.Downstream[i] && w.Head[i] > 0 &&
				w.DownstreamHead[i] > float64(span.Modular*w.Head[i])+s.Limits.Resolution/2 {
				w.Flags[i] |= Drowned
			}
		}
	})
}

func (s *Screener) gaps(w *Window, from, until int) {
	limit := s.Limits.gap()
	for i := max(from, 1); i < until; i++ {
		if step := w.Time[i] - w.Time[i-1]; step > limit && (i > from || step > s.gapBefore(w.Time[i-1])) {
			w.Flags[i] |= Gap
		}
	}
}

// gapBefore is the longest step that is no gap under the limits of the reading before a change of them: the step to the
// first one after it may be as long as either allows.
func (s *Screener) gapBefore(at int64) int64 {
	k := sort.Search(len(s.Timeline), func(k int) bool { return s.Timeline[k].From >= at })
	if k == 0 {
		return s.Limits.gap()
	}
	return s.Timeline[k-1].Limits.gap()
}
