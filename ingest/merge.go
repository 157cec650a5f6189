package ingest

import (
	"cmp"
	"errors"
	"fmt"
	"iter"
	"os"
	"slices"
	"sort"

	"retotal/ingest/csvlog"
	"retotal/ingest/reading"
)

// stream is one open file as batches of instants in order.
type stream struct {
	file     *File
	source   source // nil once it was read to its end
	clock    *clock // nil when the file holds instants
	batch    *reading.Batch
	next     int            // first reading of batch that was not taken yet
	last     int64          // the latest reading so far
	expected expected       // what the time of the next reading is judged by
	window   *reading.Batch // of a file that is read through a window: rows not passed on yet
	ended    bool
}

// merger joins the streams of all files. Files wait closed until the merge comes to their first reading.
type merger struct {
	log     *Log
	stopped func() error // of the context
	waiting []*File      // in the order of their first readings
	open    []*stream
	closed  int64 // bytes of files that are done
	merged  reading.Batch
	codes   codes
	sampler *sampler
	// levels that are logged as pressures
	pressures pressures
	held      *reading.Batch // the last reading, kept back for comparison with those to come
	passed    reading.Batch  // memory of held
}

// mergedRows is the size of the batches that a row-by-row merge makes, mostRows that of any: a file that was sorted is
// passed on in pieces.
const (
	mergedRows = 1 << 14
	mostRows   = 1 << 16
)

// close ends the reading of all files, wherever it stands.
func (m *merger) close() {
	for _, s := range m.open {
		if s.source != nil {
			s.source.Close()
		}
	}
	m.open = nil
}

// ordered is all readings in the order of time; an error is the last thing that comes.
func (m *merger) ordered() iter.Seq2[*reading.Batch, error] {
	return func(yield func(*reading.Batch, error) bool) {
		err := m.openDisordered()
		for err == nil {
			var b *reading.Batch
			if b, err = m.nextBatch(); err == nil && !yield(b, nil) {
				return
			}
		}
		if !eof(err) {
			yield(nil, err)
		}
	}
}

// openDisordered opens the files that are out of order: only when they are open is their earliest reading known.
func (m *merger) openDisordered() error {
	slices.SortStableFunc(m.waiting, func(a, b *File) int { return b.rank() - a.rank() })
	for len(m.waiting) > 0 && m.waiting[0].Disorder != inOrder {
		if err := m.openNext(); err != nil {
			return err
		}
	}
	return nil
}

// nextBatch returns the next readings in order of time: a whole batch of one file when no other file has readings among
// them, else rows of several files merged; errEnd after the last.
func (m *merger) nextBatch() (*reading.Batch, error) {
	if err := m.stopped(); err != nil {
		return nil, err
	}
	if err := m.refill(); err != nil {
		return nil, err
	}
	if len(m.open) == 0 {
		return nil, errEnd
	}
	s := m.earliest()
	until := int64(1<<63 - 1) // first reading of the other files
	for _, other := range m.open {
		if other != s {
			until = min(until, other.time())
		}
	}
	if len(m.waiting) > 0 {
		until = min(until, m.waiting[0].first)
	}
	b := s.batch
	end := s.next + sort.Search(b.Len()-s.next, func(i int) bool { return b.Time[s.next+i] > until })
	if end == b.Len() || end-s.next >= mergedRows {
		return s.take(min(end, s.next+mostRows)), nil
	}
	return m.rows()
}

// rows merges row by row.
func (m *merger) rows() (*reading.Batch, error) {
	m.merged.Reset(m.log.Has)
	m.merged.File = []int32{}
	m.merged.Conflict = nil
	for m.merged.Len() < mergedRows {
		if err := m.refill(); err != nil {
			return nil, err
		}
		if len(m.open) == 0 {
			break
		}
		s := m.earliest()
		m.merged.Append(s.batch, s.next)
		s.next++
	}
	return &m.merged, nil
}

