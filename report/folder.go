package report

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"retotal/ingest"
	"retotal/ingest/problem"
	"retotal/ingest/site"
)

// Folder is the output folder of one site. Files go into a temporary folder beside it, which takes its place whole, or
// is removed. What a user put beside the results stays.
type Folder struct {
	final, temporary string
	made             string   // the folder around both, when it was made for this run
	yearly           string   // where readings go, a file a year; "" for readings.parquet among the others
	held             *os.File // the temporary folder, locked as long as this run is alive
}

// marker is the file by which a folder is known to be ours, and so may be replaced.
const marker = "record.json"

// own are the files that the program writes, or wrote; only these are ever replaced or removed.
var own = func() map[string]bool {
	files := map[string]bool{
		marker: true, "report.html": true, "report.pdf": true, "report.xlsx": true, "flow.xml": true,
		"totals.csv": true, "events.csv": true, "readings.parquet": true,
	}
	for _, picture := range []string{
		"hydrograph", "totals", "cumulative", "duration", "rating", "visits", "budget",
		"months", "months-2", "months-3", "months-4", // two years, see report/picture
	} {
		files["plots/"+picture+".png"], files["plots/"+picture+".svg"] = true, true
	}
	return files
}()

// Own reports whether a file of a result folder, by its path in it, is one that the program writes.
func Own(name string) bool { return own[filepath.ToSlash(name)] }

// NewFolder prepares <out>/<id> for the results of a site. An existing folder is replaced only if it holds results of
// an earlier run of the same site. What a run that was killed left behind is put in order first.
func NewFolder(out string, l *ingest.Log) (*Folder, *problem.Problem) {
	id := l.Site.ID
	f := &Folder{final: filepath.Join(out, id)}
	refuse := func(found, remedy string) *problem.Problem {
		return problem.At(problem.Place{File: f.final}, found, "a folder for the results", remedy)
	}
	if err := f.recover(); err != nil {
		return nil, refuse("what an earlier run left cannot be put in order: "+cause(err), "")
	}
	if info, err := os.Lstat(f.final); err == nil {
		if !info.IsDir() {
			return nil, refuse("the results cannot be written: this is not a folder", "give another folder with --out")
		}
		entries, err := os.ReadDir(f.final)
		if err == nil && len(entries) > 0 && !exists(filepath.Join(f.final, marker)) {
			return nil,
				refuse("the results cannot be written: the folder holds files that are not results of this program",
					"give another folder with --out")
		}
		if other := f.othersSite(l); other != "" {
			return nil, refuse(
				fmt.Sprintf("the folder holds the results of another site with the id %q, %s", id, other),
				"give another folder with --out, or an id of its own to one of them",
			)
		}
	}
	if !exists(out) {
		f.made = out
	}
	if err := os.MkdirAll(out, 0o755); err != nil {
		return nil, refuse("the results cannot be written: "+cause(err), "give another folder with --out")
	}
	temporary, err := os.MkdirTemp(out, "."+id+"-*.part")
	if err != nil {
		return nil, refuse("the results cannot be written: "+cause(err), "give another folder with --out")
	}
	f.temporary, f.held = temporary, hold(temporary)
	return f, nil
}

// othersSite names the site file of the results that are there, when it and its logs still exist and neither is one of
// this site; "" otherwise.
func (f *Folder) othersSite(l *ingest.Log) string {
	rec, _, _, bad := ReadRecord(f.final)
	if bad != nil {
		return "" // Locked has its word on that
	}
	theirs := filepath.Join(f.final, filepath.FromSlash(rec.Site.File))
	if !exists(theirs) || same(theirs, l.Site.File) || rec.Site.SHA256 == hexSum(l.Site.Text) {
		return ""
	}
	for _, in := range rec.Inputs {
		log := filepath.Join(filepath.Dir(theirs), filepath.FromSlash(in.File))
		ours := func(f *ingest.File) bool { return same(f.Name, log) }
		if !exists(log) || slices.ContainsFunc(l.Files, ours) {
			return "" // another version of the site file, or one that was moved
		}
	}
	return theirs
}

// same reports whether two names are those of one file.
func same(a, b string) bool {
	x, errX := os.Stat(a)
	y, errY := os.Stat(b)
	return errX == nil && errY == nil && os.SameFile(x, y)
}

