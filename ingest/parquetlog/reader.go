// Package parquetlog reads one Parquet log file into batches.
//
// Columns are read in blocks of 64 Ki rows through the column readers of Arrow, from pages of our own (pages.go), so
// that memory does not grow with the row group and every page is held to its checksum. The library turns damage into
// panics; they are caught here, around opening and reading, and become problems.
package parquetlog

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"sync"
	"sync/atomic"

	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// blockRows is how many rows of a column are read at a time.
const blockRows = 1 << 16

// Layout is how a Parquet file is written, as far as a log needs it.
type Layout struct {
	Odd      []string // what the names of columns contradict in the site file
	log      *site.Log
	Rows     int64
	Columns  []string
	Units    [reading.Count]quantity.Unit
	start    reading.Start
	time     int // column numbers; −1 for none
	hours    int // the time of day, when time holds the date alone
	columns  [reading.Count]int
	divisor  [reading.Count]float64 // of decimal columns, 10^scale; 1 for others
	half     [reading.Count]bool    // columns of numbers in 16 bits
	epoch    reading.Epoch          // what its numbers count
	counted  bool                   // the time is a plain number that counts since 1970
	broken   bool                   // the time is a number with a fraction
	unknown  []int                  // columns of a logical type that is not known
	perTick  int64                  // nanoseconds of one unit of the time column
	perHours int64                  // nanoseconds of one unit of the time of day
	codecs   []string
	sums     checksums // of the pages of the last reading to the end
	groups   int
	TimeUnit string
}

// Start returns what the first rows show.
func (l *Layout) Start() reading.Start { return l.start }

// Absolute reports whether the time column holds instants (UTC) rather than local times.
func (l *Layout) Absolute() bool { return l.start.Absolute }

// Reader reads one file.
type Reader struct {
	name    string
	file    *os.File
	parquet *file.Reader
	layout  *Layout
	group   int
	open    []*column // of the current row group: time first
	hours   *column   // the time of day; nil when the time is whole
	left    int64     // rows left in the group
	row     int32
	batch   reading.Batch
	sums    checksums
	hashing sync.WaitGroup
	quit    chan struct{} // ends the hashing
	sum     string
	size    int64
	read    atomic.Int64
}

// IsParquet reports whether a file begins with the mark of the format.
func IsParquet(name string) bool {
	f, err := os.Open(name)
	if err != nil {
		return false
	}
	defer f.Close()
	mark := make([]byte, 4)
	_, err = io.ReadFull(f, mark)
	return err == nil && string(mark) == "PAR1"
}

// firstRows is how many rows a file is judged by before it is read.
const firstRows = 2000

// Inspect reads the schema and the first rows.
func Inspect(name string, log *site.Log) (*Layout, *problem.Problem) {
	l := &Layout{log: log}
	r, bad := open(name, l)
	if bad != nil {
		return nil, bad
	}
	defer r.Close()
	if bad := guard(name, func() error { return l.plan(name, r.parquet, log) }); bad != nil {
		return nil, bad
	}
	if l.counted {
		if bad := guard(name, func() error { return l.findEpoch(name) }); bad != nil {
			return nil, bad
		}
	}
	var b *reading.Batch
	bad = guard(name, func() (err error) { b, err = r.nextBlock(firstRows); return err })
	if bad != nil {
		return nil, bad
	}
	if l.Rows == 0 || b == nil {
		return nil, problem.At(problem.Place{File: name}, "the log has no rows", "at least one reading", "")
	}
	l.start.Look(slices.Clone(b.Time))
	for q := range b.Value {
		if b.Value[q] != nil {
			l.start.Resolution[q] = resolution(b.Value[q], b.State[q], l.Units[q])
		}
	}
	return l, nil
}

// Open starts to read a file of a known layout. Its SHA-256 is taken beside the reading when it is wanted.
func Open(name string, l *Layout, hashed bool) (*Reader, *problem.Problem) {
	r, bad := open(name, l)
	if bad != nil {
		return nil, bad
	}
	if hashed {
		r.hashing.Go(func() { r.sum = hashFile(name, r.quit) })
	}
	return r, nil
}

