package ingest

import (
	"cmp"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"time"

	"retotal/ingest/csvlog"
	"retotal/ingest/parquetlog"
	"retotal/ingest/problem"
	"retotal/ingest/reading"
	"retotal/ingest/site"
)

// Open finds the files of a site and how each is written. All that is wrong with them is returned together.
func Open(s *site.Site) (*Log, error) {
	names, problems := expand(s)
	l := &Log{Site: s, Facts: reading.Facts{Clock: s.Log.Clock.Location, Primary: s.Log.Primary}}
	var wrong alike
	files, bad := make([]*File, len(names)), make([]*problem.Problem, len(names))
	problem.Beside(len(names), func(i int) { files[i], bad[i] = inspectFile(names[i], s) })
	for i, f := range files {
		if bad[i] != nil {
			wrong.add(names[i], bad[i])
			continue
		}
		l.Files = append(l.Files, f)
		for _, odd := range f.odd() {
			if !slices.Contains(l.Odd, odd) {
				l.Odd = append(l.Odd, odd)
			}
		}
	}
	problems.Add(wrong.list()...)
	if err := problems.Err(); err != nil {
		return nil, err
	}
	l.findInterval()
	for _, f := range l.Files {
		for q, r := range f.start.Resolution {
			l.Resolution[q] = max(l.Resolution[q], r)
		}
	}
	for _, f := range l.Files { // needs the interval
		one := reading.Batch{Time: []int64{f.raw}, Line: []int32{1}}
		l.correctTimes(&one, &expected{any: true})
		f.first = one.Time[0]
	}
	sort.SliceStable(l.Files, func(i, j int) bool { return l.Files[i].first < l.Files[j].first })
	for q := range l.Has {
		l.Has[q] = s.Log.Reads(reading.Quantity(q))
	}
	l.findPressures()
	return l, nil
}

// findInterval takes the interval that most files begin with, and the gap limit that follows from it, until all
// readings were seen.
func (l *Log) findInterval() {
	var list []int64
	for _, f := range l.Files {
		list = append(list, f.start.Interval)
	}
	l.Interval = time.Duration(median(list))
	l.GapLimit = l.gapLimit(l.Interval)
}

// gapLimit is the longest step that is no gap among readings of an interval.
func (l *Log) gapLimit(interval time.Duration) time.Duration {
	return cmp.Or(l.Site.Log.GapLimit, 3*max(interval, time.Second))
}

// Names are the files that the patterns of a site file name, before any of them is looked into.
func Names(s *site.Site) ([]string, error) {
	names, problems := expand(s)
	return names, problems.Err()
}

// expand turns the patterns of the site file into file names, each once, sorted within a pattern.
func expand(s *site.Site) (names []string, problems problem.List) {
	for _, pattern := range s.Log.Files {
		path := filepath.FromSlash(pattern)
		if !filepath.IsAbs(path) {
			path = filepath.Join(s.Folder, path)
		}
		found, err := []string{path}, error(nil)
		if _, missing := os.Lstat(path); missing != nil { // a name may hold the signs of patterns
			found, err = filepath.Glob(path)
		}
		if err != nil {
			problems.Add(problem.At(s.Places["log.files"], fmt.Sprintf("log.files pattern %q cannot be read", pattern),
				"a name with * or ?", ""))
			continue
		}
		if len(found) == 0 {
			found := fmt.Sprintf("log.files %q: there is no such file", pattern)
			if strings.ContainsAny(pattern, "*?[") {
				found = fmt.Sprintf("log.files %q: no file has such a name", pattern)
			}
			if path != pattern {
				found += " (" + path + ")"
			}
			problems.Add(problem.At(s.Places["log.files"], found, "a log beside the site file",
				"paths are relative to the site file"))
		}
		for _, name := range found {
			files, bad := within(name, s)
			problems.Add(bad...)
			for _, file := range files {
				if !slices.Contains(names, file) {
					names = append(names, file)
				}
			}
		}
	}
	return names, problems
}