// Names of what stands beside the results for a while: temporary folders, and results that were moved out of the way.
const (
	partEnding = ".part"
	oldEnding  = ".part.old"
)

// recover puts in order what runs of this site that were killed left behind: temporary folders of results that never
// came to be are removed; results that were moved out of the way come back where nothing took their place, are kept
// when they were signed, and are removed where new ones stand.
func (f *Folder) recover() error {
	out, id := filepath.Split(f.final)
	entries, err := os.ReadDir(filepath.Clean(out))
	if err != nil {
		return nil // no folder, nothing left
	}
	for _, e := range entries {
		name := filepath.Join(out, e.Name())
		switch {
		case !besides(e.Name(), id) || !e.IsDir() || alive(name):
		case strings.HasSuffix(e.Name(), oldEnding) && !exists(f.final):
			err = errors.Join(err, os.Rename(name, f.final))
		default:
			err = errors.Join(err, f.putAway(name))
		}
	}
	return err
}

// besides reports whether a name is one that NewFolder gives to what stands beside the results of a site for a while:
// digits follow the id, so that nothing of quarry-lane is taken for something of quarry.
func besides(name, id string) bool {
	rest, ok := strings.CutPrefix(name, "."+id+"-")
	ending := strings.TrimLeft(rest, "0123456789")
	return ok && ending != rest && (ending == partEnding || ending == oldEnding)
}

// putAway removes results that others took the place of, unless they were signed or cannot be read: these are kept.
func (f *Folder) putAway(name string) error {
	rec, sha, _, bad := ReadRecord(name)
	switch {
	case !exists(filepath.Join(name, marker)):
		return os.RemoveAll(name)
	case bad != nil:
		return rename(name, f.final+"-unreadable")
	case isSigned(rec):
		return rename(name, f.final+"-"+sha[:12])
	}
	return os.RemoveAll(name)
}

// rename moves a folder to a name, unless something stands there: then it stays where it is.
func rename(from, to string) error {
	if exists(to) {
		return nil
	}
	return os.Rename(from, to)
}

// cause is the reason of an error without the operation and the path.
func cause(err error) string {
	var path *os.PathError
	if errors.As(err, &path) {
		return path.Err.Error()
	}
	return err.Error()
}

func exists(name string) bool { _, err := os.Lstat(name); return err == nil }

// yearlyName is the folder of readings among the results, until these are committed.
const yearlyName = "readings"

// Yearly lets readings go to a folder aside, a file a year in UTC.
func (f *Folder) Yearly(folder string) { f.yearly = folder }

// commitYearly puts the readings in their place; the rest of the results follows.
func (f *Folder) commitYearly() error {
	from := filepath.Join(f.temporary, yearlyName)
	if f.yearly == "" {
		return nil
	}
	if err := os.RemoveAll(f.yearly); err != nil || !exists(from) {
		return err
	}
	return errors.Join(os.MkdirAll(filepath.Dir(f.yearly), 0o755), os.Rename(from, f.yearly))
}

// Create opens a file of the results for writing.
func (f *Folder) Create(name string) (*os.File, error) {
	path := filepath.Join(f.temporary, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return nil, err
	}
	return os.Create(path)
}

// Write writes a whole file of the results.
func (f *Folder) Write(name string, content []byte) error {
	file, err := f.Create(name)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(file)
	_, err = w.Write(content)
	return errors.Join(err, w.Flush(), file.Sync(), file.Close())
}

// locked are the statuses whose results are not replaced: the one of now, and the word of earlier versions for it.
var locked = []string{site.Signed, "approved"}

func isSigned(rec *Record) bool {
	return rec != nil && rec.Approval != nil && slices.Contains(locked, rec.Approval.Status)
}

// Locked refuses to replace results that were signed, unless the new ones say that they take their place; then it
// returns where the old ones are kept. The same record again is no change. What cannot be read may have been signed.
func (f *Folder) Locked(supersedes string) (keep string, bad *problem.Problem) {
	old, sha, path, bad := ReadRecord(f.final)
	switch {
	case !exists(path):
		return "", nil // there is nothing to lock
	case bad != nil:
		return "", problem.At(problem.Place{File: path},
			"the record of the results that are there cannot be read; they may be signed, so they are locked",
			"a whole record", "move the folder away, or give another folder with --out")
	case !isSigned(old):
		return "", nil
	}
	now, err := os.ReadFile(filepath.Join(f.temporary, marker))
	if err == nil {
		if hexSum(now) == sha {
			return "", f.sameFiles()
		}
	}
	if supersedes != sha {
		return "", problem.At(problem.Place{File: path},
			"the record is signed and locked, and the results differ from it",
			"a new version that names the signed one",
			fmt.Sprintf("set supersedes = %q in [record] of the site file, or give another folder with --out", sha))
	}
	return f.final + "-" + sha[:12], nil
}

