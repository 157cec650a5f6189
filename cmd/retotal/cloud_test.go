//go:build cloud && linux

package main

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/johannesboyne/gofakes3"
	"github.com/johannesboyne/gofakes3/backend/s3mem"

	"retotal/ingest/roster"
)

// bucket is a store as S3 has it, in this process: what was asked of it in which order, and whether it refuses to
// write.
type bucket struct {
	t       *testing.T
	backend gofakes3.Backend
	address string
	mutex   sync.Mutex
	asked   []string                // "PUT key" and the like
	refuses func(asked string) bool // nil for none
}

func newBucket(t *testing.T) *bucket {
	t.Helper()
	b := &bucket{t: t, backend: s3mem.New()}
	if err := b.backend.CreateBucket("water"); err != nil {
		t.Fatal(err)
	}
	inner := gofakes3.New(b.backend).Server()
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked := r.Method + " " + strings.TrimPrefix(r.URL.Path, "/water/")
		b.mutex.Lock()
		b.asked = append(b.asked, asked)
		refused := b.refuses != nil && b.refuses(asked)
		b.mutex.Unlock()
		if refused {
			http.Error(w, "out of order", http.StatusServiceUnavailable)
			return
		}
		inner.ServeHTTP(w, r)
	}))
	t.Cleanup(server.Close)
	b.address = server.URL
	for name, value := range map[string]string{"AWS_ACCESS_KEY_ID": "somebody", "AWS_SECRET_ACCESS_KEY": "not-told",
		"AWS_REGION": "eu-west-1", "AWS_EC2_METADATA_DISABLED": "true"} {
		t.Setenv(name, value)
	}
	return b
}

// url is that of a key.
func (b *bucket) url(key string) string {
	return "s3://water/" + key + "?endpoint=" + b.address + "&use_path_style=true"
}

// fill puts the files of a folder into the bucket.
func (b *bucket) fill(folder string) {
	b.t.Helper()
	err := filepath.WalkDir(folder, func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		text, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		key, _ := filepath.Rel(folder, name)
		_, err = b.backend.PutObject("water", key, map[string]string{}, bytes.NewReader(text), int64(len(text)), nil)
		return err
	})
	if err != nil {
		b.t.Fatal(err)
	}
}

// texts is what the objects hold whose keys begin so, by the rest of their keys.
func (b *bucket) texts(prefix string) map[string][]byte {
	b.t.Helper()
	below := &gofakes3.Prefix{HasPrefix: true, Prefix: prefix}
	list, err := b.backend.ListBucket("water", below, gofakes3.ListBucketPage{})
	if err != nil {
		b.t.Fatal(err)
	}
	texts := map[string][]byte{}
	for _, o := range list.Contents {
		object, err := b.backend.GetObject("water", o.Key, nil)
		if err != nil {
			b.t.Fatal(err)
		}
		var text bytes.Buffer
		if _, err := text.ReadFrom(object.Contents); err != nil {
			b.t.Fatal(err)
		}
		object.Contents.Close()
		texts[strings.TrimPrefix(o.Key, prefix)] = text.Bytes()
	}
	return texts
}

func (b *bucket) hashes(prefix string) map[string][32]byte {
	list := map[string][32]byte{}
	for name, text := range b.texts(prefix) {
		list[name] = sha256.Sum256(text)
	}
	return list
}

// since is what was asked of the bucket since it was last asked for that.
func (b *bucket) since() []string {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	list := b.asked
	b.asked = nil
	return list
}

// refuse sets what the bucket refuses.
func (b *bucket) refuse(what func(asked string) bool) {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	b.refuses = what
}

// call runs a command with a scratch folder that has to be empty afterwards.
func (b *bucket) call(want int, args ...string) (out, errs string) {
	b.t.Helper()
	scratch := b.t.TempDir()
	var o, e bytes.Buffer
	if code := run(b.t.Context(), append(args, "--scratch", scratch), &o, &e); code != want {
		b.t.Fatalf("%v: %d, want %d\n%s%s", args, code, want, o.String(), e.String())
	}
	if left, err := os.ReadDir(scratch); err != nil || len(left) > 0 {
		b.t.Errorf("%v leaves %v behind (%v)", args, left, err)
	}
	if both := o.String() + e.String(); strings.Contains(both, scratch) || strings.Contains(both, "not-told") {
		b.t.Errorf("%v tells of scratch files or credentials:\n%s", args, both)
	}
	return o.String(), e.String()
}

