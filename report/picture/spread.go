package picture

import "math"

// Spread is how values of a stretch of time are spread.
type spread struct {
	n         int
	low, high float64
	// First quartile, median and third quartile: of n values in order, those numbered n/4, n/2 and 3n/4, rounded up.
	quarter, middle, threeQuarters float64
}

// mostExact is how many values of a stretch are kept, so that its quartiles are exact: a month of minutes.
const mostExact = 1 << 16

// gatherer of a spread: values as they are up to mostExact, beyond that counts of classes that are 1/128 of a power of
// two wide, so that a quartile is off by 0.4 % of itself at most. Least and greatest are always exact.
type spreading struct {
	n         int
	low, high float64
	values    []float64
	counts    map[uint64]int32 // by class; nil as long as all values are kept
}

// classBits is by how many bits of a number its class leaves it out: of 52 of the fraction, 7 count.
const classBits = 52 - 7

func (s *spreading) add(v float64) {
	if s.n == 0 {
		s.low, s.high = v, v
	}
	s.n++
	s.low, s.high = math.Min(s.low, v), math.Max(s.high, v)
	if s.values = append(s.values, v); len(s.values) == mostExact {
		s.count()
	}
}

// count puts the values at hand into their classes.
func (s *spreading) count() {
	if s.counts == nil {
		s.counts = map[uint64]int32{}
	}
	for _, v := range s.values {
		s.counts[math.Float64bits(v)>>classBits]++
	}
	s.values = s.values[:0]
}

// finish returns what there was and begins anew.
func (s *spreading) finish() (r spread) {
	r = spread{n: s.n, low: s.low, high: s.high}
	switch {
	case s.n == 0:
	case s.counts == nil:
		r.quarter, r.middle, r.threeQuarters = quartiles(s.values)
	default:
		s.count()
		r.quarter, r.middle, r.threeQuarters = s.ranked(1), s.ranked(2), s.ranked(3)
	}
	*s = spreading{values: s.values[:0]}
	return r
}

// rank is the number, from 0, of the value at so many quarters of n.
func rank(quarters, n int) int { return max((quarters*n+3)/4-1, 0) }

// ranked is the middle of the class in which a quartile lies, no further out than the least and the greatest value.
func (s *spreading) ranked(quarters int) float64 {
	classes := sortedClasses(s.counts)
	left := rank(quarters, s.n)
	for _, c := range classes {
		if left -= int(s.counts[c]); left < 0 {
			v := math.Float64frombits(c<<classBits | 1<<(classBits-1))
			if c<<classBits == 0 || c<<classBits == 1<<63 {
				v = 0
			}
			return math.Max(s.low, math.Min(v, s.high))
		}
	}
	return s.high
}

// quartiles takes three values by their ranks; it puts the values into another order.
func quartiles(values []float64) (quarter, middle, threeQuarters float64) {
	n := len(values)
	one, two, three := rank(1, n), rank(2, n), rank(3, n)
	choose(values, two)
	choose(values[:two], one)
	choose(values[two+1:], three-two-1)
	return values[one], values[two], values[three]
}

// choose puts the value of rank k, from 0, at its place, smaller ones before it and larger ones behind it (Hoare's
// selection).
func choose(v []float64, k int) {
	low, high := 0, len(v)-1
	for k >= low && k <= high && low < high {
		a, b, c := v[low], v[(low+high)/2], v[high]
		pivot := math.Max(math.Min(a, b), math.Min(math.Max(a, b), c))
		i, j := low, high
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return
		}
	}
}
