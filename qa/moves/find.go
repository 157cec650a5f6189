package moves

import (
	"math"
	"slices"
)

// Move is a time in which the sensor was moved.
type Move struct {
	Before, After int64   // times of the last reading before it and of the first after it
	Out           int     // leaps in between that are part of it: the sensor was out of its place
	Size          float64 // m, of the level
	Scatter       float64 // m: how far the record goes over the same time anyway, as a standard deviation
}

// Limits of the search, in words of the comments beside them.
const (
	leastMove  = 6    // a move exceeds what the record does within a day so many times
	overOthers = 2    // and the largest changes of the hours around it, in the median
	leastNear  = 0.65 // share of the jump by which the hours after it differ from those before it
	mostNear   = 1.4
	steady     = 0.3 // share by which the level may go on otherwise than before, within 12 hours
	steadyFine = 1.2 // the same, of a jump that stands out where a storm would take several readings
	leastSharp = 3   // how far it stands out
	informed   = 2   // days tell of a move that exceeds what they do elsewhere so many times
	tells      = 3
	stays      = 0.5 // share of it that they must show
	fewOthers  = 2   // jumps of half its size or more, the same way, that do not yet make it the record's own
	outHours   = 48  // longest time out of place
	mostOut    = 5   // leaps within it
)

// leap is a jump, or several, that may be a move.
type leap struct {
	jump
	out    int
	b, a   int // last hour before it and first after it
	size   float64
	near   float64 // by which share of it the hours after it differ from those before it
	goesOn float64 // share of it by which the level then goes on otherwise than before
	told   int     // the longest time, in days, in which the days before and after it tell of it
	back   bool    // these days do not show it
}

// Find looks for moves, in the order of time.
func (r *Record) Find() (list []Move) {
	r.noise = r.Daily()
	r.spread = map[int][]spread{}
	jumps := r.large()
	var leaps []leap
	for i := range jumps {
		if l, ok := r.leapOf(jumps[i : i+1]); ok {
			leaps = append(leaps, l)
		}
	}
	r.all = leaps
	for i := range leaps {
		if l := &leaps[i]; r.isMove(l) && (l.told >= 4 || others(leaps, l) <= fewOthers) {
			list = append(list, r.move(l))
			r.last = append(r.last, *l)
		}
	}
	return list
}

