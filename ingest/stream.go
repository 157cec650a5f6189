// Package ingest opens all logs of a site as one ordered stream and accounts for every row.
package ingest

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"slices"
	"sync/atomic"
	"time"

	"retotal/ingest/csvlog"
	"retotal/ingest/parquetlog"
	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// File is one log file: how it was understood and, once it was read, its hash.
type File struct {
	Name     string // as opened
	Size     int64
	SHA256   string // of one reading; the file is unchanged in all
	Disorder Disorder
	CSV      *csvlog.Layout
	Parquet  *parquetlog.Layout
	start    reading.Start
	// relearned says that the interval was taken from sorted rows; as long as the file's way of sorting stays the same.
	relearned bool
	info      os.FileInfo        // when it was first looked at
	raw       int64              // instant of its first reading, by its clock
	unset     []int64            // the same of readings before its clock was set
	first     int64              // the same, corrected
	pressed   []reading.Decision // how pressures became levels
}

// Disorder is how a file whose rows are not in the order of time is read.
type Disorder int

// The ways of reading a file.
const (
	inOrder  Disorder = iota
	inWindow          // rows are sorted within a window that moves along
	sorted            // the whole file is sorted in memory
)

// String says in words what was done about the order of rows; "" for nothing.
func (d Disorder) String() string {
	return [...]string{"", "rows are somewhat out of order and were sorted on the way",
		"rows are far out of order and were sorted in memory"}[d]
}

// rank orders files by when they must be opened.
func (f *File) rank() int { return min(int(f.Disorder), 1) }

// Decisions lists how the file was understood.
func (f *File) Decisions() []reading.Decision {
	list := slices.Concat(f.decisions(), f.pressed)
	if text := f.Disorder.String(); text != "" {
		why := "a row is earlier than one before it"
		list = append(list, reading.Decision{Subject: "order", Found: text, Because: why})
	}
	return list
}

// Preamble returns the first lines above a CSV file's header.
func (f *File) Preamble() []string {
	if f.CSV == nil {
		return nil
	}
	return f.CSV.Preamble
}

// Unit returns the unit of a quantity in the file.
func (f *File) Unit(q reading.Quantity) quantity.Unit {
	if f.Parquet != nil {
		return f.Parquet.Units[q]
	}
	return f.CSV.Units[q]
}

// odd is what the file contradicts in the site file.
func (f *File) odd() []string {
	if f.Parquet != nil {
		return f.Parquet.Odd
	}
	return f.CSV.Odd
}

func (f *File) decisions() []reading.Decision {
	if f.Parquet != nil {
		return f.Parquet.Decisions()
	}
	return f.CSV.Decisions()
}

// Log is what is known of a site's log: the files from the beginning, the account and the hashes at the end.
type Log struct {
	Site    *site.Site
	Files   []*File
	Account Account
	reading.Facts
	Hashed  bool // take the SHA-256 of each file while it is read, for the record; set before Batches
	read    atomic.Int64
	learned int  // how often another sampling was learned
	sure    bool // a whole reading has confirmed how it was sampled
	paces   int  // intervals one after the other, when it was learned last
}

// Total returns the size of all files; Position how much of it has been read.
func (l *Log) Total() (bytes int64) {
	for _, f := range l.Files {
		bytes += f.Size
	}
	return bytes
}

// Known is what arithmetic needs to know of the log; it is final once the log was read.
func (l *Log) Known() *reading.Facts { return &l.Facts }

// Position returns how many bytes have been read, for a progress display.
func (l *Log) Position() int64 { return l.read.Load() }

// disorder is the error of a file whose rows turn out not to be in the order of time.
type disorder struct {
	file *File
	at   int64 // the first row that is too early
}

func (d disorder) Error() string { return d.file.Name + ": rows are not in the order of time" }

// misled is the error of a file whose rows contradict what its beginning showed.
type misled struct{ file *File }

func (m misled) Error() string { return m.file.Name + ": the first rows misled" }

// relearned is the error of a file that shows another interval once its rows are sorted.
type relearned struct{ file *File }

func (r relearned) Error() string { return r.file.Name + ": its interval is another" }

