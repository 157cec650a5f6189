package profile

import "math"

// A histogram of sizes in metres: bins of an eighth of a doubling, linear inside a doubling, from 2⁻²³ m (an eighth of
// a micrometre) to 16 m, and one for what is smaller, zero included. Larger sizes are in the last bin.
const (
	perOctave  = 8
	leastPower = -23
	mostPower  = 4
	bins       = 1 + (mostPower-leastPower)*perOctave
)

type histogram [bins]uint32

// lowestKey are the upper bits of 2^leastPower: exponent, and the three bits of the mantissa that tell eighths.
const (
	mantissaBits = 52
	eighthBits   = 3
	lowestKey    = (1023 + leastPower) << eighthBits
)

// bin is where a size belongs.
func bin(size float64) int {
	k := int(math.Float64bits(size)>>(mantissaBits-eighthBits)) - lowestKey + 1
	return min(max(k, 0), bins-1)
}

// edge is the lower end of a bin.
func edge(k int) float64 {
	if k == 0 {
		return 0
	}
	k--
	return math.Ldexp(1+float64(k%perOctave)/perOctave, leastPower+k/perOctave)
}

func (h *histogram) add(size float64) { h[bin(size)]++ }

func (h *histogram) merge(other *histogram) {
	for k, n := range other {
		h[k] += n
	}
}

func (h *histogram) halve() {
	for k := range h {
		h[k] /= 2
	}
}

func (h *histogram) count() (n int) {
	for _, c := range h {
		n += int(c)
	}
	return n
}

// quantile is the size that a share of the sizes do not exceed, on a straight line within its bin; what is in the first
// bin is zero. It is zero where nothing was counted.
func (h *histogram) quantile(share float64) float64 { return h.after(share*float64(h.count()), 0) }

// ofMoving is the quantile of what is not zero.
func (h *histogram) ofMoving(share float64) float64 {
	return h.after(share*float64(h.count()-int(h[0])), 1)
}

// after is the size at a rank, from a bin on.
func (h *histogram) after(rank float64, first int) float64 {
	below, last := 0.0, 0
	for k := first; k < bins; k++ {
		n := float64(h[k])
		if n == 0 {
			continue
		}
		if last = k; below+n >= rank {
			return edge(k) + float64((edge(k+1)-edge(k))*(rank-below)/n)*inside(k)
		}
		below += n
	}
	return edge(last)
}

// above is how many sizes lie in bins that begin at a size or above it.
func (h *histogram) above(size float64) (n int) {
	for k := bins - 1; k > 0 && edge(k) >= size; k-- {
		n += int(h[k])
	}
	return n
}

// inside is 0 for the bin of zero, in which nothing is told apart, and 1 for all others.
func inside(k int) float64 {
	if k == 0 {
		return 0
	}
	return 1
}

// lengths is a histogram of how many readings runs have: each length to 16 apart, then bins of an eighth of a doubling.
type lengths [lengthBins]uint32

const (
	apart      = 16
	apartPower = 4
	lengthBins = apart + 20*perOctave
)

func lengthBin(n int) int {
	if n < apart {
		return n
	}
	k := int(math.Float64bits(float64(n))>>(mantissaBits-eighthBits)) - (1023+apartPower)<<eighthBits
	return min(apart+k, lengthBins-1)
}

// longest is the most that a bin holds.
func longest(k int) int {
	if k < apart {
		return k
	}
	k -= apart
	next := math.Ldexp(1+float64(k%perOctave+1)/perOctave, apartPower+k/perOctave)
	return int(math.Ceil(next)) - 1
}

func (l *lengths) merge(other *lengths) {
	for k, n := range other {
		l[k] += n
	}
}

func (l *lengths) count() (n int) {
	for _, c := range l {
		n += int(c)
	}
	return n
}

// others is the length that a share of the runs do not exceed, one run of so many readings left out, and how many runs
// that were.
func (l *lengths) others(share float64, own int) (length, count int) {
	left := *l
	if k := lengthBin(own); left[k] > 0 {
		left[k]--
	}
	count = left.count()
	below := 0
	for k, n := range left {
		if below += int(n); n > 0 && float64(below) >= share*float64(count) {
			return longest(k), count
		}
	}
	return 0, count
}
