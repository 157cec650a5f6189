package mirror

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/iotest"
	"time"
)

// memory is a store in memory. Reads break off after some bytes as often as it is told to.
type memory struct {
	mutex   sync.Mutex
	objects map[string]string
	breaks  int // reads that break off in their middle
	reads   int
	changes bool // the version changes with every read
	asked   []string
}

func (m *memory) List(_ context.Context, prefix string) (list []Object, err error) {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	for _, key := range slices.Sorted(maps.Keys(m.objects)) {
		if strings.HasPrefix(key, prefix) {
			list = append(list, Object{key, int64(len(m.objects[key]))})
		}
	}
	return list, nil
}

func (m *memory) Read(_ context.Context, key string, from, length int64) (io.ReadCloser, string, error) {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	m.reads++
	version := "one"
	if m.changes {
		version = fmt.Sprint(m.reads)
	}
	part := m.objects[key][from : from+length]
	if m.breaks > 0 {
		m.breaks--
		half := strings.NewReader(part[:len(part)/2])
		return io.NopCloser(io.MultiReader(half, iotest.ErrReader(errors.New("the line broke")))), version, nil
	}
	return io.NopCloser(strings.NewReader(part)), version, nil
}

func (m *memory) Write(_ context.Context, key, name string) error {
	text, err := os.ReadFile(name)
	m.mutex.Lock()
	defer m.mutex.Unlock()
	m.objects[key] = string(text)
	m.asked = append(m.asked, "write "+key)
	return err
}

func (m *memory) Remove(_ context.Context, key string) error {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	delete(m.objects, key)
	m.asked = append(m.asked, "remove "+key)
	return nil
}

