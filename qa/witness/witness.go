// Package witness tells the spells in which readings repeat one value while another logged quantity of the same water
// moves: a second sensor, the meter's own flow, or its counter. It tells, too, where a second sensor stands with them.
//
// Both are compared by what they say of the head, in windows of half an hour or more. How far the two usually move
// apart within such a time is told by the record itself; only what goes far beyond that contradicts. The beginning of a
// spell is passed over, since damped figures catch up in it. Limits are common practice.
package witness

import (
	"math"
	"slices"
	"time"
)

// Settings are what must be known of a record and its witness.
type Settings struct {
	Interval  time.Duration // from a reading to the next; readings more than one and a half apart are no neighbours
	Tolerance float64       // m: readings of one value lie no further apart; 0 for exactly equal
	Step      float64       // m: step of the readings
	OtherStep float64       // step of the other quantity, in its own unit
	Counts    bool          // the other quantity is a volume that is counted, m³; what it says is its rate, m³/s
	// Independent says that it does not come from the same sensor, so that it can confirm that the water stood. What a
	// meter makes of its level stands with it.
	Independent bool
	// Head is the head that a value of the other quantity, or its rate, stands for, m; NaN for none. It is told an
	// instant and a head nearby.
	Head func(at int64, other, near float64) float64
}

// Verdict is a spell of one value that is contradicted, or confirmed. Spells do not overlap.
type Verdict struct {
	From, Until int64   // times of its first and of its last reading
	Confirmed   bool    // the other quantity stood too, and came and went with it
	Remove      bool    // it is contradicted, and no sound explanation is left
	Moved       float64 // m: how far the other quantity moved meanwhile, in the later half of the spell
}

// Limits of windows and spells.
const (
	leastWindow  = 30 * time.Minute
	leastRows    = 3    // of a window, and how many intervals it lasts
	sampled      = 9    // readings of a window that are looked at
	fewestInside = 4    // windows within a spell
	mostInside   = 512  // of them that are kept: the latest
	lags         = 6    // windows 1, 2, 4, … 32 apart are compared
	mostSpells   = 4096 // that are listed
	mostOdd      = 0.01 // share of the windows of a spell, on either side, that are passed over: noise has its tails
	mostApart    = 0.1
)

// Witness takes in a record, reading by reading.
type Witness struct {
	Settings
	apart, length int64 // ns
	stride        int

	run     spell
	value   float64   // of the run
	inside  []float64 // heads by the witness in the run, one a window
	within  []float64 // how far the two lie apart in these
	last    int64     // time of the last reading
	window  window
	by      []float64 // how far the two lie apart, m, in the last windows of this stretch, the newest last
	usual   [lags]sample
	runs    sample // lengths of all runs
	pending []spell
	spells  []spell
	covered int64 // ns, of all readings
	windows int
	restful int // windows in which the witness repeats one value
}

// window is the time at hand.
type window struct {
	ends        int64 // when it is over
	rows        int
	from, until int64
	heads       []float64
	others      []float64
	first, last count
}

// count is what was counted at an instant.
type count struct {
	at    int64
	value float64
}

// spell is a run of one value.
type spell struct {
	from, until   int64
	rows          int
	step          float64 // m: the least move of the witness that is one
	before, after float64 // how far the two lie apart in the window before it and in the one after it; NaN for none
	windows       int     // in its later half
	moved         float64 // m: by the witness, in these
	least, most   float64 // how far the two lie apart in eight of ten of its windows
	restless      bool    // the witness does not repeat one value throughout
}

// New begins a record.
func New(s Settings) *Witness {
	w := &Witness{Settings: s, apart: int64(s.Interval) * 3 / 2}
	w.length = max(int64(leastWindow), leastRows*int64(s.Interval))
	w.stride = max(1, int(w.length/max(int64(s.Interval), 1))/sampled)
	w.open(math.MinInt64, 0)
	return w
}

// End ends a stretch: a gap follows, or readings of which nothing can be made.
func (w *Witness) End() {
	w.finishRun()
	w.settle(math.NaN(), math.MaxInt64)
	w.open(math.MinInt64, 0)
	w.by = w.by[:0]
}

func (w *Witness) open(ends, at int64) {
	w.window = window{ends: ends, from: at, heads: w.window.heads[:0], others: w.window.others[:0]}
}