// Batches is one reading of the log: all readings in the order of time, each time once. A batch is valid until the next
// one; an error is the last thing that comes. That a file's first rows misled, that its rows are out of order, or that
// the log was sampled in another way than they show, is found only on the way; then the error is reading.ErrAgain, and
// the next call of Batches reads by what was learned.
func (l *Log) Batches(ctx context.Context) iter.Seq2[*reading.Batch, error] {
	return func(yield func(*reading.Batch, error) bool) {
		m := l.begin(ctx)
		defer m.close()
		for b, err := range m.unique(m.ordered()) {
			if err != nil {
				m.close() // what there is to learn may take another look at the file
				yield(nil, l.learn(err))
				return
			}
			if !l.sure {
				m.sampler.take(b)
			}
			if m.within(b) && !m.sampler.strays() && !yield(b, nil) {
				return
			}
		}
		if err := cmp.Or(l.sampled(m.sampler), l.conclude(m)); err != nil {
			yield(nil, err)
		}
	}
}

// begin forgets the account of an earlier reading and starts a new one.
func (l *Log) begin(ctx context.Context) *merger {
	l.Account = Account{}
	l.From, l.Until = 0, 0
	l.read.Store(0)
	return &merger{log: l, stopped: ctx.Err, waiting: slices.Clone(l.Files), codes: newCodes(l),
		pressures: newPressures(l), sampler: newSampler(l)}
}

// sampled takes in what all readings say of how the log was sampled; it is reading.ErrAgain when that is news.
func (l *Log) sampled(s *sampler) error {
	if l.sure {
		return nil
	}
	found := s.facts()
	if !s.astray && (l.learned == mostLearned || same(&found, &l.Facts)) {
		l.sure = true
		return nil
	}
	l.Facts, l.paces = found, len(s.paces)
	l.learned++
	return reading.ErrAgain
}

// learn takes in what an error of reading tells of how a file must be read, and returns reading.ErrAgain then; any
// other error stays what it is.
func (l *Log) learn(err error) error {
	l.sure = false
	var m misled
	var d disorder
	var r relearned
	switch {
	case errors.As(err, &r):
		l.findInterval()
		return reading.ErrAgain
	case errors.As(err, &m):
		return cmp.Or(l.settle(m.file), reading.ErrAgain)
	case errors.As(err, &d):
		return cmp.Or(l.reorder(d), reading.ErrAgain)
	}
	return err
}

// settle decides anew how a CSV file is written, from all its rows.
func (l *Log) settle(f *File) error {
	if bad := f.CSV.Settle(f.Name, &l.Site.Log); bad != nil {
		return bad
	}
	f.setStart(f.CSV.Start(), l.Site)
	return nil
}

// reorder decides how a file out of order is read. A fall to midnight may only mean that 0:00 ends its date.
func (l *Log) reorder(d disorder) error {
	f := d.file
	midnight := (d.at+l.Site.Log.Clock.OffsetAt(d.at))%(24*int64(time.Hour)) == 0
	if f.Disorder == inOrder && midnight && f.CSV != nil && !f.CSV.Settled {
		return l.settle(f)
	}
	f.Disorder, f.relearned = f.Disorder+1, false
	return nil
}

// conclude finds what only the whole log shows to be wrong.
func (l *Log) conclude(m *merger) error {
	if err := l.Account.balance(); err != nil {
		return err
	}
	if mixed := l.Account.Rejected[reading.MixedDates]; mixed > 0 {
		e := l.Account.example(reading.MixedDates)
		return problem.At(problem.Place{File: e.File, Line: e.Line},
			fmt.Sprintf("this date, as in %d rows, only makes sense in the other order of day and month", mixed),
			"one order in the whole file", "check log.date_order, or split the file where the order changes")
	}
	if l.Account.Used == 0 {
		return l.nothingUsed()
	}
	return cmp.Or(m.pressures.found(), m.codes.found())
}

// example returns the first example of a reason.
func (a *Account) example(reason string) Example {
	for _, e := range a.Examples {
		if e.Reason == reason {
			return e
		}
	}
	return Example{}
}

// nothingUsed words a log of which no row can be used.
func (l *Log) nothingUsed() error {
	a := &l.Account
	place := problem.Place{File: l.Files[0].Name}
	if a.Read == a.OutOfPeriod {
		return problem.At(place, fmt.Sprintf("all %d rows are outside report.from to report.until", a.Read),
			"readings in the period", "")
	}
	e := Example{Line: 0, Reason: "unknown"}
	if len(a.Examples) > 0 {
		e = a.Examples[0]
		place = problem.Place{File: e.File, Line: e.Line}
	}
	return problem.At(place,
		fmt.Sprintf("no row of the log can be used: %d read, %d rejected, the first because its %s: %q",
			a.Read, a.RejectedRows(), e.Reason, e.Text),
		"at least one reading", "check log.columns and the units")
}

// eof reports the normal end of a source.
func eof(err error) bool { return errors.Is(err, io.EOF) }