// writeFolder writes site files, logs in two folders, and what the local batch makes of them.
func writeFolder(t *testing.T) (folder string) {
	t.Helper()
	folder = t.TempDir()
	sites := filepath.Join(folder, "sites")
	for _, name := range []string{"sites", "logs/part"} {
		if err := os.MkdirAll(filepath.Join(folder, name), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	table, template := writeSites(t, sites, 6)
	entries, err := roster.Table(template, table)
	if err != nil {
		t.Fatal(err)
	}
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, e := range entries {
		write("sites/"+e.ID+".toml", string(e.Text))
	}
	// One site's log in two parts elsewhere, by a pattern and by a folder; a donor; reported totals.
	log, err := os.ReadFile(filepath.Join(sites, "weir-00001.csv"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(log), "\n")
	write("logs/march-a.csv", strings.Join(lines[:1000], ""))
	write("logs/part/b.csv", lines[0]+strings.Join(lines[1010:], ""))
	write("sites/reported.csv", "month,volume (m3)\n2031-03,40000\n")
	write("sites/mixed.toml", `id = "mixed"
[log]
files = ["../logs/march-*.csv", "../logs/part"]
time_zone = "+00:00"
[log.columns]
time = "Time"
distance = "Distance (m)"
[settings]
empty_distance = "1.201 m"
maximum_head = "0.5 m"
[settings.device]
kind = "v-notch"
angle = "90 deg"
[filling]
rule = "donor-regression"
donor = "weir-00001.toml"
limit = "4 h"
[reported]
file = "reported.csv"
`)
	for _, name := range []string{"template.toml", "sites.csv"} { // no sites
		if err := os.Rename(filepath.Join(sites, name), filepath.Join(sites, name+"-laid")); err != nil {
			t.Fatal(err)
		}
	}
	var out, errs bytes.Buffer
	args := []string{"batch", "-q", "--out", filepath.Join(folder, "out"), sites}
	if code := run(t.Context(), args, &out, &errs); code != success {
		t.Fatalf("%d: %s", code, errs.String())
	}
	return folder
}

// TestCloud: a batch from a bucket into the bucket, in two shards that are gathered, is byte for byte that of files;
// again, it changes nothing; and a site whose log changed is done alone.
func TestCloud(t *testing.T) {
	folder, b := writeFolder(t), newBucket(t)
	for _, name := range []string{"sites", "logs"} {
		os.Mkdir(filepath.Join(folder, "in"), 0o755)
		if err := os.Rename(filepath.Join(folder, name), filepath.Join(folder, "in", name)); err != nil {
			t.Fatal(err)
		}
	}
	b.fill(filepath.Join(folder, "in"))
	want := hashes(t, filepath.Join(folder, "out"))
	b.call(success, "batch", "-q", "--shard", "1/2", "--out", b.url("out"), b.url("sites/"))
	if _, errs := b.call(badUse, "gather", "--out", b.url("out"), b.url("sites/")); !strings.Contains(errs,
		"are not there yet") {
		t.Error(errs)
	}
	b.call(success, "batch", "-q", "--shard", "2/2", "--out", b.url("out/"), b.url("sites"))
	if string(b.texts("out/batch.json")[""]) == "" || strings.Contains(string(b.texts("out/batch.json")[""]), "true") {
		t.Error("lists are said to be whole before they are gathered")
	}
	b.since()
	out, _ := b.call(success, "gather", "--out", b.url("out"), b.url("sites/*.toml"))
	if !strings.Contains(out, "The list: s3://water/out/index.html") {
		t.Error(out)
	}
	sameFiles(t, b.hashes("out/"), want)
	lastIsManifest(t, b.since())

	_, errs := b.call(success, "batch", "--out", b.url("out"), b.url("sites/"))
	if !strings.Contains(errs, "7 of 7 sites are as they were") {
		t.Error(errs)
	}
	if asked := writes(b.since()); len(asked) > 0 {
		t.Errorf("nothing changed, and yet: %v", asked)
	}

	log := b.texts("sites/weir-00003.csv")[""]
	change := bytes.TrimSuffix(log, []byte("\n"))
	text := change[:bytes.LastIndexByte(change, '\n')+1] // without the last row
	_, err := b.backend.PutObject("water", "sites/weir-00003.csv", nil, bytes.NewReader(text), int64(len(text)), nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, errs = b.call(success, "batch", "--out", b.url("out"), b.url("sites/")); !strings.Contains(errs,
		"6 of 7 sites are as they were") {
		t.Error(errs)
	}
	asked := writes(b.since())
	lastIsManifest(t, asked)
	for _, a := range asked {
		if strings.Contains(a, "weir") && !strings.Contains(a, "weir-00003") {
			t.Errorf("%s, and the site did not change", a)
		}
	}
}

// writes is what was asked of a bucket that changes it.
func writes(asked []string) (list []string) {
	for _, a := range asked {
		if !strings.HasPrefix(a, "GET ") && !strings.HasPrefix(a, "HEAD ") {
			list = append(list, a)
		}
	}
	return list
}

// lastIsManifest: batch.json is written before all that changes, and after it; the piece of a site is removed before
// its files change and is the last of them.
func lastIsManifest(t *testing.T, asked []string) {
	t.Helper()
	asked = writes(asked)
	if len(asked) < 3 || asked[0] != "PUT out/batch.json" || asked[len(asked)-1] != "PUT out/batch.json" {
		t.Fatalf("%v", asked)
	}
	for i, a := range asked {
		name, isState := strings.CutPrefix(a, "PUT out/state/")
		id, isPiece := strings.CutSuffix(name, ".json")
		if !isState || !isPiece {
			continue
		}
		if k := slices.Index(asked, "DELETE out/state/"+id+".json"); k < 0 || k > i {
			t.Errorf("the piece of %s was not removed first: %v", id, asked)
		}
		for _, later := range asked[i+1:] {
			if strings.Contains(later, "/"+id+"/") || strings.Contains(later, "/"+id+".parquet") {
				t.Errorf("%s comes after the piece of %s", later, id)
			}
		}
	}
}

// TestCloudOutOfOrder: a store that refuses to write for a while ends the batch, whatever it was at; run again, it ends
// with the same bytes, and lists that are not whole are never said to be.
func TestCloudOutOfOrder(t *testing.T) {
	folder, b := writeFolder(t), newBucket(t)
	want := hashes(t, filepath.Join(folder, "out"))
	if err := os.RemoveAll(filepath.Join(folder, "out")); err != nil {
		t.Fatal(err)
	}
	b.fill(folder)
	for _, refused := range []string{"PUT out/sites/weir-00002/report.html", "PUT out/state/weir-00004.json",
		"PUT out/totals.parquet", "PUT out/index.html"} {
		b.refuse(func(asked string) bool { return asked == refused })
		_, errs := b.call(failed, "batch", "-q", "--jobs", "1", "--out", b.url("out"), "s3://water/sites/")
		if !strings.Contains(errs, "s3://water/"+strings.TrimPrefix(refused, "PUT ")) {
			t.Error(errs)
		}
		if strings.Contains(string(b.texts("out/batch.json")[""]), `"complete": true`) {
			t.Errorf("%s: the lists are said to be whole", refused)
		}
	}
	b.refuse(nil)
	b.call(success, "batch", "-q", "--out", b.url("out"), b.url("sites/"))
	sameFiles(t, b.hashes("out/"), want)
}

// TestCloudMixed: what is wrong with a site is told by URL and leaves no name of a scratch file anywhere; a table on a
// template by URL; results into a folder; files and a bucket by file://.
func TestCloudMixed(t *testing.T) {
	folder, b := writeFolder(t), newBucket(t)
	broken := filepath.Join(folder, "sites", "broken.toml")
	if err := os.WriteFile(broken, []byte("id = \"broken\"\n[log]\nfiles = [\"no.csv\"]\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	want := hashes(t, filepath.Join(folder, "out"))
	b.fill(folder)
	scratch := filepath.Join(folder, "scratch")
	_, errs := b.call(inPart, "batch", "--out", b.url("other"), b.url("sites/"))
	if !strings.Contains(errs, "s3://water/sites/broken.toml") {
		t.Error(errs)
	}
	for name, text := range b.texts("other/") {
		if bytes.Contains(text, []byte("/s3-water")) {
			t.Errorf("%s names a scratch file", name)
		}
	}
	local := filepath.Join(folder, "local")
	b.call(success, "batch", "-q", "--out", local, b.url("sites/weir-00001.toml"))
	list, err := os.ReadFile(filepath.Join(local, "sites.csv"))
	if err != nil || !bytes.Contains(list, []byte(",s3://water/sites/weir-00001.toml,")) {
		t.Errorf("%s, %v", list, err)
	}
	b.call(success, "batch", "-q", "--out", b.url("laid"), "--template", b.url("sites/template.toml-laid"), "--table",
		b.url("sites/sites.csv-laid"))
	for _, name := range []string{"sites/weir-00005/totals.csv", "readings/weir-00000/2031.parquet"} {
		if b.hashes("laid/")[name] != want[name] {
			t.Errorf("%s from a table is another", name)
		}
	}
	b.call(badUse, "batch", "-q", "--out", b.url("none"), b.url("nothing/"))
	b.call(badUse, "batch", "-q", "--out", b.url("none"), b.url("sites/../x/"))
	if err := os.Remove(broken); err != nil {
		t.Fatal(err)
	}
	b.call(success, "batch", "-q", "--out", "file://"+folder+"/again", "file://"+folder+"/sites/")
	sameFiles(t, hashes(t, filepath.Join(folder, "again")), want)
	if _, err := os.Stat(scratch); err == nil {
		t.Error("scratch files are left")
	}
}

// TestCloudSigned: signed results in a bucket stay as they are when a site changes, and are kept beside the new ones
// when these say that they take their place; what a user put beside them stays, too.
func TestCloudSigned(t *testing.T) {
	folder, b := writeFolder(t), newBucket(t)
	b.fill(filepath.Join(folder))
	name := "sites/weir-00000.toml"
	text := string(b.texts(name)[""]) + "[record]\nstatus = \"signed\"\nauthor = \"A. Ode\"\nreviewer = \"B. Lund\"\n" +
		"basis = \"Survey\"\n"
	put := func(key, text string) {
		t.Helper()
		_, err := b.backend.PutObject("water", key, nil, strings.NewReader(text), int64(len(text)), nil)
		if err != nil {
			t.Fatal(err)
		}
	}
	call := func(want int) string {
		t.Helper()
		_, errs := b.call(want, "batch", "-q", "--out", b.url("out"), b.url(name))
		return errs
	}
	put(name, text)
	call(success)
	put("out/sites/weir-00000/letter.txt", "of a user")
	signed := b.hashes("out/sites/weir-00000/")
	text = strings.Replace(text, "Survey", "Second survey", 1)
	put(name, text)
	if errs := call(inPart); !strings.Contains(errs, "signed and locked") {
		t.Error(errs)
	}
	sameFiles(t, b.hashes("out/sites/weir-00000/"), signed)
	sum := fmt.Sprintf("%x", signed["record.json"])
	put(name, text+"supersedes = \""+sum+"\"\n")
	call(success)
	kept := b.hashes("out/sites/weir-00000-" + sum[:12] + "/")
	sameFiles(t, kept, signed)
	now := b.hashes("out/sites/weir-00000/")
	if now["record.json"] == signed["record.json"] || now["letter.txt"] != signed["letter.txt"] {
		t.Error("the new results are not there, or without what a user put there")
	}
}

// TestCloudStore: a part of an object, and what there is none of.
func TestCloudStore(t *testing.T) {
	b := newBucket(t)
	store, err := openStore(t.Context(), "s3", "water", "endpoint="+b.address+"&use_path_style=true")
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "digits")
	if err := os.WriteFile(name, []byte("0123456789"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := store.Write(t.Context(), "a/digits", name); err != nil {
		t.Fatal(err)
	}
	part, version, err := store.Read(t.Context(), "a/digits", 3, 4)
	if err != nil {
		t.Fatal(err)
	}
	defer part.Close()
	if text, err := io.ReadAll(part); string(text) != "3456" || err != nil || version == "" {
		t.Errorf("%q, %q, %v", text, version, err)
	}
	if _, _, err := store.Read(t.Context(), "a/none", 0, 1); err == nil {
		t.Error("what is not there is read")
	}
	for range 2 {
		if err := store.Remove(t.Context(), "a/digits"); err != nil {
			t.Error(err)
		}
	}
	if list, err := store.List(t.Context(), "a/"); err != nil || len(list) != 0 {
		t.Error(list, err)
	}
}

// TestCloudNotices: the notices of what is linked for object stores are there, too.
func TestCloudNotices(t *testing.T) { holdNotices(t, "cloud") }
