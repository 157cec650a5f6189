package profile

import (
	"math"
	"slices"
)

// Faults are of all sizes, and what comes again and again by one size is the record's own, however rare: the runs of a
// pump, a tank that is flushed. Of fewestAlike excursions to one side, and half of all that compare with them, the
// sizes lie within a factor of alikeFactor; then those within a factor of alikeReach of their median are alike.
const (
	fewestAlike = 6
	alikeShare  = 0.5
	alikeFactor = 1.35
	alikeReach  = 2
)

// alike are the least and the greatest size of excursions that are alike; both 0 where none are.
type alike struct{ least, most float64 }

func (a alike) holds(size float64) bool { return size > 0 && size >= a.least && size <= a.most }

// alikeOf looks for the sizes that are alike.
func alikeOf(sizes []float64) alike {
	slices.Sort(sizes)
	first, count, from := 0, 0, 0
	for i, x := range sizes {
		for x > alikeFactor*sizes[from] {
			from++
		}
		if i+1-from > count {
			first, count = from, i+1-from
		}
	}
	if count < fewestAlike || float64(count) < alikeShare*float64(len(sizes)) {
		return alike{}
	}
	m := median(slices.Clone(sizes[first : first+count]))
	return alike{m / alikeReach, m * alikeReach}
}

// findAlike marks the excursions of one side, sign 1 for up, that are alike, among those of one reading, of more, or
// all; and those that end at one and the same extreme, as a sensor's drop-outs do.
func (r *record) findAlike(lists [][]spiked, sign float64) {
	var groups [3][]float64
	for k, list := range lists {
		for i := range list {
			h := math.Abs(list[i].off)
			length := min(k, 1)
			groups[length], groups[2] = append(groups[length], h), append(groups[2], h)
		}
	}
	all := alikeOf(groups[2])
	for k, list := range lists {
		alike := alikeOf(groups[min(k, 1)])
		for i := range list {
			h := math.Abs(list[i].off)
			list[i].alike = (alike.holds(h) || all.holds(h)) && !r.deep(&list[i])
		}
	}
	r.findDropOuts(lists, sign)
}

// deepRanges is how many times the range of the record, from its 1st to its 99th percentile, a fall may go below its
// lowest level and be water's: lost echoes fall further, and by the same again and again.
const deepRanges = 3

// deep says that an excursion falls below all that water may do.
func (r *record) deep(one *spiked) bool {
	return slices.Max(one.inside()) < r.lowest-float64(deepRanges*(r.high-r.low))
}

// An excursion stands at an extreme of the record within extremeSteps of its steps. Where fewestDropOuts or more do,
// they are drop-outs of a sensor to its end, whose sizes are alike where the water is: they do not show that they are
// the water's own.
const (
	extremeSteps   = 1.5
	fewestDropOuts = 6
)

// findDropOuts marks the excursions of a side that stand at the extreme of the record.
func (r *record) findDropOuts(lists [][]spiked, sign float64) {
	extreme := -r.least - r.width // the lowest level lies within a bucket
	if sign > 0 {
		extreme = float64(r.buckets[len(r.buckets)-1].index) * r.width
	}
	for _, list := range lists {
		for i := range list {
			for _, x := range list[i].inside() {
				extreme = max(extreme, sign*x)
			}
		}
	}
	var there []*spiked
	for _, list := range lists {
		for i := range list {
			if list[i].standsAt(sign*extreme, extremeSteps*r.step) {
				there = append(there, &list[i])
			}
		}
	}
	for _, one := range there {
		one.ends = len(there) >= fewestDropOuts
	}
}

func (s *spiked) inside() []float64 { return s.levels()[side : side+s.candidate.readings] }

// standsAt says that all readings of an excursion are at one level.
func (s *spiked) standsAt(level, within float64) bool {
	return !slices.ContainsFunc(s.inside(), func(x float64) bool { return math.Abs(x-level) > within })
}

// A record that jumps, up and down, and jumpsOften by jumpShare of what an excursion of more than one reading does or
// more, may have made it: a gate that is moved and moved back.
const (
	jumpsOften = 5
	jumpShare  = 0.7
)

// jumpsSo says that the record jumps by so much, excursions aside. A jump lies half of itself off the middle of its
// neighbours before it and after it, as the changes of a steep slope do not.
func (r *record) jumpsSo(jump float64) bool {
	least := jumpShare * jump
	up, down, off := r.whole.rise.above(least), r.whole.fall.above(least), r.whole.off.above(least/2)
	return up > 0 && down > 0 && min(up+down, off/2) >= jumpsOften
}
