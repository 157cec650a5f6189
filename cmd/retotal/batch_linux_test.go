package main

import (
	"crypto/sha256"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"retotal/ingest/roster"
)

var (
	manySites = flag.Int("sites", 16, "sites of the tests and benchmarks of batches")
	manyKills = flag.Int("kills", 5, "times that a batch is killed")
)

// writeSites writes a table of generated sites on a template.
func writeSites(t testing.TB, dir string, sites int) (table, template string) {
	t.Helper()
	make := exec.Command("go", "run", filepath.Join("..", "..", ".ci", "cluster", "sites"), dir, fmt.Sprint(sites))
	if out, err := make.CombinedOutput(); err != nil {
		t.Fatal(err, string(out))
	}
	return filepath.Join(dir, "sites.csv"), filepath.Join(dir, "template.toml")
}

// built builds the program.
func built(t testing.TB) string {
	t.Helper()
	program := filepath.Join(t.TempDir(), "retotal")
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		t.Fatal(err, string(out))
	}
	return program
}

// hashes is the hash of every file in a folder.
func hashes(t testing.TB, folder string) map[string][32]byte {
	t.Helper()
	list := map[string][32]byte{}
	err := filepath.WalkDir(folder, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		name, _ := filepath.Rel(folder, path)
		list[name] = sha256.Sum256(text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// sameFiles compares two folders file by file.
func sameFiles(t testing.TB, got, want map[string][32]byte) {
	t.Helper()
	for name, sum := range want {
		if other, ok := got[name]; !ok {
			t.Errorf("%s is missing", name)
		} else if other != sum {
			t.Errorf("%s is another", name)
		}
	}
	for name := range got {
		if _, ok := want[name]; !ok {
			t.Errorf("%s is left over", name)
		}
	}
}

// TestBatchKilled: a batch that is killed at any moment and run again, and killed again, ends with the files of one
// that nothing disturbed.
func TestBatchKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("it kills and reruns a batch many times")
	}
	dir, program := t.TempDir(), built(t)
	table, template := writeSites(t, dir, *manySites)
	batch := func(out string) *exec.Cmd {
		return exec.Command(program, "batch", "-q", "--out", filepath.Join(dir, out), "--template", template, "--table",
			table)
	}
	began := time.Now()
	if out, err := batch("whole").CombinedOutput(); err != nil {
		t.Fatal(err, string(out))
	}
	took, killed := time.Since(began), 0
	for i := 0; killed < *manyKills; i++ {
		if i%3 == 0 { // from the beginning
			if err := os.RemoveAll(filepath.Join(dir, "killed")); err != nil {
				t.Fatal(err)
			}
		}
		run := batch("killed")
		if err := run.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(rand.Float64() * float64(took) * 0.7))
		run.Process.Kill()
		var ended *exec.ExitError
		if err := run.Wait(); errors.As(err, &ended) && ended.ExitCode() == -1 {
			killed++
		}
	}
	if out, err := batch("killed").CombinedOutput(); err != nil {
		t.Fatal(err, string(out))
	}
	sameFiles(t, hashes(t, filepath.Join(dir, "killed")), hashes(t, filepath.Join(dir, "whole")))
}

// TestKeysFromAnywhere: what a site's results follow from is the same wherever the program is called, reported totals
// beside the site file too.
func TestKeysFromAnywhere(t *testing.T) {
	dir := t.TempDir()
	table, template := writeSites(t, dir, 1)
	entries, err := roster.Table(template, table)
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"site.toml":    string(entries[0].Text) + "[reported]\nfile = \"reported.csv\"\n",
		"reported.csv": "month,volume (m3)\n2031-03,40000\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	t.Chdir(dir)
	keys := map[string]bool{}
	for _, name := range []string{"site.toml", filepath.Join(dir, "site.toml")} {
		list, err := (&batchOptions{}).members(t.Context(), []string{name})
		if err != nil || list[0].bad != nil || list[0].key == "" {
			t.Fatal(list, err)
		}
		keys[list[0].key] = true
	}
	if len(keys) != 1 {
		t.Errorf("%d keys of one site", len(keys))
	}
}

