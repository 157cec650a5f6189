package moves

import (
	"math"
	"slices"
)

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
	if math.Abs(l.change) < leastMove*r.noise || !r.goesOnSparse(l) || !r.askDays(l) || l.told == 0 {
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