// refill opens waiting files that begin before the earliest reading at hand and reads on where a batch is used up.
func (m *merger) refill() error {
	for {
		for i := 0; i < len(m.open); {
			s := m.open[i]
			for s.batch == nil || s.next == s.batch.Len() {
				if err := m.read(s); err != nil {
					if eof(err) {
						m.open = slices.Delete(m.open, i, i+1)
						s = nil
						break
					}
					return err
				}
			}
			if s != nil {
				i++
			}
		}
		if len(m.waiting) == 0 || len(m.open) > 0 && m.waiting[0].first > m.earliest().time() {
			return nil
		}
		if err := m.openNext(); err != nil {
			return err
		}
	}
}

func (m *merger) openNext() error {
	f := m.waiting[0]
	m.waiting = m.waiting[1:]
	src, bad := f.open(&m.log.Site.Log, m.log.Hashed && f.SHA256 == "")
	if bad != nil {
		return bad
	}
	if err := f.unchanged(); err != nil {
		return errors.Join(err, src.Close())
	}
	s := &stream{file: f, source: src, last: -1 << 63, expected: expected{f.raw, f.unset, m.log.Site.Log.ClockJumps}}
	if !f.start.Absolute {
		s.clock = &clock{zone: m.log.Site.Log.Clock, near: m.log.near, has: m.log.Has}
	}
	m.open = append(m.open, s)
	switch f.Disorder {
	case inWindow:
		s.window = m.blank()
	case sorted:
		return m.loadSorted(s)
	}
	return nil
}

// read brings the next batch of a stream. At the end it notes the file's hash and closes it.
func (m *merger) read(s *stream) error {
	s.batch, s.next = nil, 0
	switch s.file.Disorder {
	case sorted: // it was loaded whole, and closed
		return errEnd
	case inWindow:
		return m.readWindow(s)
	}
	b, err := m.fetch(s)
	if err != nil {
		return err
	}
	last, rising := s.last, true
	for _, t := range b.Time {
		if t <= last {
			if t < last {
				return disorder{s.file, t}
			}
			rising = false
		}
		last = t
	}
	s.last, b.Rising = last, rising
	s.batch = b
	return nil
}

// reorderWindow is how many rows a row may be late by before its whole file is sorted in memory.
const reorderWindow = 1 << 16

// readWindow brings the next batch of a file whose rows are somewhat out of order: the earlier half of a window of
// sorted rows.
func (m *merger) readWindow(s *stream) error {
	for !s.ended && s.window.Len() < 2*reorderWindow {
		b, err := m.fetch(s)
		if eof(err) {
			s.ended = true
			break
		}
		if err != nil {
			return err
		}
		for i, t := range b.Time {
			if t < s.last {
				return disorder{s.file, t}
			}
			s.window.Append(b, i)
		}
	}
	rows := sortRows(s.window)
	if err := s.file.relearn(rows); err != nil {
		return err
	}
	s.window = m.blank()
	n := rows.Len()
	if n == 0 {
		return errEnd
	}
	if !s.ended {
		n -= reorderWindow
	}
	for i := n; i < rows.Len(); i++ {
		s.window.Append(rows, i)
	}
	rows.Slice(0, n)
	s.last, s.batch = rows.Time[n-1], rows
	return nil
}

// blank returns an empty batch for rows of any file.
func (m *merger) blank() *reading.Batch {
	b := &reading.Batch{}
	b.Reset(m.log.Has)
	b.File = []int32{}
	return b
}

// sortRows returns the rows in the order of time, equal times in the order of the file.
func sortRows(b *reading.Batch) *reading.Batch {
	if newestFirst(b.Time) {
		b.Reverse()
		return b
	}
	order := make([]int, b.Len())
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(b.Time[i], b.Time[j]) })
	out := &reading.Batch{File: []int32{}}
	for q := range b.Value {
		if b.Value[q] != nil {
			out.Value[q], out.State[q] = []float64{}, []reading.State{}
		}
	}
	for _, i := range order {
		out.Append(b, i)
	}
	return out
}

// newestFirst reports whether each time is before the one above it.
func newestFirst(times []int64) bool {
	for i := 1; i < len(times); i++ {
		if times[i] >= times[i-1] {
			return false
		}
	}
	return true
}