// large lists the jumps that are large enough, in the order of time.
func (r *Record) large() (list []jump) {
	for i := range r.pairs {
		p := &r.pairs[i]
		two := []jump{p.rise, p.fall}
		if two[1].before < two[0].before {
			two[0], two[1] = two[1], two[0]
		}
		for _, j := range two {
			if math.Abs(j.change) >= leastMove*r.noise && math.Abs(j.change) >= overOthers*r.around(i) {
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

// leapOf makes a leap of jumps; false where the hours around them do not tell, or tell that the level does not go by as much.
func (r *Record) leapOf(jumps []jump) (l leap, ok bool) {
	first, last := &jumps[0], &jumps[len(jumps)-1]
	l = leap{jump: *first, out: len(jumps) - 1}
	l.after = last.after
	if l.out > 0 {
		l.fine = false
	}
	l.b, _ = r.find(hourOf(l.before))
	l.b--
	if l.a, ok = r.find(hourOf(l.after)); ok {
		l.a++
	}
	if l.b < dayHours || l.a+dayHours >= len(r.hours) {
		return l, false
	}
	x1, x0 := r.level(l.a), r.level(l.b-2)
	c := l.change
	l.near, l.size = (x1-x0)/c, x1-x0
	A, B := (r.level(l.a+9)-x1)/c, (x0-r.level(l.b-11))/c
	l.goesOn = least(A, A-B)
	y1, ok1 := r.sinceYesterday(l.a)
	y2, ok2 := r.sinceYesterday(l.a + 9)
	y0, ok3 := r.sinceYesterday(l.b - 2)
	y4, ok4 := r.sinceYesterday(l.b - 11)
	if ok1 && ok2 {
		l.goesOn = least(l.goesOn, (y2-y1)/c)
		if ok3 && ok4 {
			l.goesOn = least(l.goesOn, (y2-y1-y0+y4)/c)
			if n := (y1 - y0) / c; math.Abs(n-1) < math.Abs(l.near-1) {
				l.near, l.size = n, y1-y0
			}
		}
	}
	h := r.hours
	lin := h[l.a].level - h[l.b].level - (h[l.a+1].level-h[l.a].level)/2 - (h[l.b].level-h[l.b-1].level)/2
	if n := lin / c; math.Abs(n-1) < math.Abs(l.near-1) {
		l.near, l.size = n, lin
	}
	return l, l.near >= leastNear && l.near <= mostNear
}

// least is the one nearer to zero.
func least(a, b float64) float64 {
	if math.Abs(a) < math.Abs(b) {
		return a
	}
	return b
}

// find returns where an hour stands, or would.
func (r *Record) find(number int64) (int, bool) {
	return slices.BinarySearchFunc(r.hours, number, func(h hour, n int64) int { return int(h.number - n) })
}

// level is the median of three hours from k on.
func (r *Record) level(k int) float64 {
	return median([]float64{r.hours[k].level, r.hours[k+1].level, r.hours[k+2].level})
}

// sinceYesterday is how far three hours from k on differ from those at the same time of the day before, in the median; false where there are none.
func (r *Record) sinceYesterday(k int) (float64, bool) {
	var all []float64
	for j := k; j < k+3; j++ {
		if i, ok := r.find(r.hours[j].number - dayHours); ok {
			all = append(all, r.hours[j].level-r.hours[i].level)
		}
	}
	if len(all) == 0 {
		return 0, false
	}
	return median(all), true
}

// isMove judges a leap by itself.
func (r *Record) isMove(l *leap) bool {
	if l.sharp < leastSharp || l.sharp < 3.6 && math.Abs(l.goesOn) > 1.2 {
		return false
	}
	if !l.fine && (math.Abs(l.goesOn) > 0.2 || l.near < 0.75 || l.near > 1.3) {
		return false
	}
	for _, days := range spans {
		s, ok := r.shift(l.b, l.a, days)
		if own := r.own(days, l); ok && math.Abs(l.change) >= informed*own {
			if s/l.change < stays {
				return false
			}
			if math.Abs(l.change) >= tells*own {
				l.told = days
			}
		}
	}
	return l.fine || l.change < 0 || l.told > 0
}

// others is how many other leaps are half as large or more, the same way.
func others(leaps []leap, l *leap) (n int) {
	for i := range leaps {
		if o := &leaps[i]; o.change/l.change >= 0.5 && o.before != l.before && o.sharp >= leastSharp {
			n++
		}
	}
	return n
}

// spans are the days that are compared on either side.
var spans = []int{1, 2, 4, 8, 16, 32}

// spread is a shift, and where it was taken.
type spread struct {
	at    int
	shift float64
}

// shift is how far the low of some days from hour a on lies above that of the days to hour b; false where more than half of them are missing.
func (r *Record) shift(b, a, days int) (float64, bool) {
	low := func(from, until int) (float64, bool) {
		if until-from < days*dayHours/2 {
			return 0, false
		}
		all := make([]float64, 0, until-from)
		for _, h := range r.hours[from:until] {
			all = append(all, h.level)
		}
		slices.Sort(all)
		return all[(len(all)-1)/5], true
	}
	first, _ := r.find(r.hours[b].number - int64(days*dayHours) + 1)
	last, _ := r.find(r.hours[a].number + int64(days*dayHours))
	before, ok1 := low(first, b+1)
	after, ok2 := low(a, last)
	return after - before, ok1 && ok2
}

// own is what days do elsewhere: their shifts are less in 98 of 100; +Inf where too few are known.
func (r *Record) own(days int, l *leap) float64 {
	list, ok := r.spread[days]
	if !ok {
		for i := 0; i+1 < len(r.hours); i += dayHours / 4 * days {
			if s, ok := r.shift(i, i+1, days); ok {
				list = append(list, spread{i, math.Abs(s)})
			}
		}
		r.spread[days] = list
	}
	var all []float64
	for _, s := range list {
		if s.at+days*dayHours < l.b || s.at-days*dayHours > l.a {
			all = append(all, s.shift)
		}
	}
	if len(all) < 10 {
		return math.Inf(1)
	}
	slices.Sort(all)
	return all[len(all)*98/100]
}

// move makes a move of a leap.
func (r *Record) move(l *leap) Move {
	m := Move{Before: l.before, After: l.after, Out: l.out, Size: l.size}
	var all []float64
	lag := l.a - l.b
	for k := max(l.b-5*dayHours, 0); k+lag+3 < min(l.a+5*dayHours, len(r.hours)); k++ {
		if k+lag+3 < l.b || k > l.a {
			all = append(all, r.level(k+lag)-r.level(k))
		}
	}
	if len(all) > 0 {
		m.Scatter = scatter(all)
	}
	return m
}
