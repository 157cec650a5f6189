package profile

import (
	"math"
	"slices"
)

// side is how many readings on either side of an excursion are looked at, and mostSpikes how many it has at most.
const (
	side       = 3
	mostSpikes = 12
	windowSize = side + mostSpikes + side
)

// shape is an excursion to one side, the local slope taken out. Sizes are in metres and, Off aside, not negative.
type shape struct {
	readings int
	off      float64 // median of the excursion from the median of the six readings around it, negative below
	jump     float64 // the smaller of the jumps at its two ends
	larger   float64 // the other one
	apart    float64 // the last reading before and the first one after it
	spread   float64 // the largest distance of the six readings from their median
	returns  bool    // the readings on both sides agree with each other; else the level is another one afterwards
}

// limits are what an excursion must reach, in metres: small is the noise that sizes are held against, large the one
// that agreement is held against.
type limits struct {
	small, large float64
	most         int     // readings of an excursion that returns
	fall         float64 // smaller jump of a fall that need not return; the larger one is twice that
}

// Least sizes of an excursion in units of noise, by how many readings it has.
func leastJump(readings int) float64 {
	if readings == 1 {
		return 3
	}
	return 5
}

func leastOff(readings int) float64 {
	switch {
	case readings == 1:
		return 4.3
	case readings <= 4:
		return 7
	default:
		return 9
	}
}

// find returns the shortest excursion that begins at the fourth reading of a window and returns, else the shortest
// fall.
func (l *limits) find(w []float64) (found shape, ok bool) {
	most := min(mostSpikes, len(w)-2*side)
	if !l.mayLast(w) {
		most = min(most, 1)
	}
	for m := 1; m <= most; m++ {
		tilt, jump, back := l.jumps(w, m)
		if back {
			break
		}
		if jump < leastJump(m)*l.small {
			continue
		}
		s, is := l.shape(w, m, tilt)
		if is && (s.returns || !ok) {
			found, ok = s, true
		}
		if is && s.returns {
			break
		}
	}
	return found, ok
}

// mayLast says that more than one reading can be off: the first jumps far enough from the slope before it.
func (l *limits) mayLast(w []float64) bool {
	return math.Abs(w[side]-w[side-1]-(w[side-1]-w[0])/2) >= (leastJump(2)-slopeNoise)*l.small
}

// slopeNoise is by how much noise the slope before an excursion may differ from the one around it.
const slopeNoise = 0.6

// measure looks at the excursion of m readings.
func (l *limits) measure(w []float64, m int) (s shape, ok bool) {
	tilt, jump, back := l.jumps(w, m)
	if back || jump < leastJump(m)*l.small {
		return s, false
	}
	return l.shape(w, m, tilt)
}

// slope is the mean of the middle two of the four changes within the two sides, or 0 where it does not matter.
func (l *limits) slope(w []float64, m int) float64 {
	a, b := w[1]-w[0], w[2]-w[1]
	c, d := w[side+m+1]-w[side+m], w[side+m+2]-w[side+m+1]
	low, high := max(min(a, b), min(c, d)), min(max(a, b), max(c, d))
	tilt := (low + high) / 2
	if math.Abs(tilt)*float64(m+1) < l.small/2 {
		return 0
	}
	return tilt
}

// jumps returns the local slope and the smaller of the two jumps, negative where they go to different sides; back says
// that the last of the m readings is back already, so that no longer excursion begins here either.
func (l *limits) jumps(w []float64, m int) (tilt, jump float64, back bool) {
	tilt = l.slope(w, m)
	first := w[side] - w[side-1] - tilt
	inside := w[side+m-1] - w[side-1] - float64(tilt*float64(m))
	last := w[side+m-1] - w[side+m] + tilt
	if first < 0 {
		first, last, inside = -first, -last, -inside
	}
	return tilt, min(first, last), inside <= 0
}

// shape measures an excursion of m readings whose jumps are large enough.
func (l *limits) shape(w []float64, m int, tilt float64) (s shape, ok bool) {
	level := func(i int) float64 { return w[i] - float64(tilt*float64(i-side+1)) }
	a, b := w[side-1], level(side+m)
	first, last := level(side)-a, level(side+m-1)-b
	up := math.Copysign(1, first)
	s.jump, s.larger = min(up*first, up*last), max(up*first, up*last)
	excess := math.Inf(1)
	var inside [mostSpikes]float64
	for i := range m {
		inside[i] = level(side + i)
		excess = min(excess, up*(inside[i]-a), up*(inside[i]-b))
	}
	around := [2 * side]float64{w[0] + 2*tilt, w[1] + tilt, a, b, level(side + m + 1), level(side + m + 2)}
	spread := around
	slices.Sort(spread[:])
	middle := (spread[side-1] + spread[side]) / 2
	s.readings, s.apart = m, math.Abs(a-b)
	s.spread = max(middle-spread[0], spread[2*side-1]-middle)
	s.off = median(inside[:m]) - middle
	h := math.Abs(s.off)
	if h >= leastOff(m)*l.small && excess >= 0.3*h && (m == 1 || s.jump >= 0.6*h) && l.agree(&s, h) {
		s.returns = true
		return s, true
	}
	s.off += middle - min(median(around[:side]), median(around[side:]))
	return s, up < 0 && s.jump > l.fall && s.larger > 2*l.fall && excess >= -s.off/2
}

// agree says that the readings on both sides of an excursion of a size agree with each other.
func (l *limits) agree(s *shape, h float64) bool {
	return s.readings <= l.most && s.apart <= float64(0.3*s.jump)+2*l.large &&
		(s.spread <= 0.4*h || s.spread <= float64(0.25*h)+2*l.large)
}

// median sorts the values.
func median(values []float64) float64 {
	slices.Sort(values)
	n := len(values)
	return (values[(n-1)/2] + values[n/2]) / 2
}
