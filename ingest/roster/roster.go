// Package roster lists the sites of a batch: site files by name, pattern or folder, and rows of a table that are laid
// on a template.
package roster

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"retotal/ingest/problem"
	"retotal/ingest/site"
)

// Entry is one site of a batch before it is read.
type Entry struct {
	// Name is what messages call it: the site file, or the table and its row.
	Name string
	// File is the site file; of a row, where the file that results would stand.
	File string
	// Text is the site file that a row makes; nil where File is to be read.
	Text []byte
	// ID is that of a row, as its cell says; "" where File has to be read for it.
	ID string
}

// Load reads the site file of an entry.
func (e *Entry) Load() (*site.Site, error) {
	if e.Text == nil {
		return site.Load(e.File)
	}
	return site.Read(e.File, e.Text)
}

// Named lets the problems of a site file that a row makes name the row; lines and columns are those of the site file
// that it makes.
func (e *Entry) Named(err error) error {
	if e.Text == nil {
		return err
	}
	var list problem.List
	var one *problem.Problem
	if errors.As(err, &one) {
		list = problem.List{one}
	} else {
		errors.As(err, &list)
	}
	for _, p := range list {
		if p.Place.File == e.File {
			p.Place.File = e.Name + ", as a site file"
		}
	}
	return err
}

// Files lists site files: each argument is a file, a pattern, or a folder whose .toml files are taken. A name twice is
// taken once. All that is wrong is returned together.
func Files(arguments []string) (list []Entry, err error) {
	var problems problem.List
	seen := map[string]bool{}
	for _, a := range arguments {
		names, bad := named(a)
		if bad != nil {
			problems.Add(bad)
		}
		for _, name := range names {
			if clean := filepath.Clean(name); !seen[clean] {
				seen[clean] = true
				list = append(list, Entry{Name: name, File: name})
			}
		}
	}
	return list, problems.Err()
}

// named is the site files that an argument names, sorted.
func named(argument string) (names []string, bad *problem.Problem) {
	place := problem.Place{File: argument}
	info, err := os.Stat(argument)
	switch {
	case err == nil && info.IsDir():
		names, err = filepath.Glob(filepath.Join(quoted(argument), "*.toml"))
		if err != nil || len(names) == 0 {
			return nil, problem.At(place, "the folder holds no site file", "*.toml in it", "")
		}
	case err == nil || !strings.ContainsAny(argument, "*?["):
		return []string{argument}, nil // what is wrong with it is said when it is read
	default:
		if names, err = filepath.Glob(argument); err != nil || len(names) == 0 {
			return nil, problem.At(place, "no file has a name of this pattern", "site files",
				"check the path; a pattern crosses no folder: sites/*/site.toml")
		}
	}
	slices.Sort(names)
	return names, nil
}

// quoted keeps the signs of a folder's name from being read as a pattern.
func quoted(folder string) string {
	return strings.NewReplacer("*", `\*`, "?", `\?`, "[", `\[`, `\`, `\\`).Replace(folder)
}

// Twice returns a problem for every id that two entries have; ids lists those of the entries, "" for unknown.
func Twice(list []Entry, ids []string) (problems problem.List) {
	first := map[string]int{}
	for i, id := range ids {
		k, taken := first[strings.ToLower(id)] // folders may not tell cases apart
		switch {
		case id == "":
		case !taken:
			first[strings.ToLower(id)] = i
		default:
			problems.Add(problem.At(problem.Place{File: list[i].Name},
				fmt.Sprintf("id %q is also that of %s, and one's results would take the place of the other's", id,
					list[k].Name), "an id of its own", ""))
		}
	}
	return problems
}

// unfit is what an id cannot hold.
var unfit = regexp.MustCompile(`[^A-Za-z0-9]+`)

// longestName is how much of a file's name a site is called by.
const longestName = 40

// Fallback names a site whose file does not tell its id: by the end of the file's name, with a part of its hash where
// that is taken.
func Fallback(file string, taken func(id string) bool) string {
	name := strings.TrimSuffix(filepath.ToSlash(file), filepath.Ext(file))
	id := strings.Trim(unfit.ReplaceAllString(name, "-"), "-")
	if id = strings.TrimLeft(id[max(0, len(id)-longestName):], "-"); id != "" && !taken(id) {
		return id
	}
	sum := sha256.Sum256([]byte(file))
	return strings.TrimPrefix(id+"-"+hex.EncodeToString(sum[:6]), "-")
}
