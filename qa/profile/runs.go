package profile

import (
	"math"
	"slices"
	"time"
)

// A run of equal values is looked at when it has so many readings and lasts so long.
const (
	leastRun  = 6
	leastStay = 30 * time.Minute
)

// neighbours is how many runs before and after a run it is compared with, and fewestNeighbours with how many at least.
const (
	neighbours       = 12
	fewestNeighbours = 6
)

// aloneFactor is how much longer a run is than its neighbours that stands alone.
const aloneFactor = 3

// mostRuns is how many runs are listed that stand alone.
const mostRuns = 4096

// stand is a run of equal values that stands alone among its neighbours.
type stand struct {
	from, until   int64
	readings      int
	value         float64
	start, end    float64 // jumps to its value and from it, in m, up or down; 0 where there is none
	first, next   float64 // changes to its first reading, and from its last one
	lowest        float64 // level of the days before it
	before, after int     // the longest of its neighbours
	waits         int     // neighbours after it that were seen
}

// jumps counts runs by length and the jump at their end, in bins of two of the histogram's bins.
type jumps [lengthBins][(bins + 1) / 2]uint32

// runs follow the runs of equal values.
type runs struct {
	tolerance float64
	interval  time.Duration

	through bool // the excursion at hand does not end a run

	length        int
	low, high     float64
	from, until   int64
	start, first  float64
	sound         [side + 1]float64 // last readings that are no strong excursion, the newest last
	soundCount    int
	recent        [neighbours]int // lengths of the last runs
	lows          lows
	recentCount   int
	pending       []stand
	list          []stand
	left          int
	withoutEnough int // runs with too few neighbours
	jumps         jumps
}

func (r *runs) reset() {
	r.length, r.soundCount, r.recentCount = 0, 0, 0
	r.pending = r.pending[:0]
}

// add takes in reading k of those at hand.
func (r *runs) add(p *Profile, k int) {
	x := p.level[k]
	if r.length > 0 {
		low, high := min(r.low, x), max(r.high, x)
		if high-low <= r.tolerance {
			r.low, r.high, r.until = low, high, p.at[k]
			if r.length++; r.length == 2 && r.soundCount > side {
				r.begun(p, k)
			}
			r.keep(x)
			return
		}
		r.close(p, p.level[k:min(k+mostSpikes+1, len(p.level))])
	}
	r.length, r.low, r.high, r.from, r.until = 1, x, x, p.at[k], p.at[k]
	r.start, r.first = 0, 0
	r.keep(x)
}

// begun looks at the jump to the first reading of a run, now that reading k is its second.
func (r *runs) begun(p *Profile, k int) {
	value, before := r.sound[side], [side]float64(r.sound[:side])
	r.start, r.first = -jump(value, before[side-1], before), value-before[side-1]
	if math.Abs(r.start) > 3*p.local.noise && r.stands(p, p.level[max(0, k-2-mostSpikes):k-1], value) {
		r.start = 0
	}
}

// stands says that one of some readings beside a run has its value, but for noise: what is between was no end of it,
// but an excursion.
func (r *runs) stands(p *Profile, beside []float64, value float64) bool {
	near := max(r.tolerance, p.local.noise)
	return slices.ContainsFunc(beside, func(x float64) bool { return math.Abs(x-value) <= near })
}

func (r *runs) keep(x float64) {
	r.sound = [side + 1]float64{r.sound[1], r.sound[2], r.sound[3], x}
	r.soundCount++
}

// jump is how far the nearest of three readings lies from a value, or their median where that is less; 0 where the two
// lie on different sides.
func jump(value, nearest float64, three [side]float64) float64 {
	middle := max(min(three[0], three[1]), min(max(three[0], three[1]), three[2]))
	a, b := nearest-value, middle-value
	switch {
	case a > 0 && b > 0:
		return min(a, b)
	case a < 0 && b < 0:
		return max(a, b)
	}
	return 0
}