// open opens the file and its footer.
func open(name string, l *Layout) (*Reader, *problem.Problem) {
	f, err := os.Open(name)
	if err != nil {
		found := "the file cannot be opened: " + fmt.Sprint(errors.Unwrap(err))
		return nil, problem.At(problem.Place{File: name}, found, "", "")
	}
	r := &Reader{name: name, file: f, layout: l, quit: make(chan struct{})}
	if info, err := f.Stat(); err == nil {
		r.size = info.Size()
	}
	bad := guard(name, func() (err error) {
		properties := parquet.NewReaderProperties(bounded{memory.DefaultAllocator})
		r.parquet, err = newParquetReader(f, properties, l)
		return err
	})
	if bad != nil {
		f.Close()
		return nil, bad
	}
	return r, nil
}

// Next returns the next batch, valid until the next call, and io.EOF after the last.
func (r *Reader) Next() (*reading.Batch, error) {
	var b *reading.Batch
	if bad := guard(r.name, func() (err error) { b, err = r.nextBlock(blockRows); return err }); bad != nil {
		return nil, bad
	}
	if b == nil {
		return nil, io.EOF
	}
	r.read.Store(int64(float64(r.size) * float64(r.row) / float64(max(r.layout.Rows, 1))))
	return b, nil
}

// nextBlock reads up to n rows of the current row group; nil after the last group.
func (r *Reader) nextBlock(n int64) (*reading.Batch, error) {
	for r.left == 0 {
		if r.group == r.parquet.NumRowGroups() {
			if int64(r.row) != r.layout.Rows {
				return nil, fmt.Errorf("%d rows were read, the footer promises %d", r.row, r.layout.Rows)
			}
			r.layout.sums = r.sums
			return nil, nil
		}
		if err := r.openGroup(); err != nil {
			return nil, err
		}
	}
	n = min(n, r.left)
	for _, c := range r.open {
		if err := c.read(n); err != nil {
			return nil, err
		}
	}
	switch {
	case r.hours != nil:
		if err := r.hours.read(n); err != nil {
			return nil, err
		}
		r.open[0].addHours(r.hours, r.layout.perHours)
	case r.layout.broken:
		r.open[0].round(r.layout.perTick)
	}
	r.left -= n
	r.spread(int(n))
	return &r.batch, nil
}

// openGroup opens the columns of the next row group.
func (r *Reader) openGroup() error {
	group := r.parquet.RowGroup(r.group)
	r.group++
	r.left = group.NumRows()
	memory := r.open // columns of the last group, for their memory
	r.open = nil
	for q, number := range append([]int{r.layout.time}, r.layout.columns[:]...) {
		if number < 0 {
			continue
		}
		chunk, err := r.openColumn(group, number)
		if err != nil {
			return err
		}
		c := &column{}
		if len(r.open) < len(memory) {
			c = memory[len(r.open)]
		}
		c.quantity, c.chunk, c.optional = q-1, chunk, chunk.Descriptor().MaxDefinitionLevel() > 0
		if c.divisor = 1; c.quantity >= 0 {
			c.divisor, c.half = r.layout.divisor[c.quantity], r.layout.half[c.quantity]
			if spec := &r.layout.log.Columns[c.quantity]; spec.Loop || len(spec.Codes) > 0 {
				c.spec = spec
			}
		}
		r.open = append(r.open, c)
	}
	if number := r.layout.hours; number >= 0 {
		chunk, err := r.openColumn(group, number)
		if err != nil {
			return err
		}
		r.hours = &column{chunk: chunk, optional: chunk.Descriptor().MaxDefinitionLevel() > 0}
	}
	return nil
}

// perTick is the nanoseconds of one unit of the time as it was read: of joined dates and times, and of numbers with a
// fraction, one.
func (r *Reader) perTick() int64 {
	if r.hours != nil || r.layout.broken {
		return 1
	}
	return r.layout.perTick
}

