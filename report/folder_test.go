package report

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"retotal/ingest"
	"retotal/ingest/site"
)

// results writes a result folder: a record of a status, a total and a note of the user's.
func results(t *testing.T, folder, status, total string) {
	t.Helper()
	record := fmt.Sprintf(
		`{"program": "retotal", "site": {"file": "../%s.toml"}, "approval": {"status": %q}}`,
		total,
		status,
	)
	for name, content := range map[string]string{marker: record, "totals.csv": total, "note.txt": "mine"} {
		err := os.MkdirAll(folder, 0o755)
		if err = errors.Join(err, os.WriteFile(filepath.Join(folder, name), []byte(content), 0o644)); err != nil {
			t.Fatal(err)
		}
	}
}

// TestKilledWhileReplacing: whatever step of taking the place of earlier results a run is killed at, the next one finds
// results of one run, whole, with the user's note; signed ones are kept; and nothing else is left.
func TestKilledWhileReplacing(t *testing.T) {
	const part = ".a-1.part"
	for _, c := range []struct {
		name  string
		at    map[string][2]string // what stands where: status and total
		total string               // in the folder of the results then
		kept  int                  // folders of signed results beside it
	}{
		{"before anything was written", map[string][2]string{"a": {"draft", "old"}, part: {}}, "old", 0},
		{"before the exchange", map[string][2]string{"a": {"draft", "old"}, part: {"draft", "new"}}, "old", 0},
		{"after the exchange", map[string][2]string{"a": {"draft", "new"}, part: {"draft", "old"}}, "new", 0},
		{"after the exchange, signed", map[string][2]string{"a": {"signed", "new"}, part: {"signed", "old"}}, "new", 1},
		{"moved aside, not replaced", map[string][2]string{part + ".old": {"signed", "old"}, part: {"draft", "new"}}, "old", 0},
		{"moved aside, replaced", map[string][2]string{part + ".old": {"draft", "old"}, "a": {"draft", "new"}}, "new", 0},
		{"moved aside, replaced, signed", map[string][2]string{part + ".old": {"signed", "old"}, "a": {"draft", "new"}}, "new", 1},
		{"of a-b", map[string][2]string{"a": {"draft", "old"}, ".a-b-1.part.old": {"draft", "b"}}, "old", 1},
		{"of a-2", map[string][2]string{"a": {"draft", "old"}, ".a-2-1.part": {"draft", "b"}}, "old", 1},
		{"without a number", map[string][2]string{"a": {"draft", "old"}, ".a-.part": {"draft", "b"}}, "old", 1},
		{"not of this program", map[string][2]string{"a": {"draft", "old"}, ".a-1.parts": {"draft", "b"}}, "old", 1},
		{"another site's", map[string][2]string{"a": {"draft", "old"}, ".b-1.part": {"draft", "b"}}, "old", 1},
	} {
		out := t.TempDir()
		for name, x := range c.at {
			if x[0] == "" {
				if err := os.MkdirAll(filepath.Join(out, name, "plots"), 0o755); err != nil {
					t.Fatal(err)
				}
				continue
			}
			results(t, filepath.Join(out, name), x[0], x[1])
		}
		f, bad := NewFolder(out, &ingest.Log{Site: &site.Site{ID: "a", File: "a.toml"}})
		if bad != nil {
			t.Errorf("%s: %v", c.name, bad)
			continue
		}
		if err := f.Discard(); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		total, _ := os.ReadFile(filepath.Join(out, "a", "totals.csv"))
		note, _ := os.ReadFile(filepath.Join(out, "a", "note.txt"))
		entries, _ := os.ReadDir(out)
		if string(total) != c.total || string(note) != "mine" || len(entries) != 1+c.kept {
			t.Errorf("%s: total %q, note %q, %v", c.name, total, note, entries)
		}
	}
}

// TestRunsBesideEachOther: a folder that another run works in is left alone.
func TestRunsBesideEachOther(t *testing.T) {
	out, l := t.TempDir(), &ingest.Log{Site: &site.Site{ID: "a", File: "a.toml"}}
	first, bad := NewFolder(out, l)
	if bad != nil {
		t.Fatal(bad)
	}
	second, bad := NewFolder(out, l)
	if bad != nil {
		t.Fatal(bad)
	}
	if !exists(first.temporary) || !exists(second.temporary) {
		t.Error("a run that goes on lost its folder")
	}
	results(t, first.temporary, "draft", "first")
	results(t, second.temporary, "draft", "second")
	for _, f := range []*Folder{first, second} {
		if err := f.Commit(""); err != nil {
			t.Error(err)
		}
	}
	total, _ := os.ReadFile(filepath.Join(out, "a", "totals.csv"))
	entries, _ := os.ReadDir(out)
	if string(total) != "second" || len(entries) != 1 {
		t.Errorf("%q, %v", total, entries)
	}
}

// TestLinksStay: a link that the user laid beside the results stays a link, and a file that is neither is refused
// before anything is touched.
func TestLinksStay(t *testing.T) {
	out, l := t.TempDir(), &ingest.Log{Site: &site.Site{ID: "a", File: "a.toml"}}
	results(t, filepath.Join(out, "a"), "draft", "old")
	if err := os.Symlink("note.txt", filepath.Join(out, "a", "link")); err != nil {
		t.Skip(err)
	}
	f, bad := NewFolder(out, l)
	if bad != nil {
		t.Fatal(bad)
	}
	results(t, f.temporary, "draft", "new")
	if err := os.Remove(filepath.Join(f.temporary, "note.txt")); err != nil {
		t.Fatal(err)
	}
	if err := f.Commit(""); err != nil {
		t.Fatal(err)
	}
	if target, err := os.Readlink(filepath.Join(out, "a", "link")); err != nil || target != "note.txt" {
		t.Error(target, err)
	}
	entries, _ := os.ReadDir(filepath.Join(out, "a"))
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	if !slices.Equal(names, []string{"link", "note.txt", "record.json", "totals.csv"}) {
		t.Error(names)
	}
}
