package moves

import (
	"cmp"
	"math"
	"slices"
)

// Move is a time in which the sensor was moved, or set anew after it had been out of its place.
type Move struct {
	Before, After int64   // times of the last reading before it and of the first after it
	Size          float64 // m, of the level
	Scatter       float64 // m: how far the level goes over the same time anyway, as a standard deviation
	Out           bool    // the readings in between, if any, are of neither side
	Rests         bool    // it falls to the bottom of the record and hardly stirs there, as where a flow was shut off
}

// Limits of the search.
const (
	leastMove   = 6    // a jump exceeds what the record does within a day so many times
	overHours   = 2    // and the largest changes of the hours around it, in the median
	leastSharp  = 3    // and the four changes on either side of it
	othersSharp = 2    // and one beside it that is held to it
	leastNear   = 0.65 // share of a jump by which the hours after it differ from those before it, at least
	mostNear    = 1.4  // and at the most
	nearSparse  = 0.1  // by which both are stricter where readings lie far apart
	goesOn      = 0.2  // share of it by which the level may then go on otherwise, where readings lie far apart
	goesOnDim   = 1.2  // the same where they lie close, of a jump that is less sharp than
	clearSharp  = 3.6
	takenBack   = 0.5  // share of it that is taken back where the water recedes
	asks        = 2    // days are asked of a jump that exceeds what days do so many times
	tells       = 3    // what days say is told of one that exceeds it so many times
	fewestSpans = 4    // of days that tell whether a jump is kept
	nearKept    = 0.15 // by which its share in the hours may differ from 1
	kept        = 0.4  // and that in the days
	stays       = 0.5  // share of it that days must show
	ofDays      = 2    // where readings lie far apart, a move exceeds what days around it do in its time
	ofGap       = 2    // a jump over a gap exceeds so many times what the level does in such a time
	mostOthers  = 2    // other jumps of half its size or more, the same way; more are what this record does
	mustStay    = 4    // days that must show it; in longer ones it may be taken back
	longTold    = 4    // days that tell of a jump whatever the record's others
	outHours    = 48   // longest time out of place
	mostOut     = 24   // jumps within it
	outShare    = 0.28 // share of the larger, and of the move, that the lesser of the first and the last has
	backHours   = 72   // in which a flow comes back that stopped or began
	backShare   = 0.75
	sameSize    = 0.3  // by which what stays may differ from a jump that is told by itself
	fewScatters = 2    // what comes back to within so many scatters, or a quarter of it, has come back
	fitHours    = 6    // that tell how the level goes before and after a jump
	overNoise   = 10   // scatters of its readings, from which on a jump is neither slope nor noise
	fitScatters = 5    // of readings, that it exceeds
	mostSlope   = 0.5  // share of it that lines before and after show, at least
	restShare   = 0.25 // share of the scatter of the day before that the day after has at most where water rests
)

// spans are the days that are compared on either side.
var spans = []int{1, 2, 4, 8, 16, 32}

// leap is a jump, or the first to the last of several between which the sensor was out, that may be a move.
type leap struct {
	jump
	out   bool
	b, a  int // last whole hour before it and first after it
	size  float64
	near  float64 // by which share of the jump the hours after it differ from those before it
	goes  float64 // share by which the level then goes on otherwise than before
	keeps bool    // see keeps
	told  int     // the longest time, in days, before and after it that tells of it
	moved bool
	// spread is how far the level goes over such a time, as a standard deviation; 0 where it is not known
	spread float64
}