// spread turns the columns just read into the batch.
func (r *Reader) spread(n int) {
	var has [reading.Count]bool
	for _, c := range r.open[1:] {
		has[c.quantity] = true
	}
	b := &r.batch
	b.Reset(has)
	b.Read = n
	if r.clean(n) {
		return
	}
	at := r.open[0]
	for i := range n {
		r.row++
		reason, suspect := "", false
		var values [reading.Count]float64
		var states [reading.Count]reading.State
		ticks, perTick := at.integers[i], r.perTick()
		if at.missing(i) || ticks > math.MaxInt64/perTick || ticks < -(math.MaxInt64/perTick) {
			reason = "time stamp is missing or out of range"
		}
		for j, c := range r.open[1:] {
			q := c.quantity
			values[q], states[q] = c.reading(i, r.layout.Units[q])
			suspect = suspect || j == 0 && c.spec != nil && states[q] == reading.Present && c.spec.IsSuspect(c.value(i))
			if j == 0 && reason == "" {
				reason = reading.Quantity(q).Reason(states[q])
			}
		}
		if reason != "" {
			b.Rejected = append(b.Rejected, reading.Rejection{Line: r.row, Reason: reason})
			continue
		}
		b.Time, b.Line = append(b.Time, ticks*perTick), append(b.Line, r.row)
		for q := range has {
			if has[q] {
				b.Value[q], b.State[q] = append(b.Value[q], values[q]), append(b.State[q], states[q])
			}
		}
		if suspect {
			b.MarkSuspect(b.Len()-1, n)
		}
	}
}

// clean turns the columns into the batch one after the other, when every row has a time and a level; else it returns
// false.
func (r *Reader) clean(n int) bool {
	at, perTick := r.open[0], r.perTick()
	most := math.MaxInt64 / perTick
	for i, ticks := range at.integers[:n] {
		if at.missing(i) || ticks > most || ticks < -most {
			return false
		}
	}
	level := r.open[1]
	unit, greatest := r.layout.Units[level.quantity], reading.Quantity(level.quantity).Most()
	for i := range n {
		v := level.value(i)
		if level.missing(i) || !(math.Abs(unit.ToSI(v)) <= greatest) || level.spec != nil && level.spec.IsSuspect(v) {
			return false
		}
	}
	b := &r.batch
	b.Time, b.Line = slices.Grow(b.Time, n)[:n], slices.Grow(b.Line, n)[:n]
	for i, ticks := range at.integers[:n] {
		b.Time[i], b.Line[i] = ticks*perTick, r.row+int32(i)+1
	}
	r.row += int32(n)
	b.Whole = true
	for _, c := range r.open[1:] {
		values, states := slices.Grow(b.Value[c.quantity], n)[:n], slices.Grow(b.State[c.quantity], n)[:n]
		unit, most := r.layout.Units[c.quantity], reading.Quantity(c.quantity).Most()
		for i := range values {
			values[i], states[i] = unit.ToSI(c.value(i)), reading.Present
			if c.missing(i) || !(math.Abs(values[i]) <= most) {
				values[i], states[i] = c.reading(i, unit)
				b.Whole = false
			}
		}
		b.Value[c.quantity], b.State[c.quantity] = values, states
	}
	return true
}

// Sum returns the SHA-256 of the file, "" when it was not wanted, and its size. It waits for the hash.
func (r *Reader) Sum() (string, int64) {
	r.hashing.Wait()
	return r.sum, r.size
}

// Position returns the share of the file that was read, in bytes.
func (r *Reader) Position() int64 { return r.read.Load() }

// Close closes the file, wherever reading stands, and ends the hashing.
func (r *Reader) Close() error {
	close(r.quit)
	r.hashing.Wait()
	return r.file.Close()
}

// resolution is the step that most values of a column obey, SI; 0 when there is none.
func resolution(values []float64, states []reading.State, u quantity.Unit) float64 {
	var digits reading.Digits
	for i, v := range values {
		if states == nil || states[i] == reading.Present {
			n := reading.Decimals(v, u)
			digits.Add(v, n, n)
		}
	}
	if n := digits.Usual(); n >= 0 {
		return reading.Step(n, u)
	}
	return 0
}
