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
	r.noise, r.shifts = r.Daily(), map[int][]placed{}
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
	for i := range r.pairs {
		two := []jump{r.pairs[i].rise, r.pairs[i].fall}
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
	for k := max(i-12, 0); k < min(i+13, len(r.pairs)); k++ {
		if k != i {
			all = append(all, max(r.pairs[k].rise.change, -r.pairs[k].fall.change))
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

// find returns where an hour stands, or would.
func (r *Record) find(number int64) (int, bool) {
	return slices.BinarySearchFunc(r.hours, number, func(h hour, n int64) int { return int(h.number - n) })
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
	if !l.fine && (math.Abs(l.goes) > goesOn || l.near < leastNear+nearSparse || l.near > mostNear-nearSparse) {
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

// join looks at moves with other sharp jumps within two days of them: what stays is what lies between the level before
// the first and after the last. Where nothing does, there is no move; where it is another size, all are one move.
func (r *Record) join(jumps []jump, moves []leap) (list []leap) {
	for i := 0; i < len(moves); i++ {
		l := moves[i]
		first, last := l.jump, l.jump
		for _, j := range jumps {
			if j.sharp < othersSharp || math.Abs(j.change) < outShare*math.Abs(l.size) {
				continue
			}
			if j.before < first.before && l.after-j.before <= outHours*hourNs {
				first = j
			}
			if j.after > last.after && j.after-first.before <= outHours*hourNs {
				last = j
			}
		}
		next := i + 1
		for next < len(moves) && moves[next].before < last.after {
			next++
		}
		all, ok := leap{}, false
		if first != last {
			all, ok = r.between(first, last)
		}
		if ok {
			all.size, all.spread = r.settled(&all)
		}
		switch {
		case !ok:
		case math.Abs(all.size) <= max(fewScatters*all.spread, (1-backShare)*math.Abs(l.size)):
			i = next - 1
			continue
		case math.Abs(all.size-l.size) > sameSize*math.Abs(all.size) && r.stands(&all) || next > i+1:
			l = all
			i = next - 1
		}
		list = append(list, l)
	}
	return list
}

// merge makes one of moves within two days of each other, where what is left of both is a move.
func (r *Record) merge(leaps []leap) (list []leap) {
	for _, l := range leaps {
		if n := len(list); n > 0 && l.after-list[n-1].before <= outHours*hourNs {
			if all, ok := r.between(list[n-1].jump, l.jump); ok && r.settles(&all) {
				list[n-1] = all
				continue
			}
		}
		list = append(list, l)
	}
	return list
}

// between is what lies between two jumps, as a leap; the readings in between are of neither side.
func (r *Record) between(first, last jump) (leap, bool) {
	l := leap{jump: first, out: true}
	l.after, l.fine, l.gap, l.sharp = last.after, false, true, clearSharp
	if !r.place(&l) {
		return l, false
	}
	l.change = r.level(l.a) - r.level(l.b-2)
	r.compareHours(&l)
	return l, true
}

// stands judges a leap between jumps: it is a move by all that is asked of one over a gap, and days tell of it.
func (r *Record) stands(l *leap) bool {
	if math.Abs(l.change) < leastMove*r.noise || math.Abs(l.size) < max(leastMove*r.noise, fewScatters*l.spread) {
		return false
	}
	l.moved = r.moves(l) && l.told > 0
	return l.moved
}

// settles works out the size of a leap between jumps where little else speaks against it, and judges it.
func (r *Record) settles(l *leap) bool {
	if math.Abs(l.change) < leastMove*r.noise || math.Abs(l.goes) > goesOn {
		return false
	}
	l.size, l.spread = r.settled(l)
	return r.stands(l)
}

// outs looks for a sensor that was out of its place and is elsewhere after that, or that moved in stages none of which
// is a move: several jumps, the first and the last in opposite ways or both sharp. What lies between them is of neither
// side.
func (r *Record) outs(jumps []jump, leaps []leap) (list []leap) {
	isMove := func(j jump) bool {
		return slices.ContainsFunc(leaps, func(l leap) bool { return j.before >= l.before && j.after <= l.after })
	}
	for i := 0; i < len(jumps); i++ {
		first, end := jumps[i], i+1
		if isMove(first) {
			continue
		}
		for end < min(i+mostOut, len(jumps)) && !isMove(jumps[end]) &&
			jumps[end].after-first.before <= outHours*hourNs {
			end++
		}
		for k := end - 1; k > i; k-- {
			last := jumps[k]
			staged := first.sharp >= leastSharp && last.sharp >= leastSharp
			if first.change*last.change > 0 && !staged {
				continue
			}
			if l, ok := r.between(first, last); ok && setAnew(&l, first, last) && r.settles(&l) {
				list = append(list, l)
				i = k
				break
			}
		}
	}
	return list
}

// setAnew reports whether the first and the last of some jumps are large enough beside each other and what stays.
func setAnew(l *leap, first, last jump) bool {
	left, came := math.Abs(first.change), math.Abs(last.change)
	return min(left, came) >= outShare*max(left, came, math.Abs(l.change))
}

// comesBack reports whether another sharp jump takes a leap back within three days, as a flow does that stops and
// begins, to where the level was.
func (r *Record) comesBack(jumps []jump, l *leap) bool {
	return slices.ContainsFunc(jumps, func(o jump) bool {
		share := -o.change / l.size
		if o.sharp < leastSharp || share < backShare || share > 1/backShare ||
			max(o.before-l.after, l.before-o.after) > backHours*hourNs {
			return false
		}
		first, last := l.jump, o
		if o.before < l.before {
			first, last = o, l.jump
		}
		all, ok := r.between(first, last)
		if !ok {
			return true
		}
		all.size, all.spread = r.settled(&all)
		return math.Abs(all.size) <= max(fewScatters*all.spread, (1-backShare)*math.Abs(l.size))
	})
}

// slopes reports whether a jump is no more than a slope and the noise of its readings make: lines through the hours
// before and after it, as they are or against the day before, do not part there by half of it, nor by five times what
// the readings scatter.
func (r *Record) slopes(l *leap) bool {
	if l.gap || math.Abs(l.change) >= overNoise*l.stir {
		return false
	}
	plain, daily := r.lines(l)
	least := max(fitScatters*l.stir, mostSlope*math.Abs(l.change))
	return !(plain*sign(l.change) >= least || daily*sign(l.change) >= least)
}

// lines is by how much the lines through the hours on either side of a leap part at it, as they are and against the day
// before.
func (r *Record) lines(l *leap) (plain, daily float64) {
	plain = r.parts(l, func(k int) float64 { return r.hours[k].level })
	daily = r.parts(l, func(k int) float64 {
		if i, ok := r.find(r.hours[k].number - dayHours); ok {
			return r.hours[k].level - r.hours[i].level
		}
		return math.NaN()
	})
	return plain, daily
}

// toldSize is the size of a leap as it is told: of a jump from a reading to the next the middle one of what the hours
// around it and the lines through them say.
func (r *Record) toldSize(l *leap) float64 {
	if l.gap || math.Abs(l.change) >= 2*overNoise*l.stir {
		return l.size
	}
	if plain, daily := r.lines(l); !math.IsNaN(plain) && !math.IsNaN(daily) {
		return median([]float64{l.size, plain, daily})
	}
	return l.size
}

func sign(v float64) float64 { return math.Copysign(1, v) }

// parts is by how much the lines through six hours on either side of a leap part at it; NaN where hours are missing.
func (r *Record) parts(l *leap, of func(int) float64) float64 {
	line := func(from int) (middle, slope float64) {
		var slopes, values []float64
		for k := from; k < from+fitHours; k++ {
			values = append(values, of(k))
			for i := from; i < k; i++ {
				slopes = append(slopes, (of(k)-of(i))/float64(r.hours[k].number-r.hours[i].number))
			}
		}
		return median(values), median(slopes)
	}
	at := float64(l.after)/float64(hourNs) - 0.5
	centre := func(from int) float64 { return float64(r.hours[from].number+r.hours[from+fitHours-1].number) / 2 }
	before, rises := line(l.b - fitHours + 1)
	after, goes := line(l.a)
	return after + goes*(at-centre(l.a)) - before - rises*(at-centre(l.b-fitHours+1))
}

// settled is the size of a leap between jumps, and its scatter as a standard deviation: the level of the hours after it
// less that before, as it is or less the same hours of a day before it, or that of the day after less the same hours of
// the day before, whichever scatters least in the days around.
func (r *Record) settled(l *leap) (size, spread float64) {
	size, spread = l.change, math.Inf(1)
	lag, span := l.a-(l.b-2), r.hours[l.a].number-r.hours[l.b].number
	ago := func(hours int64) int64 { return (span + hours + dayHours - 1) / dayHours * dayHours }
	lesson := func(k, n int, lag int64) float64 { // how far n hours from k on lie above those so long before
		var all []float64
		for i := k; i < min(k+n, len(r.hours)); i++ {
			if o, ok := r.find(r.hours[i].number - lag); ok {
				all = append(all, r.hours[i].level-r.hours[o].level)
			}
		}
		if len(all) < (n+1)/2 {
			return math.NaN()
		}
		return median(all)
	}
	for _, way := range []struct {
		of    func(k int) float64 // with k for the first hour after
		reach int                 // hours it looks back
		ahead int
	}{
		{func(k int) float64 { return r.level(k) - r.level(k-lag) }, lag, 3},
		{func(k int) float64 { return lesson(k, 3, ago(3)) - lesson(k-lag, 3, ago(3)) }, lag + int(ago(3)), 3},
		{func(k int) float64 { return lesson(k, dayHours, ago(dayHours)) }, int(ago(dayHours)), dayHours},
	} {
		var all []float64
		days := 5*dayHours + way.reach
		for k := max(l.b-days, way.reach); k < min(l.a+days, len(r.hours)-way.ahead); k++ {
			if k+way.ahead > l.b+1 && k-way.reach < l.a {
				continue // the leap is in it
			}
			if v := way.of(k); !math.IsNaN(v) {
				all = append(all, v)
			}
		}
		if l.a < way.reach || l.a+way.ahead > len(r.hours) || len(all) < 2*dayHours {
			continue
		}
		if v, s := way.of(l.a), scatter(all); !math.IsNaN(v) && s < spread {
			size, spread = v, s
		}
	}
	if math.IsInf(spread, 1) {
		spread = r.scatterAt(l)
	}
	return size, spread
}

// restsAfter reports whether a fall ends where no hour of the record lies lower, by more than the level goes anyway,
// and the day after it hardly stirs beside the day before.
func (r *Record) restsAfter(l *leap) bool {
	if l.size >= 0 {
		return false
	}
	before, after := make([]float64, dayHours), make([]float64, dayHours)
	for k := range dayHours {
		before[k], after[k] = r.hours[l.b-k].level, r.hours[l.a+k].level
	}
	floor := median(slices.Clone(after)) - leastMove*r.step
	lower := func(h hour) bool { return h.level < floor }
	return !slices.ContainsFunc(r.hours, lower) && scatter(after) <= restShare*scatter(before)
}

// placed is a shift, and the hour where it was taken.
type placed struct {
	at    int
	shift float64
}

// shift is how far the low of some days from hour a on lies above that of the days to hour b: the level that a fifth of
// their hours do not exceed, which storms hardly raise. It is false where half of them are missing.
func (r *Record) shift(b, a, days int) (float64, bool) {
	first, _ := r.find(r.hours[b].number - int64(days*dayHours) + 1)
	last, _ := r.find(r.hours[a].number + int64(days*dayHours))
	if least := days * dayHours / 2; b+1-first < least || last-a < least {
		return 0, false
	}
	return low(r.hours[a:last]) - low(r.hours[first:b+1]), true
}

// low is the level that a fifth of some hours do not exceed.
func low(hours []hour) float64 {
	all := make([]float64, len(hours))
	for i, h := range hours {
		all[i] = h.level
	}
	slices.Sort(all)
	return all[(len(all)-1)/5]
}

// fewest is how many times or days elsewhere tell what is usual, and usual the share of them that is.
const (
	fewest = 10
	usual  = 0.98
)

// usually is what a share of some sizes do not exceed; +Inf where there are too few.
func usually(all []float64) float64 {
	if len(all) < fewest {
		return math.Inf(1)
	}
	slices.Sort(all)
	return all[int(usual*float64(len(all)))]
}

// own is what days do elsewhere, away from a leap.
func (r *Record) own(days int, l *leap) float64 {
	list, ok := r.shifts[days]
	if !ok {
		for i := 0; i+1 < len(r.hours); i += dayHours / 4 * days {
			if s, ok := r.shift(i, i+1, days); ok {
				list = append(list, placed{i, math.Abs(s)})
			}
		}
		r.shifts[days] = list
	}
	var all []float64
	for _, s := range list {
		if s.at+days*dayHours < l.b || s.at-days*dayHours > l.a {
			all = append(all, s.shift)
		}
	}
	return usually(all)
}

// inSuchTime is how far the level goes elsewhere in the time that a gap takes.
func (r *Record) inSuchTime(l *leap) float64 {
	lag := r.hours[l.a].number - r.hours[l.b].number
	var all []float64
	for k := 0; k < len(r.hours); k += 3 {
		if i, ok := r.find(r.hours[k].number + lag); ok && (i < l.b || k > l.a) {
			all = append(all, math.Abs(r.hours[i].level-r.hours[k].level))
		}
	}
	return usually(all)
}

// scatterAt is how far the level goes in the time of a leap, in the five days on either side of it, or by how much more
// or less than the day before, where days are alike; the lesser of the two.
func (r *Record) scatterAt(l *leap) float64 {
	lag, end := l.a-(l.b-2), min(l.a+5*dayHours, len(r.hours))
	var plain, daily []float64
	for k := max(l.b-5*dayHours, 0); k+lag+3 <= end; k++ {
		if k+lag+3 > l.b && k < l.a {
			continue
		}
		plain = append(plain, r.level(k+lag)-r.level(k))
		if d := r.sinceYesterday(k+lag) - r.sinceYesterday(k); !math.IsNaN(d) {
			daily = append(daily, d)
		}
	}
	switch {
	case len(plain) == 0:
		return 0
	case len(daily) < len(plain)/2:
		return scatter(plain)
	}
	return min(scatter(plain), scatter(daily))
}