// within returns the logs in a folder and the folders below it, in the order of their paths; a file is itself. What may
// hold logs and cannot be looked into is a problem, lest logs be missing without a word.
func within(name string, s *site.Site) (files []string, problems problem.List) {
	if info, err := os.Stat(name); err != nil || !info.IsDir() {
		return []string{name}, nil
	}
	refuse := func(found, remedy string) {
		problems.Add(problem.At(s.Places["log.files"], found, "a folder of logs that can all be read", remedy))
	}
	filepath.WalkDir(name, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			refuse(fmt.Sprintf("%s may hold logs and cannot be read", path), "check its permissions, or name the files")
			return nil
		}
		if info, err := os.Stat(path); entry.Type()&fs.ModeSymlink != 0 && (err != nil || info.IsDir()) {
			refuse(fmt.Sprintf("%s is a link to a folder, or to nothing, and is not followed", path),
				"name the folder that it leads to in log.files, or remove the link")
			return nil
		}
		if entry.IsDir() && path != name && ours(path) {
			return fs.SkipDir
		}
		if !entry.IsDir() && site.LogEnding(path) != "" {
			files = append(files, path)
		}
		return nil
	})
	if len(files)+len(problems) == 0 {
		return []string{name}, nil // and the message says that it cannot be opened
	}
	return files, problems
}

// alike gathers what is wrong with files, and says once what it says of several.
type alike []struct {
	problem *problem.Problem // of the first of them
	said    string           // without the name of the file
	others  []string         // the other files
}

func (a *alike) add(file string, p *problem.Problem) {
	said := strings.NewReplacer(file, "", filepath.Base(file), "").Replace(p.Error())
	for i := range *a {
		if x := &(*a)[i]; x.said == said {
			x.others = append(x.others, filepath.Base(file))
			return
		}
	}
	*a = append(*a, alike{{problem: p, said: said}}...)
}

// list is what was gathered.
func (a alike) list() (out problem.List) {
	for _, x := range a {
		one := *x.problem
		if n := len(x.others); n > 0 {
			same := "the same in " + x.others[0]
			if n > 1 {
				same += fmt.Sprintf(" and %d more", n-1)
			}
			one.Remedy = strings.TrimPrefix(one.Remedy+"; "+same, "; ")
		}
		out.Add(&one)
	}
	return out
}

// ours reports whether a folder holds results, whose tables are no logs.
func ours(folder string) bool {
	if _, err := os.Stat(filepath.Join(folder, "batch.json")); err == nil { // of many sites
		return true
	}
	for _, name := range []string{"record.json", "totals.csv", "events.csv"} {
		if _, err := os.Stat(filepath.Join(folder, name)); err != nil {
			return false
		}
	}
	return true
}

// plain looks at a log before it is opened: nothing waits for what never ends.
func plain(name string) (os.FileInfo, *problem.Problem) {
	info, err := os.Stat(name)
	found := ""
	switch {
	case err != nil || info.IsDir():
		found = "the log cannot be opened"
	case !info.Mode().IsRegular():
		found = "the log cannot be read: " + site.ErrNotPlain.Error()
	default:
		return info, nil
	}
	return nil, problem.At(problem.Place{File: name}, found,
		"a file, or a folder with files that end in "+strings.Join(site.LogEndings, ", "), "")
}

func inspectFile(name string, s *site.Site) (*File, *problem.Problem) {
	f := &File{Name: name}
	info, bad := plain(name)
	if bad != nil {
		return nil, bad
	}
	f.Size, f.info = info.Size(), info
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
	instant := func(t int64) int64 {
		if instants, n := s.Log.Clock.Resolve(t); n > 0 && !start.Absolute {
			return instants[0]
		}
		return t
	}
	f.start, f.raw, f.unset = start, instant(start.First), nil
	for _, t := range start.Unset {
		f.unset = append(f.unset, instant(t))
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