// BenchmarkBatch: sites of a month, first all of them, then none of which changed; and the same sites one at a time on
// one core. go test -run xxx -bench Batch -benchtime 1x ./cmd/retotal -sites 1000
func BenchmarkBatch(b *testing.B) {
	dir, program := b.TempDir(), built(b)
	table, template := writeSites(b, dir, *manySites)
	run := func(b *testing.B, environment []string, args ...string) {
		c := exec.Command(program, args...)
		c.Env = append(os.Environ(), environment...)
		if out, err := c.CombinedOutput(); err != nil {
			b.Fatal(err, string(out))
		}
		b.ReportMetric(float64(c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss)/1e3, "MB")
	}
	all := []string{"batch", "-q", "--out", filepath.Join(dir, "out"), "--template", template, "--table", table}
	b.Run("all", func(b *testing.B) {
		for b.Loop() {
			run(b, nil, append(all, "--force")...)
		}
	})
	b.Run("unchanged", func(b *testing.B) {
		for b.Loop() {
			run(b, nil, all...)
		}
	})
	b.Run("singly", func(b *testing.B) {
		entries, err := roster.Table(template, table)
		if err != nil {
			b.Fatal(err)
		}
		for _, e := range entries {
			if err := os.WriteFile(e.File, e.Text, 0o644); err != nil {
				b.Fatal(err)
			}
		}
		for b.Loop() {
			for _, e := range entries {
				run(b, []string{"GOMAXPROCS=1"}, "correct", "-q", "--out", filepath.Join(dir, "single"), e.File)
			}
		}
	})
}

// broken are ways to break a site, each with what is said of it.
var broken = []struct {
	name  string
	table func(row []string) // of id, files, empty distance, reason, corrected empty distance
	log   func(text string) string
	says  string
}{
	{"no log", func(row []string) { row[1] = "gone.csv" }, nil, "there is no such file"},
	{"no unit", func(row []string) { row[2] = "1.2 furlongs" }, nil, `"1.2 furlongs"`},
	{"an empty log", nil, func(string) string { return "" }, "empty"},
	{"another header", nil, func(s string) string { return strings.Replace(s, "Distance (m)", "Depth", 1) },
		`has no column named "Distance (m)"`},
	{"a correction out of the device", func(row []string) { row[3], row[4] = "survey", "0.1" }, nil,
		"expected a third to 3 times what the meter was set to"},
}

// TestBatchBroken: of sites of which one in 10 is broken, or in 25 of 500, these are named with the reason, and the
// results of the others are those of a batch in which none is broken.
func TestBatchBroken(t *testing.T) {
	if testing.Short() {
		t.Skip("it runs two batches of many sites")
	}
	every := 10
	if *manySites >= 500 {
		every = 25
	}
	dir, program, count := t.TempDir(), built(t), max(*manySites, every*len(broken))
	table, template := writeSites(t, dir, count)
	batch := func(out string) (string, int) {
		c := exec.Command(program, "batch", "-q", "--out", filepath.Join(dir, out), "--template", template, "--table",
			table)
		said, _ := c.CombinedOutput()
		return string(said), c.ProcessState.ExitCode()
	}
	if said, code := batch("sound"); code != success {
		t.Fatal(said)
	}
	text, err := os.ReadFile(table)
	if err != nil {
		t.Fatal(err)
	}
	rows := strings.Split(strings.TrimSpace(string(text)), "\n")
	want := map[string]string{}
	for i := 1; i < len(rows); i += every {
		row, how := strings.Split(rows[i], ","), broken[i/every%len(broken)]
		want[row[0]] = how.says
		if how.table != nil {
			how.table(row)
			rows[i] = strings.Join(row, ",")
			continue
		}
		name := filepath.Join(dir, row[1])
		log, err := os.ReadFile(name)
		if err == nil {
			err = os.WriteFile(name, []byte(how.log(string(log))), 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(table, []byte(strings.Join(rows, "\n")+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	said, code := batch("mixed")
	if code != inPart {
		t.Errorf("exit status %d", code)
	}
	named := map[string]string{}
	for line := range strings.Lines(said) {
		if id, why, ok := strings.Cut(line, ": could not be done: "); ok {
			named[id] = why
		}
	}
	for id, says := range want {
		if !strings.Contains(named[id], says) {
			t.Errorf("%s: %q, want %q", id, named[id], says)
		}
	}
	if len(named) != len(want) {
		t.Errorf("%d sites are named, %d are broken", len(named), len(want))
	}
	sound, mixed := hashes(t, filepath.Join(dir, "sound")), hashes(t, filepath.Join(dir, "mixed"))
	same := 0
	for name, sum := range sound {
		parts := strings.Split(name, string(filepath.Separator))
		if id := strings.TrimSuffix(parts[min(1, len(parts)-1)], ".json"); len(parts) < 2 || want[id] != "" ||
			want[strings.TrimSuffix(id, ".parquet")] != "" {
			continue
		}
		if same++; mixed[name] != sum {
			t.Errorf("%s is another, or missing", name)
		}
	}
	if same < 10*(count-len(want)) {
		t.Errorf("only %d files were compared", same)
	}
}
