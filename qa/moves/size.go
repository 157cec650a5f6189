package moves

import (
	"cmp"
	"math"
	"slices"
)

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
				r.times[days] = append(r.times[days], i)
			}
		}
		slices.SortFunc(list, func(a, b placed) int { return cmp.Compare(a.shift, b.shift) })
		r.shifts[days] = list
	}
	first, next := l.b-days*dayHours, l.a+days*dayHours+1 // those from first on and before next are near the leap
	near, _ := slices.BinarySearch(r.times[days], first)
	beyond, _ := slices.BinarySearch(r.times[days], next)
	n := len(list) - (beyond - near)
	if n < fewest {
		return math.Inf(1)
	}
	above := n - int(usual*float64(n)) // of them, with the one that is told
	for i := len(list) - 1; ; i-- {
		if list[i].at < first || list[i].at >= next {
			if above--; above == 0 {
				return list[i].shift
			}
		}
	}
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