// Find looks for moves, in the order of time.
func (r *Record) Find() (list []Move) {
	r.noise, r.shifts, r.times = r.Daily(), map[int][]placed{}, map[int][]int{}
	jumps := r.large()
	leaps := r.leaps(jumps)
	for i := range leaps {
		l := &leaps[i]
		l.moved = r.moves(l) && (l.told >= longTold || others(leaps, l) <= mostOthers)
	}
	leaps = slices.DeleteFunc(leaps, func(l leap) bool { return !l.moved })
	leaps = slices.DeleteFunc(leaps, func(l leap) bool { return r.slopes(&l) || r.comesBack(jumps, &l) })
	leaps = r.join(jumps, leaps)
	leaps = append(leaps, r.outs(jumps, leaps)...)
	slices.SortStableFunc(leaps, func(a, b leap) int { return cmp.Compare(a.before, b.before) })
	leaps = r.merge(leaps)
	for i := range leaps {
		l := &leaps[i]
		if l.spread == 0 {
			l.spread = r.scatterAt(l)
		}
		list = append(list, Move{l.before, l.after, r.toldSize(l), l.spread, l.out, r.restsAfter(l)})
	}
	return list
}

// large lists the jumps that are large enough, in the order of time.
func (r *Record) large() (list []jump) {
	for i := range r.pairs.count {
		two := []jump{r.pairs.at(i).rise, r.pairs.at(i).fall}
		if two[1].before < two[0].before {
			two[0], two[1] = two[1], two[0]
		}
		for _, j := range two {
			if c := math.Abs(j.change); c >= leastMove*r.noise && c >= overHours*r.around(i) {
				list = append(list, j)
			}
		}
	}
	return list
}

// around is the median of the largest changes of the twelve hours on either side of one.
func (r *Record) around(i int) float64 {
	var all []float64
	for k := max(i-12, 0); k < min(i+13, r.pairs.count); k++ {
		if k != i {
			all = append(all, max(r.pairs.at(k).rise.change, -r.pairs.at(k).fall.change))
		}
	}
	if len(all) == 0 {
		return 0
	}
	return median(all)
}

// leaps are the jumps that the hours around them show too.
func (r *Record) leaps(jumps []jump) (list []leap) {
	for _, j := range jumps {
		if l := (leap{jump: j}); r.place(&l) {
			if r.compareHours(&l); l.near >= leastNear && l.near <= mostNear {
				list = append(list, l)
			}
		}
	}
	return list
}

// place finds the hours around a leap; false within a day of an end of the record.
func (r *Record) place(l *leap) bool {
	l.b, _ = r.find(hourOf(l.before))
	l.b--
	var ok bool
	if l.a, ok = r.find(hourOf(l.after)); ok {
		l.a++
	}
	return l.b >= dayHours && l.a+dayHours < len(r.hours)
}

// find returns where an hour stands, or would: no further before the place that it has in a record without gaps than
// hours are missing.
func (r *Record) find(number int64) (int, bool) {
	n := len(r.hours)
	if n == 0 || number < r.hours[0].number {
		return 0, false
	}
	after := number - r.hours[0].number
	missing := r.hours[n-1].number - r.hours[0].number + 1 - int64(n)
	low, high := max(after-missing, 0), min(after+1, int64(n))
	if low >= high {
		return n, false
	}
	i, ok := slices.BinarySearchFunc(r.hours[low:high], number, func(h hour, n int64) int {
		return cmp.Compare(h.number, n)
	})
	return int(low) + i, ok
}

// compareHours works out how a leap shows in the hours around it, in three ways: as they are, against the same hours of
// the day before, where a day is like another, and along the lines that lead to it, where the water falls or rises. The
// way counts that speaks for it most.
func (r *Record) compareHours(l *leap) {
	c, h := l.change, r.hours
	after, before := r.level(l.a), r.level(l.b-2)
	later, earlier := (r.level(l.a+9)-after)/c, (before-r.level(l.b-11))/c
	l.size, l.near = after-before, (after-before)/c
	l.goes = smaller(later, later-earlier)
	nearer := func(size float64) {
		if math.Abs(size/c-1) < math.Abs(l.near-1) {
			l.size, l.near = size, size/c
		}
	}
	nearer(h[l.a].level - h[l.b].level - (h[l.a+1].level-h[l.a].level)/2 - (h[l.b].level-h[l.b-1].level)/2)
	y1, y2 := r.sinceYesterday(l.a), r.sinceYesterday(l.a+9)
	if later := (y2 - y1) / c; !math.IsNaN(later) {
		l.goes = smaller(l.goes, later)
		y0 := r.sinceYesterday(l.b - 2)
		if earlier := (y0 - r.sinceYesterday(l.b-11)) / c; !math.IsNaN(earlier) {
			l.goes = smaller(l.goes, later-earlier)
			nearer(y1 - y0)
		}
	}
}

