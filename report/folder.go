package report

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"retotal/ingest/problem"
	"retotal/ingest/site"
)

// Folder is the output folder of one site. Files go into a temporary folder beside it, which takes its place whole, or
// is removed.
type Folder struct {
	final, temporary string
	made             string // the folder around both, when it was made for this run
}

// marker is the file by which a folder is known to be ours, and so may be replaced.
const marker = "record.json"

// NewFolder prepares <out>/<id>. An existing folder is replaced only if it holds results of an earlier run.
func NewFolder(out, id string) (*Folder, *problem.Problem) {
	f := &Folder{final: filepath.Join(out, id)}
	refuse := func(found, remedy string) *problem.Problem {
		return problem.At(problem.Place{File: f.final}, found, "a folder for the results", remedy)
	}
	if info, err := os.Lstat(f.final); err == nil {
		if !info.IsDir() {
			return nil, refuse("the results cannot be written: this is not a folder", "give another folder with --out")
		}
		if entries, err := os.ReadDir(f.final); err == nil &&
			len(entries) > 0 && !exists(filepath.Join(f.final, marker)) {
			return nil,
				refuse("the results cannot be written: the folder holds files that are not results of this program",
					"give another folder with --out")
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
	f.temporary = temporary
	return f, nil
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

// Locked refuses to replace results that were signed, unless the new ones say that they take their place; then it
// returns where the old ones are kept. The same record again is no change.
func (f *Folder) Locked(supersedes string) (keep string, bad *problem.Problem) {
	old, sha, path, bad := ReadRecord(f.final)
	if bad != nil || old.Approval == nil || !slices.Contains(locked, old.Approval.Status) {
		return "", nil // there is nothing to lock
	}
	now, err := os.ReadFile(filepath.Join(f.temporary, marker))
	if err == nil {
		if sum := sha256.Sum256(now); hex.EncodeToString(sum[:]) == sha {
			return "", nil
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

// Commit puts the results in their place. The folder of an earlier run is moved aside first and put back if the new one
// cannot take its place; with keep it stays there under that name.
func (f *Folder) Commit(keep string) error {
	if err := os.Chmod(f.temporary, 0o755); err != nil {
		return err
	}
	old := ""
	if exists(f.final) {
		old = f.temporary + ".old"
		if err := os.Rename(f.final, old); err != nil {
			return fmt.Errorf("%s cannot be replaced: %s", f.final, cause(err))
		}
	}
	if err := os.Rename(f.temporary, f.final); err != nil {
		if old != "" {
			err = errors.Join(err, os.Rename(old, f.final))
		}
		return err
	}
	switch {
	case old == "":
		return nil
	case keep != "" && !exists(keep):
		return os.Rename(old, keep)
	}
	return os.RemoveAll(old)
}

// Discard removes what was written. It does nothing after Commit.
func (f *Folder) Discard() error {
	err := os.RemoveAll(f.temporary)
	if f.made != "" {
		os.Remove(f.made) // stays when the results are in it
	}
	return err
}

// Path is where the results are after Commit.
func (f *Folder) Path() string { return f.final }

// writeWhole writes a single file beside its place and moves it there.
func writeWhole(name string, content []byte) error {
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
