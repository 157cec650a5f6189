// Package mirror keeps objects of a store, named by URL, as files in a folder while a batch is at work, and sends files
// back: everything else sees files alone.
package mirror

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"retotal/ingest/problem"
)

// Store is what is asked of an object store. Keys are divided by slashes.
type Store interface {
	// List returns the objects whose keys begin so, by key.
	List(ctx context.Context, prefix string) ([]Object, error)
	// Read begins to read a part of an object; version changes when what is in it does.
	Read(ctx context.Context, key string, from, length int64) (part io.ReadCloser, version string, err error)
	// Write makes an object of a file, whole or not at all.
	Write(ctx context.Context, key, name string) error
	// Remove removes an object; that there is none is no error.
	Remove(ctx context.Context, key string) error
}

// Object is what a store lists; Size is in bytes.
type Object struct {
	Key  string
	Size int64
}

// Failure is what a store or the way to it failed at: what was asked for may go well the next time.
type Failure struct {
	URL string
	Err error
}

// Error names the URL.
func (f *Failure) Error() string { return fmt.Sprintf("%s: %v", f.URL, f.Err) }

// Unwrap returns what the store said.
func (f *Failure) Unwrap() error { return f.Err }

// Mirror is a folder in which each object has its place, SCHEME-BUCKET/KEY.
type Mirror struct {
	folder  string
	open    func(ctx context.Context, scheme, host, query string) (Store, error)
	mutex   sync.Mutex // of what follows
	buckets []*bucket
	held    map[string]*held // by file
}

type bucket struct {
	store               Store
	scheme, host, query string
	url, folder         string
}

// New makes a mirror in a folder of its own within a folder, "" for that of temporary files. open opens a bucket.
func New(within string, open func(ctx context.Context, scheme, host, query string) (Store, error)) (*Mirror, error) {
	if within != "" {
		if err := os.MkdirAll(within, 0o755); err != nil {
			return nil, err
		}
	}
	folder, err := os.MkdirTemp(within, "retotal-")
	if err != nil {
		return nil, err
	}
	if folder, err = filepath.Abs(folder); err != nil {
		return nil, err
	}
	return &Mirror{folder: folder, open: open, held: map[string]*held{}}, nil
}

// Close removes the folder.
func (m *Mirror) Close() error { return os.RemoveAll(m.folder) }

// form is how a URL is written.
var form = regexp.MustCompile(`^(s3|gs|azblob|file)://([^/?#]*)(?:/([^?#]*))?(?:\?([^#]*))?$`)

// IsURL reports whether a name is that of an object; that it is well formed is not asked.
func IsURL(name string) bool {
	scheme, _, found := strings.Cut(name, "://")
	return found && slices.Contains([]string{"s3", "gs", "azblob", "file"}, scheme)
}

// Place is an object, or what the keys of some begin with.
type Place struct {
	*bucket
	Key string
}

// At is the place of a URL. One that says nothing of how its bucket is opened takes what another said before.
func (m *Mirror) At(ctx context.Context, url string) (Place, error) {
	part := form.FindStringSubmatch(url)
	if part != nil && part[1] == "file" && part[2] == "" { // a bucket has to be some folder
		part[2], part[3], _ = strings.Cut(part[3], "/")
		part[2] = "/" + part[2]
	}
	if part == nil || part[2] == "" || part[2] == "/" {
		return Place{}, problem.At(problem.Place{File: url}, "this is no URL of objects", "s3://bucket/prefix/", "")
	}
	at := Place{Key: part[3]}
	if trimmed := strings.TrimSuffix(at.Key, "/"); trimmed != "" && !fit(trimmed) {
		return Place{}, problem.At(problem.Place{File: url}, "the URL has an empty part, or . or ..", "", "")
	}
	m.mutex.Lock()
	defer m.mutex.Unlock()
	for _, b := range m.buckets {
		if b.scheme == part[1] && b.host == part[2] && (b.query == part[4] || part[4] == "") {
			at.bucket = b
			return at, nil
		}
	}
	store, err := m.open(ctx, part[1], part[2], part[4])
	if err != nil {
		return Place{}, err
	}
	at.bucket = &bucket{store: store, scheme: part[1], host: part[2], query: part[4], url: part[1] + "://" + part[2],
		folder: filepath.Join(m.folder, part[1]+"-"+strings.Trim(strings.ReplaceAll(part[2], ":", "-"), "/"))}
	m.buckets = append(m.buckets, at.bucket)
	return at, nil
}

// fit reports whether a key can be the path of a file within a folder.
func fit(key string) bool {
	return key == path.Clean(key) && !strings.ContainsAny(key, "\\\x00") && filepath.IsLocal(filepath.FromSlash(key))
}

// Name is the file that stands for an object.
func (p Place) Name() string { return filepath.Join(p.folder, filepath.FromSlash(p.Key)) }

// Of is an object or prefix below this place.
func (p Place) Of(key string) Place { return Place{p.bucket, path.Join(p.Key, key)} }

// URL names the place, without what the store is asked beside it.
func (p Place) URL() string { return p.url + "/" + p.Key }