// smaller is the one nearer to zero.
func smaller(a, b float64) float64 {
	if math.Abs(a) < math.Abs(b) {
		return a
	}
	return b
}

// level is the median of three hours from k on.
func (r *Record) level(k int) float64 {
	return median([]float64{r.hours[k].level, r.hours[k+1].level, r.hours[k+2].level})
}

// sinceYesterday is how far three hours from k on differ from those at the same time of the day before, in the median;
// NaN where these are missing.
func (r *Record) sinceYesterday(k int) float64 {
	var all []float64
	for _, h := range r.hours[k : k+3] {
		if i, ok := r.find(h.number - dayHours); ok {
			all = append(all, h.level-r.hours[i].level)
		}
	}
	if len(all) == 0 {
		return math.NaN()
	}
	return median(all)
}

// moves judges a leap by itself. Where readings follow each other closely a storm takes several of them. Where they do
// not, or over a gap, the level must go on as before; and days must tell of a rise, as a storm is one.
func (r *Record) moves(l *leap) bool {
	if l.sharp < leastSharp || l.goes < -takenBack || l.sharp < clearSharp && math.Abs(l.goes) > goesOnDim {
		return false
	}
	if !l.fine && !r.goesOnSparse(l) {
		return false
	}
	if !l.fine && math.Abs(l.size) < ofDays*r.scatterAt(l) || !r.askDays(l) {
		return false
	}
	switch {
	case l.gap:
		return l.told > 0 || math.Abs(l.size) >= ofGap*r.inSuchTime(l)
	case l.fine || l.change < 0:
		return true
	}
	return l.told > 0 || l.keeps
}

// goesOnSparse reports whether the level goes on as before, elsewhere, as strictly as is asked where readings lie far
// apart.
func (r *Record) goesOnSparse(l *leap) bool {
	return math.Abs(l.goes) <= goesOn && l.near >= leastNear+nearSparse && l.near <= mostNear-nearSparse
}

// askDays asks the days before and after a leap whether they show it, as far as it exceeds what days do elsewhere.
func (r *Record) askDays(l *leap) bool {
	var shares []float64
	for _, days := range spans {
		s, ok := r.shift(l.b, l.a, days)
		if !ok {
			continue
		}
		shares = append(shares, s/l.change)
		own := r.own(days, l)
		if math.Abs(l.change) < asks*own {
			continue
		}
		if s/l.change < stays {
			if l.out || days <= mustStay || l.told == 0 {
				return false
			}
			break // something else came
		}
		if math.Abs(l.change) >= tells*own {
			l.told = days
		}
	}
	l.keeps = r.keeps(l, shares)
	return true
}

// keeps reports whether a jump is kept as no storm keeps its rise: the hours after it go on just as before, and the
// days differ by about as much, most of them and the longest.
func (r *Record) keeps(l *leap, shares []float64) bool {
	if len(shares) < fewestSpans || math.Abs(l.goes) > goesOn/2 || math.Abs(l.near-1) > nearKept {
		return false
	}
	last := shares[len(shares)-1]
	return math.Abs(last-1) <= kept && math.Abs(median(shares)-1) <= kept
}

// others is how many other leaps are sharp too and half as large or more, the same way.
func others(leaps []leap, l *leap) (n int) {
	for i := range leaps {
		if o := &leaps[i]; o.change/l.change >= 0.5 && o.before != l.before && o.sharp >= leastSharp &&
			(l.fine || math.Abs(o.goes) <= goesOn) {
			n++
		}
	}
	return n
}
