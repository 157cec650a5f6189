package ingest

import (
	"fmt"
	"io"
	"iter"
	"path/filepath"
	"sort"

	"retotal/ingest/reading"
)

// errEnd is the end of a file or of the log.
var errEnd = io.EOF

// unique drops the second and later readings of one time: equal ones are repetitions; others are conflicts, and the
// reading that stays is marked. The last reading is kept back until it is known what follows it, so that the result
// does not depend on where batches end.
func (m *merger) unique(readings iter.Seq2[*reading.Batch, error]) iter.Seq2[*reading.Batch, error] {
	return func(yield func(*reading.Batch, error) bool) {
		for b, err := range readings {
			if err != nil {
				yield(nil, err)
				return
			}
			start := m.likeHeld(b)
			if m.held != nil && start == b.Len() {
				continue
			}
			if m.held != nil && !yield(m.held, nil) {
				return
			}
			n := m.compact(b, start)
			m.hold(b, n)
			if b.Slice(start, n); !yield(b, nil) {
				return
			}
		}
		if m.held != nil {
			yield(m.held, nil)
		}
	}
}

// likeHeld accounts for the readings at the beginning of a batch that have the time of the one kept back, and returns
// how many they are.
func (m *merger) likeHeld(b *reading.Batch) (n int) {
	for m.held != nil && n < b.Len() && b.Time[n] == m.held.Time[0] {
		m.compare(m.held, 0, b, n)
		n++
	}
	return n
}

// compact drops repetitions and conflicts among the readings of a batch from start on, and returns where the last one
// stands then.
func (m *merger) compact(b *reading.Batch, start int) (n int) {
	if b.Rising {
		return max(b.Len()-1, 0)
	}
	n = start
	for i := n + 1; i < b.Len(); i++ {
		if b.Time[i] == b.Time[n] {
			m.compare(b, n, b, i)
			continue
		}
		if n++; n != i {
			b.Keep(n, i)
		}
	}
	return n
}

// hold copies reading i, to be passed on later.
func (m *merger) hold(b *reading.Batch, i int) {
	if b.Len() == 0 {
		m.held = nil
		return
	}
	m.passed.Reset(m.log.Has)
	m.passed.File, m.passed.Conflict = []int32{}, []bool{}
	m.passed.Append(b, i)
	m.held = &m.passed
}

// compare accounts for reading j, of the time of reading i that stays.
func (m *merger) compare(stays *reading.Batch, i int, b *reading.Batch, j int) {
	if stays.Same(i, b, j) {
		m.log.Account.Repeated++
		return
	}
	file, line := stays.Place(i)
	other, number := b.Place(j)
	m.log.Account.conflict(Example{m.log.Files[other].Name, int(number), "conflicting",
		fmt.Sprintf("same time and other values than line %d of %s", line, filepath.Base(m.log.Files[file].Name))})
	if stays.Conflict == nil {
		stays.Conflict = make([]bool, stays.Len())
	}
	stays.Conflict[i] = true
}

// within narrows a batch to the readings of the reporting period, and those so close to it that a total is integrated
// up to its bounds, and counts them; it reports whether there are any.
func (m *merger) within(b *reading.Batch) bool {
	low, high := 0, b.Len()
	period := m.log.Site.Report
	margin := m.log.LongestGap().Nanoseconds()
	if period.From != nil {
		low = sort.Search(high, func(i int) bool { return b.Time[i] >= period.From.UTC-margin })
	}
	if period.Until != nil {
		high = max(low, sort.Search(high, func(i int) bool { return b.Time[i] > period.Until.UTC+margin }))
	}
	a := &m.log.Account
	a.OutOfPeriod += b.Len() - (high - low)
	if low == high {
		return false
	}
	b.Slice(low, high)
	if a.Used == 0 {
		m.log.From = b.Time[0]
	}
	a.Used += high - low
	m.log.Until = b.Time[b.Len()-1]
	a.states(b)
	return true
}

// states counts absent and illegible values.
func (a *Account) states(b *reading.Batch) {
	if b.Whole {
		return
	}
	for q := range b.State {
		for _, s := range b.State[q] {
			if s == reading.Present {
				continue
			}
			counts := &a.Missing
			if s != reading.Empty {
				counts = &a.Illegible
			}
			if *counts == nil {
				*counts = map[string]int{}
			}
			(*counts)[reading.Quantity(q).String()]++
		}
	}
}