// close ends the run at hand; next are the readings that follow it.
func (r *runs) close(p *Profile, next []float64) {
	value := (r.low + r.high) / 2
	p.habits.at(value).runs[lengthBin(r.length)]++
	if len(r.pending) > 0 {
		r.neighbour(r.length)
	}
	if r.length > 1 {
		r.stood(p, value, next)
	}
	r.recent[r.recentCount%neighbours] = r.length
	r.lows.add(r.until, r.low)
	r.recentCount++
}

// stood takes in a run of several readings.
func (r *runs) stood(p *Profile, value float64, next []float64) {
	end, change := 0.0, 0.0
	if len(next) >= side {
		end, change = jump(value, next[0], [side]float64(next[:side])), next[0]-value
	}
	r.jumps[lengthBin(r.length)][bin(math.Abs(end))/2]++
	if r.length >= leastRun && time.Duration(r.until-r.from) >= leastStay {
		if r.stands(p, next, value) {
			end = 0
		}
		r.candidate(stand{
			from: r.from, until: r.until, readings: r.length, value: value, start: r.start, end: end,
			first: r.first, next: change, lowest: r.lows.lowest(),
		})
	}
}

// candidate begins to wait for the neighbours after a run that is longer than those before it.
func (r *runs) candidate(s stand) {
	if r.recentCount < fewestNeighbours {
		r.withoutEnough++
		return
	}
	for _, n := range r.recent[:min(r.recentCount, neighbours)] {
		s.before = max(s.before, n)
	}
	if s.readings >= aloneFactor*s.before {
		r.pending = append(r.pending, s)
	}
}

// neighbour tells the runs that wait of a run after them.
func (r *runs) neighbour(length int) {
	kept := r.pending[:0]
	for _, s := range r.pending {
		s.after = max(s.after, length)
		s.waits++
		switch {
		case s.readings < aloneFactor*s.after:
		case s.waits == neighbours:
			r.put(s)
		default:
			kept = append(kept, s)
		}
	}
	r.pending = kept
}

func (r *runs) put(s stand) {
	if len(r.list) == mostRuns {
		r.left++
		return
	}
	r.list = append(r.list, s)
}

// finish ends the run at hand at a gap, behind which nothing is known.
func (r *runs) finish(p *Profile) {
	if r.length > 0 {
		r.close(p, nil)
	}
	for _, s := range r.pending {
		if s.waits >= fewestNeighbours {
			r.put(s)
			continue
		}
		r.withoutEnough++
	}
	r.pending = r.pending[:0]
}

// standing counts the runs of at least so many readings that did not end in a jump of a size or more.
func (j *jumps) standing(length int, size float64) (n int) {
	for k := lengthBin(length); k < len(j); k++ {
		for _, c := range j[k][:(bin(size)+1)/2] {
			n += int(c)
		}
	}
	return n
}

// lows are the lowest levels of the last days.
type lows struct {
	days  [lowDays]float64
	day   int64 // of the newest
	ends  int64 // when that is over, ns since 1970
	begun bool
}

const lowDays = 8 // the day at hand and the week before it

func (l *lows) add(at int64, level float64) {
	if at >= l.ends || !l.begun {
		l.begin(at)
	}
	if day := l.of(l.day); level < *day {
		*day = level
	}
}

// begin begins the day of an instant, and forgets those that are more than a week ago.
func (l *lows) begin(at int64) {
	const length = int64(24 * time.Hour)
	day := at / length
	if !l.begun {
		l.begun, l.day = true, day-lowDays
	}
	for d := max(l.day+1, day-lowDays+1); d <= day; d++ {
		*l.of(d) = math.Inf(1)
	}
	l.day, l.ends = day, (day+1)*length
}

func (l *lows) of(day int64) *float64 { return &l.days[uint64(day)%lowDays] }

// lowest is the lowest level of these days, +Inf where nothing was logged in them.
func (l *lows) lowest() float64 { return slices.Min(l.days[:]) }