// Add takes the next reading: its time in ns since 1970, its value, the head that it stands for in metres, and what the
// other quantity says then, NaN for nothing.
func (w *Witness) Add(at int64, value, head, other float64) {
	if w.run.rows > 0 && (at <= w.last || at-w.last >= w.apart) {
		w.End()
	}
	if at >= w.window.ends {
		w.close()
		w.open(at-at%w.length+w.length, at)
	}
	w.stand(at, value)
	x := &w.window
	if !math.IsNaN(other) {
		if x.last = (count{at, other}); x.first == (count{}) {
			x.first = x.last
		}
		if x.rows%w.stride == 0 {
			x.heads, x.others = append(x.heads, head), append(x.others, other)
		}
	}
	x.rows++
	x.until, w.last = at, at
	w.covered += int64(w.Interval)
}

// stand follows the run of one value.
func (w *Witness) stand(at int64, value float64) {
	if w.run.rows > 0 && math.Abs(value-w.value) <= w.Tolerance+tiny {
		w.run.rows++
		w.run.until = at
		return
	}
	w.finishRun()
	before := math.NaN()
	if n := len(w.by); n > 0 {
		before = w.by[n-1]
	}
	w.value, w.run = value, spell{from: at, until: at, rows: 1, before: before}
}

// finishRun ends the run at hand.
func (w *Witness) finishRun() {
	if w.run.rows == 0 {
		return
	}
	w.runs.add(float64(w.run.rows))
	if n := len(w.inside); n >= fewestInside {
		later := w.inside[n/2:]
		least, most := middle(later, mostOdd)
		w.run.windows, w.run.moved = len(later), most-least
		w.run.least, w.run.most = middle(w.within, mostApart)
		w.pending = append(w.pending, w.run)
	}
	w.run, w.inside, w.within = spell{}, w.inside[:0], w.within[:0]
}

// close ends the window at hand.
func (w *Witness) close() {
	x := &w.window
	other, unsure, known := w.says()
	if !known {
		w.by = w.by[:0]
		return
	}
	at, near := (x.from+x.until)/2, median(x.heads)
	told := w.Head(at, other, near)
	if math.IsNaN(told) || math.IsInf(told, 0) {
		w.by = w.by[:0]
		return
	}
	w.compare(near - told)
	rests := slices.Min(x.others) == slices.Max(x.others)
	if w.windows++; rests {
		w.restful++
	}
	if w.run.rows > 0 && w.run.from <= x.from {
		w.run.restless = w.run.restless || !rests
		w.run.step = max(w.run.step, w.Step, math.Abs(w.Head(at, other+unsure, near)-told))
		w.inside, w.within = latest(w.inside, told, mostInside), latest(w.within, near-told, mostInside)
	}
	w.settle(near-told, x.from)
}

// says is what the witness says in the window at hand, and the step in which it does.
func (w *Witness) says() (other, step float64, known bool) {
	x := &w.window
	switch seconds := float64(x.last.at-x.first.at) / 1e9; {
	case len(x.others) < leastRows:
		return 0, 0, false
	case !w.Counts:
		return median(x.others), w.OtherStep, true
	case x.last.value < x.first.value || seconds <= 0:
		return 0, 0, false
	default:
		return (x.last.value - x.first.value) / seconds, w.OtherStep / seconds, true
	}
}

// compare takes in how far the two lie apart in a window, against those before it.
func (w *Witness) compare(by float64) {
	for k := range w.usual {
		if lag := 1 << k; lag <= len(w.by) {
			w.usual[k].add(math.Abs(by - w.by[len(w.by)-lag]))
		}
	}
	w.by = latest(w.by, by, 1<<(lags-1))
}

// latest puts a value behind others, of which so many are kept.
func latest(list []float64, x float64, most int) []float64 {
	if len(list) == most {
		list = list[:copy(list, list[1:])]
	}
	return append(list, x)
}

// settle tells the spells that ended before a window how far the two lie apart in it.
func (w *Witness) settle(by float64, from int64) {
	kept := w.pending[:0]
	for _, s := range w.pending {
		if s.until >= from {
			kept = append(kept, s)
			continue
		}
		if s.after = by; len(w.spells) < mostSpells {
			w.spells = append(w.spells, s)
		}
	}
	w.pending = kept
}

