package qa

import (
	"math"
	"slices"
	"sort"

	"retotal/recompute/stat"
)

// madToDeviation turns a median absolute deviation into the standard deviation of normal noise: 1/(√2 erfinv(1/2)).
const madToDeviation = 1.4826

// fewestReadings is how many readings a spike window must hold; with fewer, at gaps and at the ends of the log, the
// check is not run.
const fewestReadings = 5

// spikes runs the Hampel identifier on a window in time: half before and half after each reading. A block of rows whose
// whole surroundings lie within the least threshold cannot hold a spike and is passed over.
func (s *Screener) spikes(w *Window, from, until int) {
	if s.Limits.Means {
		return
	}
	if s.Limits.SpikeThreshold == 0 {
		return // the record tells
	}
	const block = 64
	least := s.Limits.SpikeThreshold * s.Limits.SpikeFloor
	for low := from; low < until; low += block {
		high := min(low+block, until)
		first, last := s.around(w, low, high-1)
		lowest, highest := w.Value[first], w.Value[first]
		for _, v := range w.Value[first:last] {
			if v < lowest {
				lowest = v
			} else if v > highest {
				highest = v
			}
		}
		if highest-lowest <= least {
			continue
		}
		for i := low; i < high; i++ {
			if s.isSpike(w, i, least) {
				w.Flags[i] |= Spike
			}
		}
	}
}

// around returns the rows from half a window before row i to half a window after row j.
func (s *Screener) around(w *Window, i, j int) (first, last int) {
	before, after := w.Time[i]-s.Limits.half(), w.Time[j]+s.Limits.half()
	first = i
	for first > 0 && w.Time[first-1] >= before {
		first--
	}
	n := len(w.Time) - j - 1
	last = j + 1 + sort.Search(n, func(k int) bool { return w.Time[j+1+k] > after })
	return first, last
}

// isSpike tests one reading.
func (s *Screener) isSpike(w *Window, i int, least float64) bool {
	first, last := s.around(w, i, i)
	near := w.Value[first:last]
	if len(near) < fewestReadings {
		return false
	}
	x := w.Value[i]
	if far := slices.ContainsFunc(near, func(v float64) bool { return math.Abs(v-x) > least }); !far {
		return false
	}
	s.sorted = append(s.sorted[:0], near...)
	middle := stat.Median(s.sorted)
	off := math.Abs(x - middle)
	if off <= least {
		return false
	}
	for k, v := range near {
		s.sorted[k] = math.Abs(v - middle)
	}
	return off > s.Limits.SpikeThreshold*math.Max(madToDeviation*stat.Median(s.sorted), s.Limits.SpikeFloor)
}
