package mirror

import (
	"context"
	"fmt"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"retotal/ingest/problem"
	"retotal/ingest/site"
)

// File fetches one object and returns its file, which stays until Close.
func (m *Mirror) File(ctx context.Context, url string) (string, error) {
	p, err := m.At(ctx, url)
	if err != nil {
		return "", err
	}
	size, found, err := p.size(ctx)
	if err != nil {
		return "", err
	}
	if !found {
		return "", missing(p)
	}
	return p.Name(), m.hold(ctx, p, []Object{{p.Key, size}})
}

func missing(p Place) error {
	return problem.At(problem.Place{File: p.URL()}, "there is no such object", "", "check bucket and key")
}

// Sites fetches the site files that a URL names - an object, a pattern, or the .toml objects of a prefix, as those of a
// folder - and returns their files, sorted.
func (m *Mirror) Sites(ctx context.Context, url string) (names []string, err error) {
	p, err := m.At(ctx, url)
	if err != nil {
		return nil, err
	}
	prefix, _, isPattern := strings.Cut(p.Key, "*")
	wanted := func(key string) bool { found, err := path.Match(p.Key, key); return found && err == nil }
	if !isPattern {
		prefix = strings.TrimSuffix(p.Key, "/")
		folder := prefix + "/"
		if folder == "/" {
			folder = ""
		}
		wanted = func(key string) bool {
			name, within := strings.CutPrefix(key, folder)
			return within && !strings.Contains(name, "/") && strings.HasSuffix(name, ".toml")
		}
	}
	all, err := p.list(ctx, prefix)
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(all, func(o Object) bool { return o.Key == p.Key }); i >= 0 {
		all, wanted = all[i:i+1], func(string) bool { return true }
	}
	all = slices.DeleteFunc(all, func(o Object) bool { return !wanted(o.Key) })
	if len(all) == 0 {
		return nil, problem.At(problem.Place{File: p.URL()}, "there is no site file", "an object, or *.toml below it",
			"")
	}
	for _, o := range all {
		names = append(names, Place{p.bucket, o.Key}.Name())
	}
	return names, m.hold(ctx, p, all)
}

// Need is the logs that a site needs, which are not here yet.
type Need struct {
	// Size is that of its own logs, bytes.
	Size   int64
	mirror *Mirror
	place  Place
	logs   []Object
}

// Fetch brings the logs here; Release lets go of them, and has to follow.
func (n *Need) Fetch(ctx context.Context) error { return n.mirror.hold(ctx, n.place, n.logs) }

// Release lets go of the logs; those that no other site needs are removed.
func (n *Need) Release() { n.mirror.release(n.place, n.logs) }

// names is what of a site file names other files.
type names struct {
	Log struct {
		Files any `toml:"files"`
	} `toml:"log"`
	Reported struct {
		File string `toml:"file"`
	} `toml:"reported"`
	Filling struct {
		Donor string `toml:"donor"`
	} `toml:"filling"`
}

// Needs says which logs a site file needs, and fetches what has to be here when it is read; nil where it stands for no
// object. text is nil where the site file is to be read.
func (m *Mirror) Needs(ctx context.Context, file string, text []byte) (*Need, error) {
	p, ok := m.Of(file)
	if !ok {
		return nil, nil
	}
	n := &Need{mirror: m, place: p}
	list, err := m.needs(ctx, p, text, true)
	for _, o := range list {
		n.Size += o.Size
	}
	n.logs = list
	if err != nil {
		return nil, err
	}
	more, err := m.donors(ctx, p, text)
	n.logs = append(n.logs, more...)
	slices.SortFunc(n.logs, func(a, b Object) int { return strings.Compare(a.Key, b.Key) })
	n.logs = slices.Compact(n.logs)
	return n, err
}

// named reads which files a site file names; what is wrong with it is said by who reads it in earnest.
func named(p Place, text []byte) (n names) {
	if text == nil {
		text, _ = site.ReadPlain(p.Name(), 1<<24)
	}
	_ = toml.Unmarshal(text, &n)
	return n
}

// donors are the logs of the site from which another is filled.
func (m *Mirror) donors(ctx context.Context, p Place, text []byte) ([]Object, error) {
	donor := named(p, text).Filling.Donor
	at, ok := p.beside(donor)
	if donor == "" || !ok {
		return nil, nil
	}
	size, found, err := at.size(ctx)
	if err != nil || !found {
		return nil, err // the run says that it is missing
	}
	if err := m.hold(ctx, at, []Object{{at.Key, size}}); err != nil {
		return nil, err
	}
	return m.needs(ctx, at, nil, false)
}

// beside is what a site file means by a path; false for an absolute one and what is outside the bucket.
func (p Place) beside(name string) (Place, bool) {
	key := path.Join(path.Dir(p.Key), filepath.ToSlash(name))
	return Place{p.bucket, key}, !path.IsAbs(name) && fit(key)
}

// needs lists the logs that a site file names, and fetches the reported totals that it names.
func (m *Mirror) needs(ctx context.Context, p Place, text []byte, own bool) (list []Object, err error) {
	n := named(p, text)
	patterns, _ := n.Log.Files.([]any)
	if one, ok := n.Log.Files.(string); ok {
		patterns = []any{one}
	}
	for _, pattern := range patterns {
		pattern, ok := pattern.(string)
		at, within := p.beside(pattern)
		if ok && !within {
			if own {
				return nil, problem.At(problem.Place{File: p.URL()},
					fmt.Sprintf("log.files %q is not in the bucket of the site file", pattern),
					"a path relative to the site file", "")
			}
			continue
		}
		found, err := at.matching(ctx)
		if err != nil {
			return nil, err
		}
		list = append(list, found...)
	}
	if at, ok := p.beside(n.Reported.File); ok && n.Reported.File != "" {
		size, found, err := at.size(ctx)
		if found {
			err = m.hold(ctx, at, []Object{{at.Key, size}})
		}
		if err != nil {
			return nil, err
		}
	}
	slices.SortFunc(list, func(a, b Object) int { return strings.Compare(a.Key, b.Key) })
	return slices.Compact(list), nil
}

// markers are the files by which a folder within a folder of logs is known to hold results.
var markers = []string{"batch.json", "record.json", "totals.csv", "events.csv"}

// matching lists the objects that a pattern names, and those in folders that it names.
func (p Place) matching(ctx context.Context) (list []Object, err error) {
	prefix := p.Key
	if i := strings.IndexAny(prefix, "*?[\\"); i >= 0 {
		prefix = prefix[:i]
	}
	all, err := p.list(ctx, prefix)
	for _, o := range all {
		name := path.Base(o.Key)
		switch {
		case matches(p.Key, o.Key):
		case !within(p.Key, o.Key), site.LogEnding(name) == "" && !slices.Contains(markers, name):
			continue
		}
		list = append(list, o)
	}
	return list, err
}

func matches(pattern, key string) bool {
	found, err := path.Match(pattern, key)
	return pattern == key || found && err == nil
}

// within reports whether a pattern names a folder in which an object is.
func within(pattern, key string) bool {
	for key = path.Dir(key); key != "."; key = path.Dir(key) {
		if matches(pattern, key) {
			return true
		}
	}
	return pattern == "."
}