// mirrored is a mirror of a store in memory, and its only bucket.
func mirrored(t *testing.T, objects map[string]string) (*Mirror, *memory) {
	t.Helper()
	firstWait = time.Millisecond
	store := &memory{objects: objects}
	m, err := New(t.TempDir(), func(_ context.Context, scheme, host, _ string) (Store, error) {
		if scheme+"-"+host != "s3-water" {
			t.Errorf("%s, %s is opened", scheme, host)
		}
		return store, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return m, store
}

// files lists what is in a mirror, by URL.
func files(t *testing.T, m *Mirror) (list []string) {
	t.Helper()
	err := filepath.WalkDir(m.folder, func(name string, entry os.DirEntry, err error) error {
		if err == nil && !entry.IsDir() {
			list = append(list, strings.TrimPrefix(m.Named(name), "s3://water/"))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// TestURLs: which names are URLs of a store, and which of them cannot be used.
func TestURLs(t *testing.T) {
	m, _ := mirrored(t, map[string]string{})
	for _, c := range []struct {
		url     string
		is, fit bool
		key     string
	}{
		{"s3://water/sites/a.toml", true, true, "sites/a.toml"},
		{"s3://water/sites/?region=eu-west-1", true, true, "sites/"},
		{"s3://water", true, true, ""},
		{"s3://water/a/../../b", true, false, ""},
		{"s3://water//a", true, false, ""},
		{"s3:///a", true, false, ""},
		{"s3://water/a#b", true, false, ""},
		{"file:///", true, false, ""},
		{"https://water/a", false, false, ""},
		{"sites/s3:/a", false, false, ""},
		{"s3", false, false, ""},
	} {
		at, err := m.At(t.Context(), c.url)
		if IsURL(c.url) != c.is || (err == nil) != c.fit || at.Key != c.key {
			t.Errorf("%s: %v, %q, %v", c.url, IsURL(c.url), at.Key, err)
		}
	}
}

// TestParts: an object is read in parts, a part that breaks off goes on where it did, and one that changes meanwhile is
// refused, as is one that never comes whole. Nothing is left of what failed.
func TestParts(t *testing.T) {
	defer func(size int64) { partSize = size }(partSize)
	partSize = 10
	text := strings.Repeat("0123456789abcdef", 5) // 80 bytes, 8 parts
	for _, c := range []struct {
		name    string
		breaks  int
		changes bool
		refused string
		reads   int
	}{
		{"whole", 0, false, "", 8},
		{"broken off three times", 3, false, "", 9}, // 5 of 10, 2 of 5, 1 of 3 and 2 of 2 make the first part in 4; then 7
		{"changed", 0, true, "changed while it was read", 2},
		{"always broken off", 1 << 30, false, "the line broke", -1},
	} {
		m, store := mirrored(t, map[string]string{"log.csv": text})
		store.breaks, store.changes = c.breaks, c.changes
		name, err := m.File(t.Context(), "s3://water/log.csv")
		if c.refused != "" {
			var failure *Failure
			if err == nil || !strings.Contains(err.Error(), c.refused) || !errors.As(err, &failure) ||
				failure.URL != "s3://water/log.csv" || len(files(t, m)) > 0 {
				t.Errorf("%s: %v, %v", c.name, err, files(t, m))
			}
		} else if got, bad := os.ReadFile(name); err != nil || bad != nil || string(got) != text {
			t.Errorf("%s: %q, %v, %v", c.name, got, err, bad)
		}
		if c.breaks == 0 && store.reads != c.reads {
			t.Errorf("%s: %d reads, want %d", c.name, store.reads, c.reads)
		}
	}
	m, _ := mirrored(t, map[string]string{"empty.csv": ""})
	if name, err := m.File(t.Context(), "s3://water/empty.csv"); err != nil {
		t.Error(err)
	} else if info, err := os.Stat(name); err != nil || info.Size() != 0 {
		t.Error(info, err)
	}
}

const mixed = `[log]
files = ["../logs/a-*.csv", "../logs/part"]
[filling]
donor = "donor.toml"
[reported]
file = "reported.csv"
`

// TestNeeds: what a site needs is fetched when it is needed, and removed when no site needs it any more; keys that
// would be files outside the mirror are never fetched.
func TestNeeds(t *testing.T) {
	m, _ := mirrored(t, map[string]string{
		"sites/mixed.toml": mixed, "sites/donor.toml": "[log]\nfiles = \"donor.csv\"\n", "sites/deep/x.toml": "",
		"sites/reported.csv": "r", "sites/donor.csv": "12345", "logs/a-1.csv": "123", "logs/a-2.csv": "1234",
		"logs/b.csv": "", "logs/part/c.csv.gz": "1", "logs/part/note.md": "", "logs/part/deep/d.csv": "12",
		"logs/part/../../../../evil.csv": "evil", "logs/a-/../../../evil.csv": "evil", "logs/part/": "",
	})
	names, err := m.Sites(t.Context(), "s3://water/sites")
	if err != nil || len(names) != 2 {
		t.Fatal(names, err)
	}
	need := func(i int) *Need {
		n, err := m.Needs(t.Context(), names[i], nil)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	donor, mixed := need(0), need(1)
	if donor.Size != 5 || mixed.Size != 3+4+1+2 {
		t.Errorf("%d and %d bytes", donor.Size, mixed.Size)
	}
	if got := fmt.Sprint(files(t, m)); got != "[sites/donor.toml sites/mixed.toml sites/reported.csv]" {
		t.Error(got)
	}
	for _, n := range []*Need{mixed, donor} {
		if err := n.Fetch(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	logs := "logs/a-1.csv logs/a-2.csv logs/part/c.csv.gz logs/part/deep/d.csv "
	if got := fmt.Sprint(files(t, m)); got != "["+logs+"sites/donor.csv sites/donor.toml sites/mixed.toml "+
		"sites/reported.csv]" {
		t.Error(got)
	}
	donor.Release()
	if got := fmt.Sprint(files(t, m)); !strings.Contains(got, "sites/donor.csv") {
		t.Errorf("a log that another site needs is gone: %v", got)
	}
	mixed.Release()
	if got := fmt.Sprint(files(t, m)); got != "[sites/donor.toml sites/mixed.toml sites/reported.csv]" {
		t.Error(got)
	}
	if n, err := m.Needs(t.Context(), filepath.Join(t.TempDir(), "a.toml"), nil); n != nil || err != nil {
		t.Errorf("a site of files needs %v, %v", n, err)
	}
	_, err = m.Needs(t.Context(), names[0], []byte("[log]\nfiles = \"../../x.csv\"\n"))
	if err == nil || !strings.Contains(err.Error(), "not in the bucket") {
		t.Error(err)
	}
	if _, err := m.Sites(t.Context(), "s3://water/none/"); err == nil || ofStore(err) {
		t.Error(err)
	}
	if names, err := m.Sites(t.Context(), "s3://water/sites/d*.toml"); err != nil || len(names) != 1 {
		t.Error(names, err)
	}
}

func ofStore(err error) bool {
	var f *Failure
	return errors.As(err, &f)
}

// TestSendFolder: what is in the folder is sent, what is not is removed, and what lies beside is left alone.
func TestSendFolder(t *testing.T) {
	m, store := mirrored(t, map[string]string{"out/sites/a/old.png": "", "out/sites/a/report.html": "old",
		"out/sites/ab/report.html": "another"})
	at, err := m.At(t.Context(), "s3://water/out")
	if err != nil {
		t.Fatal(err)
	}
	here := at.Of("sites/a")
	if err := os.MkdirAll(filepath.Join(here.Name(), "plots"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"report.html", "plots/x.svg"} {
		if err := os.WriteFile(here.Of(name).Name(), []byte("new"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := m.SendFolder(t.Context(), here); err != nil {
		t.Fatal(err)
	}
	want := map[string]string{"out/sites/a/report.html": "new", "out/sites/a/plots/x.svg": "new",
		"out/sites/ab/report.html": "another"}
	if !maps.Equal(store.objects, want) {
		t.Errorf("%v", store.objects)
	}
	if err := m.SendFolder(t.Context(), at.Of("sites/ab")); err != nil || len(store.objects) != 2 {
		t.Errorf("of a folder that is not here %v, %v", store.objects, err)
	}
	if err := m.Close(); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(m.folder); err == nil {
		t.Error("the mirror is left")
	}
}

// TestNamed: people read URLs.
func TestNamed(t *testing.T) {
	m, _ := mirrored(t, map[string]string{})
	at, err := m.At(t.Context(), "s3://water/sites/a.toml?region=x")
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s:3: no", at.Name())
	if got := m.Named(b.String()); got != "s3://water/sites/a.toml:3: no" {
		t.Error(got)
	}
	if url, bucket := m.URLOf(at.Name()); url != "s3://water/sites/a.toml" || bucket != "s3://water" {
		t.Error(url, bucket)
	}
	if url, bucket := m.URLOf(t.TempDir()); url+bucket != "" {
		t.Error(url, bucket)
	}
}