// Limits of a contradiction: in steps of what is logged, in how far the two usually move apart within as long a time,
// and of the time of the record that may be contradicted; where it is more, the two are not of one water.
const (
	usualRank   = 0.9
	fewestUsual = 100
	flagSteps   = 3
	flagUsual   = 3
	removeSteps = 6
	removeUsual = 5
	longRank    = 0.99 // of the lengths of all runs
	longFactor  = 2
	mostShare   = 0.1

	tiny = 1e-9 // m, what arithmetic leaves
)

// Finish tells the spells that are contradicted or confirmed, in the order of time. Apart says that there are so many
// contradicted ones that the two are not of one water; then it tells none.
func (w *Witness) Finish() (list []Verdict, apart bool) {
	w.close()
	w.End()
	long := longFactor * w.runs.quantile(longRank)
	total := int64(0)
	for _, s := range w.spells {
		if w.confirms(&s) {
			list = append(list, Verdict{From: s.from, Until: s.until, Confirmed: true, Moved: s.moved})
		} else if v, ok := w.judge(&s, long); ok {
			list = append(list, v)
			total += s.until - s.from
		}
	}
	if float64(total) > mostShare*float64(w.covered) {
		return nil, true
	}
	return list, false
}

// confirms reports whether an independent witness agrees before, after and throughout a spell: with whatever the level
// did at its ends. One that repeats one value all the time too, and seldom does so elsewhere, may be what a logger has
// made of both that hangs.
func (w *Witness) confirms(s *spell) bool {
	within := 2 * s.step
	if usual := w.usualOver(2 * s.windows); usual > within {
		within = usual
	}
	within += tiny
	near := func(by float64) bool { return math.Abs(by-s.least) <= within && math.Abs(by-s.most) <= within }
	hangs := !s.restless && 2*w.restful < w.windows
	return w.Independent && !hangs && near(s.before) && near(s.after) && s.most-s.least <= within
}

// judge looks at the later half of a spell. It is to be removed where runs are not usually so long, and the two agree
// after it as they did before.
func (w *Witness) judge(s *spell, long float64) (v Verdict, contradicted bool) {
	usual := w.usualOver(s.windows)
	if math.IsNaN(usual) || s.moved < max(flagSteps*s.step, flagUsual*usual)-tiny {
		return v, false
	}
	agree := math.Abs(s.after-s.before) <= max(2*s.step, usual)+tiny
	v = Verdict{From: s.from, Until: s.until, Moved: s.moved}
	v.Remove = agree && float64(s.rows) >= long &&
		s.moved >= max(removeSteps*s.step, removeUsual*usual)-tiny
	return v, true
}

// usualOver is how far the two usually move apart over so many windows; NaN where the record holds too little to tell.
func (w *Witness) usualOver(windows int) float64 {
	k := 0
	for k < lags-1 && 1<<k < windows {
		k++
	}
	if len(w.usual[k].values) < fewestUsual {
		return math.NaN()
	}
	return w.usual[k].quantile(usualRank)
}

// sample is every value of a series, or every second, fourth, … one: so many that memory is bounded.
type sample struct {
	values []float64
	every  int // 0 before the first
	seen   int
}

const sampleSize = 4096

func (s *sample) add(x float64) {
	s.every = max(s.every, 1)
	if s.seen%s.every == 0 {
		s.values = append(s.values, x)
	}
	if s.seen++; len(s.values) < sampleSize {
		return
	}
	for i := range sampleSize / 2 {
		s.values[i] = s.values[2*i]
	}
	s.values = s.values[:sampleSize/2]
	s.every *= 2
}

// quantile is the value of a rank, 0 for none.
func (s *sample) quantile(rank float64) float64 {
	if len(s.values) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(s.values))
	return sorted[int(rank*float64(len(sorted)-1))]
}

// middle sorts some values and returns the least and the greatest of them, a share on either side passed over.
func middle(values []float64, share float64) (least, most float64) {
	slices.Sort(values)
	n := int(share * float64(len(values)))
	return values[n], values[len(values)-1-n]
}

// median sorts some values and returns the middle one.
func median(values []float64) float64 {
	slices.Sort(values)
	return values[len(values)/2]
}