// Of is the place that a file stands for; false for files elsewhere.
func (m *Mirror) Of(name string) (Place, bool) {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	for _, b := range m.buckets {
		if key, err := filepath.Rel(b.folder, name); err == nil && filepath.IsLocal(key) {
			return Place{b, filepath.ToSlash(key)}, true
		}
	}
	return Place{}, false
}

// URLOf is the URL for which a file stands, and its bucket; "" for files elsewhere.
func (m *Mirror) URLOf(name string) (url, bucket string) {
	if p, ok := m.Of(name); ok {
		return p.URL(), p.url
	}
	return "", ""
}

// Named puts URLs in the place of the files that stand for them.
func (m *Mirror) Named(text string) string {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	for _, b := range m.buckets {
		text = strings.ReplaceAll(text, b.folder, b.url)
	}
	return text
}

// list lists what is below a place, without what cannot be a file: a folder that a console of the store shows.
func (p Place) list(ctx context.Context, prefix string) ([]Object, error) {
	list, err := p.store.List(ctx, prefix)
	if err != nil {
		return nil, &Failure{p.url + "/" + prefix, err}
	}
	return slices.DeleteFunc(list, func(o Object) bool { return !fit(o.Key) }), nil
}

// size looks up an object.
func (p Place) size(ctx context.Context) (size int64, found bool, err error) {
	list, err := p.list(ctx, p.Key)
	if i := slices.IndexFunc(list, func(o Object) bool { return o.Key == p.Key }); i >= 0 {
		return list[i].Size, true, err
	}
	return 0, false, err
}

// How an object is read: in parts of so many bytes, each tried so often, with a wait that doubles.
var (
	partSize  int64 = 16 << 20
	tries           = 5
	firstWait       = 200 * time.Millisecond
)

var errChanged = errors.New("the object changed while it was read; run again")

// get reads an object into its file, in parts; a part that breaks off goes on where it did.
func (m *Mirror) get(ctx context.Context, p Place, size int64) error {
	fail := func(err error) error { return &Failure{p.URL(), err} }
	file, err := os.CreateTemp(m.folder, "part-")
	if err != nil {
		return err
	}
	defer os.Remove(file.Name())
	defer file.Close()
	version := ""
	for at, tried := int64(0), 0; at < size; {
		n, err := copyPart(ctx, p, file, at, min(partSize, size-at), &version)
		if at += n; n > 0 {
			tried = 0
		}
		if err == nil {
			continue
		}
		if tried++; tried == tries || ctx.Err() != nil || errors.Is(err, errChanged) {
			return fail(err)
		}
		select {
		case <-time.After(firstWait << (tried - 1)):
		case <-ctx.Done():
		}
	}
	if err := errors.Join(os.MkdirAll(filepath.Dir(p.Name()), 0o755), file.Close()); err != nil {
		return err
	}
	return os.Rename(file.Name(), p.Name())
}

// copyPart appends a part of an object to a file and returns how much of it came.
func copyPart(ctx context.Context, p Place, to io.Writer, at, length int64, version *string) (int64, error) {
	part, now, err := p.store.Read(ctx, p.Key, at, length)
	if err != nil {
		return 0, err
	}
	defer part.Close()
	if *version == "" {
		*version = now
	}
	if now != *version {
		return 0, errChanged
	}
	n, err := io.Copy(to, io.LimitReader(part, length))
	if err == nil && n < length {
		err = io.ErrUnexpectedEOF
	}
	return n, err
}

// held is a file that some sites use: the first fetches it, and the last removes it.
type held struct {
	users int
	once  sync.Once
	err   error
}

// hold fetches objects that are not here yet.
func (m *Mirror) hold(ctx context.Context, at Place, list []Object) error {
	return each(len(list), func(i int) error {
		p := Place{at.bucket, list[i].Key}
		m.mutex.Lock()
		h := m.held[p.Name()]
		if h == nil {
			h = &held{}
			m.held[p.Name()] = h
		}
		h.users++
		m.mutex.Unlock()
		h.once.Do(func() { h.err = m.get(ctx, p, list[i].Size) })
		return h.err
	})
}

// release lets go of objects that were held.
func (m *Mirror) release(at Place, list []Object) {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	for _, o := range list {
		name := Place{at.bucket, o.Key}.Name()
		h := m.held[name]
		if h == nil {
			continue
		}
		if h.users--; h.users == 0 {
			delete(m.held, name)
			os.Remove(name)
		}
	}
}

// atOnce is how many objects are asked for at once.
const atOnce = 8

// each makes n calls, some of them side by side, and returns the first error of them in their order.
func each(n int, call func(i int) error) error {
	errs, next := make([]error, n), make(chan int)
	var workers sync.WaitGroup
	for range min(n, atOnce) {
		workers.Go(func() {
			for i := range next {
				errs[i] = call(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	workers.Wait()
	i := slices.IndexFunc(errs, func(err error) bool { return err != nil })
	if i < 0 {
		return nil
	}
	return errs[i]
}