// fetch reads one batch as instants and counts its rows, unless the context has ended: a file that is sorted is read
// whole before any of it is passed on.
func (m *merger) fetch(s *stream) (*reading.Batch, error) {
	if err := m.stopped(); err != nil {
		return nil, err
	}
	b, err := s.source.Next()
	if eof(err) && s.clock != nil {
		if b = s.clock.flush(); b != nil {
			return m.count(s, b), nil
		}
	}
	if eof(err) {
		return nil, m.finish(s)
	}
	if err != nil {
		return nil, err
	}
	if b.Misled > 0 && s.file.CSV != nil && !s.file.CSV.Settled {
		return nil, misled{s.file}
	}
	m.log.read.Store(m.closed + s.source.Position())
	b.FileNumber = int32(slices.Index(m.log.Files, s.file))
	if s.clock != nil {
		b = s.clock.apply(b)
	}
	return m.count(s, b), nil
}

// count corrects the times of a batch and takes it into the account.
func (m *merger) count(s *stream, b *reading.Batch) *reading.Batch {
	m.log.correctTimes(b, &s.expected)
	m.log.Account.Read += b.Read
	m.log.Account.reject(s.file.Name, b.Rejected)
	m.codes.watch(b)
	rejected := len(b.Rejected)
	m.pressures.takeAir(b)
	m.log.Account.reject(s.file.Name, b.Rejected[rejected:])
	return b
}

// unchanged fails when a file is no longer the one that was first looked at: all passes over a log, and its hash, must
// be of the same bytes.
func (f *File) unchanged() error {
	now, err := os.Stat(f.Name)
	if err == nil && os.SameFile(f.info, now) && f.info.Size() == now.Size() && f.info.ModTime().Equal(now.ModTime()) {
		return nil
	}
	return fmt.Errorf("%s: the log changed while it was read; nothing was written for it; run again", f.Name)
}

// finish notes the hash of a file that was read to its end; it returns the end or an error.
func (m *merger) finish(s *stream) error {
	if sum, _ := s.source.Sum(); sum != "" {
		s.file.SHA256 = sum
	}
	if r, ok := s.source.(*csvlog.Reader); ok && r.Unended() {
		m.log.Account.Unended++
	}
	m.closed += s.file.Size
	m.log.read.Store(m.closed)
	err := errors.Join(s.source.Close(), s.file.unchanged())
	if s.source = nil; err != nil {
		return err
	}
	return errEnd
}

// loadSorted reads a whole file and sorts its rows.
func (m *merger) loadSorted(s *stream) error {
	whole := m.blank()
	for {
		b, err := m.fetch(s)
		if eof(err) {
			break
		}
		if err != nil {
			return err
		}
		if whole.Len() == 0 {
			whole.Grow(s.rowsLeft(b.Len()))
		}
		for i := range b.Time {
			whole.Append(b, i)
		}
	}
	s.batch = sortRows(whole)
	return s.file.relearn(s.batch)
}

// rowsLeft is about how many rows a file holds of which the first ones were read.
func (s *stream) rowsLeft(read int) int {
	share := float64(s.source.Position()) / float64(max(s.file.Size, 1))
	return int(float64(read) / max(share, 1e-6) * 1.02)
}

// relearn takes the interval of a file from the first rows that were sorted: the first that were read may be of any
// time, and what is made of readings by a wrong interval, until all are seen, may take very long.
func (f *File) relearn(rows *reading.Batch) error {
	if f.relearned || rows.Len() < 2 {
		return nil
	}
	f.relearned = true
	step := reading.MedianStep(rows.Time[:min(rows.Len(), mostRows)])
	if step == 0 || f.start.Interval > 0 && keeps(step, f.start.Interval) {
		return nil
	}
	f.start.Interval = step
	return relearned{f}
}

func (s *stream) time() int64 { return s.batch.Time[s.next] }

// take hands out readings next to end−1 of the stream's batch.
func (s *stream) take(end int) *reading.Batch {
	out := *s.batch
	out.Slice(s.next, end)
	s.next = end
	return &out
}

// earliest returns the stream with the earliest reading; of equals, the one opened first.
func (m *merger) earliest() *stream {
	best := m.open[0]
	for _, s := range m.open[1:] {
		if s.time() < best.time() {
			best = s
		}
	}
	return best
}