// sameFiles refuses to replace signed results by others of the same record: with fewer files, or other ones.
func (f *Folder) sameFiles() *problem.Problem {
	for name := range own {
		was, errWas := os.ReadFile(filepath.Join(f.final, filepath.FromSlash(name)))
		now, errNow := os.ReadFile(filepath.Join(f.temporary, filepath.FromSlash(name)))
		if errWas == nil && (errNow != nil || !bytes.Equal(was, now)) || errWas != nil && errNow == nil {
			return problem.At(problem.Place{File: filepath.Join(f.final, filepath.FromSlash(name))},
				"the results are signed and locked, and this file would be another or gone",
				"the call that made them, with the same files asked for", "or give another folder with --out")
		}
	}
	return nil
}

// Commit puts the results in their place in one exchange with those of an earlier run, where the system can do that;
// else these are moved aside first and put back if the new ones cannot take their place. With keep they stay under that
// name. What a user put beside them is in both.
func (f *Folder) Commit(keep string) error {
	if err := errors.Join(os.Chmod(f.temporary, 0o755), f.commitYearly()); err != nil {
		return err
	}
	if !exists(f.final) {
		return f.done(os.Rename(f.temporary, f.final))
	}
	if err := f.takeOver(); err != nil {
		return fmt.Errorf("%s cannot be replaced: %s", f.final, cause(err))
	}
	old := f.temporary
	if err := exchange(f.temporary, f.final); err != nil {
		if old, err = f.temporary+".old", f.moveAside(f.temporary+".old"); err != nil {
			return fmt.Errorf("%s cannot be replaced: %s", f.final, cause(err))
		}
	}
	if keep != "" && !exists(keep) {
		return f.done(os.Rename(old, keep))
	}
	return f.done(os.RemoveAll(old))
}

// moveAside puts the results in their place in two steps.
func (f *Folder) moveAside(old string) error {
	if err := os.Rename(f.final, old); err != nil {
		return err
	}
	if err := os.Rename(f.temporary, f.final); err != nil {
		return errors.Join(err, os.Rename(old, f.final))
	}
	return nil
}

// done lets go of the temporary folder.
func (f *Folder) done(err error) error {
	if f.held != nil {
		f.held.Close()
	}
	return err
}

// takeOver puts what a user laid beside the earlier results beside the new ones too: as another name of the same file,
// or as a copy where there is none.
func (f *Folder) takeOver() error {
	return filepath.WalkDir(f.final, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name, err := filepath.Rel(f.final, path)
		if err != nil || Own(name) || name == "." {
			return err
		}
		to := filepath.Join(f.temporary, name)
		switch {
		case entry.IsDir():
			return os.MkdirAll(to, 0o755)
		case entry.Type()&fs.ModeSymlink != 0:
			target, err := os.Readlink(path)
			return errors.Join(err, os.Symlink(target, to))
		case !entry.Type().IsRegular():
			return fmt.Errorf("%s is no plain file", name)
		}
		if os.Link(path, to) == nil {
			return nil
		}
		return copyFile(path, to)
	})
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Sync(), out.Close())
}

// Discard removes what was written. It does nothing after Commit.
func (f *Folder) Discard() error {
	err := f.done(os.RemoveAll(f.temporary))
	if f.made != "" {
		os.Remove(f.made) // stays when the results are in it
	}
	return err
}

// Path is where the results are after Commit.
func (f *Folder) Path() string { return f.final }

// WriteWhole writes a single file beside its place and moves it there, so that it appears whole or not at all.
func WriteWhole(name string, content []byte) error {
	f, err := os.CreateTemp(filepath.Dir(name), ".rating-*.part")
	if err != nil {
		return errors.New("the file cannot be written: " + cause(err))
	}
	defer os.Remove(f.Name())
	_, err = f.Write(content)
	if err = errors.Join(err, f.Sync(), f.Close(), os.Chmod(f.Name(), 0o644)); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}
