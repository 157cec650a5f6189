// Package ingest opens all logs of a site as one ordered stream and accounts for every row.
package ingest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
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
	SHA256   string
	Disorder Disorder
	CSV      *csvlog.Layout
	Parquet  *parquetlog.Layout
	start    reading.Start
	// relearned says that the interval was taken from sorted rows; as long as the file's way of sorting stays the same.
	relearned bool
	raw       int64 // instant of its first reading, by its clock
	first     int64 // the same, corrected
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
	return [...]string{"", "rows are somewhat out of order and were sorted on the way", "rows are far out of order and were sorted in memory"}[d]
}

// rank orders files by when they must be opened.
func (f *File) rank() int { return min(int(f.Disorder), 1) }

// Decisions lists how the file was understood.
func (f *File) Decisions() []reading.Decision {
	list := f.decisions()
	if text := f.Disorder.String(); text != "" {
		list = append(list, reading.Decision{Subject: "order", Found: text, Because: "a row is earlier than one before it"})
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
	Hashed bool // take the SHA-256 of each file while it is read, for the record; set before Each
	read   atomic.Int64
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

// Inspect finds the files of a site and how each is written.
func Inspect(s *site.Site) (*Log, problem.List) {
	names, problems := expand(s)
	l := &Log{Site: s, Facts: reading.Facts{Clock: s.Log.Clock.Location}}
	for _, name := range names {
		f, bad := inspectFile(name, s)
		if bad != nil {
			problems.Add(bad)
			continue
		}
		l.Files = append(l.Files, f)
	}
	if len(problems) > 0 {
		return nil, problems
	}
	l.findInterval()
	for _, f := range l.Files {
		for q, r := range f.start.Resolution {
			l.Resolution[q] = max(l.Resolution[q], r)
		}
	}
	for _, f := range l.Files { // needs the interval
		one := reading.Batch{Time: []int64{f.raw}, Line: []int32{1}}
		l.correctTimes(&one, f.raw)
		f.first = one.Time[0]
	}
	sort.SliceStable(l.Files, func(i, j int) bool { return l.Files[i].first < l.Files[j].first })
	for q := range l.Has {
		l.Has[q] = s.Log.Reads(reading.Quantity(q))
	}
	return l, nil
}

// findInterval takes the longest of the files' intervals, and the gap limit that follows from it.
func (l *Log) findInterval() {
	l.Interval = 0
	for _, f := range l.Files {
		l.Interval = max(l.Interval, time.Duration(f.start.Interval))
	}
	if l.GapLimit = l.Site.Log.GapLimit; l.GapLimit == 0 {
		l.GapLimit = 3 * max(l.Interval, time.Second)
	}
}

// expand turns the patterns of the site file into file names, each once, sorted within a pattern.
func expand(s *site.Site) (names []string, problems problem.List) {
	for _, pattern := range s.Log.Files {
		path := filepath.FromSlash(pattern)
		if !filepath.IsAbs(path) {
			path = filepath.Join(s.Folder, path)
		}
		found, err := filepath.Glob(path)
		if err != nil {
			problems.Add(problem.At(s.Places["log.files"], fmt.Sprintf("log.files pattern %q cannot be read", pattern), "a name with * or ?", ""))
			continue
		}
		if len(found) == 0 {
			problems.Add(problem.At(s.Places["log.files"], fmt.Sprintf("log.files %q: there is no such file (%s)", pattern, path), "a log beside the site file", "paths are relative to the site file"))
		}
		for _, name := range found {
			for _, file := range within(name) {
				if !slices.Contains(names, file) {
					names = append(names, file)
				}
			}
		}
	}
	return names, problems
}

// logEndings are those of the files that are taken from a folder.
var logEndings = []string{".csv", ".txt", ".csv.gz", ".csv.zst", ".parquet"}

// within returns the logs in a folder and the folders below it, in the order of their paths; a file is itself.
func within(name string) (files []string) {
	if info, err := os.Stat(name); err != nil || !info.IsDir() {
		return []string{name}
	}
	filepath.WalkDir(name, func(path string, entry fs.DirEntry, err error) error {
		if err == nil && !entry.IsDir() && slices.ContainsFunc(logEndings, func(e string) bool { return strings.HasSuffix(strings.ToLower(path), e) }) {
			files = append(files, path)
		}
		return nil // folders that cannot be read hold no logs for us
	})
	if len(files) == 0 {
		return []string{name} // and the message says that it cannot be opened
	}
	return files
}

func inspectFile(name string, s *site.Site) (*File, *problem.Problem) {
	f := &File{Name: name}
	info, err := os.Stat(name)
	if err != nil || info.IsDir() {
		return nil, problem.At(problem.Place{File: name}, "the log cannot be opened", "a file, or a folder with .csv, .csv.gz, .csv.zst, .txt or .parquet files", "")
	}
	f.Size = info.Size()
	var bad *problem.Problem
	if parquetlog.IsParquet(name) {
		if f.Parquet, bad = parquetlog.Inspect(name, &s.Log); bad == nil {
			f.setStart(f.Parquet.Start(), s)
		}
	} else if f.CSV, bad = csvlog.Inspect(name, &s.Log); bad == nil {
		f.setStart(f.CSV.Start(), s)
	}
	if bad != nil {
		return nil, bad
	}
	return f, nil
}

// setStart takes in what the beginning of the file shows.
func (f *File) setStart(start reading.Start, s *site.Site) {
	f.start, f.raw = start, start.First
	if !start.Absolute {
		if instants, n := s.Log.Clock.Resolve(f.raw); n > 0 {
			f.raw = instants[0]
		}
	}
}

// source is one open log file.
type source interface {
	Next() (*reading.Batch, error)
	Sum() (sha256 string, size int64)
	Position() int64
	Close() error
}

func (f *File) open(log *site.Log, hashed bool) (source, *problem.Problem) {
	if f.Parquet != nil {
		return nonNil(parquetlog.Open(f.Name, f.Parquet, hashed))
	}
	return nonNil(csvlog.Open(f.Name, f.CSV, log, hashed))
}

// nonNil keeps a nil reader from becoming an interface that is not nil.
func nonNil[S source](s S, bad *problem.Problem) (source, *problem.Problem) {
	if bad != nil {
		return nil, bad
	}
	return s, nil
}

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

// Each streams all readings in the order of time, each time once, to the function that start returns. That a file's
// first rows misled, or that its rows are out of order, is found only on the way; then how the file is read is decided
// anew and everything begins again, with a new call of start.
func (l *Log) Each(ctx context.Context, start func() func(*reading.Batch) error) error {
	for {
		err := l.pass(ctx, start())
		var m misled
		var d disorder
		var r relearned
		switch {
		case errors.As(err, &r):
			l.findInterval()
			err = nil
		case errors.As(err, &m):
			err = l.settle(m.file)
		case errors.As(err, &d):
			err = l.reorder(d)
		default:
			return err
		}
		if err != nil {
			return err
		}
	}
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

// pass is one attempt of Each.
func (l *Log) pass(ctx context.Context, use func(*reading.Batch) error) error {
	l.Account = Account{}
	l.From, l.Till = 0, 0
	l.read.Store(0)
	m := &merger{log: l, waiting: slices.Clone(l.Files), use: use, codes: newCodes(l)}
	defer m.close()
	if err := m.run(ctx); err != nil {
		return err
	}
	if err := l.Account.balance(); err != nil {
		return err
	}
	if mixed := l.Account.Rejected[reading.MixedDates]; mixed > 0 {
		e := l.Account.example(reading.MixedDates)
		return problem.At(problem.Place{File: e.File, Line: e.Line}, fmt.Sprintf("this date, as in %d rows, only makes sense in the other order of day and month", mixed),
			"one order in the whole file", "check log.date_order, or split the file where the order changes")
	}
	if l.Account.Used == 0 {
		return l.nothingUsed()
	}
	return m.codes.found()
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
		return problem.At(place, fmt.Sprintf("all %d rows are outside report.from to report.until", a.Read), "readings in the period", "")
	}
	e := Example{Line: 0, Reason: "unknown"}
	if len(a.Examples) > 0 {
		e = a.Examples[0]
		place = problem.Place{File: e.File, Line: e.Line}
	}
	return problem.At(place, fmt.Sprintf("no row of the log can be used: %d read, %d rejected, the first because its %s: %q", a.Read, a.RejectedRows(), e.Reason, e.Text),
		"at least one reading", "check log.columns and the units")
}

// eof reports the normal end of a source.
func eof(err error) bool { return errors.Is(err, io.EOF) }