// settleRuns tells the runs in which the sensor repeated its value.
func (r *record) settleRuns(p *Profile) {
	if n := p.runs.left; n > 0 {
		r.result.Notes = append(r.result.Notes, Note{Kind: Left, Check: Stuck, Count: n})
	}
	cannot := p.runs.withoutEnough
	for i := range p.runs.list {
		s := &p.runs.list[i]
		b := r.without(s)
		others, count := b.runs.others(othersRank, s.readings)
		if count < fewestOthers || b.changes < fewestChanges {
			cannot++
			continue
		}
		r.settleRun(p, s, b, others)
	}
	if cannot > 0 {
		r.result.Notes = append(r.result.Notes, Note{Kind: CannotTell, Check: Stuck, Count: cannot})
	}
}

// Limits of a stuck run.
const (
	othersRank   = 0.99 // of the lengths of other runs at this level
	fewestOthers = 30
	longFactor   = 2
	fewestAcquit = 5 // other long runs without a jump

	// a record never stands where no run beside is longer than neverBeside, and the run has neverReadings at least and
	// neverFactor times those beside
	neverBeside   = 4
	neverReadings = 12
	neverFactor   = 10

	// a run that ends with a rise is removed when it is so many times as long as those before, and as others
	riseBefore = 10
	riseOthers = 5
)

// settleRun judges a run that stands alone, by the band of its level and the length of the other runs there.
func (r *record) settleRun(p *Profile, s *stand, b *band, others int) {
	n, beside := s.readings, max(s.before, s.after)
	never := beside <= neverBeside && n >= max(neverReadings, neverFactor*beside)
	limit := r.limit(b, s.end)
	atEnd, atStart := math.Abs(s.end) >= limit, math.Abs(s.start) >= r.limit(b, s.start)
	standing := p.runs.jumps.standing((n+2)/3, limit)
	if !atEnd {
		standing-- // itself
	}
	above := (s.value - s.lowest) / b.noise
	if n < longFactor*others || !atEnd && !atStart && !never ||
		standing >= fewestAcquit || r.bound(s) || s.end > 0 && above < dryNoise {
		return
	}
	v := Verdict{From: s.from, Until: s.until, Readings: n, Kind: Stuck, Size: s.end,
		Why: "stands, and ends with a jump"}
	if math.Abs(s.start) > math.Abs(s.end) {
		v.Size = s.start
	}
	switch {
	case !atEnd && atStart:
		v.Why = "begins with a jump, and stands"
	case !atEnd:
		v.Why = "stands where the record never does"
	default:
		longest := never || s.before <= n/riseBefore && n >= riseOthers*others
		v.Remove = s.end < 0 || above >= wetNoise && longest
	}
	r.result.Verdicts = append(r.result.Verdicts, v)
}

// A run that ends with a rise can be a bed that fell dry until a flood came, where the level was nowhere in the week
// before lower than it by dryNoise times the noise; it is none for sure where it was lower by wetNoise.
const (
	dryNoise = 2
	wetNoise = 5
)

// without is the band of a run without the changes at the ends of the run, which are no evidence of what is normal.
func (r *record) without(s *stand) *band {
	b := *r.at(s.value)
	drop := func(change float64) {
		h := &b.rise
		if change < 0 {
			h = &b.fall
		}
		if k := bin(math.Abs(change)); h[k] > 0 && change != 0 {
			h[k]--
		}
	}
	drop(s.next)
	if r.at(s.value-s.first) == r.at(s.value) {
		drop(s.first)
	}
	b.measure(r.step)
	return &b
}

// limit is the least jump, up or down, that the water of a band does not make.
func (r *record) limit(b *band, jump float64) float64 {
	way := b.rise99
	if jump < 0 {
		way = b.fall99
	}
	return beyondTies * max(2*max(b.change99, way), 5*r.step, 5*b.change50, 2*r.settings.Tolerance)
}

// bound says that a run stands where the record ends below, as other runs do.
func (r *record) bound(s *stand) bool {
	reach := r.step + r.settings.Tolerance
	if s.value > r.least+reach {
		return false
	}
	n := 0
	for _, b := range r.buckets {
		if float64(b.index)*r.width <= r.least+reach {
			for k := lengthBin(leastRun); k < lengthBins; k++ {
				n += int(b.runs[k])
			}
		}
	}
	return n >= 1+3
}
