package profile

import "math"

// mostBuckets is how many buckets of level are kept; when more would be in use, buckets become twice as wide.
const mostBuckets = 256

// leastWidth is the width of a bucket at first, where the log's step is not known.
const leastWidth = 1e-4 // m

// bucket is what the record does while the level is within a narrow range: at a change, that is the level from which
// the water moves.
type bucket struct {
	index    int64
	readings uint32
	rise     histogram // changes from a reading to the next, up; those of zero are here
	fall     histogram
	off      histogram // distances of readings from the middle of their neighbours
	runs     lengths   // of runs of equal values
}

// change counts a change from a reading to the next; what is no more than least is zero.
func (b *bucket) change(change, least float64) {
	switch {
	case change < -least:
		b.fall.add(-change)
	case change <= least:
		b.rise[0]++
	default:
		b.rise.add(change)
	}
}

// bend counts the reading between two changes that differ by so much.
func (b *bucket) bend(difference, least float64) {
	if off := math.Abs(difference) / 2; off > least {
		b.off.add(off)
	} else {
		b.off[0]++
	}
}

func (b *bucket) merge(other *bucket) {
	b.readings += other.readings
	b.rise.merge(&other.rise)
	b.fall.merge(&other.fall)
	b.off.merge(&other.off)
	b.runs.merge(&other.runs)
}

// buckets hold the buckets in use, whatever lies between them, so that a few figures far off cost a bucket each and no
// detail. Their width is the first width times a power of two.
type buckets struct {
	width, perMetre float64
	last            *bucket
	near            [2 * mostBuckets]*bucket // by the last bits of the index, for speed
	list            []*bucket                // in the order in which they came in use
}

func newBuckets(step float64) buckets {
	w := max(step, leastWidth)
	return buckets{width: w, perMetre: 1 / w}
}

// at returns the bucket of a level, which must be a number.
func (s *buckets) at(level float64) *bucket {
	i := index(level * s.perMetre)
	if s.last != nil && s.last.index == i {
		return s.last
	}
	if b := s.near[i&int64(len(s.near)-1)]; b != nil && b.index == i {
		s.last = b
		return b
	}
	return s.find(level)
}

// index is the whole number at or below x. A level that no sensor has does not go beyond what an index holds.
func index(x float64) int64 { return int64(math.Floor(min(max(x, -1e15), 1e15))) }

// find looks for the bucket of a level among all, or begins one.
func (s *buckets) find(level float64) *bucket {
	i := index(level * s.perMetre)
	for _, b := range s.list {
		if b.index == i {
			s.remember(b)
			return b
		}
	}
	for len(s.list) == mostBuckets {
		s.widen()
		return s.at(level)
	}
	b := &bucket{index: i}
	s.list = append(s.list, b)
	s.remember(b)
	return b
}

func (s *buckets) remember(b *bucket) { s.near[b.index&int64(len(s.near)-1)], s.last = b, b }

// widen makes every bucket twice as wide and merges those that have become one.
func (s *buckets) widen() {
	s.width, s.perMetre = 2*s.width, s.perMetre/2
	clear(s.near[:])
	s.last = nil
	kept := map[int64]*bucket{}
	list := s.list[:0]
	for _, b := range s.list {
		b.index >>= 1 // rounds down, below zero too
		if other := kept[b.index]; other != nil {
			other.merge(b)
			continue
		}
		kept[b.index] = b
		list = append(list, b)
	}
	clear(s.list[len(list):])
	s.list = list
}
