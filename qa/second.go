package qa

import "math"

// peaks are the flags of what the record tells to jump off its level and back.
const peaks = Spike | OddPeak

// confirmedShare is how much of an excursion a second sensor must show, to the same side: common practice.
const confirmedShare = 0.5

// confirmed says that a second sensor shows the excursion in which row i stands, in the mean over its readings and
// against the readings beside it. Each sensor is held against itself, so that it does not matter by how much they
// differ. A second sensor is independent; what the meter makes of the level, its flow and its counter, is not.
func (w *Window) confirmed(i int) bool {
	if w.SecondHead == nil {
		return false
	}
	before, after := i-1, i+1
	for w.isPeak(before) {
		before--
	}
	for w.isPeak(after) {
		after++
	}
	if before < 0 || after >= len(w.Time) || !w.Second[before] || !w.Second[after] {
		return false
	}
	off, second := 0.0, 0.0
	for k := before + 1; k < after; k++ {
		if !w.Second[k] {
			return false
		}
		off += w.Head[k] - (w.Head[before]+w.Head[after])/2
		second += w.SecondHead[k] - (w.SecondHead[before]+w.SecondHead[after])/2
	}
	return off*second > 0 && math.Abs(second) >= confirmedShare*math.Abs(off)
}

// isPeak says of a row at hand that the record tells it to be in an excursion.
func (w *Window) isPeak(i int) bool {
	return w.Told != nil && i >= 0 && i < len(w.Told) && w.Told[i]&peaks != 0
}

// notWithin is a row, or the first row of the excursion within which it stands, or that has not ended, where a second
// sensor judges the whole of it.
func (w *Window) notWithin(i int) int {
	for w.SecondHead != nil && (i == len(w.Time) || w.isPeak(i)) && w.isPeak(i-1) {
		i--
	}
	return i
}
