package ingest

import (
	"context"
	"slices"
	"sort"

	"retotal/ingest/reading"
)

// stream is one open file as batches of instants in order.
type stream struct {
	file   *File
	source source
	clock  *clock // nil when the file holds instants
	batch  *reading.Batch
	next   int   // first reading of batch that was not taken yet
	last   int64 // the latest reading so far
}

// merger joins the streams of all files. Files wait closed until the merge comes to their first reading.
type merger struct {
	log     *Log
	waiting []*File // in the order of their first readings
	open    []*stream
	use     func(*reading.Batch) error
	closed  int64 // bytes of files that are done
	merged  reading.Batch
	held    *reading.Batch // the last reading, kept back for comparison with those to come
	passed  reading.Batch  // memory of held
}

// mergedRows is the size of the batches that a row-by-row merge makes.
const mergedRows = 1 << 14

func (m *merger) close() {
	for _, s := range m.open {
		s.source.Close()
	}
}

// run passes everything on. Files that have to be sorted come first: only then is their earliest reading known.
func (m *merger) run(ctx context.Context) error {
	slices.SortStableFunc(m.waiting, func(a, b *File) int {
		if a.Sorted == b.Sorted {
			return 0
		}
		if a.Sorted {
			return -1
		}
		return 1
	})
	for len(m.waiting) > 0 && m.waiting[0].Sorted {
		if err := m.openNext(); err != nil {
			return err
		}
	}
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		b, err := m.nextBatch()
		if err != nil {
			return err
		}
		if b == nil {
			return m.flush()
		}
		if err := m.unique(b); err != nil {
			return err
		}
	}
}

// nextBatch returns the next readings in order of time: a whole batch of one file when no other file has readings among
// them, else rows of several files merged. Nil is the end.
func (m *merger) nextBatch() (*reading.Batch, error) {
	if err := m.refill(); err != nil || len(m.open) == 0 {
		return nil, err
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
		return s.take(end), nil
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
	src, bad := f.open(&m.log.Site.Log, m.log.Hashed)
	if bad != nil {
		return bad
	}
	s := &stream{file: f, source: src, last: -1 << 63}
	if !f.start.Absolute {
		s.clock = &clock{zone: m.log.Site.Log.Clock}
	}
	m.open = append(m.open, s)
	if f.Sorted {
		return m.loadSorted(s)
	}
	return nil
}

// read brings the next batch of a stream. At the end it notes the file's hash and closes it.
func (m *merger) read(s *stream) error {
	s.batch, s.next = nil, 0
	if s.file.Sorted { // it was loaded whole, and closed
		return errEnd
	}
	b, err := m.fetch(s)
	if err != nil {
		return err
	}
	last, rising := s.last, true
	for _, t := range b.Time {
		if t <= last {
			if t < last {
				return disorder{s.file}
			}
			rising = false
		}
		last = t
	}
	s.last, b.Rising = last, rising
	s.batch = b
	return nil
}

// fetch reads one batch as instants and counts its rows.
func (m *merger) fetch(s *stream) (*reading.Batch, error) {
	b, err := s.source.Next()
	if eof(err) {
		return nil, m.finish(s)
	}
	if err != nil {
		return nil, err
	}
	m.log.read.Store(m.closed + s.source.Position())
	if s.clock != nil {
		s.clock.apply(b)
	}
	m.log.correctTimes(b, s.file.raw)
	m.log.Account.Read += b.Read
	m.log.Account.reject(s.file.Name, b.Rejected)
	b.FileNumber = int32(slices.Index(m.log.Files, s.file))
	return b, nil
}

// finish notes the hash of a file that was read to its end; it returns the end or an error.
func (m *merger) finish(s *stream) error {
	s.file.SHA256, _ = s.source.Sum()
	m.closed += s.file.Size
	m.log.read.Store(m.closed)
	if err := s.source.Close(); err != nil {
		return err
	}
	return errEnd
}

// loadSorted reads a whole file and sorts its rows by time, equal times in the order of the file.
func (m *merger) loadSorted(s *stream) error {
	whole := &reading.Batch{}
	whole.Reset(m.log.Has)
	whole.File = []int32{}
	for {
		b, err := m.fetch(s)
		if eof(err) {
			break
		}
		if err != nil {
			return err
		}
		for i := range b.Time {
			whole.Append(b, i)
		}
	}
	order := make([]int, whole.Len())
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(i, j int) bool { return whole.Time[order[i]] < whole.Time[order[j]] })
	sorted := &reading.Batch{}
	sorted.Reset(m.log.Has)
	sorted.File = []int32{}
	for _, i := range order {
		sorted.Append(whole, i)
	}
	s.batch = sorted
	return nil
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
