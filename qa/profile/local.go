package profile

import "math"

// noiseOfMedian makes the noise of a reading of the median distance from the middle of its neighbours: for normal noise
// the median is 0.826 standard deviations (0.6745·√1.5), which this makes 0.95.
const noiseOfMedian = 1.15

// stepShare is the share of the changes other than zero that are no more than the record's step.
const stepShare = 0.02

// stepOf is the step of a record by its changes, and by the distances of readings from the middle of their neighbours,
// which are half a step at least and know no slope: water that moves by more than a step each time does not hide it.
func stepOf(changes, off *histogram) float64 {
	return min(changes.ofMoving(stepShare), 2*off.ofMoving(stepShare))
}

// local is the noise of the last some thousand readings, by which excursions are found before the whole record is
// known.
type local struct {
	least   float64 // m, the stated step
	seen    int     // first reading at hand that it has not learned from
	zeros   int
	fresh   int // readings since it forgot half, and since it was asked
	unasked int
	changes histogram
	off     histogram
	noise   float64
}

// stretch is how many readings are learned from, and then passed over; a power of two.
const stretch = 64

// learn takes in the readings at hand.
func (l *local) learn(x []float64, least float64) {
	for k := max(l.seen, 2); k < len(x); k++ {
		if k&stretch != 0 { // every other stretch is enough
			k += stretch - 1
			continue
		}
		change, before := x[k]-x[k-1], x[k-1]-x[k-2]
		if math.Abs(change) <= least {
			if l.zeros++; l.zeros > mostZeros {
				continue
			}
		} else {
			l.zeros = 0
			l.changes[bin(math.Abs(change))]++
		}
		off := math.Abs(change-before) / 2
		if off < least {
			off = 0
		}
		l.off[bin(off)]++
	}
	n := len(x) - l.seen
	l.seen, l.fresh, l.unasked = len(x), l.fresh+n, l.unasked+n
	if l.noise > 0 && l.unasked < block/8 {
		return
	}
	l.unasked = 0
	l.noise = max(l.least, stepOf(&l.changes, &l.off), least, noiseOfMedian*l.off.quantile(0.5))
	if l.fresh >= block {
		l.fresh = 0
		l.changes.halve()
		l.off.halve()
	}
}
